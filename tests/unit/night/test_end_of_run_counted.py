"""At the end of a run nothing is read of items that are as they were; and what changed is seen.

Files are counted and not seconds: those of 10,000 items must not be opened in each night.
"""

from __future__ import annotations

import os
import shutil
import types
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest

from glassine import steps
from glassine.base import files, item_marks, item_states, settings
from glassine.base.model import ItemId
from glassine.deliver import step as delivery
from glassine.handover import facts
from glassine.handover import step as handover
from glassine.night import due
from makers import deliveries, made_items

ITEMS = ("PEH-0001", "PEH-0002")
COLUMNS = ["item", "state", "delivery", "withdrawn", "catalogue.title", "manifest_url"]
BASE = "https://images.port-ellery.example/iiif"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("made")
    with pytest.MonkeyPatch.context() as patch:
        deliveries.without_records(patch)
        for seed, item in enumerate(ITEMS, 1):
            given = made_items.make_item(root, item, seed)
            geometry = made_items.item_dir_of(root, item) / "geometry.json"
            record = files.read_json(geometry)
            record["masters"][0]["frames"][0] |= {"state": "ok", "reasons": []}
            files.write_json(geometry, record)
            publish(root, item, "")
            deliveries.finish(root, given)
    write_intake(root)
    return root


