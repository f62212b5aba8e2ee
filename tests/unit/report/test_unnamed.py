"""Captures whose item is not known: what is asked, with which rows beside it, and what is written."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path
from typing import Any

import pytest

from faults import batches
from glassine.base import corrections, naming, settings
from glassine.base.errors import Finding, GlassineError
from glassine.base.item_states import ItemStatus
from glassine.base.records.corrections import Correction, Identity
from glassine.report import queue, unnamed, views
from glassine.report.shown import Batch, Item, Master
from glassine.review.session import Session
from makers import make_results, step_calls

PROJECT = Path(__file__).parents[3]


def hold(code: str, path: str) -> Finding:
    return Finding(code, path, "Its name does not tell the item.", "a name.", "Rename it.")


def capture(path: str, at: int, item: str = "", code: str = "naming.off_template") -> Item:
    """Return an item of one capture; without an id the stand-in of a file that tells none."""
    name = item or naming.stand_in(path)
    state = ItemStatus(name, state="done" if item and not code else "held")
    state.findings = [hold(code, path)] if code else []
    return Item(state, masters=[Master(path=path, mtime_ns=at, bytes=1)])


def batch_of(*items: Item, rows: int = 12) -> Batch:
    batch = Batch("night", "Night", items=[*items])
    batch.rows = {
        f"PEH-{n:04d}": views.Row(item=f"PEH-{n:04d}", title=f"Slipway {n}") for n in range(1, rows)
    }
    return batch


def near(batch: Batch, tmp_path: Path, path: str) -> list[tuple[str, str]]:
    unnamed.tell(batch, tmp_path, None)
    (master,) = (each for item in batch.items for each in item.masters if each.path == path)
    assert master.unnamed is not None
    return [(row.item, row.why) for row in master.unnamed.near]


def test_a_capture_between_two_known_ones_is_asked_with_the_row_between_them(
    tmp_path: Path,
) -> None:
    batch = batch_of(
        capture("PEH-0004.tif", 10, "PEH-0004", ""),
        capture("DSC_7731.tif", 20),
        capture("PEH-0006.tif", 30, "PEH-0006", ""),
    )
    rows = near(batch, tmp_path, "DSC_7731.tif")
    assert rows[0] == ("PEH-0005", "follows PEH-0004 in the catalogue")
    assert ("PEH-0004", "the capture before it is of this item") in rows
    assert len(rows) == unnamed.NEAR == len({item for item, _ in rows})


def test_a_label_counts_before_the_name_and_the_name_before_the_order(tmp_path: Path) -> None:
    one = capture("PEH-OO09.tif", 20)
    batch = batch_of(capture("PEH-0002.tif", 10, "PEH-0002", ""), one)
    batch.labels = {one.item: ["peh 0007"]}
    rows = near(batch, tmp_path, "PEH-OO09.tif")
    assert rows[0] == ("PEH-0007", "a label in the picture says so")
    assert [item for item, why in rows[1:4] if "name" in why]
    assert "PEH-0009" in [item for item, _ in rows[:5]]


@pytest.mark.parametrize(
    ("code", "asks", "offers"),
    [
        ("naming.off_template", True, True),
        ("intake.separator_unsure", True, True),
        ("intake.separator_waits", False, False),
    ],
)
def test_a_stand_in_asks_unless_its_session_still_comes(
    code: str, asks: bool, offers: bool
) -> None:
    one = capture("DSC_1.tif", 1, code=code)
    assert bool(unnamed.asked(one)) is asks
    assert bool(unnamed.offered(one)) is offers


def test_captures_of_an_item_without_a_row_stand_last_in_the_queue() -> None:
    """Names of a camera, as DSC_0107.tif, may be taken for parts of an item DSC."""
    one = capture("DSC_0107.tif", 1, "DSC", "catalogue.no_row")
    assert unnamed.offered(one) and not unnamed.asked(one)
    found = queue.groups(batch_of(one, capture("x 1.tif", 2)))
    assert [group.entries[0].master for group in found] == ["x 1.tif", "DSC_0107.tif"]


def test_captures_without_an_item_stand_first_in_the_queue() -> None:
    (group,) = queue.groups(batch_of(capture("DSC_1.tif", 1), capture("DSC_2.tif", 2)))
    assert group.names and [entry.master for entry in group.entries] == ["DSC_1.tif", "DSC_2.tif"]


def test_each_hold_that_sends_to_identity_is_asked_or_of_a_stand_in() -> None:
    """config/findings.md says which findings a person settles under `identity`."""
    of_stand_ins = {"naming.off_template", "intake.made_again", "intake.separator_unsure"}
    told = {
        match[1]
        for line in (PROJECT / "config" / "findings.md").read_text("utf-8").splitlines()
        if (match := re.match(r"\| `([a-z_.]+)` \| hold \|", line))
        and r"under \`identity\`" in line
    }
    assert told - of_stand_ins == unnamed.CODES


def test_the_picture_of_such_a_capture_is_made_once_and_goes_when_it_is_named(
    tmp_path: Path,
) -> None:
    masters = tmp_path / "masters" / "night"
    path = batches.write_master(masters / "DSC_1.tif", 3)
    before = path.read_bytes()
    status = path.stat()
    results = tmp_path / "results" / "night"
    one = capture(path.name, status.st_mtime_ns)
    one.masters[0].width, one.masters[0].height = 300, 220
    unnamed.tell(batch_of(one), results, masters)
    preview = one.masters[0].preview
    assert preview is not None
    made = results / "report" / preview
    stamp = made.stat().st_mtime_ns
    again = capture(path.name, status.st_mtime_ns)
    unnamed.tell(batch_of(again), results, masters)
    assert again.masters[0].preview == preview and made.stat().st_mtime_ns == stamp
    unnamed.tell(batch_of(), results, masters)
    assert not made.exists()
    assert path.read_bytes() == before and path.stat().st_mtime_ns == status.st_mtime_ns


@pytest.mark.parametrize("kind", ["text", "link", "pipe", "gone", "outside"])
def test_what_is_no_sound_capture_has_no_picture_and_a_note(tmp_path: Path, kind: str) -> None:
    masters = tmp_path / "masters" / "night"
    masters.mkdir(parents=True)
    path = masters / "DSC_1.tif"
    name = path.name
    if kind == "text":
        path.write_bytes(b"II*\0 no more")
    elif kind == "link":
        path.symlink_to(batches.write_master(tmp_path / "other.tif", 1))
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "outside":
        batches.write_master(tmp_path / "masters" / "other.tif", 1)
        name = "../other.tif"
    batch = batch_of(capture(name, 1))
    unnamed.tell(batch, tmp_path / "results", masters)
    assert batch.items[0].masters[0].preview is None
    assert [note.code for note in batch.notes] == ["report.no_picture"]


# A name that tells no item by the pattern of the settings.
NAMELESS = "capture 0107.tif"


def session_of(tmp_path: Path) -> tuple[Session, str]:
    given = make_results.write_batch(tmp_path, 5, pictures=False)
    results = tmp_path / "results" / make_results.BATCH
    stand_in = naming.stand_in(NAMELESS)
    record = json.loads((results / "intake.json").read_text("utf-8"))
    told = make_results.finding("naming.off_template", NAMELESS, "It tells no item.")
    line = make_results.entry(stand_in, 0, "held", catalogue=None, findings=[told])
    line["masters"][0]["path"] = NAMELESS
    record["items"].append(line)
    (results / "intake.json").write_text(json.dumps(record), "utf-8")
    return Session(given["batch"], results, tmp_path, writable=True), stand_in


def named(item: str, to: str, master: str = NAMELESS) -> dict[str, Any]:
    return {
        "item": item, "by": "op-07", "when": "2026-03-18T08:55:00Z",
        "identity": [{"master": master, "item": to}],
    }  # fmt: skip


def test_what_the_page_saves_the_next_intake_takes(tmp_path: Path) -> None:
    """The record that the run makes has the capture with its item, and no stand-in any more."""
    session, stand_in = session_of(tmp_path)
    folder = tmp_path / "masters" / "night"
    batches.write_master(folder / NAMELESS, 1)
    batches.write_lists(folder, ["PEH-0107"])
    config = settings.load({"intake": {"watch_s": 0}})
    record = step_calls.taken_in(folder, {"batch": "night", "settings": config})
    assert [item["item"] for item in record["items"]] == [stand_in]
    session.batch_dir = folder
    assert session.save({"corrections": [named(stand_in, "PEH-0107")], "seen": {}})["saved"]
    record = step_calls.taken_in(folder, {"batch": "night", "settings": config})
    (item,) = record["items"]
    assert (item["item"], item["state"]) == ("PEH-0107", "ready")


def test_an_item_that_is_gone_once_its_capture_is_named_can_be_taken_back(tmp_path: Path) -> None:
    """The next run has no stand-in any more; its decision still stands and can be changed."""
    session, stand_in = session_of(tmp_path)
    answer = session.save({"corrections": [named(stand_in, "PEH-9001")], "seen": {}})
    assert answer["saved"]
    record = json.loads((session.results / "intake.json").read_text("utf-8"))
    record["items"] = [line for line in record["items"] if line["item"] != stand_in]
    (session.results / "intake.json").write_text(json.dumps(record), "utf-8")
    seen = {stand_in: answer["corrections"][stand_in]}
    back = {"item": stand_in, "by": "op-07", "when": "2026-03-18T09:00:00Z", "frames": []}
    assert session.save({"corrections": [back], "seen": seen})["saved"]
    assert corrections.read(session.target).corrections == {}


def test_a_capture_that_another_entry_gives_elsewhere_is_refused_and_the_file_stays_readable(
    tmp_path: Path,
) -> None:
    """An entry by hand may name the same capture; both together would be a file no run reads."""
    session, stand_in = session_of(tmp_path)
    session.target.write_text(
        "corrections:\n- item: PEH-0001\n  identity: {master: capture 0107.tif, item: PEH-0001}\n",
        "utf-8",
    )
    before = session.target.read_bytes()
    with pytest.raises(GlassineError, match="PEH-0001"):
        session.save({"corrections": [named(stand_in, "PEH-9001")], "seen": {}})
    assert session.target.read_bytes() == before
    assert corrections.read(session.target).corrections


def test_a_decision_whose_a_capture_is_stands_with_the_item_that_has_it_now() -> None:
    from glassine.base import decisions
    from glassine.report import decided

    given = Correction(identity=[Identity(master="a.tif", item="PEH-0001")], by="op-07")
    (decision,) = decisions.between("unnamed-1", None, given, given, None)
    item = capture("a.tif", 1, "PEH-0001", "")
    row = decided._row({"PEH-0001": item}, Path("nowhere"), decision)
    assert (row.item, row.note) == ("PEH-0001", "")
    assert "a.tif is of PEH-0001" in row.what
    row = decided._row({}, Path("nowhere"), decision)
    assert row.note == "not applied: a.tif"


def test_the_report_of_a_batch_with_such_a_capture_names_rows_and_says_what_to_do(
    tmp_path: Path,
) -> None:
    session, stand_in = session_of(tmp_path)
    given = {
        "batch": session.batch,
        "settings": {"catalogue": {"columns": {"item": "item_id", "title": "title"}}},
        "institution": make_results.INSTITUTION,
        "masters": str(tmp_path / "masters"),
    }
    (tmp_path / "masters").mkdir()
    (tmp_path / "masters" / "catalogue.csv").write_text(
        "item_id,title,date\nPEH-0107,Slipway <b>,1906\n", "utf-8"
    )
    page = step_calls.write_report(session.results, given).read_text("utf-8")
    assert "Say which item 1 capture is of" in page
    rows = (session.results / "report" / "rows.js").read_text("utf-8")
    assert "PEH-0107" in rows and "<b>" not in rows
    (details,) = (session.results / "report").glob("details-*.js")
    assert "stands in the file" in details.read_text("utf-8")
    assert stand_in in page


def test_a_page_that_was_open_over_a_run_saves_what_is_still_there(tmp_path: Path) -> None:
    """The capture was named meanwhile, so its stand-in is gone; other decisions are not lost."""
    session, stand_in = session_of(tmp_path)
    record = json.loads((session.results / "intake.json").read_text("utf-8"))
    record["items"] = [line for line in record["items"] if line["item"] != stand_in]
    (session.results / "intake.json").write_text(json.dumps(record), "utf-8")
    other = {"item": "PEH-0001", "by": "op-07", "when": "2026-03-18T09:00:00Z", "note": "Seen."}
    answer = session.save({"corrections": [named(stand_in, "PEH-9001"), other], "seen": {}})
    assert answer["saved"] and answer["gone"] == [stand_in] and stand_in in answer["message"]
    assert list(corrections.read(session.target).corrections) == ["PEH-0001"]
