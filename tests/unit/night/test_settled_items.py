"""What a night keeps of settled items saves looking, and hides nothing that is due.

Each way in which it could be wrong has a test: what is found with what was kept must be what is
found without it.
"""

from __future__ import annotations

import copy
import os
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from glassine import steps
from glassine.base import files, intake_file, item_marks, settings
from glassine.night import due, settled
from unit.night.test_plan import INTAKE

CONFIG = settings.load({})
ITEMS = ("PEH-1", "PEH-2")


@pytest.fixture(autouse=True)
def at_rest(monkeypatch: pytest.MonkeyPatch) -> None:
    """Files that a test has just written count as at rest."""
    monkeypatch.setattr(settled, "_AT_REST_NS", -(10**12))


@pytest.fixture
def results(tmp_path: Path) -> Path:
    """Results of a batch of two items, both settled and kept."""
    results = tmp_path / "results" / "b1"
    files.write_json(results / "intake.json", INTAKE)
    batch = due.read_batch(results / "intake.json")
    for item in ITEMS:
        finish(results, batch, item, CONFIG)
    assert night(results, CONFIG) == []
    assert {*settled.read(results).items} == {*ITEMS}
    return results


def finish(results: Path, batch: due.Batch, item: str, config: dict[str, Any]) -> None:
    folder = results / "items" / item
    for step in steps.STEPS:
        for record in step.records if step.name != steps.DEVELOP else ():
            files.write_json(folder / record, {"of": item, "record": record})
    due.write_stamp(folder, due.key(batch, item, config), due.steps_given(batch, item, config))


def read(results: Path, config: dict[str, Any], today: date | None = None) -> due.Batch:
    """The batch as the rules look it up, with what was kept of it."""
    kept = settled.read(results)
    batch = due.read_batch(results / "intake.json", kept.intake)
    batch.today = today or batch.today
    settled.use_keys(kept, batch, config)
    return batch


def night(results: Path, config: dict[str, Any], today: date | None = None) -> list[str]:
    """Return what is due; it must be what is due without anything kept."""
    batch = read(results, config, today)
    look = settled.Look(settled.read(results))
    found = look.unsettled(batch, results / "items", config)
    plain = due.read_batch(results / "intake.json")
    plain.today = batch.today
    assert found == due.unsettled(plain, results / "items", config)
    for item in plain.items:
        assert due.key(batch, item, config) == due.key(plain, item, config)
    look.keep(results, batch, config)
    return [str(item) for item in found]


def _written_in_place(path: Path) -> None:
    """Other bytes of another size, all times set back."""
    before = path.stat()
    with path.open("r+b") as opened:
        opened.write(b'{"other": "and longer than before, whatever stood here until today"}')
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


def _removed(path: Path) -> None:
    path.unlink()


def _cut_short(path: Path) -> None:
    os.truncate(path, 3)


def _a_folder(path: Path) -> None:
    path.unlink()
    path.mkdir()


@pytest.mark.parametrize("record", ["fixity.json", "render/render.json", "METS.xml", "done.json"])
@pytest.mark.parametrize("change", [_written_in_place, _removed, _cut_short, _a_folder])
def test_a_record_that_was_changed_by_hand_makes_its_item_due(
    results: Path, record: str, change: Callable[[Path], None]
) -> None:
    change(results / "items" / "PEH-1" / record)
    assert night(results, CONFIG) == ["PEH-1"]
    assert night(results, CONFIG) == ["PEH-1"]  # and nothing of it is kept


def test_a_held_item_is_due(results: Path) -> None:
    files.write_json(results / "items" / "PEH-2" / "held.json", {})
    assert night(results, CONFIG) == ["PEH-2"]


def test_a_folder_that_was_removed_or_put_in_anothers_place_is_due(results: Path) -> None:
    one, two = (results / "items" / item for item in ITEMS)
    files.remove_tree(two)
    one.rename(two)
    assert night(results, CONFIG) == ["PEH-1", "PEH-2"]


