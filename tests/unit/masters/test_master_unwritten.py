"""A copy under way, or broken off, in a file of full size: it waits or is held, never delivered."""

from __future__ import annotations

import hashlib
import os
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile

from glassine.base import sandbox, settings
from glassine.base.errors import GlassineError
from glassine.masters import holes
from glassine.verify import step as verify
from makers.step_calls import do_step, taken_in

PIXELS = np.random.default_rng(4).integers(1, 65535, (300, 400, 3)).astype(np.uint16)
LONG_AGO = time.time() - 86400


@pytest.fixture
def batch(tmp_path: Path) -> Path:
    folder = tmp_path / "b1"
    folder.mkdir()
    return folder


def write(batch: Path, pixels: np.ndarray = PIXELS, **options: Any) -> Path:
    """Write a master with its directory before its pixels, as cameras do."""
    path = batch / "PEH-0001.tif"
    tifffile.imwrite(path, pixels, photometric="rgb", metadata=None, **options)
    return path


def cut(path: Path, start: int, end: int | None = None, *, hole: bool = False) -> None:
    """Make bytes of a file zero, as those of a copy that have not come; or a hole."""
    content = path.read_bytes()
    end = len(content) if end is None else end
    with path.open("r+b") as stream:
        if hole:
            stream.truncate(start)
            stream.truncate(len(content))
        else:
            stream.seek(start)
            stream.write(bytes(end - start))


def verified(path: Path, expected: dict[str, str] | None = None) -> set[str]:
    """Return the codes with which verify holds the master, or of its notes where it does not."""
    status = path.stat()
    master = {"path": path.name, "part": None, "expected": expected or {}}
    master |= {"bytes": status.st_size, "mtime_ns": status.st_mtime_ns}
    given = {"item": "PEH-0001", "masters": [master], "findings": [], "settings": settings.load({})}
    item_dir = path.parent.parent / "item"
    item_dir.mkdir(exist_ok=True)
    try:
        do_step("verify", path.parent, item_dir, given)
    except GlassineError as error:
        return {finding.code for finding in error.findings}
    notes = verify.files.read_json(item_dir / "fixity.json")["masters"][0]["notes"]
    return {note["code"] for note in notes}


def digest(path: Path) -> dict[str, str]:
    return {"sha256": hashlib.sha256(path.read_bytes()).hexdigest()}


def state(batch: Path) -> str:
    """Return the item's state by intake."""
    (batch / "catalogue.csv").write_text("item_id,title\nPEH-0001,Quay\n")
    taken = taken_in(batch, {"batch": "b1", "settings": settings.load({"intake": {"watch_s": 0}})})
    return str(taken["items"][0]["state"])


@pytest.mark.parametrize("start", [64 * 4096, 100 * 4096])
def test_zeros_from_a_page_to_the_end_are_held(batch: Path, start: int) -> None:
    path = write(batch)
    cut(path, start)
    assert verified(path) == {"verify.not_written"}


def test_the_same_zeros_are_taken_where_the_checksum_list_vouches_for_them(batch: Path) -> None:
    path = write(batch)
    cut(path, 100 * 4096)
    assert verified(path, digest(path)) == set()


def test_a_piece_that_has_not_come_amid_the_file_is_held(batch: Path) -> None:
    path = write(batch)
    cut(path, 20 * 4096, 60 * 4096)
    assert verified(path) == {"verify.not_written"}


def test_a_strip_or_tile_of_zeros_amid_the_picture_is_held(batch: Path) -> None:
    path = write(batch, tile=(64, 64))
    with tifffile.TiffFile(path) as tiff:
        offset, count = tiff.pages[0].dataoffsets[9], tiff.pages[0].databytecounts[9]
    cut(path, offset, offset + count)
    assert verified(path) == {"verify.not_written"}


def test_a_black_border_at_the_end_is_taken_with_a_note(batch: Path) -> None:
    """Its last value lies amid a page, and it is less than a quarter of the picture."""
    pixels = PIXELS.copy()
    pixels[260:] = 0
    pixels[259, 301:] = 0
    assert verified(write(batch, pixels)) == {"verify.note_dark_end"}


def test_a_black_border_all_around_is_taken(batch: Path) -> None:
    pixels = PIXELS.copy()
    pixels[:40] = pixels[270:] = 0
    pixels[:, :30] = pixels[:, -31:] = 0
    assert "verify.not_written" not in verified(write(batch, pixels))


def test_a_picture_without_zeros_has_no_note(batch: Path) -> None:
    assert verified(write(batch)) == set()


