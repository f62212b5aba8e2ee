"""The command that tells a studio how often its own frames were found right."""

from __future__ import annotations

import copy
import hashlib
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec
import pytest
from lxml import etree

from glassine.base import corrections, files, record_files
from glassine.base.model import Facts, Frame, ItemGeometry, MasterGeometry
from glassine.base.records.corrections import Correction
from glassine.locate.step import corrected
from glassine.review import score_frames

AT = ((100.0, 100.0), (1100.0, 100.0), (1100.0, 800.0), (100.0, 800.0))
MOVED = [[150.0, 100.0], [1150.0, 100.0], [1150.0, 800.0], [150.0, 800.0]]


def found(count: int, confidence: float = 0.99) -> MasterGeometry:
    frames = tuple(
        Frame(
            number,
            AT,
            0.0,
            "negative",
            "monochrome",
            confidence=confidence,
            state="ok" if confidence >= 0.8 else "review",
        )
        for number in range(1, count + 1)
    )
    return MasterGeometry("m.tif", 2000, 1000, None, None, frames, kind="strip_135")


class Studio:
    """Records as the nights leave them: made by locate's own functions."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.config = root / "config.yaml"
        self.config.write_text("masters: masters\n", "utf-8")
        self.batch = root / "masters" / "b1"
        self.batch.mkdir(parents=True)
        self.standing: dict[str, Any] = {}

    def item(self, name: str, seen: MasterGeometry, *frames: dict[str, Any]) -> Path:
        # Copies: what stands once in memory and twice in YAML would become an alias.
        entry = {"item": name, "by": "op-07", "frames": [copy.deepcopy(each) for each in frames]}
        said = corrections.check({"corrections": [entry]}, "test").corrections
        if frames:
            self.standing |= said
        decided = msgspec.to_builtins(said[name])
        after = corrected(seen, decided, Facts(), single=True)
        detail = {"settings": {"review_below": 0.8}, "corrections": decided if frames else None}
        path = self.root / "results" / "b1" / "items" / name / "geometry.json"
        path.parent.mkdir(parents=True)
        record = ItemGeometry(name, (after,), {"detail": detail})
        record_files.write(path, "geometry", record.as_dict())
        text = corrections.as_text(self.standing)
        (self.batch / corrections.FILE_NAME).write_text(text, "utf-8")
        return path

    def run(self, *more: str) -> int:
        own = ["--directory", str(self.root), "--configfile", str(self.config)]
        return score_frames.main([*own, *more])

    def digests(self) -> dict[str, str]:
        return {
            str(path): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in sorted(self.root.rglob("*"))
            if path.is_file()
        }


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    return Studio(tmp_path)


def accepted(count: int) -> list[dict[str, Any]]:
    return [{"frame": number, "accept": True} for number in range(1, count + 1)]


def row(text: str, kind: str) -> dict[str, int]:
    lines = text.splitlines()
    names = [name.strip() for name in score_frames._COLUMNS]
    line = next(line for line in lines if line.startswith(kind))
    return dict(zip(names[1:], map(int, line.split()[1:]), strict=True))


def test_each_kind_of_outcome_is_counted(studio: Studio, capsys: Any) -> None:
    studio.item("PEH-0001", found(3), {"frame": 1, "accept": True}, {"frame": 2, "corners": MOVED})
    studio.item("PEH-0002", found(1, 0.5), {"frame": 1, "corners": MOVED})
    studio.item("PEH-0003", found(1), {"frame": 1, "exclude": True})
    added = [[1300.0, 100.0], [1900.0, 100.0], [1900.0, 800.0], [1300.0, 800.0]]
    studio.item("PEH-0004", found(1), {"frame": 2, "corners": added})
    assert studio.run() == 0
    text = capsys.readouterr().out
    assert row(text, "strip_135") == {
        "masters": 4,
        "decided": 5,
        "right, unmarked": 1,
        "right, marked": 0,
        "wrong, marked": 1,
        "wrong, unmarked": 1,
        "lost, marked": 0,
        "lost, unmarked": 1,
        "extra, marked": 0,
        "extra, unmarked": 1,
        "not decided": 2,
    }
    assert "PEH-0001, m.tif, frame 2: corners 4.1 % of the diagonal off" in text
    assert "PEH-0004, m.tif, frame 2: not found" in text


def test_few_decisions_propose_nothing(studio: Studio, capsys: Any) -> None:
    studio.item("PEH-0001", found(20), *accepted(20))
    assert studio.run() == 0
    text = capsys.readouterr().out
    assert "Too few to say anything: at least 381 decided frames" in text
    assert "Proposed" not in text


def test_frames_of_masters_that_were_decided_in_part_prove_nothing(
    studio: Studio, capsys: Any
) -> None:
    for number in range(5):
        studio.item(f"PEH-{number:04}", found(151), *accepted(150))
    assert studio.run() == 0
    assert "Too few to say anything" in capsys.readouterr().out


def test_enough_decisions_propose_a_value_and_change_nothing(studio: Studio, capsys: Any) -> None:
    for number in range(4):
        studio.item(f"PEH-{number:04}", found(150), *accepted(150))
    wrong = [{"frame": number, "corners": MOVED} for number in range(1, 31)]
    studio.item("PEH-0009", found(30, 0.86), *wrong)
    before = studio.digests()
    assert studio.run() == 0
    text = capsys.readouterr().out
    assert "Proposed: `locate.review_below: 0.9`" in text
    assert "Of 600 frames that would have passed, 0 were wrong (at most 0.6 %" in text
    assert studio.digests() == before


def test_errors_that_no_value_keeps_back_are_said(studio: Studio, capsys: Any) -> None:
    for number in range(4):
        studio.item(f"PEH-{number:04}", found(150), *accepted(150))
    wrong = [{"frame": number, "corners": MOVED} for number in range(1, 31)]
    studio.item("PEH-0009", found(30), *wrong)
    assert studio.run() == 0
    text = capsys.readouterr().out
    assert "No value up to 0.99 shows that fewer than 1 % pass wrongly" in text
    assert "30 of 630" in text


def test_decisions_that_no_night_has_applied_are_left_out_and_named(
    studio: Studio, capsys: Any
) -> None:
    studio.item("PEH-0001", found(2), *accepted(2))
    studio.item("PEH-0002", found(2), *accepted(2))
    plain = msgspec.to_builtins(studio.standing["PEH-0002"])
    plain["frames"][0]["corners"] = MOVED
    studio.standing["PEH-0002"] = msgspec.convert(plain, Correction)
    text = corrections.as_text(studio.standing)
    (studio.batch / corrections.FILE_NAME).write_text(text, "utf-8")
    assert studio.run() == 0
    text = capsys.readouterr().out
    assert row(text, "strip_135")["decided"] == 2
    assert "no night has applied their decisions yet (1): b1, PEH-0002" in text


def test_corners_with_many_digits_are_no_other_decision(studio: Studio, capsys: Any) -> None:
    fine = [[x + 1 / 3, y + 1e-9] for x, y in MOVED]
    studio.item("PEH-0001", found(1), {"frame": 1, "corners": fine})
    assert studio.run() == 0
    assert "no night has applied" not in capsys.readouterr().out


def test_records_of_earlier_versions_are_named_not_guessed(studio: Studio, capsys: Any) -> None:
    path = studio.item("PEH-0001", found(1), {"frame": 1, "corners": MOVED})
    record = files.read_json(path)
    del record["masters"][0]["frames"][0]["measured"]
    files.write_json(path, record)
    assert studio.run() == 0
    text = capsys.readouterr().out
    assert row(text, "strip_135")["decided"] == 0
    assert "1 decided frames are left out" in text


def test_masters_whose_frames_were_numbered_anew_are_named(studio: Studio, capsys: Any) -> None:
    right = tuple((x + 1200.0, y) for x, y in AT)
    seen = found(2)
    moved = replace(seen.frames[1], corners=right)  # type: ignore[arg-type]
    seen = replace(seen, width=2400, frames=(seen.frames[0], moved))
    corners = [list(point) for point in right]
    path = studio.item("PEH-0001", seen, {"frame": 1, "corners": [list(point) for point in AT]})
    # Earlier versions went by the number alone.
    record = files.read_json(path)
    record["masters"][0]["frames"][0]["corners"] = corners
    record["event"]["detail"]["corrections"]["frames"][0]["corners"] = corners
    files.write_json(path, record)
    standing = {"item": "PEH-0001", "by": "op-07", "frames": [{"frame": 1, "corners": corners}]}
    said = corrections.check({"corrections": [standing]}, "test").corrections
    (studio.batch / corrections.FILE_NAME).write_text(corrections.as_text(said), "utf-8")
    assert studio.run() == 0
    text = capsys.readouterr().out
    assert row(text, "strip_135")["decided"] == 0
    assert "now stand for other frames than those that were drawn (1): PEH-0001, m.tif" in text


def test_a_record_that_cannot_be_read_is_named(studio: Studio, capsys: Any) -> None:
    studio.item("PEH-0001", found(1), *accepted(1))
    studio.item("PEH-0002", found(1)).write_text("{", "utf-8")
    assert studio.run() == 0
    text = capsys.readouterr().out
    assert "Not read: " in text
    assert "PEH-0002" in text


def test_a_batch_whose_masters_were_moved_away_is_scored_and_named(
    studio: Studio, capsys: Any
) -> None:
    studio.item("PEH-0001", found(1), *accepted(1))
    studio.batch.rename(studio.root / "elsewhere")
    assert studio.run("b1") == 0
    text = capsys.readouterr().out
    assert row(text, "strip_135")["decided"] == 1
    assert "The folder of masters is not here" in text


def test_a_damaged_corrections_file_stops_with_its_name(studio: Studio, capsys: Any) -> None:
    studio.item("PEH-0001", found(1), *accepted(1))
    (studio.batch / corrections.FILE_NAME).write_text("corrections: [", "utf-8")
    assert studio.run() == 2
    assert corrections.FILE_NAME in capsys.readouterr().err


@pytest.mark.parametrize("name", ["b2", "..", "b1/items"])
def test_a_batch_that_is_not_there_is_said(studio: Studio, capsys: Any, name: str) -> None:
    studio.item("PEH-0001", found(1))
    assert studio.run(name) == 2
    assert "one of: b1" in capsys.readouterr().err


@pytest.mark.parametrize("given", ["0", "100", "nan", "many"])
def test_a_share_that_cannot_be_is_refused(studio: Studio, given: str) -> None:
    with pytest.raises(SystemExit) as stop:
        studio.run("--wanted", given)
    assert stop.value.code == 2


def test_the_plot_is_drawn_where_it_is_asked_for(studio: Studio, capsys: Any) -> None:
    studio.item("PEH-0001", found(4), *accepted(4))
    target = studio.root / "plot.svg"
    assert studio.run("--plot", str(target)) == 0
    root = etree.parse(str(target)).getroot()
    titles = [each.text for each in root.iter("{*}title")]
    assert "0.97 to 1.00: 4 of 4 right" in titles
    assert str(target) in capsys.readouterr().out


def test_no_plot_is_drawn_of_nothing(studio: Studio, capsys: Any) -> None:
    studio.item("PEH-0001", found(4))
    target = studio.root / "plot.svg"
    assert studio.run("--plot", str(target)) == 0
    assert not target.exists()
    assert "No plot" in capsys.readouterr().out