@pytest.fixture
def root(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "root")
    return tmp_path / "root"


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The records that are read, from now on."""
    names: list[str] = []
    read = files.read_json

    def reading(path: Path) -> Any:
        names.append(path.name)
        return read(path)

    monkeypatch.setattr(files, "read_json", reading)
    return names


def publish(root: Path, item: str, more: str) -> None:
    manifest = {"id": f"{BASE}/{item}{more}/manifest.json", "items": []}
    files.write_json(made_items.item_dir_of(root, item) / "manifest.json", manifest)


def entry(item: str, **more: Any) -> dict[str, Any]:
    return {
        "item": item, "state": "ready", "masters": [], "catalogue": None, "corrections": None,
        "findings": [], **more,
    }  # fmt: skip


def write_intake(root: Path, *entries: dict[str, Any], withdraw: Any = ()) -> None:
    value = {
        "batch": "b1",
        "items": list(entries) or [entry(item) for item in ITEMS],
        "withdraw": list(withdraw),
    }
    files.write_json(results(root) / "intake.json", value)


def results(root: Path) -> Path:
    return root / "results" / "b1"


def hand_over(root: Path, everything: bool = False) -> Any:
    given = {
        "batch": "b1",
        "settings": {"handover": {"columns": COLUMNS}, "iiif": {"base_url": BASE}},
        "deliveries": str(root / "deliveries"),
    }
    return handover.hand_over(results(root), steps.given("handover", given), everything)


def said(statuses: list[item_states.ItemStatus]) -> list[tuple[Any, ...]]:
    return [(each.item, each.state, each.findings, each.last_read) for each in statuses]


def test_how_items_stand_is_read_once(root: Path, opened: list[str]) -> None:
    first = item_marks.batch_states(results(root))
    assert opened.count("package.json") == len(ITEMS)
    opened.clear()
    again = item_marks.batch_states(results(root))
    assert opened == [item_marks.NAME]  # intake.json once, by the first
    whole = item_states.batch_status(results(root))
    assert said(first) == said(again) == said(whole)
    assert {each.state for each in whole} <= {"done", "review"}
    assert not any(each.records or each.asked for each in [*first, *again])  # of 50,000 too many


def _replaced(path: Path) -> None:
    files.write_json(path, {"masters": 3})


def _removed(path: Path) -> None:
    path.unlink()


def _edited_with_its_time_set_back(path: Path) -> None:
    before = path.stat()
    path.write_bytes(b"[" + path.read_bytes()[1:])
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert path.stat().st_size == before.st_size


def _copied_over(path: Path) -> None:
    shutil.copytree(path.parent, path.parent.with_name("copy"))
    shutil.rmtree(path.parent)
    path.parent.with_name("copy").rename(path.parent)
    path.write_text("{", "utf-8")


@pytest.mark.parametrize("name", ["fixity", "geometry", "quality", "embedded", "package"])
@pytest.mark.parametrize(
    "change", [_replaced, _removed, _edited_with_its_time_set_back, _copied_over]
)
def test_a_record_that_changed_is_seen(
    root: Path, name: str, change: Callable[[Path], None]
) -> None:
    item_marks.batch_states(results(root))
    change(made_items.item_dir_of(root, ITEMS[1]) / f"{name}.json")
    now = item_marks.batch_states(results(root))
    assert said(now) == said(item_states.batch_status(results(root)))
    assert said(item_marks.batch_states(results(root))) == said(now)


def test_what_holds_an_item_is_seen_and_stays_seen(root: Path) -> None:
    item_marks.batch_states(results(root))
    held = made_items.item_dir_of(root, ITEMS[0]) / "held.json"
    files.write_json(held, {"step": "verify", "findings": [{"what": "It differs."}]})
    for _ in range(2):
        first, _other = item_marks.batch_states(results(root))
        assert (first.state, [each.what for each in first.findings]) == ("held", ["It differs."])
    held.unlink()
    assert item_marks.batch_states(results(root))[0].state in ("done", "review")


@pytest.mark.parametrize("state", ["held", "waiting"])
def test_what_intake_says_anew_is_seen(root: Path, state: str) -> None:
    item_marks.batch_states(results(root))
    write_intake(root, entry(ITEMS[0]), entry(ITEMS[1], state=state))
    assert item_marks.batch_states(results(root))[1].state == state


@pytest.mark.parametrize("content", ["", "[]", '{"code": 1}', '{"code": "x", "items": {}}'])
def test_what_is_kept_may_be_damaged(root: Path, opened: list[str], content: str) -> None:
    item_marks.batch_states(results(root))
    (results(root) / item_marks.NAME).write_text(content, "utf-8")
    opened.clear()
    now = item_marks.batch_states(results(root))
    assert opened.count("package.json") == len(ITEMS)
    assert said(now) == said(item_states.batch_status(results(root)))


def test_other_software_reads_all_anew(
    root: Path, opened: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    item_marks.batch_states(results(root))
    hand_over(root)
    opened.clear()
    monkeypatch.setattr(item_marks, "code_of", lambda *rooms: "other")
    item_marks.batch_states(results(root))
    assert opened.count("package.json") == len(ITEMS)
    opened.clear()
    assert hand_over(root) is None
    assert opened.count("manifest.json") == len(ITEMS)


def test_the_digest_of_software_counts_each_file(tmp_path: Path) -> None:
    (tmp_path / "room").mkdir()
    (tmp_path / "room" / "a.py").write_text("1")
    digests = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(item_marks, "_ROOMS", tmp_path)
        for name, text in (("a.py", "1"), ("a.py", "2"), ("b.json", "1")):
            (tmp_path / "room" / name).write_text(text)
            digests.append(item_marks.code_of.__wrapped__("room"))
    assert len({*digests}) == 3


# --- what is handed over ---


def test_nothing_is_read_of_items_that_were_handed_over(root: Path, opened: list[str]) -> None:
    assert hand_over(root).items == len(ITEMS)
    opened.clear()
    assert hand_over(root) is None
    assert {*opened} == {"ledger.json", handover.SAME}


def test_of_many_items_those_alone_are_read_that_changed(root: Path, opened: list[str]) -> None:
    hand_over(root)
    publish(root, ITEMS[1], "-later")
    opened.clear()
    made = hand_over(root)
    assert made.items == 1
    assert opened.count("manifest.json") == 1
    assert hand_over(root) is None


def _delivered(root: Path) -> None:
    given = {
        "batch": "b1", "items": list(ITEMS), "lacking": [],
        "settings": {"delivery": {}, "package": {}}, "institution": made_items.INSTITUTION,
    }  # fmt: skip
    deliveries.deliver(root, given)


def _withdrawn(root: Path) -> None:
    words = {"reason": "rights", "by": "op-1", "when": "2026-03-20T09:00:00Z"}
    write_intake(root, withdraw=[{"item": item, "master": "a.tif", **words} for item in ITEMS])


def _catalogued(root: Path) -> None:
    row = {"item": "PEH-0001", "row": 2, "title": "Quay", "rights": {}, "extra": {}}
    write_intake(root, *(entry(item, catalogue=row) for item in ITEMS))


@pytest.mark.parametrize("change", [_delivered, _withdrawn, _catalogued])
def test_what_is_not_in_the_records_of_an_item_is_seen(
    root: Path, change: Callable[[Path], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    deliveries.without_records(monkeypatch)
    hand_over(root)
    change(root)
    assert hand_over(root).items == len(ITEMS)
    assert hand_over(root) is None


def test_an_item_that_went_and_came_back_is_told_each_time(root: Path) -> None:
    hand_over(root)
    write_intake(root, entry(ITEMS[0]))
    assert hand_over(root).items == 1
    write_intake(root)
    assert hand_over(root).items == 1
    assert hand_over(root) is None


def test_all_can_be_handed_over_again(root: Path) -> None:
    hand_over(root)
    assert hand_over(root, everything=True).items == len(ITEMS)


class _Walked(list):  # type: ignore[type-arg]
    walks = 0

    def __iter__(self) -> Iterator[Any]:
        _Walked.walks += 1
        return super().__iter__()


def test_receipts_are_gone_through_once_for_all_items(
    root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    deliveries.without_records(monkeypatch)
    _delivered(root)
    (receipt,) = delivery.sound_receipts(root / "deliveries", "b1")
    receipt = msgspec.structs.replace(receipt, items=_Walked(receipt.items))
    _Walked.walks = 0
    found = [*facts.of_batch(results(root), (receipt,), {})]
    assert [each.delivery for each in found] == [receipt.delivery] * len(ITEMS)
    assert _Walked.walks == 1


# --- what a night asks for of each item ---


def test_the_key_of_an_item_is_worked_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[Any] = []
    monkeypatch.setattr(due, "_key", lambda *given: asked.append(given) or f"key {len(asked)}")
    batch: Any = types.SimpleNamespace(keys={})
    config = settings.load({})
    item = ItemId("PEH-1")
    assert due.key(batch, item, config) == due.key(batch, item, config) == "key 1"
    assert due.key(batch, item, config, False) == "key 2"
    assert due.key(batch, item, {**config}) == "key 3"