@pytest.mark.parametrize(
    "config",
    [
        {"verify": {"require_manifest": True}},
        {"iiif": {"base_url": "https://other.port-ellery.example/iiif"}},
        {"institution": {"name": "Another"}},
        {"rules": [{"for": {"item": "PEH-*"}, "set": {"render": {"crop_tiff": "rendered"}}}]},
        {"access": {"default": "closed"}},
    ],
)
def test_another_setting_makes_items_due(results: Path, config: dict[str, Any]) -> None:
    assert night(results, settings.load(config)) == [*ITEMS]
    assert night(results, settings.load(config)) == [*ITEMS]
    assert night(results, CONFIG) == []


def _of_first(**more: Any) -> dict[str, Any]:
    intake = copy.deepcopy(INTAKE)
    intake["items"][0] |= more
    return intake


@pytest.mark.parametrize(
    ("intake", "wanted"),
    [
        (_of_first(catalogue={"item": "PEH-1", "row": 2, "title": "x", "rights": {}}), ["PEH-1"]),
        (_of_first(corrections={"frames": [{"frame": 1, "rotate": 90}]}), ["PEH-1"]),
        (_of_first(masters=[INTAKE["items"][0]["masters"][0] | {"mtime_ns": 2}]), ["PEH-1"]),
        (INTAKE | {"facts": {"operator": {"capture": "op-7"}}}, [*ITEMS]),
        (INTAKE | {"withdraw": [{"item": "PEH-2", "reason": "r", "by": "b",
                                 "when": "2026-11-01T10:00:00Z"}]}, ["PEH-2"]),
        (INTAKE | {"items": [*INTAKE["items"], INTAKE["items"][0] | {"item": "PEH-3"}]}, ["PEH-3"]),
    ],
)  # fmt: skip
def test_what_intake_says_anew_makes_items_due(
    results: Path, intake: dict[str, Any], wanted: list[str]
) -> None:
    files.write_json(results / "intake.json", intake)
    assert night(results, CONFIG) == wanted