def has_holes(folder: Path) -> bool:
    probe = folder / "probe"
    with probe.open("wb") as stream:
        stream.truncate(2**20)
        stream.seek(2**20)
        stream.write(b"x")
    handle = os.open(probe, os.O_RDONLY)
    try:
        return bool(holes.holes(handle, 2**20 + 1))
    finally:
        os.close(handle)
        probe.unlink()


@pytest.mark.parametrize("compression", [None, "zlib"])
def test_holes_in_the_pixels_are_held(batch: Path, compression: str | None) -> None:
    if not has_holes(batch):
        pytest.skip("this file system does not tell holes")
    path = write(batch, compression=compression)
    cut(path, 60 * 4096 + 100, hole=True)
    assert "verify.not_written" in verified(path)


def test_a_young_file_with_a_hole_or_zeros_at_its_end_waits(batch: Path) -> None:
    path = write(batch)
    cut(path, 100 * 4096)
    assert state(batch) == "waiting"
    os.utime(path, (LONG_AGO, LONG_AGO))  # as a copying program sets it: it came just now
    assert state(batch) == "waiting"


def test_a_young_file_that_begins_with_zeros_waits(batch: Path) -> None:
    cut(write(batch), 0, 50 * 4096)
    assert state(batch) == "waiting"


def test_a_whole_young_file_does_not_wait(batch: Path) -> None:
    write(batch)
    assert state(batch) == "ready"


def test_an_old_file_does_not_wait(batch: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(batch)
    cut(path, 100 * 4096)
    now = time.time()
    monkeypatch.setattr(holes.time, "time", lambda: now + 86400)
    assert holes.arriving(path, listed=False) is None


def test_a_listed_file_does_not_wait_for_its_looks(batch: Path) -> None:
    path = write(batch)
    cut(path, 100 * 4096)
    (batch / "manifest-sha256.txt").write_text(f"{digest(path)['sha256']}  {path.name}\n")
    assert state(batch) == "ready"


@pytest.mark.parametrize("listed", [False, True])
def test_a_sparse_file_of_300_gb_is_held_at_once(batch: Path, listed: bool) -> None:
    path = write(batch)
    os.truncate(path, 300 * 10**9)
    begun = time.monotonic()
    codes = verified(path, {"sha256": "0" * 64} if listed else None)
    assert time.monotonic() - begun < 60  # reading it takes minutes
    assert "verify.not_read" in codes


def test_a_file_many_times_larger_than_its_picture_is_held_unread(
    batch: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write(batch)
    with path.open("ab") as stream:
        for _ in range(80):
            stream.write(b"x" * 2**20)
    monkeypatch.setattr(
        "glassine.masters.fixity.digests", lambda *_: pytest.fail("it was read to its end")
    )
    assert verified(path) == {"masters.too_long"}


# ------------------------------------------------------------------ looking for zeros


def test_runs_of_zeros_are_found_to_the_byte_over_blocks(tmp_path: Path) -> None:
    content = bytearray(np.random.default_rng(1).integers(1, 255, 5 * 2**20).astype(np.uint8))
    runs = [(100_000, 300_000), (2**20 - 5000, 2**20 + 9000), (5 * 2**20 - 70_000, 5 * 2**20)]
    for start, end in runs:
        content[start:end] = bytes(end - start)
    path = tmp_path / "f"
    path.write_bytes(content)
    pages = holes.ZeroPages()
    for start in range(0, len(content), 2**20):
        pages.feed(bytes(content[start : start + 2**20]))
    with path.open("rb") as stream:
        assert pages.runs(stream.fileno(), len(content)) == runs


# ------------------------------------------------------------------ time


def test_time_grows_with_pixels_and_not_with_what_a_file_pretends() -> None:
    small = sandbox.seconds_for([(144 * 10**6, [6000, 4000])])
    large = sandbox.seconds_for([(908 * 10**6, [14204, 10652])])
    assert 300 < small < large < sandbox.limits().seconds
    assert sandbox.seconds_for([(300 * 10**9, [6000, 4000])]) < small + 60
    assert sandbox.seconds_for([(300 * 10**9, None)]) < small
    assert sandbox.seconds_for([(10**9, [20000, 20000])] * 9) == sandbox.limits().seconds


def test_time_follows_the_setting(monkeypatch: pytest.MonkeyPatch) -> None:
    usual = sandbox.seconds_for([(144 * 10**6, [6000, 4000])])
    monkeypatch.setenv(sandbox.LIMITS, '{"seconds": 7200}')
    assert sandbox.seconds_for([(144 * 10**6, [6000, 4000])]) == pytest.approx(2 * usual)
