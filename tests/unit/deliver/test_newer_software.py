"""Items that come out otherwise by newer software alone are delivered again only when asked for;
what changed for any other reason always goes out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from glassine.base import files, record_files
from glassine.base.errors import GlassineError
from glassine.base.records.fixity import Fixity
from glassine.deliver import causes, receipt_files, step
from glassine.deliver import due as due_items
from glassine.night import due
from makers import deliveries, made_items, redelivered
from makers.step_calls import do_delivery


@pytest.fixture(autouse=True)
def no_records(monkeypatch: pytest.MonkeyPatch) -> None:
    deliveries.without_records(monkeypatch)


def delivered(root: Path, given: dict[str, Any], **section: str) -> step.Outcome:
    given["settings"]["delivery"].update(section)
    return do_delivery(root, given)


def asked_of(caught: pytest.ExceptionInfo[GlassineError]) -> str:
    (finding,) = caught.value.findings
    assert finding.code == "delivery.new_version"
    return finding.what


def latest(root: Path) -> dict[str, Any]:
    receipts = [files.read_json(path) for path in (root / "deliveries").glob("*.receipt.json")]
    return dict(max(receipts, key=lambda receipt: int(receipt["revision"])))


def held_by(receipt: dict[str, Any]) -> list[str]:
    return [entry["item"] for entry in receipt["items"]]


@pytest.mark.parametrize("later", ["whole", "changed"])
def test_it_asks_each_night_until_told_to_deliver(later: str, tmp_path: Path) -> None:
    given = redelivered.make_batch(tmp_path, later=later)
    do_delivery(tmp_path, given)
    redelivered.newer_software(tmp_path, "PEH-0002")
    for _ in range(2):
        with pytest.raises(GlassineError) as caught:
            do_delivery(tmp_path, given)
        assert "PEH-0002" in asked_of(caught)
        assert "PEH-0001" not in asked_of(caught)
        assert not (tmp_path / "deliveries" / "b1.r2").exists()
    outcome = delivered(tmp_path, given, on_new_version="deliver")
    assert outcome.delivery == "b1.r2"
    assert held_by(latest(tmp_path)) == (
        ["PEH-0002"] if later == "changed" else ["PEH-0001", "PEH-0002"]
    )
    # The night after asks nothing: the repository has it as it is.
    assert delivered(tmp_path, given, on_new_version="ask").delivery == "b1.r2"


@pytest.mark.parametrize("later", ["whole", "changed"])
def test_keep_leaves_the_repository_with_what_it_has_and_says_so(
    later: str, tmp_path: Path
) -> None:
    given = redelivered.make_batch(tmp_path, later=later, on_new_version="keep")
    do_delivery(tmp_path, given)
    redelivered.newer_software(tmp_path, "PEH-0002")
    outcome = do_delivery(tmp_path, given)
    assert outcome.delivery == "b1"
    assert [note.code for note in outcome.notes] == ["delivery.kept"]
    assert "PEH-0002" in outcome.notes[0].what


@pytest.mark.parametrize("later", ["whole", "changed"])
@pytest.mark.parametrize("choice", ["ask", "keep"])
@pytest.mark.parametrize("change", ["master", "title"])
def test_a_real_change_goes_out_whatever_is_set(
    later: str, choice: str, change: str, tmp_path: Path
) -> None:
    given = redelivered.make_batch(tmp_path, later=later, on_new_version=choice)
    do_delivery(tmp_path, given)
    if change == "master":
        redelivered.another_master(tmp_path, "PEH-0002")
    else:
        redelivered.changed_title(tmp_path, "PEH-0002", "The other quay")
    outcome = do_delivery(tmp_path, given)
    assert outcome.delivery == "b1.r2"
    assert "PEH-0002" in held_by(latest(tmp_path))
    assert outcome.notes == ()


def test_a_change_beside_newer_software_goes_out_alone_and_the_rest_is_asked(
    tmp_path: Path,
) -> None:
    given = redelivered.make_batch(tmp_path, 3, later="changed")
    do_delivery(tmp_path, given)
    redelivered.newer_software(tmp_path, "PEH-0002")
    redelivered.changed_title(tmp_path, "PEH-0003", "The other quay")
    for _ in range(2):
        with pytest.raises(GlassineError) as caught:
            do_delivery(tmp_path, given)
        assert "PEH-0002" in asked_of(caught)
        assert held_by(latest(tmp_path)) == ["PEH-0003"]
    delivered(tmp_path, given, on_new_version="deliver")
    assert held_by(latest(tmp_path)) == ["PEH-0002"]


def test_a_whole_delivery_for_another_reason_says_what_went_along(tmp_path: Path) -> None:
    given = redelivered.make_batch(tmp_path, 3)
    do_delivery(tmp_path, given)
    redelivered.newer_software(tmp_path, "PEH-0002")
    redelivered.changed_title(tmp_path, "PEH-0003", "The other quay")
    outcome = do_delivery(tmp_path, given)
    assert outcome.delivery == "b1.r2"
    assert [note.code for note in outcome.notes] == ["delivery.went_along"]
    assert "PEH-0002" in outcome.notes[0].what
    assert "PEH-0003" not in outcome.notes[0].what


@pytest.mark.parametrize("choice", ["ask", "keep"])
def test_what_cannot_be_told_is_asked_never_kept(choice: str, tmp_path: Path) -> None:
    """As of receipts that earlier versions wrote."""
    given = redelivered.make_batch(tmp_path, on_new_version=choice)
    do_delivery(tmp_path, given | {"inputs": {}})
    redelivered.changed_title(tmp_path, "PEH-0002", "The other quay")
    with pytest.raises(GlassineError) as caught:
        do_delivery(tmp_path, given)
    assert "alone is the reason with 0; with 1 it is not known" in asked_of(caught)
    redelivered.another_master(tmp_path, "PEH-0002")
    assert do_delivery(tmp_path, given).delivery == "b1.r2"


def test_what_an_item_is_made_of_does_not_change_with_versions_or_times(tmp_path: Path) -> None:
    master = {"path": "a.tif", "bytes": 3, "mtime_ns": 1, "expected": {"sha256": "00"}}
    given = [
        {"step": "look", "version": "1", "tone": "6", "masters": [master], "settings": {"a": 1}},
        {"step": "render", "version": "1", "films": [{"film": 1}], "masters": [master]},
        {"step": "embed", "version": "1", "alternates": "1", "catalogue": {"title": "A quay"}},
    ]
    newer = [
        {**given[0], "version": "2", "tone": "7", "masters": [{**master, "mtime_ns": 2}]},
        {**given[1], "version": "2", "films": [{"film": 2}]},
        {**given[2], "version": "2", "alternates": "2"},
    ]
    assert due.inputs_of(newer) == due.inputs_of(given)
    for place, key, value in (
        (0, "settings", {"a": 2}),
        (1, "masters", [{**master, "expected": {"sha256": "01"}}]),
        (2, "catalogue", {"title": "Another quay"}),
    ):
        other = [dict(one) for one in given]
        other[place][key] = value
        assert due.inputs_of(other) != due.inputs_of(given)


def test_frames_that_join_a_film_change_what_its_items_are_made_of(tmp_path: Path) -> None:
    """Another frame of a film moves its values: then its items are not as before, and go out."""
    for item in ("PEH-0001", "PEH-0002", "PEH-0003"):
        one = {"step": "look", "item": item, "masters": []}
        stamp = {"inputs": due.inputs_of([one])} | ({"pools": True} if item != "PEH-0003" else {})
        files.write_json(tmp_path / item / due.STAMP, stamp)
    pooling = {"pool": "found", "pool_step": 0.02}
    alone = due.delivered_inputs(tmp_path, ["PEH-0001", "PEH-0003"], pooling)
    joined = due.delivered_inputs(tmp_path, ["PEH-0001", "PEH-0002", "PEH-0003"], pooling)
    assert alone["PEH-0001"] != joined["PEH-0001"]
    assert alone["PEH-0003"] == joined["PEH-0003"]
    other = due.delivered_inputs(tmp_path, ["PEH-0001", "PEH-0003"], {**pooling, "pool_step": 0})
    assert other["PEH-0001"] != alone["PEH-0001"]
    assert "PEH-0009" not in due.delivered_inputs(tmp_path, ["PEH-0009"], pooling)


def test_a_raw_file_that_is_developed_otherwise_is_no_other_capture(tmp_path: Path) -> None:
    """The picture's bytes follow from the software; what counts is the file of the camera."""
    given = redelivered.make_batch(tmp_path)
    do_delivery(tmp_path, given)
    path = made_items.item_dir_of(tmp_path, "PEH-0002") / "fixity.json"
    delivered = causes.last_of(receipt_files.read(tmp_path / "deliveries", "b1").sound)["PEH-0002"]
    item = due_items.item_of(path.parent, due_items.read_package(path.parent))
    (master,) = record_files.load(path, "fixity", Fixity).masters
    other = "0" * 64
    for digest, expected in ((master.digests.sha256, "software"), (other, "changed")):
        fixity = files.read_json(path)
        raw = {**fixity["masters"][0], "path": "PEH-0002.dng"}
        raw.pop("source", None)
        raw["digests"] = {**raw["digests"], "sha256": digest}
        fixity["masters"][0] |= {"source": raw}
        fixity["masters"][0]["digests"] = {**raw["digests"], "sha256": "1" * 64}
        files.write_json(path, fixity)
        changed = replace(item, digest="2" * 64)
        assert causes.cause_of(changed, delivered, delivered.item.inputs) == expected