def test_another_version_of_a_step_makes_items_due(
    results: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Code is told by its text: here both that text and the version are another."""
    version_of = steps.version_of
    monkeypatch.setattr(steps, "version_of", lambda module: version_of(module) + "x")
    monkeypatch.setattr(item_marks, "code_of", lambda *rooms: "other")
    assert night(results, CONFIG) == [*ITEMS]


def test_code_is_told_by_all_of_the_package(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = item_marks.code_of(".")
    room = tmp_path / "night"
    room.mkdir()
    (room / "due.py").write_text("1")
    monkeypatch.setattr(item_marks, "_ROOMS", tmp_path)
    one = item_marks.code_of.__wrapped__(".")
    (room / "due.py").write_text("2")
    assert len({before, one, item_marks.code_of.__wrapped__(".")}) == 3


def test_an_embargo_that_ends_makes_its_item_due(results: Path) -> None:
    intake = _of_first(
        catalogue={
            "item": "PEH-1", "row": 2, "title": "Quay", "rights": {},
            "access": {"level": "open", "until": "2026-12-31", "words": "closed until"},
        }
    )  # fmt: skip
    files.write_json(results / "intake.json", intake)
    last, after = date(2026, 12, 31), date(2027, 1, 1)
    batch = due.read_batch(results / "intake.json")
    batch.today = last
    finish(results, batch, "PEH-1", CONFIG)
    assert night(results, CONFIG, last) == []
    assert night(results, CONFIG, last) == []
    assert night(results, CONFIG, after) == ["PEH-1"]


def test_films_that_moved_make_items_due(results: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    batch = read(results, CONFIG)
    before = settled.context_of(batch, CONFIG)
    batch.films = {"PEH-1": [{"film": "F1", "black": [1, 2, 3]}]}
    assert settled.context_of(batch, CONFIG) != before


@pytest.mark.parametrize(
    "text", ["", "{", '{"items": 3}', '{"names": [["x"]], "items": {"PEH-1": 1}}']
)
def test_what_is_kept_and_damaged_is_nothing(results: Path, text: str) -> None:
    (results / settled.NAME).write_text(text)
    assert night(results, CONFIG) == []
    assert {*settled.read(results).items} == {*ITEMS}


def test_what_has_just_changed_is_not_kept(results: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It may change again with the same times."""
    monkeypatch.setattr(settled, "_AT_REST_NS", 2 * 10**9)
    (results / settled.NAME).unlink()
    assert night(results, CONFIG) == []
    assert settled.read(results).items == {}


def test_nothing_is_read_of_settled_items(results: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither their stamps nor, strictly, intake.json; and no key is worked out."""

    def never(*_: Any) -> Any:
        raise AssertionError("it was kept")

    batch = read(results, CONFIG)
    monkeypatch.setattr(files, "read_json", never)
    monkeypatch.setattr(due, "_key", never)
    look = settled.Look(settled.read(results))
    assert look.unsettled(batch, results / "items", CONFIG) == []


# --- intake.json, once ------------------------------------------------------------------


def test_intake_json_is_read_once_for_each_state_of_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, count = tmp_path / "intake.json", []
    strict = files.read_json
    monkeypatch.setattr(files, "read_json", lambda path: count.append(1) or strict(path))
    files.write_json(path, {"a": 1})
    first = intake_file.read(path)
    assert intake_file.read(path) is first
    assert (first.value, len(count)) == ({"a": 1}, 1)
    files.write_json(path, {"a": 2})
    assert (intake_file.read(path).value, len(count)) == ({"a": 2}, 2)


@pytest.mark.parametrize(
    "text", ['{"a": 1, "a": 2}', '{"a": NaN}', "{", '{"a": 1e999}', "\ufeff{}"]
)
def test_bytes_that_were_never_read_strictly_are(tmp_path: Path, text: str) -> None:
    """Whatever the quick reader makes of them: a wrong digest or none lets it have no turn."""
    path = tmp_path / "intake.json"
    path.write_text(text)
    try:
        expected = files.read_json(path)
    except files.GlassineError:
        with pytest.raises(files.GlassineError):
            intake_file.read(path, "0" * 64)
        return
    assert intake_file.read(path).value == expected
    assert not intake_file.read(path).alike


# --- a batch that was taken in anew in the same run ---------------------------------------


def test_keys_are_carried_over_for_items_that_are_the_same() -> None:
    before = due.Batch(INTAKE)
    for item in ITEMS:
        due.key(before, item, CONFIG)
    after = due.Batch(_of_first(corrections={"frames": [{"frame": 1, "rotate": 90}]}))
    due.carry_keys(before, after, CONFIG)
    assert [item for item, _ in after.keys] == ["PEH-2"]
    assert due.key(after, "PEH-2", CONFIG) == due.key(due.Batch(after.content), "PEH-2", CONFIG)


@pytest.mark.parametrize(
    "change",
    [
        {"facts": {"operator": {"capture": "op-7"}}},
        {"withdraw": [{"item": "PEH-2", "reason": "r", "by": "b", "when": "2026-11-01T10:00:00Z"}]},
    ],
)
def test_keys_are_not_carried_over_where_the_batch_is_another(change: dict[str, Any]) -> None:
    before = due.Batch(INTAKE)
    due.key(before, "PEH-2", CONFIG)
    after = due.Batch(INTAKE | change)
    due.carry_keys(before, after, CONFIG)
    assert after.keys == {}


def test_keys_are_not_carried_over_to_another_day_or_other_films() -> None:
    before = due.Batch(INTAKE, today=date(2026, 12, 31))
    due.key(before, "PEH-2", CONFIG)
    for after in (
        due.Batch(INTAKE, today=date(2027, 1, 1)),
        due.Batch(INTAKE, films={"PEH-2": [{}]}, today=date(2026, 12, 31)),
    ):
        due.carry_keys(before, after, CONFIG)
        assert after.keys == {}
