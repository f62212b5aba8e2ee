"""Each item is in exactly one state, whatever its files look like."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from glassine.base import item_states
from makers import make_results


@pytest.fixture
def results(tmp_path: Path) -> Path:
    make_results.write_batch(tmp_path, 12, pictures=False)
    return tmp_path / "results" / make_results.BATCH


def states(results: Path) -> dict[str, str]:
    return {each.item: each.state for each in item_states.batch_status(results)}


def test_the_states_of_a_night(results: Path) -> None:
    found = states(results)
    assert found["PEH-0001"] == "done"
    assert found["PEH-0004"] == "review"  # an outline that is not certain
    assert found["PEH-0007"] == "review"  # a measure outside its limit
    assert found["PEH-0009"] == "held"  # held.json of verify
    assert found["PEH-0010"] == "held"  # held by intake
    assert found["PEH-0011"] == "waiting"
    assert found["PEH-0012"] == "pending"


def test_what_a_person_accepted_asks_no_more(results: Path) -> None:
    intake = json.loads((results / "intake.json").read_text("utf-8"))
    entry = next(each for each in intake["items"] if each["item"] == "PEH-0007")
    entry["corrections"] = {"by": "op-07", "frames": [{"frame": 1, "accept": True}]}
    item_dir = results / "items" / "PEH-0007"
    assert item_states.item_status(entry, item_dir).state == "done"
    entry["corrections"]["frames"][0]["accept"] = False
    assert item_states.item_status(entry, item_dir).state == "review"
    entry["corrections"]["frames"] = [{"frame": 1, "master": "another.tif", "accept": True}]
    assert item_states.item_status(entry, item_dir).state == "review"


def test_the_counts_add_up(results: Path) -> None:
    statuses = item_states.batch_status(results)
    counted = item_states.counts(statuses)
    assert counted["total"] == 12
    assert sum(counted[state] for state in item_states.STATES) == 12
    assert counted == {
        "done": 6,
        "review": 2,
        "held": 2,
        "waiting": 1,
        "pending": 1,
        "total": 12,
    }


def test_held_items_say_where_and_why(results: Path) -> None:
    held = {each.item: each for each in item_states.batch_status(results) if each.state == "held"}
    assert held["PEH-0009"].step == "verify"
    assert [finding.code for finding in held["PEH-0009"].findings] == ["verify.digest"]
    assert held["PEH-0010"].step == "intake"


@pytest.mark.parametrize("name", ["fixity", "geometry", "render", "quality", "embedded", "package"])
@pytest.mark.parametrize("content", ["", "{", "[]", '{"a": 1, "a": 2}', '{"frames": 3}'])
def test_a_damaged_record_is_told_and_the_rest_stands(
    results: Path, name: str, content: str
) -> None:
    folder = results / "items" / "PEH-0001"
    path = folder / "render" / "render.json" if name == "render" else folder / f"{name}.json"
    path.write_text(content, "utf-8")
    found = {each.item: each for each in item_states.batch_status(results)}
    shaped = name in {"geometry", "quality"} or content != '{"frames": 3}'
    if shaped:
        assert found["PEH-0001"].state == "held"
        assert found["PEH-0001"].damaged == [name]
        assert found["PEH-0001"].findings[0].next_step
    assert found["PEH-0002"].state == "done"


def test_a_held_item_wins_over_an_older_package(results: Path) -> None:
    told = make_results.finding("locate.no_frame", "PEH-0001.tif", "No frame.")
    make_results.write_json(
        results / "items" / "PEH-0001" / "held.json", {"step": "locate", "findings": [told]}
    )
    assert states(results)["PEH-0001"] == "held"


_json = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner),
    max_leaves=8,
)


@settings(max_examples=50)
@given(
    record=_json,
    name=st.sampled_from(["held", "geometry", "quality", "package"]),
    keys=st.sampled_from([None, "masters", "frames", "findings"]),
)
def test_no_record_brings_the_states_down(
    record: Any, name: str, keys: str | None, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("item")
    content = record if keys is None else {keys: record}
    (folder / f"{name}.json").write_text(json.dumps(content), "utf-8")
    entry = {"item": "PEH-1", "state": "ready", "findings": []}
    found = item_states.item_status(entry, folder)
    assert found.state in item_states.STATES
    assert (found.state == "held") == bool(found.findings)
