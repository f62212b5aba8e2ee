"""Which files belong to which item, and that none is lost on the way."""

import hashlib
import os

import numpy as np
import pytest
import tifffile
import zxingcpp

from glassine.base import settings
from glassine.base.errors import GlassineError
from glassine.intake import at_rest
from glassine.intake import step as intake
from makers.step_calls import taken_in

HEADER = "item_id,title\n"


@pytest.fixture
def batch(tmp_path):
    folder = tmp_path / "b1"
    folder.mkdir()
    for tone, name in enumerate(("PEH-0001.tif", "PEH-0002_emu.tif", "PEH-0002_base.tif")):
        tifffile.imwrite(folder / name, np.full((8, 12, 3), tone, np.uint16))
    (folder / "catalogue.csv").write_text(HEADER + "PEH-0001,Quay\nPEH-0002,Løgsø\n", "utf-8")
    return folder


def take(folder, **changes):
    config = settings.load({"intake": {"watch_s": 0}, **changes})
    given = {"batch": folder.name, "settings": config}
    return taken_in(folder, given)


def item(result, name):
    return next(entry for entry in result["items"] if entry["item"] == name)


def codes(entry):
    return {finding["code"] for finding in entry["findings"]}


def test_masters_are_joined_to_items_with_their_rows(batch):
    result = take(batch)
    assert [entry["item"] for entry in result["items"]] == ["PEH-0001", "PEH-0002"]
    assert {entry["state"] for entry in result["items"]} == {"ready"}
    assert [master["part"] for master in item(result, "PEH-0002")["masters"]] == ["base", "emu"]
    assert item(result, "PEH-0002")["catalogue"]["title"] == "Løgsø"
    assert item(result, "PEH-0001")["masters"][0]["size_px"] == [12, 8]


def test_checksums_reach_the_masters_they_name(batch):
    digest = hashlib.sha256((batch / "PEH-0001.tif").read_bytes()).hexdigest()
    (batch / "manifest-sha256.txt").write_text(f"{digest.upper()} *./PEH-0001.tif\n")
    result = take(batch)
    assert item(result, "PEH-0001")["masters"][0]["expected"] == {"sha256": digest}


def test_a_master_that_the_list_names_but_the_folder_lacks_holds_its_item(batch):
    (batch / "manifest-sha256.txt").write_text(f"{'0' * 64}  PEH-0003.tif\n")
    assert codes(item(take(batch), "PEH-0003")) == {"intake.master_missing", "catalogue.no_row"}


def test_an_item_without_a_row_is_held_and_a_row_without_master_is_told(batch):
    (batch / "catalogue.csv").write_text(HEADER + "PEH-0001,Quay\nPEH-0009,Mole\n")
    result = take(batch)
    assert item(result, "PEH-0002")["state"] == "held"
    assert codes(item(result, "PEH-0002")) == {"catalogue.no_row"}
    assert result["rows"]["without_master"] == ["PEH-0009"]
    assert item(result, "PEH-0001")["state"] == "ready"


def test_a_name_off_the_template_is_held_under_a_stand_in(batch):
    tifffile.imwrite(batch / "scan 0042 final.tif", np.zeros((8, 12), np.uint16))
    held = [entry for entry in take(batch)["items"] if entry["state"] == "held"]
    assert len(held) == 1
    assert held[0]["item"].startswith("unidentified-")
    assert held[0]["findings"][0]["path"] == "scan 0042 final.tif"


def test_a_label_in_the_picture_identifies_a_name_off_the_template(batch):
    code = zxingcpp.create_barcode("PEH-0001", zxingcpp.BarcodeFormat.Code128)
    drawn = np.array(zxingcpp.write_barcode_to_image(code, scale=3))
    picture = np.pad(drawn, 60, constant_values=255).astype(np.uint16) * 257
    (batch / "PEH-0001.tif").unlink()
    tifffile.imwrite(batch / "scan 7.tif", picture)
    result = take(batch)
    assert [master["path"] for master in item(result, "PEH-0001")["masters"]] == ["scan 7.tif"]
    assert [note["code"] for note in result["notes"]] == ["intake.label_identity"]


def test_two_masters_for_one_place_hold_the_item(batch):
    (batch / "again").mkdir()
    tifffile.imwrite(batch / "again" / "PEH-0001.tif", np.zeros((8, 12), np.uint16))
    assert codes(item(take(batch), "PEH-0001")) == {"intake.two_masters"}


def test_items_that_differ_only_in_case_are_both_held(batch):
    tifffile.imwrite(batch / "peh-0001.tif", np.zeros((8, 12), np.uint16))
    result = take(batch)
    assert "intake.names_collide" in codes(item(result, "PEH-0001"))
    assert "intake.names_collide" in codes(item(result, "peh-0001"))


