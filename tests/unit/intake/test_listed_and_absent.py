"""A file that a list or the catalogue names and that is not on disk is named, whatever else is.

Ways to be wrong and look right: a side file of the same stem counts as the master; a row beyond
those that are checked at once says nothing; an entry of the ignore list swallows the name.
"""

import numpy as np
import pytest
import tifffile

from glassine.base import settings
from glassine.intake.catalogue import reading
from makers.step_calls import taken_in

DIGEST = "0" * 64


@pytest.fixture
def batch(tmp_path):
    folder = tmp_path / "b1"
    folder.mkdir()
    return folder


def put(folder, name, tone=1):
    path = folder / name
    path.parent.mkdir(exist_ok=True)
    tifffile.imwrite(path, np.full((8, 12, 3), tone, np.uint16))


def take(folder, **sections):
    intake = {"watch_s": 0, "labels": "never", **sections.pop("intake", {})}
    config = settings.load({"intake": intake, **sections})
    return taken_in(folder, {"batch": folder.name, "settings": config})


def said(result):
    """Return all that is told, of items and of the batch."""
    findings = [finding for item in result["items"] for finding in item["findings"]]
    return [(each["code"], each["path"], each["what"]) for each in [*findings, *result["notes"]]]


def names(result, text):
    return {code for code, path, what in said(result) if text in path or text in what}


def catalogue(folder, *rows, name="catalogue.csv"):
    (folder / name).write_text("item_id,title,masters\n" + "".join(f"{row}\n" for row in rows))


# What the row names, what lies there beside the item's own first master.
@pytest.mark.parametrize("beside", [[], ["scan 2.xmp"], ["scan 2.txt", "scan 2.pdf"]])
@pytest.mark.parametrize("named", ["scan 2", "scan 2.tif", "day 1/scan 2.tif"])
def test_a_row_of_an_item_with_other_masters(batch, named, beside):
    put(batch, "scan 1.tif")
    for name in beside:
        (batch / name).write_text("about the scan")
    catalogue(batch, f"PEH-0001,Quay,scan 1.tif|{named}")
    result = take(batch)
    assert "catalogue.master_missing" in names(result, named)
    assert result["items"][0]["state"] == "held"


@pytest.mark.parametrize("at_once", [20_000, 0])
def test_a_row_of_an_item_without_any_master(batch, at_once, monkeypatch):
    monkeypatch.setattr(reading, "CHECKED_ROWS", at_once)
    put(batch, "PEH-0001.tif")
    catalogue(batch, "PEH-0001,Quay,", "PEH-0002,Mole,scan 9.tif")
    assert "catalogue.masters_absent" in names(take(batch), "scan 9.tif")


def test_a_row_of_a_whole_archive_that_a_pull_list_asks_for(batch):
    put(batch, "PEH-0001.tif")
    catalogue(
        batch.parent, "PEH-0001,Quay,", "PEH-0002,Mole,scan 9.tif", "PEH-0003,Pier,scan 10.tif",
        name="archive.csv",
    )  # fmt: skip
    (batch / "pull-list.txt").write_text("PEH-0001\nPEH-0002\n")
    result = take(batch, catalogue={"path": str(batch.parent / "archive.csv")})
    assert "catalogue.masters_absent" in names(result, "scan 9.tif")
    assert not names(result, "scan 10.tif"), "nobody asked for it here"


@pytest.mark.parametrize("place", ["", "day 1/"])
@pytest.mark.parametrize("absent", ["PEH-0001_base.tif", "PEH-0009.tif", "scan 9.tif"])
def test_a_checksum_list_in_any_folder(batch, place, absent):
    put(batch, f"{place}PEH-0001_emu.tif")
    lines = f"{DIGEST}  PEH-0001_emu.tif\n{DIGEST}  {absent}\n"
    (batch / f"{place}manifest-sha256.txt").write_text(lines)
    result = take(batch, catalogue={"required": False})
    assert "intake.master_missing" in names(result, f"{place}{absent}")
    held = [item["item"] for item in result["items"] if item["state"] == "held"]
    assert len(held) == 1


def test_a_checksum_lists_name_that_the_row_of_an_item_has(batch):
    put(batch, "scan 1.tif")
    catalogue(batch, "PEH-0001,Quay,scan 1.tif|scan 2.tif")
    (batch / "manifest-sha256.txt").write_text(f"{DIGEST}  scan 1.tif\n{DIGEST}  scan 2.tif\n")
    result = take(batch)
    one = next(item for item in result["items"] if item["item"] == "PEH-0001")
    assert {"intake.master_missing", "catalogue.master_missing"} <= {
        each["code"] for each in one["findings"] if each["path"] == "scan 2.tif"
    }


def test_a_name_that_the_ignore_list_would_leave_out(batch):
    put(batch, "PEH-0001.tif")
    lines = f"{DIGEST}  PEH-0001.tif\n{DIGEST}  PEH-0002.tmp.tif\n{DIGEST}  Thumbs.db\n"
    (batch / "manifest-sha256.txt").write_text(lines)
    more = {"intake": {"ignore": ["*.tmp.tif", "Thumbs.db"]}, "catalogue": {"required": False}}
    result = take(batch, **more)
    assert names(result, "PEH-0002.tmp.tif") == {"intake.ignored_missing"}
    assert not names(result, "Thumbs.db")
    put(batch, "PEH-0002.tmp.tif", 2)
    assert names(take(batch, **more), "PEH-0002.tmp.tif") == {"intake.ignored_masters"}


def test_one_name_that_the_lists_of_two_folders_have_is_named_for_both(batch):
    for tone, day in enumerate(("day 1", "day 2"), 1):
        put(batch, f"{day}/PEH-000{tone}.tif", tone)
        lines = f"{DIGEST}  PEH-000{tone}.tif\n{DIGEST}  PEH-0009.tif\n"
        (batch / day / "manifest-sha256.txt").write_text(lines)
    result = take(batch, catalogue={"required": False})
    for day in ("day 1", "day 2"):
        assert names(result, f"{day}/PEH-0009.tif") == {"intake.master_missing"}
