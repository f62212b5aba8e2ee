"""What a night looks at of each item by the paths alone, as the plain way of looking would."""

from __future__ import annotations

import os
import time
from pathlib import Path

from glassine.audit import holdings
from glassine.base import files
from glassine.night import checks, preflight, progress
from glassine.night.run import Run

AHEAD_S = 3600


def _from_the_future(path: Path) -> Path:
    files.write_json(path, {})
    os.utime(path, (time.time() + AHEAD_S,) * 2)
    return path


def test_stamps_from_the_future_come_to_now_whatever_lies_beside_them(tmp_path: Path) -> None:
    items = tmp_path / "results" / "b1" / "items"
    ahead = [_from_the_future(items / "PEH-1" / name) for name in ("done.json", "looked.json")]
    ahead.append(_from_the_future(tmp_path / "results" / "b1" / "intake.json"))
    (items / "PEH-2").mkdir()
    (items / "a file").write_text("of nobody")
    (tmp_path / "masters" / "b1").mkdir(parents=True)
    place = Run({"masters": "masters"}, tmp_path).place
    checks.bring_records_to_now(place, ["b1", "not taken in"])
    assert all(path.stat().st_mtime <= time.time() + 1 for path in ahead)


def test_bytes_of_masters_are_of_plain_files_alone(tmp_path: Path) -> None:
    (tmp_path / "deep").mkdir()
    (tmp_path / "deep" / "one.tif").write_bytes(b"12345")
    (tmp_path / "two.tif").write_bytes(b"123")
    (tmp_path / "link.tif").symlink_to("two.tif")
    os.mkfifo(tmp_path / "pipe")
    assert preflight.masters_bytes(tmp_path) == 8


def test_items_stand_where_their_files_say(tmp_path: Path) -> None:
    results = tmp_path / "b1"
    entries = [{"item": f"PEH-{number}", "state": "ready"} for number in range(1, 6)]
    entries.append({"item": "PEH-6", "state": "waiting"})
    files.write_json(results / "intake.json", {"items": entries})
    files.write_json(results / "items" / "PEH-1" / "package.json", {})
    files.write_json(results / "items" / "PEH-2" / "package.json", {})
    files.write_json(results / "items" / "PEH-2" / "held.json", {})
    files.write_json(results / "items" / "PEH-3" / "timings" / "verify.json", {})
    (results / "items" / "PEH-4").write_text("no folder")
    told = progress.progress_of(results, time.time())
    assert (told.finished, told.held, told.waiting, told.left) == (1, 1, 1, 3)
    assert told.stages == {"locate": 1}


def test_folders_of_items_come_by_name(tmp_path: Path) -> None:
    places = holdings.Places(tmp_path / "masters", tmp_path / "results", tmp_path / "deliveries")
    assert holdings.item_folders(places, "b1") == []
    for name in ("PEH-10", "PEH-1", "PEH-1.2", "PEH-1-3"):
        (places.results / "b1" / "items" / name).mkdir(parents=True)
    found = holdings.item_folders(places, "b1")
    assert found == sorted(found)
    assert len(found) == 4
