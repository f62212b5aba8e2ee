"""What systems and programs leave beside the masters: left out, or beside its master, never lost.

Ways to be wrong and look right, tried here: a master that fits the list of names left out; a list
of checksums, or the catalogue, that fits it; a system's file that a checksum list names; a picture
of a master's name that is a master itself, or whose master is not here.
"""

import hashlib

import numpy as np
import pytest
import tifffile

from glassine.base import settings
from makers.step_calls import taken_in

# AppleDouble: magic number and version (RFC 1740, appendix B).
APPLE_DOUBLE = bytes.fromhex("0005160700020000") + b"Mac OS X        " + bytes(26)
JPEG = b"\xff\xd8\xff\xe0" + bytes(40)
RAW_AS_TIFF = b"II*\0" + bytes(100)


def tiff(path, tone):
    path.parent.mkdir(parents=True, exist_ok=True)
    tifffile.imwrite(path, np.full((8, 12, 3), tone, np.uint16))


@pytest.fixture
def batch(tmp_path):
    folder = tmp_path / "b1"
    folder.mkdir()
    tiff(folder / "PEH-0001.tif", 1)
    tiff(folder / "PEH-0002.tif", 2)
    (folder / "catalogue.csv").write_text("item_id,title\nPEH-0001,Quay\nPEH-0002,Mole\n")
    return folder


def take(folder, **intake):
    config = settings.load({"intake": {"watch_s": 0, "labels": "never", **intake}})
    return taken_in(folder, {"batch": folder.name, "settings": config})


def states(result):
    return {entry["item"]: entry["state"] for entry in result["items"]}


def findings(result):
    every = [*result["notes"], *(each for item in result["items"] for each in item["findings"])]
    return {(each["code"], each["path"]) for each in every}


READY = {"PEH-0001": "ready", "PEH-0002": "ready"}


# --- names that are left out ---


@pytest.mark.parametrize(
    "name",
    [".DS_Store", "Thumbs.db", "THUMBS.DB", "desktop.ini", "._PEH-0001.tif", "._catalogue.csv",
     "._batch.yaml", "._corrections.yaml", "._manifest-md5.txt", "sub/._PEH-0001.tif",
     "upload.tmp", ".~lock.catalogue.csv#", "~$catalogue.xlsx", "Icon\r",
     "__MACOSX/._PEH-0001.tif", "__MACOSX/sub/._PEH-0002.tif", "@eaDir/PEH-0001.tif/thumb.jpg"],
)  # fmt: skip
def test_what_systems_leave_makes_no_item_and_holds_nothing(batch, name):
    (batch / name).parent.mkdir(parents=True, exist_ok=True)
    (batch / name).write_bytes(APPLE_DOUBLE if "._" in name else b"\x00\x00\x00\x01Bud1")
    result = take(batch)
    assert states(result) == READY
    assert findings(result) == set()
    assert result["ignored_files"] == [name]
    assert result["other_files"] == []


@pytest.mark.parametrize("name", ["._PEH-0009.tif", "PEH-0009.tif.tmp", "__MACOSX/PEH-0009.tif"])
def test_a_master_that_fits_the_list_is_not_left_out(batch, name):
    tiff(batch / "new.tif", 9)
    (batch / name).parent.mkdir(exist_ok=True)
    (batch / "new.tif").rename(batch / name)
    result = take(batch)
    assert result["ignored_files"] == []
    held = [entry for entry in result["items"] if entry["state"] == "held"]
    named = {each["path"] for entry in held for each in entry["findings"]}
    assert name in named | {master["path"] for entry in held for master in entry["masters"]}


@pytest.mark.parametrize("content", [b"", bytes(64), APPLE_DOUBLE[4:] + bytes(9)])
def test_a_damaged_master_that_fits_the_list_is_not_left_out(batch, content):
    (batch / "PEH-0009_emu.tif").write_bytes(content)
    result = take(batch, ignore=["*_emu*", "*"])
    assert result["ignored_files"] == []
    assert "PEH-0009_emu.tif" in [
        master["path"] for item in result["items"] for master in item["masters"]
    ]


