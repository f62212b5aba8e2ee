"""What lies in a batch folder is opened by one door: nothing hangs, leads outside, or is passed
over because it cannot be read."""

import contextlib
import json
import os
import stat
import subprocess
import time
from pathlib import Path

import numpy as np
import pytest
import tifffile

from glassine.base import corrections, door, sandbox, settings
from glassine.base.errors import GlassineError
from glassine.intake import step as intake
from glassine.intake.catalogue import reading as catalogue
from makers import target_calls
from makers.step_calls import taken_in

SIDE_FILES = ["batch.yaml", "corrections.yaml", "catalogue.csv", "manifest-sha256.txt"]
# Loaded now: a user without rights may not even read the library.
assert catalogue
assert corrections


def master(path, tone):
    path.parent.mkdir(parents=True, exist_ok=True)
    tifffile.imwrite(path, np.full((8, 12, 3), tone, np.uint16))


@pytest.fixture
def batch(tmp_path):
    folder = tmp_path / "masters" / "b1"
    for number in (1, 2):
        master(folder / f"PEH-000{number}.tif", number)
    (folder / "catalogue.csv").write_text("item_id,title\nPEH-0001,Quay\nPEH-0002,Mole\n")
    return folder


def take(folder, **changes):
    config = settings.load({"intake": {"watch_s": 0}, **changes})
    return taken_in(folder, {"batch": folder.name, "settings": config})


def outcome(folder, **changes):
    """Return {code: what} of all that is told, and whether each item is held."""
    try:
        result = take(folder, **changes)
    except GlassineError as error:
        return {each.code: each.what for each in error.findings}, True
    told = [*result["notes"], *(each for item in result["items"] for each in item["findings"])]
    held = all(item["state"] == "held" for item in result["items"])
    return {each["code"]: each["what"] for each in told}, held


def pipe(path, _):
    os.mkfifo(path)


def device(path, _):
    path.symlink_to("/dev/zero")


def real_device(path, _):
    try:
        os.mknod(path, stat.S_IFCHR | 0o644, os.makedev(1, 5))  # /dev/zero
    except PermissionError:
        pytest.skip("making a device needs root")


def link_outside(path, outside):
    path.symlink_to(outside)


def dangling(path, _):
    path.symlink_to("nowhere")


def folder(path, _):
    path.mkdir()


MAKERS = [pipe, device, real_device, link_outside, dangling, folder]


@pytest.mark.parametrize("make", MAKERS)
@pytest.mark.parametrize("name", SIDE_FILES)
def test_a_side_file_that_is_no_file_holds_the_batch_unopened(batch, tmp_path, name, make):
    outside = tmp_path / "outside"
    outside.write_text("item_id,title\nPEH-0001,a secret\nPEH-0002,a secret\n")
    (batch / name).unlink(missing_ok=True)
    make(batch / name, outside)
    started = time.monotonic()
    told, held = outcome(batch)
    assert time.monotonic() - started < 20
    assert held, told
    assert any("it is a" in what for what in told.values()), told
    assert "secret" not in json.dumps(told)


@pytest.mark.parametrize("make", MAKERS)
def test_what_is_no_file_is_refused_by_the_door(tmp_path, make):
    outside = tmp_path / "outside"
    outside.write_text("a secret")
    make(tmp_path / "x", outside)
    with pytest.raises(OSError):
        door.open_file(tmp_path / "x", tmp_path)


def test_a_linked_folder_on_the_way_is_refused(tmp_path):
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "x").write_text("a secret")
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "sub").symlink_to("../elsewhere")
    with pytest.raises(door.Refused, match="link"):
        door.open_file(tmp_path / "b" / "sub" / "x", tmp_path / "b")
    with pytest.raises(door.Refused, match="inside"):
        door.open_file(tmp_path / "b" / ".." / "elsewhere" / "x", tmp_path / "b")


def test_a_file_that_is_too_large_is_not_read(tmp_path):
    (tmp_path / "x").write_bytes(b"x" * 101)
    with pytest.raises(door.Refused, match="101 bytes, more than 100"):
        door.read_file(tmp_path / "x", tmp_path, 100)


