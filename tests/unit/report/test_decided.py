"""The next report tells what people decided; the charts mark what is furthest outside."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from glassine.base import decisions
from glassine.base.item_states import ItemStatus
from glassine.base.records.corrections import CorrectedFrame, Correction
from glassine.report import decided, plots
from glassine.report.shown import Batch, Item, Master
from glassine.review.session import Session
from makers import make_results, step_calls

BATCH = make_results.BATCH


def frame(**said: Any) -> dict[str, Any]:
    return {"master": "PEH-0001.tif", "frame": 1, **said}


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The report after decisions at the page, and one written by hand."""
    root = tmp_path_factory.mktemp("decided")
    given = make_results.write_batch(root, 5)
    results, batch_dir = root / "results" / BATCH, root / "masters" / BATCH
    batch_dir.mkdir(parents=True)
    session = Session(BATCH, results, batch_dir, writable=True)
    asked = {"item": "PEH-0001", "note": "<i>dust</i>", "frames": [frame(rotate=90, exclude=True)]}
    answer = session.save({"corrections": [asked], "seen": {}, "seconds": {"PEH-0001": 5}}, "op-07")
    back = {"item": "PEH-0001", "note": "<i>dust</i>", "frames": [frame(accept=True)]}
    seen = {"PEH-0001": answer["corrections"]["PEH-0001"]}
    session.save({"corrections": [back], "seen": seen}, "op-08")
    text = session.target.read_text("utf-8")
    hand = '- {item: PEH-0002, by: op-03, when: "2026-03-18T08:55:00Z", frames: [{frame: 9, accept: true}]}\n'
    session.target.write_text(text + hand, "utf-8")
    step_calls.write_report(results, {**given, "masters": str(batch_dir)})
    page = (results / "report" / "index.html").read_text("utf-8")
    return page[page.index('<section id="decided">') : page.index('<section id="all"')]


def test_who_decided_what_and_how_long_it_took(told: str) -> None:
    words = re.sub(r"<[^>]+>", " ", told)
    assert "Frame 1: left out, turned by 90°" in words
    assert "Frame 1: accepted as it is, taken in again, not turned" in words
    assert "op-07: 2, 2.5 s each in the median" in words
    assert "op-08: 1." in words
    assert 'datetime="2026-03-18T08:55:00Z"' in told


def test_texts_are_text(told: str) -> None:
    assert "&lt;i&gt;dust" in told and "<i>" not in told


def test_the_picture_before_and_the_one_of_now_are_shown(told: str) -> None:
    before = re.findall(r'src="(before/[^"]+)"', told)
    assert len(set(before)) == 1
    assert '../items/PEH-0001/thumbs/PEH-0001_thumb.jpg"' in told


def test_a_decision_by_hand_on_a_frame_that_is_not_there_is_said(told: str) -> None:
    row = told[told.index("PEH-0002") :]
    assert "not applied: there is no such frame now" in row[: row.index("</tr>")]


def test_what_was_not_applied_to_any_frame_is_said() -> None:
    entry = {"master": "a.tif", "frame": 1, "rotate": 90}
    master = Master(path="a.tif", decided=[{"entry": entry, "on": None}])
    item = Item(ItemStatus("a", state="review"), masters=[master])
    standing = {"a": Correction(frames=[CorrectedFrame(master="a.tif", frame=1, rotate=90)])}
    batch = Batch("night", "Night", items=[item], standing=standing)
    (row,) = decided.of_batch(batch, Path("/nowhere")).rows
    assert row.note == "not applied: the frames are others now"


def test_a_journal_that_is_damaged_or_hostile_leaves_the_rest(tmp_path: Path) -> None:
    good = {
        "item": "a", "part": {"name": "frame", "master": "a.tif", "frame": 1}, "by": "op-07",
        "when": "2026-03-18T08:55:00Z", "was": None, "now": {"rotate": 90},
    }  # fmt: skip
    lines = [
        json.dumps(good),
        "[" * 5000,
        "{}",
        "not JSON",
        json.dumps({**good, "part": "frame"}),
        json.dumps({**good, "now": [1], "was": "x"}),
        json.dumps({**good, "item": "../../x", "by": None, "when": None}),
        "",
    ]
    (tmp_path / decisions.FILE_NAME).write_text("\n".join(lines), "utf-8")
    found = decided.of_batch(Batch("night", "Night"), tmp_path)
    assert found.total == 3
    assert {row.note for row in found.rows} == {"the batch has no such item now"}


def test_the_worst_are_marked_not_the_first() -> None:
    mild = [plots.Point(f"mild-{n}", 1, 0.6, False) for n in range(60)]
    worst = [plots.Point(f"worst-{n}", 1, 2.0 + n, False) for n in range(30)]
    drawn = plots.drift(plots.Series("noise", "D", "<= 0.5", "", [*mild, *worst]))
    marked = re.findall(r"#item=([a-z]+)", drawn)
    assert (marked.count("worst"), marked.count("mild")) == (30, 10)
    low = [plots.Point("low", 1, 0.01, False), *[plots.Point("n", 1, 0.45, False)] * 50]
    assert "#item=low" in plots.drift(plots.Series("tone", "", "0.2 to 0.4", "", low))