def test_tiff_files_are_left_out_only_by_an_entry_that_says_tif_and_that_is_told(batch):
    tiff(batch / "PEH-0001_small.tif", 7)
    assert "PEH-0001_small.tif" in str(take(batch, ignore=["*_small*"])["items"])
    result = take(batch, ignore=["*_small.tif"])
    assert states(result) == READY
    assert result["ignored_files"] == ["PEH-0001_small.tif"]
    assert findings(result) == {("intake.ignored_masters", "PEH-0001_small.tif")}


@pytest.mark.parametrize("name", ["catalogue.csv", "manifest-md5.txt", "batch.yaml"])
def test_no_entry_with_a_wildcard_leaves_out_what_says_something_of_the_batch(batch, name):
    digest = hashlib.md5(b"").hexdigest()
    (batch / "manifest-md5.txt").write_text(f"{digest}  PEH-0001.tif\n{digest}  PEH-0002.tif\n")
    (batch / "batch.yaml").write_text("title: Quays\n")
    result = take(batch, ignore=["*.csv", "*.txt", "*.yaml", "*"])
    assert name not in result["ignored_files"]
    assert result["title"] == "Quays"
    assert all(master["expected"] for item in result["items"] for master in item["masters"])


def test_a_link_or_a_pipe_of_such_a_name_is_refused_as_ever(batch, tmp_path):
    tiff(tmp_path / "real.tif", 4)
    (batch / "._PEH-0003.tif").symlink_to(tmp_path / "real.tif")
    assert ("intake.entry", "._PEH-0003.tif") in findings(take(batch))


def test_a_checksum_list_that_names_systems_files_holds_nothing(batch):
    """`md5sum *` on one system lists what another leaves behind or never shows."""
    names = ["PEH-0001.tif", "PEH-0002.tif"]
    lines = [f"{hashlib.md5((batch / name).read_bytes()).hexdigest()}  {name}" for name in names]
    lines += [f"{'0' * 32}  {name}" for name in (".DS_Store", "._PEH-0001.tif", "Thumbs.db")]
    (batch / "checksums.md5").write_text("\n".join(lines) + "\n")
    (batch / ".DS_Store").write_bytes(b"changed since")
    result = take(batch)
    assert states(result) == READY
    assert findings(result) == set()


def test_a_list_of_digests_under_any_name_still_counts_beside_systems_files(batch):
    names = ["PEH-0001.tif", "PEH-0002.tif"]
    lines = [f"{hashlib.md5((batch / name).read_bytes()).hexdigest()}  {name}" for name in names]
    lines.append(f"{'0' * 32}  .DS_Store")
    (batch / "digests of friday.log").write_text("\n".join(lines) + "\n")
    (batch / ".DS_Store").write_bytes(b"changed since")
    result = take(batch)
    assert all(master["expected"] for item in result["items"] for master in item["masters"])


# --- previews and raw files beside a master ---


@pytest.mark.parametrize(
    ("name", "content", "kind"),
    [
        ("PEH-0001.jpg", JPEG, "preview"),
        ("peh-0001.JPEG", JPEG, "preview"),
        ("PEH-0001.tif.jpg", JPEG, "preview"),
        ("previews/PEH-0001.png", JPEG, "preview"),
        ("PEH-0001.dng", RAW_AS_TIFF, "raw"),
        ("PEH-0001.nef", RAW_AS_TIFF, "raw"),
        ("raw/PEH-0001.cr3", b"\0\0\0\x18ftypcrx ", "raw"),
    ],
)
def test_a_picture_of_the_masters_name_goes_with_its_item(batch, name, content, kind):
    (batch / name).parent.mkdir(exist_ok=True)
    (batch / name).write_bytes(content)
    result = take(batch)
    assert states(result) == READY
    beside = [(each["path"], each["kind"]) for each in result["items"][0]["companions"]]
    assert beside == [(name, kind)]
    assert not result["items"][0]["companions"][0]["delivered"]
    assert result["items"][1].get("companions", []) == []


def test_by_setting_they_hold_or_are_left_out_or_are_delivered(batch):
    (batch / "PEH-0001.jpg").write_bytes(JPEG)
    (batch / "PEH-0001.nef").write_bytes(RAW_AS_TIFF)
    held = take(batch, previews="hold", raws="hold")
    assert states(held) == {**READY, "PEH-0001": "held"}
    assert {path for code, path in findings(held)} == {"PEH-0001.jpg", "PEH-0001.nef"}
    ignored = take(batch, previews="ignore", raws="ignore")
    assert ignored["ignored_files"] == ["PEH-0001.jpg", "PEH-0001.nef"]
    assert states(ignored) == READY
    delivered = take(batch, previews="note", raws="deliver")["items"][0]["companions"]
    assert {each["path"]: each["delivered"] for each in delivered} == {
        "PEH-0001.jpg": False,
        "PEH-0001.nef": True,
    }


