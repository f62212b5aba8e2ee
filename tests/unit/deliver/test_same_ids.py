"""Two batches with items of one id: told in both, and the second one held."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import pytest

from glassine.base import files
from glassine.base.errors import GlassineError
from glassine.deliver import same_ids
from glassine.deliver import step as delivery
from makers import deliveries, made_items
from makers.step_calls import do_delivery


@pytest.fixture(autouse=True)
def no_records(monkeypatch: pytest.MonkeyPatch) -> None:
    deliveries.without_records(monkeypatch)


def intake(root: Path, batch: str, items: list[str], **more: Any) -> None:
    entries = [{"item": item} for item in items]
    files.write_json(root / "results" / batch / "intake.json",
                     {"batch": batch, "items": entries, **more})  # fmt: skip


def receipt(root: Path, batch: str, items: list[str], revision: int = 1, **more: Any) -> None:
    name = batch if revision == 1 else f"{batch}.r{revision}"
    entries = [{"item": item} for item in items]
    made = {"batch": batch, "delivery": name, "revision": revision, "items": entries,
            "time": f"2026-03-1{revision}T02:00:00Z", **more}  # fmt: skip
    files.write_json(root / "deliveries" / "receipts" / f"{name}.json", made)


def told(root: Path, batch: str, items: list[str], held: bool = True) -> list[tuple[str, str, str]]:
    found = same_ids.findings(root / "results", root / "deliveries", batch, items, held=held)
    assert all(each.next_step for each in found)
    return [(each.severity, each.path, each.what.split()[2]) for each in found]


def test_both_are_told_and_the_second_by_name_is_held_where_nothing_is_delivered(
    tmp_path: Path,
) -> None:
    intake(tmp_path, "a", ["PEH-0001", "PEH-0002"])
    intake(tmp_path, "b", ["PEH-0002", "PEH-0003"])
    assert told(tmp_path, "a", ["PEH-0001", "PEH-0002"]) == [("note", "PEH-0002", "b")]
    assert told(tmp_path, "b", ["PEH-0002", "PEH-0003"]) == [("hold", "PEH-0002", "a")]
    assert told(tmp_path, "b", ["PEH-0002"], held=False) == [("note", "PEH-0002", "a")]


def test_who_delivered_is_first_whatever_its_name(tmp_path: Path) -> None:
    intake(tmp_path, "a", ["PEH-0002"])
    receipt(tmp_path, "b", ["PEH-0002"])
    assert told(tmp_path, "a", ["PEH-0002"]) == [("hold", "PEH-0002", "b")]
    assert told(tmp_path, "b", ["PEH-0002"]) == [("note", "PEH-0002", "a")]


def test_the_same_batch_delivered_again_is_no_other(tmp_path: Path) -> None:
    intake(tmp_path, "b", ["PEH-0002"])
    receipt(tmp_path, "b", ["PEH-0002"])
    receipt(tmp_path, "b", ["PEH-0002"], 2)
    assert told(tmp_path, "b", ["PEH-0002"]) == []


def test_what_the_other_withdrew_is_free(tmp_path: Path) -> None:
    receipt(tmp_path, "a", ["PEH-0002"])
    intake(tmp_path, "b", ["PEH-0002"])
    assert told(tmp_path, "b", ["PEH-0002"]) != []
    away = {"item": "PEH-0002", "master": None, "frames": None}
    receipt(tmp_path, "a", ["PEH-0001"], 2, withdrawn=[away])
    assert told(tmp_path, "b", ["PEH-0002"]) == []


def test_files_without_an_item_and_damaged_records_are_passed_over(tmp_path: Path) -> None:
    intake(tmp_path, "a", ["unidentified-0a0b0c0d"])
    intake(tmp_path, "b", ["unidentified-0a0b0c0d", "PEH-0001"])
    files.write_text(tmp_path / "results" / "c" / "intake.json", "{")
    files.write_text(tmp_path / "results" / same_ids.INDEX, "[")
    assert told(tmp_path, "b", ["unidentified-0a0b0c0d", "PEH-0001"]) == []


def test_what_changed_is_read_again(tmp_path: Path) -> None:
    intake(tmp_path, "a", ["PEH-0001"])
    intake(tmp_path, "b", ["PEH-0002"])
    assert told(tmp_path, "b", ["PEH-0002"]) == []
    intake(tmp_path, "a", ["PEH-0001", "PEH-0002"])
    assert told(tmp_path, "b", ["PEH-0002"]) == [("hold", "PEH-0002", "a")]


def test_ten_thousand_items_cost_no_seconds(tmp_path: Path) -> None:
    items = [f"PEH-{number:05d}" for number in range(10_000)]
    for batch in ("a", "b", "c"):
        intake(tmp_path, batch, [f"{batch}-{item}" for item in items])
        receipt(tmp_path, batch, [f"{batch}-{item}" for item in items])
    told(tmp_path, "a", [])
    same_ids._claims.cache_clear()  # as in a new process, with the index written
    start = time.process_time()
    assert told(tmp_path, "c", [f"c-{item}" for item in items]) == []
    assert time.process_time() - start < 1.0


def test_the_second_batch_is_not_delivered(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path, 2)
    intake(tmp_path, "b1", given["items"])
    receipt(tmp_path, "another", ["PEH-0002"])

    def deliver(**own: str) -> delivery.Outcome:
        config = {**given["settings"]["delivery"], **own}
        return do_delivery(tmp_path, given | {"settings": {"delivery": config, "package": {}}})

    with pytest.raises(GlassineError) as caught:
        deliver(when="passed")
    (finding,) = caught.value.findings
    assert (finding.code, finding.path) == ("delivery.id_twice", "PEH-0002")
    assert not (tmp_path / "deliveries" / "b1").exists()
    assert deliver(same_ids="told").delivery == "b1"
    assert made_items.item_dir_of(tmp_path, "PEH-0002").is_dir()