def test_a_file_that_becomes_a_pipe_between_two_looks_does_not_hang(batch, monkeypatch):
    """Between the look at the name and the opening, the name comes to mean a pipe."""
    (batch / "batch.yaml").write_text("title: Quays\n")
    real = os.open

    def open_later(path, flags, *args, **kwargs):
        if path == "batch.yaml":
            (batch / "batch.yaml").unlink()
            os.mkfifo(batch / "batch.yaml")
        return real(path, flags, *args, **kwargs)

    monkeypatch.setattr(door.os, "open", open_later)
    with pytest.raises(GlassineError, match="pipe"):
        take(batch)


def test_the_configured_catalogue_may_be_a_link_and_must_be_a_file(batch, tmp_path):
    (tmp_path / "extract.csv").write_bytes((batch / "catalogue.csv").read_bytes())
    (batch / "catalogue.csv").unlink()
    (tmp_path / "linked.csv").symlink_to(tmp_path / "extract.csv")
    os.mkfifo(tmp_path / "pipe.csv")
    result = take(batch, catalogue={"path": str(tmp_path / "linked.csv")})
    assert {item["state"] for item in result["items"]} == {"ready"}
    with pytest.raises(GlassineError, match="it is a pipe"):
        take(batch, catalogue={"path": str(tmp_path / "pipe.csv")})


def test_a_link_to_a_folder_is_held_and_not_followed(batch, tmp_path):
    master(tmp_path / "elsewhere" / "PEH-0009.tif", 9)
    (batch / "more").symlink_to(tmp_path / "elsewhere")
    result = take(batch)
    assert "PEH-0009" not in {item["item"] for item in result["items"]}
    held = [item for item in result["items"] if item["state"] == "held"]
    assert [each["path"] for each in held[0]["findings"]] == ["more"]


def test_a_batch_folder_that_is_a_link_is_told_and_not_followed(batch):
    linked = batch.parent / "b2"
    linked.symlink_to(batch)
    with pytest.raises(GlassineError, match="symbolic link"):
        take(linked)
    assert intake.fingerprint(linked, []) != intake.fingerprint(batch, [])


def test_a_refused_master_holds_the_item_whose_other_masters_are_there(batch):
    (batch / "PEH-0001.tif").rename(batch / "PEH-0001_emu.tif")
    (batch / "PEH-0001_base.tif").symlink_to("/etc/passwd")
    items = {item["item"]: item for item in take(batch)["items"]}
    assert items["PEH-0001"]["state"] == "held"
    assert items["PEH-0001"]["findings"][0]["path"] == "PEH-0001_base.tif"


# --- rights; root has them all, so these run as another user ------------------------------


def as_nobody(folder):
    """Take the batch in as a user without rights; return intake.json, or what stopped it."""
    if os.geteuid() != 0:
        pytest.skip("changing the user needs root")
    for path in [folder, *folder.parents]:
        if str(path) not in ("/", "/tmp") and path.stat().st_uid == os.getuid():
            path.chmod(path.stat().st_mode | 0o055)

    # What is imported or read late lies where a user without rights may not go.
    with contextlib.suppress(GlassineError):
        take(folder)

    def question():
        os.setgroups([])
        os.setegid(65534)
        os.seteuid(65534)
        try:
            found = take(folder)
        except GlassineError as error:
            found = {"stopped": [each.as_dict() for each in error.findings]}
        return {**found, "mark": intake.fingerprint(folder, [])}

    # The limit counts what the tests before have loaded into this process as well.
    found = sandbox.answer(question, seconds=60, memory_bytes=2**34)
    assert found is not None, "it ended with an error not its own"
    return found


@pytest.mark.parametrize("mode", [0o000, 0o444, 0o111])
def test_a_folder_that_may_not_be_listed_or_entered_holds_the_batch(batch, mode):
    master(batch / "more" / "PEH-0002_base.tif", 7)
    (batch / "more").chmod(mode)
    found = as_nobody(batch)
    assert [each["code"] for each in found["stopped"]] == ["intake.closed"]
    assert found["stopped"][0]["path"].endswith("/more")


@pytest.mark.parametrize("name", SIDE_FILES)
def test_a_side_file_that_may_not_be_read_holds_the_batch(batch, name):
    if name != "catalogue.csv":
        (batch / name).write_text("{}")
    (batch / name).chmod(0)
    found = as_nobody(batch)
    if "stopped" in found:
        assert "ermission denied" in found["stopped"][0]["what"]
    else:
        assert {item["state"] for item in found["items"]} == {"held"}