def test_young_files_wait(batch):
    result = take(batch, intake={"min_age_minutes": 60, "watch_s": 0})
    assert {entry["state"] for entry in result["items"]} == {"waiting"}


def test_a_file_from_the_future_does_not_wait_for_ever(batch):
    later = (batch / "PEH-0001.tif").stat().st_mtime + 2 * 86400
    os.utime(batch / "PEH-0001.tif", (later, later))
    result = take(batch, intake={"min_age_minutes": 60, "watch_s": 0})
    assert item(result, "PEH-0001")["state"] == "ready"


def test_links_pipes_and_strange_names_are_held_unread(batch):
    (batch / "PEH-0003.tif").symlink_to("/etc/passwd")
    os.mkfifo(batch / "PEH-0004.tif")
    (batch / os.fsdecode(b"lat\xe9.tif")).write_bytes(b"x")
    (batch / "x{y}.tif").write_bytes(b"x")
    (batch / "$(touch PWNED).tif").write_bytes(b"x")
    held = [entry for entry in take(batch)["items"] if entry["state"] == "held"]
    told = sorted(
        (finding["path"], finding["code"]) for entry in held for finding in entry["findings"]
    )
    assert told == [
        ("$(touch PWNED).tif", "naming.off_template"),
        ("PEH-0003.tif", "intake.entry"),
        ("PEH-0004.tif", "intake.entry"),
        ("lat\\xe9.tif", "intake.entry"),
        ("x{y}.tif", "intake.entry"),
    ]


def test_pictures_that_are_no_masters_are_held_and_other_files_named(batch):
    (batch / "PEH-0005.jpg").write_bytes(b"x")
    (batch / "notes.txt").write_text("x")
    result = take(batch)
    assert "intake.not_a_master" in codes(item(result, "PEH-0005"))
    assert result["other_files"] == ["notes.txt"]


def test_every_file_is_in_exactly_one_place(batch):
    for name in ("notes.txt", "PEH-0005.jpg", "scan 1.tif", "batch.yaml"):
        (batch / name).write_text("")
    result = take(batch)
    masters = {master["path"] for entry in result["items"] for master in entry["masters"]}
    refused = {
        finding["path"]
        for entry in result["items"]
        for finding in entry["findings"]
        if finding["code"] == "intake.not_a_master"
    }
    places = [*result["other_files"], "batch.yaml", "catalogue.csv", *masters, *refused]
    assert sorted(places) == sorted(path.name for path in batch.iterdir())


def test_facts_are_taken_by_the_last_matching_entry(batch):
    (batch / "batch.yaml").write_text(
        "defaults: {nominal_ppi: 1200}\n"
        "items:\n"
        "  - {match: 'PEH-*', kind: plate, polarity: negative}\n"
        "  - {match: PEH-0002, kind: sheet}\n"
    )
    result = take(batch)
    assert item(result, "PEH-0001")["masters"][0]["facts"]["kind"] == "plate"
    assert item(result, "PEH-0002")["masters"][0]["facts"]["kind"] == "sheet"
    assert item(result, "PEH-0002")["masters"][0]["facts"]["polarity"] == "negative"
    assert item(result, "PEH-0002")["masters"][0]["facts"]["nominal_ppi"] == 1200


def test_mistakes_in_batch_facts_stop_the_batch_by_name(batch):
    (batch / "batch.yaml").write_text("defaults: {kind: dageurrotype, plarity: negative}\n")
    with pytest.raises(GlassineError) as caught:
        take(batch)
    assert "plarity" in str(caught.value)
    assert "dageurrotype" in str(caught.value)


def test_a_file_that_grows_under_the_eyes_waits(batch, monkeypatch):
    def grow(_seconds):
        with (batch / "PEH-0001.tif").open("ab") as handle:
            handle.write(b"more")

    monkeypatch.setattr(at_rest.time, "sleep", grow)
    result = take(batch, intake={"watch_s": 1})
    assert item(result, "PEH-0001")["state"] == "waiting"
    assert item(result, "PEH-0002")["state"] == "ready"


def test_the_fingerprint_tells_a_change_without_reading(batch):
    before = intake.fingerprint(batch, [])
    assert intake.fingerprint(batch, []) == before
    os.utime(batch / "PEH-0001.tif", (1, 1))
    assert intake.fingerprint(batch, []) != before


def test_nothing_in_the_batch_folder_is_changed(batch):
    def state():
        return {
            path.name: (path.read_bytes(), path.stat().st_mtime_ns, path.stat().st_mode)
            for path in batch.iterdir()
        }

    before = state()
    take(batch)
    assert state() == before