def test_a_picture_without_its_master_holds_the_item_it_names(batch):
    (batch / "PEH-0003.jpg").write_bytes(JPEG)
    (batch / "PEH-0004.cr3").write_bytes(b"\0\0\0\x18ftypcrx ")
    result = take(batch)
    assert states(result) == {**READY, "PEH-0003": "held", "PEH-0004": "held"}
    (raw,) = [item for item in result["items"] if item["item"] == "PEH-0004"]
    assert [master["path"] for master in raw["masters"]] == ["PEH-0004.cr3"]


def test_a_preview_that_may_belong_to_two_masters_is_no_ones(batch):
    tiff(batch / "monday" / "PEH-0005.tif", 5)
    tiff(batch / "tuesday" / "PEH-0005.tif", 6)
    (batch / "jpg").mkdir()
    (batch / "jpg" / "PEH-0005.jpg").write_bytes(JPEG)
    assert ("intake.not_a_master", "jpg/PEH-0005.jpg") in findings(take(batch))


def test_a_master_under_a_previews_name_is_no_preview(batch):
    tiff(batch / "x.tif", 8)
    (batch / "x.tif").rename(batch / "PEH-0001.jpg")
    result = take(batch)
    assert ("intake.not_a_master", "PEH-0001.jpg") in findings(result)
    assert states(result)["PEH-0001"] == "held"


def test_a_preview_beside_a_master_that_waits_or_is_refused_is_no_way_around(batch):
    (batch / "PEH-0001.tif").unlink()
    (batch / "PEH-0001.tif").symlink_to("elsewhere.tif")
    (batch / "PEH-0001.jpg").write_bytes(JPEG)
    result = take(batch)
    assert states(result).get("PEH-0001") != "ready"
    assert ("intake.not_a_master", "PEH-0001.jpg") in findings(result)


def test_a_raw_file_without_its_tiff_is_a_master(batch):
    for name in ("PEH-0001.tif", "PEH-0002.tif"):
        (batch / name).unlink()
    (batch / "PEH-0001.cr3").write_bytes(b"\0\0\0\x18ftypcrx ")
    (item,) = take(batch)["items"]
    assert [master["path"] for master in item["masters"]] == ["PEH-0001.cr3"]


def test_the_checksum_of_a_delivered_companion_is_kept(batch):
    (batch / "PEH-0001.jpg").write_bytes(JPEG)
    names = ["PEH-0001.jpg", "PEH-0001.tif", "PEH-0002.tif"]
    lines = [f"{hashlib.md5((batch / name).read_bytes()).hexdigest()}  {name}" for name in names]
    (batch / "checksums.md5").write_text("\n".join(lines) + "\n")
    (companion,) = take(batch, previews="deliver")["items"][0]["companions"]
    assert companion["expected"] == {"md5": hashlib.md5(JPEG).hexdigest()}
    assert companion["bytes"] == len(JPEG)


def listed(batch, *more):
    lines = [
        f"{hashlib.md5((batch / name).read_bytes()).hexdigest()}  {name}"
        for name in ("PEH-0001.tif", "PEH-0002.tif")
    ]
    lines += [f"{'0' * 32}  {name}" for name in more]
    (batch / "checksums.md5").write_text("\n".join(lines) + "\n")


def test_a_listed_preview_that_was_left_behind_is_told_and_holds_no_master(batch):
    listed(batch, "PEH-0001.jpg")
    result = take(batch)
    assert states(result) == READY
    assert findings(result) == {("intake.listed_missing", "PEH-0001.jpg")}


def test_a_listed_master_that_is_missing_holds_whatever_the_list_of_names_says(batch):
    listed(batch, "PEH-0003_x.tif", "PEH-0004.jpg")
    result = take(batch, ignore=["*_x*", "*.jp*"])
    assert ("intake.master_missing", "PEH-0003_x.tif") in findings(result)
    assert ("intake.master_missing", "PEH-0004.jpg") in findings(result)
