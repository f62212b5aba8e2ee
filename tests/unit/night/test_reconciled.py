"""The run's summary names the items that are missing, surplus or captured twice."""

import json

from glassine.night import reconciled


def summary_of(results, **intakes):
    for name, intake in intakes.items():
        (results / name).mkdir()
        (results / name / "intake.json").write_text(json.dumps(intake))
    return reconciled.added({"batches": [{"batch": name} for name in intakes]}, results)


def test_items_are_named_by_batch_and_counted_over_all(tmp_path):
    one = {
        "count": 3, "sources": ["pull-list.csv"], "unread": [], "double": ["B"],
        "missing": [{"item": "C", "shelf_mark": "x", "title": ""}], "surplus": ["D"],
    }  # fmt: skip
    two = {**one, "missing": [], "surplus": ["E", "F"], "double": []}
    told = summary_of(tmp_path, b1={"expected": one}, b2={"expected": two}, b3={"expected": None})
    assert told["batches"][0]["expected"]["missing"] == ["C"]
    assert told["batches"][1]["expected"]["surplus"] == ["E", "F"]
    assert "expected" not in told["batches"][2]
    assert (told["missing"], told["surplus"], told["double"]) == (1, 3, 1)


def test_a_list_that_could_not_be_read_is_named(tmp_path):
    told = summary_of(tmp_path, b1={"expected": {"count": 0, "unread": ["pull-list.csv"]}})
    assert told["batches"][0]["expected"]["unread"] == ["pull-list.csv"]


def test_a_damaged_record_ends_no_summary(tmp_path):
    assert summary_of(tmp_path, b1=[1, 2])["missing"] == 0