def test_a_master_that_may_not_be_read_holds_its_item_alone(batch):
    (batch / "PEH-0001.tif").chmod(0)
    states = {item["item"]: item for item in as_nobody(batch)["items"]}
    assert states["PEH-0002"]["state"] == "ready"
    held = [item for item in states.values() if item["state"] == "held"]
    assert [each["path"] for each in held[0]["findings"]] == ["PEH-0001.tif"]
    assert "may not read" in held[0]["findings"][0]["what"]


def test_any_other_file_that_may_not_be_read_is_held_too(batch):
    (batch / "scan.dat").write_text("x")
    (batch / "scan.dat").chmod(0)
    held = [item for item in as_nobody(batch)["items"] if item["state"] == "held"]
    assert [each["path"] for each in held[0]["findings"]] == ["scan.dat"]


def test_the_fingerprint_changes_with_the_rights(batch):
    (batch / "more").mkdir()
    marks = [intake.fingerprint(batch, [])]
    for path, mode in (("more", 0o700), ("PEH-0001.tif", 0o600), (".", 0o750)):
        (batch / path).chmod(mode if (batch / path).stat().st_mode & 0o777 != mode else mode ^ 1)
        if path != ".":
            marks.append(intake.fingerprint(batch, []))
    assert len(set(marks)) == len(marks)


def test_the_fingerprint_is_another_for_a_user_without_rights(batch):
    (batch / "more").mkdir(mode=0o700)
    here = as_nobody(batch)["mark"]
    assert here != intake.fingerprint(batch, [])


def test_a_disk_that_fails_while_it_is_listed_holds_the_batch(batch, monkeypatch):
    (batch / "more").mkdir()
    real = os.listdir

    def listdir(handle):
        if Path(f"/proc/self/fd/{handle}").readlink().name == "more":
            raise OSError(5, "Input/output error")
        return real(handle)

    monkeypatch.setattr(door.os, "listdir", listdir)
    with pytest.raises(GlassineError, match="Input/output error"):
        take(batch)


def test_a_name_without_a_file_is_held_and_one_that_was_only_renamed_is_not(batch, monkeypatch):
    real = os.listdir
    looks = []

    def listdir(handle):
        looks.append(handle)
        extra = ["PEH-0001_sleeve.tif"] if always or len(looks) < 2 else []
        return [*real(handle), *extra]

    monkeypatch.setattr(door.os, "listdir", listdir)
    always = False
    assert {item["state"] for item in take(batch)["items"]} == {"ready"}
    always = True
    items = {item["item"]: item for item in take(batch)["items"]}
    assert items["PEH-0001"]["state"] == "held"
    assert {each["code"] for each in items["PEH-0001"]["findings"]} == {"intake.vanished"}


def test_folders_without_end_are_told(batch):
    deep = batch
    for _ in range(door.MAX_DEPTH + 2):
        deep = deep / "d"
    deep.mkdir(parents=True)
    with pytest.raises(GlassineError, match="folders deep"):
        take(batch)


def test_a_folder_named_like_a_master_or_a_list_is_told(batch):
    (batch / "PEH-0003.tif").mkdir()
    told, _ = outcome(batch)
    assert "it is a folder" in told["intake.entry"]


def test_a_mount_point_is_a_folder_like_any_other(batch):
    (batch / "more").mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "none", str(batch / "more")], capture_output=True, check=False
    )
    if done.returncode:
        pytest.skip("mounting needs more rights than there are here")
    try:
        master(batch / "more" / "PEH-0001_base.tif", 5)
        items = {item["item"]: item for item in take(batch)["items"]}
        assert len(items["PEH-0001"]["masters"]) == 2
    finally:
        subprocess.run(["umount", str(batch / "more")], check=True)


@pytest.mark.parametrize("make", [pipe, dangling, device])
def test_a_target_description_that_is_no_file_is_told_and_not_passed_over(batch, tmp_path, make):
    """config/targets has a description of the same name: it must not step in."""
    make(batch / "film-example.yaml", None)
    master(batch / "target.tif", 200)
    target = {"path": "target.tif", "description": "film-example.yaml"}
    (result,) = target_calls.measured(batch, tmp_path / "out", [target])
    assert result.state == "unreadable"
    assert "film-example.yaml" in result.findings[0].path
