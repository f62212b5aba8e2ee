"""intake.json as a run reads it: records of earlier versions too, damaged ones told as such."""

import copy

import msgspec
import pytest

from glassine.base import files, settings
from glassine.base.errors import GlassineError
from glassine.night import due
from glassine.night.lookup import Lookup
from glassine.night.progress import progress_of
from glassine.night.run import Run
from unit.night.test_plan import INTAKE


def test_a_record_of_a_version_that_kept_facts_by_item_is_read():
    before = copy.deepcopy(INTAKE)
    for item in before["items"]:
        del item["masters"][0]["facts"]
        item["facts"] = {"kind": "plate"}
    batch = due.Batch(before)
    assert batch.ready() == ["PEH-1", "PEH-2"]
    given = due.given("locate", batch, "PEH-1", settings.load({}))
    assert given["masters"] == before["items"][0]["masters"]


def test_what_steps_are_given_is_the_json_of_the_record_as_it_stands():
    """A number that was written whole stays whole: digests are made of it."""
    record = copy.deepcopy(INTAKE)
    record["items"][0]["masters"][0]["facts"]["nominal_ppi"] = 700
    given = due.given("locate", due.Batch(record), "PEH-1", settings.load({}))
    assert files.canonical(given["masters"]) == files.canonical(record["items"][0]["masters"])


@pytest.mark.parametrize(
    "change",
    [
        {"items": [{"item": "PEH-1"}]},
        {"items": [{**INTAKE["items"][0], "state": "done"}]},
        {"items": [{**INTAKE["items"][0], "item": "../x"}]},
        {"items": None},
    ],
)
def test_a_damaged_record_is_told_and_made_anew(tmp_path, change):
    path = tmp_path / "results" / "b1" / "intake.json"
    files.write_json(path, {**INTAKE, **change})
    with pytest.raises(GlassineError) as caught:
        due.read_batch(path)
    assert [each.code for each in caught.value.findings] == ["contracts.intake"]
    (tmp_path / "masters" / "b1").mkdir(parents=True)
    lookup: Lookup = Run({"masters": "masters"}, tmp_path).lookup
    assert lookup.steps_given("b1", "PEH-1") is None
    lookup.drop_damaged_intake("b1")
    assert not path.exists()


def test_progress_reads_of_a_record_what_it_needs(tmp_path):
    results = tmp_path / "b1"
    entries = [{"item": "PEH-1", "state": "waiting"}, {"item": "PEH-2", "state": "ready", "x": 1}]
    files.write_json(results / "intake.json", {"items": entries, "more": True})
    now = progress_of(results, 0.0)
    assert (now.total, now.waiting, now.left) == (2, 1, 1)


def test_the_type_and_the_json_of_a_record_are_the_same():
    batch = due.Batch(INTAKE)
    assert {item: entry.state for item, entry in batch.items.items()} == {
        item: entry["state"] for item, entry in batch.entries.items()
    }
    assert msgspec.to_builtins(batch.record)["rows"] == INTAKE["rows"]
