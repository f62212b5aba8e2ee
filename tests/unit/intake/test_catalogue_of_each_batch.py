"""Each batch has its own catalogue where `catalogue.path` holds the name of the batch, or a star."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile

from glassine.base import settings
from glassine.base.errors import GlassineError
from glassine.intake import catalogue_place
from glassine.night import agreement
from makers.step_calls import taken_in


@pytest.fixture
def batches(tmp_path: Path) -> Path:
    for number in (1, 2):
        folder = tmp_path / "masters" / f"b{number}"
        folder.mkdir(parents=True)
        tifffile.imwrite(folder / f"PEH-000{number}.tif", np.full((8, 12, 3), number, np.uint16))
    (tmp_path / "exports").mkdir()
    return tmp_path


def table(path: Path, *items: str) -> None:
    path.write_text("item_id,title\n" + "".join(f"{item},Quay of {item}\n" for item in items))


def take(root: Path, batch: str, path: str) -> dict[str, Any]:
    config = settings.load({"intake": {"watch_s": 0}, "catalogue": {"path": path}})
    return taken_in(root / "masters" / batch, {"batch": batch, "settings": config})


def states(taken: dict[str, Any]) -> dict[str, str]:
    return {item["item"]: item["state"] for item in taken["items"]}


def titles(taken: dict[str, Any]) -> list[str]:
    return [(item["catalogue"] or {}).get("title", "") for item in taken["items"]]


def codes(taken: dict[str, Any]) -> set[str]:
    return {
        each["code"] for one in [taken["notes"], *(i["findings"] for i in taken["items"])]
        for each in one
    }  # fmt: skip


def test_the_name_of_the_batch_stands_in_the_path(batches: Path) -> None:
    for number in (1, 2):
        table(batches / "exports" / f"b{number}.csv", f"PEH-000{number}")
    for number in (1, 2):
        taken = take(batches, f"b{number}", f"{batches}/exports/{{batch}}.csv")
        assert titles(taken) == [f"Quay of PEH-000{number}"]


def test_a_star_stands_for_the_rest_of_a_name_in_the_batch_folder(batches: Path) -> None:
    table(batches / "masters" / "b1" / "Export 2026-03-18.csv", "PEH-0001", "PEH-0009")
    taken = take(batches, "b1", "{folder}/Export*.csv")
    assert titles(taken) == ["Quay of PEH-0001"]
    assert "Export 2026-03-18.csv" not in [each["path"] for each in taken["other_files"]]
    # Its rows are the items that the batch should hold.
    assert [each["item"] for each in taken["expected"]["missing"]] == ["PEH-0009"]


def test_of_several_that_fit_none_is_taken(batches: Path) -> None:
    for name in ("b1 old.csv", "b1 new.csv"):
        table(batches / "exports" / name, "PEH-0001")
    taken = take(batches, "b1", f"{batches}/exports/{{batch}} *.csv")
    assert states(taken) == {"PEH-0001": "held"} and "catalogue.two" in codes(taken)


def test_a_batch_without_its_catalogue_is_held_and_takes_no_other(batches: Path) -> None:
    table(batches / "exports" / "b10.csv", "PEH-0001")
    table(batches / "exports" / "b1.csv.old", "PEH-0001")
    for path in (f"{batches}/exports/{{batch}}.csv", f"{batches}/exports/{{batch}}*.tsv"):
        taken = take(batches, "b1", path)
        assert states(taken) == {"PEH-0001": "held"} and "catalogue.none" in codes(taken)


def test_a_catalogue_beside_it_is_told_as_not_read(batches: Path) -> None:
    folder = batches / "masters" / "b1"
    table(folder / "catalogue.csv", "PEH-0001")
    table(folder / "mine.csv", "PEH-0001")
    assert "catalogue.not_used" in codes(take(batches, "b1", "{folder}/mine.csv"))
    assert "catalogue.not_used" not in codes(take(batches, "b1", "{folder}/catalogue.csv"))


def test_a_link_in_the_batch_folder_is_not_followed(batches: Path) -> None:
    table(batches / "elsewhere.csv", "PEH-0001")
    (batches / "masters" / "b1" / "mine.csv").symlink_to(batches / "elsewhere.csv")
    with pytest.raises(GlassineError, match="symbolic link"):
        take(batches, "b1", "{folder}/mine.csv")


@pytest.mark.parametrize(
    "path",
    [
        "/srv/{item}.csv", "/srv/{batch", "/srv/*/x.csv", "{folder}/../x.csv", "/srv/{folder}/x.csv",
        "{folder}/..", "{folder}", "/srv/{}.csv",
    ],
)  # fmt: skip
def test_a_path_that_cannot_be_meant_is_a_wrong_setting(path: str, tmp_path: Path) -> None:
    assert catalogue_place.is_pattern(path) and catalogue_place.wrong(path)
    (finding,) = agreement._check_catalogue_path(path, tmp_path)
    assert path in finding.what
