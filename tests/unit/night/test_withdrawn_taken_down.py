"""What was published of a withdrawn item goes; its records stay."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from glassine.base import access, files, settings
from glassine.base.model import ItemId
from glassine.night import due, taken_down
from unit.night.test_plan import INTAKE

PUBLISHED = (
    "access/PEH-0001_access.jpg",
    "thumbs/PEH-0001_thumb.jpg",
    "iiif/PEH-0001/info.json",
    "iiif/PEH-0001/full/max/0/default.jpg",
    "alternates/PEH-0001.webp",
    "manifest.json",
)
KEPT = (
    "METS.xml",
    "fixity.json",
    "embedded.json",
    "restricted/PEH-0001_access.jpg",
    "studio/PEH-0001_print.tif",
    "render/a.jpg",
)
ENTRY = {
    "item": "PEH-0001",
    "reason": "given back to the lender",
    "by": "op-07",
    "when": "2026-03-18T08:55:00Z",
}


OF_BATCH = {**ENTRY, "item": "PEH-1"}


@pytest.fixture
def results(tmp_path: Path) -> Path:
    for item in ("PEH-0001", "PEH-0002"):
        for name in (*PUBLISHED, *KEPT, "done.json"):
            files.write_text(tmp_path / "items" / item / name, name)
    return tmp_path


def below(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


def test_pictures_tiles_and_manifest_go_and_records_stay(results: Path) -> None:
    other = below(results / "items/PEH-0002")
    assert taken_down.take_down(results, ["PEH-0001"]) == ["PEH-0001"]
    assert below(results / "items/PEH-0001") == set(KEPT)
    assert below(results / "items/PEH-0002") == other
    assert taken_down.take_down(results, ["PEH-0001"]) == []
    assert taken_down.kept_by_studio(results, ["PEH-0001"]) == [
        "PEH-0001/restricted",
        "PEH-0001/studio",
    ]


def test_an_item_of_which_nothing_is_published_stays_finished(results: Path) -> None:
    folder = results / "items/PEH-0001"
    taken_down.take_down(results, ["PEH-0001"])
    (folder / "iiif").mkdir(exist_ok=True)  # as render leaves it of a closed item
    files.write_text(folder / "done.json", "made anew, closed")
    assert taken_down.take_down(results, ["PEH-0001"]) == []
    assert (folder / "done.json").exists()


@pytest.mark.parametrize("name", ["../outside", "PEH-9999", "", ".."])
def test_a_name_that_leads_elsewhere_touches_nothing(name: str, results: Path) -> None:
    before = below(results.parent)
    assert taken_down.take_down(results, [name]) == []
    assert below(results.parent) == before


def batch(withdraw: list[dict[str, Any]]) -> due.Batch:
    return due.Batch({**INTAKE, "withdraw": withdraw})


def public_in(taken: due.Batch, item: str) -> dict[str, Any]:
    steps = due.steps_given(taken, ItemId(item), settings.load({}))
    return {one["step"]: one.get("access", one.get("public")) for one in steps}


def test_the_steps_of_a_withdrawn_item_make_nothing_public_and_record_why() -> None:
    taken = batch([OF_BATCH])
    given = public_in(taken, "PEH-1")
    assert given["render"] == {"public": "none"}
    assert given["pack"]["public"] == "none"
    assert given["embed"]["words"] == (
        "Withdrawn from delivery: given back to the lender (op-07, 2026-03-18T08:55:00Z)"
    )
    assert public_in(taken, "PEH-2")["render"] is None
    told = access.withdrawn("given back", "op-07", "2026-03-18T08:55:00Z")
    assert (told.is_withdrawn, told.level, access.OPEN.is_withdrawn) == (True, "closed", False)


@pytest.mark.parametrize("part", [{"master": "PEH-1_b.tif"}, {"frames": 2}])
def test_of_an_item_withdrawn_in_part_the_rest_stays_public(part: dict[str, Any]) -> None:
    assert public_in(batch([{**OF_BATCH, **part}]), "PEH-1")["render"] is None


def test_the_word_taken_back_opens_it_again() -> None:
    config = settings.load({})
    item = ItemId("PEH-1")
    assert due.key(batch([]), item, config) != due.key(batch([OF_BATCH]), item, config)
    assert public_in(batch([]), "PEH-1")["render"] is None
