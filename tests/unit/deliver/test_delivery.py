"""Deliveries: whole, read again, never written over, continued after a kill."""

from __future__ import annotations

import io
import json
import os
import shutil
import signal
import subprocess
import sys
import tarfile
import warnings
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from glassine.base import hashing
from glassine.base.errors import GlassineError
from glassine.base.settings import PROJECT
from glassine.deliver import bag, bagging, due, serialization, step, validation
from makers import deliveries, made_items

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import bagit

FORMS = {"folder": "b1", "tar": "b1.tar", "zip": "b1.zip"}


@pytest.fixture(autouse=True)
def no_records(monkeypatch: pytest.MonkeyPatch) -> None:
    deliveries.without_records(monkeypatch)


LACKING = {
    "item": "PEH-0009",
    "state": "held",
    "findings": [
        {
            "code": "verify.digest",
            "path": "PEH-0009.tif",
            "what": "Its sha256 is another.",
            "expected": "the listed one.",
            "next_step": "Copy it again.",
            "severity": "hold",
        }
    ],
}


def tree(folder: Path) -> dict[str, tuple[int, bytes]]:
    """Return {path: (mtime, content)} of everything below `folder`."""
    return {
        path.relative_to(folder).as_posix(): (path.stat().st_mtime_ns, path.read_bytes())
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def info_of(bag_dir: Path) -> dict[str, str]:
    return dict(bag.parsed_info((bag_dir / "bag-info.txt").read_text("utf-8")))


def codes(caught: pytest.ExceptionInfo[GlassineError]) -> set[str]:
    return {finding.code for finding in caught.value.findings}


@pytest.mark.parametrize("form", FORMS)
def test_each_form_is_a_valid_bag(form: str, tmp_path: Path) -> None:
    receipt = deliveries.deliver(tmp_path, deliveries.make_batch(tmp_path, form=form))
    made = tmp_path / "deliveries" / FORMS[form]
    assert validation.check(made) == []
    assert receipt["bags"][0]["name"] == made.name
    unpacked = tmp_path / "unpacked"
    if form == "tar":
        with tarfile.open(made) as archive:
            archive.extractall(unpacked, filter="data")
    elif form == "zip":
        with zipfile.ZipFile(made) as archive:
            archive.extractall(unpacked)
    else:
        shutil.copytree(made, unpacked / "b1")
    assert bagit.Bag(str(unpacked / "b1")).validate()
    assert not list((tmp_path / "deliveries").glob(".part-*"))


def test_masters_are_delivered_as_they_are_and_stay(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path)
    before = tree(tmp_path / "masters")
    deliveries.deliver(tmp_path, given)
    assert tree(tmp_path / "masters") == before
    copy = tmp_path / "deliveries/b1/data/PEH-0001/masters/PEH-0001.tif"
    assert copy.read_bytes() == before["b1/PEH-0001.tif"][1]


def test_bag_info(tmp_path: Path) -> None:
    deliveries.deliver(tmp_path, deliveries.make_batch(tmp_path))
    info = info_of(tmp_path / "deliveries" / "b1")
    assert info["Source-Organization"] == "Port Ellery Harbour Archive"
    assert info["Bagging-Date"] == "2026-03-18"
    assert info["Bag-Group-Identifier"] == "b1"
    # RFC 9562: a name that is nobody's address, where the institution publishes no profile.
    assert info["BagIt-Profile-Identifier"].startswith("urn:uuid:")
    assert "Bag-Count" not in info


def test_same_batch_is_not_delivered_twice(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path)
    deliveries.deliver(tmp_path, given)
    before = {k: v for k, v in tree(tmp_path / "deliveries").items() if "receipt.json" not in k}
    # The engine removes a rule's outputs before it runs it again.
    (tmp_path / "deliveries" / "b1.receipt.json").unlink()
    receipt = deliveries.deliver(tmp_path, given)
    after = {k: v for k, v in tree(tmp_path / "deliveries").items() if "receipt.json" not in k}
    assert after == before
    assert receipt["revision"] == 1


def test_correction_makes_a_new_delivery_that_says_what_it_replaces(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path)
    deliveries.deliver(tmp_path, given)
    first = tree(tmp_path / "deliveries" / "b1")
    deliveries.changed_title(tmp_path, "PEH-0002", "The other quay")
    receipt = deliveries.deliver(tmp_path, given)
    assert tree(tmp_path / "deliveries" / "b1") == first
    second = tmp_path / "deliveries" / "b1.r2"
    assert validation.check(second) == []
    assert info_of(second)["Replaces-Delivery"] == "b1"
    assert (receipt["delivery"], receipt["replaces"]) == ("b1.r2", "b1")
    statement = json.loads((second / "delivery/delivery.json").read_text())
    assert statement["replaces"] == "b1"


def test_later_delivery_of_changed_items_alone(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path, 3, when="passed", later="changed")
    first = given | {
        "items": ["PEH-0001", "PEH-0002"],
        "lacking": [{**LACKING, "item": "PEH-0003"}],
    }
    receipt = deliveries.deliver(tmp_path, first)
    assert (receipt["replaces"], receipt["continues"]) == (None, None)
    deliveries.changed_title(tmp_path, "PEH-0002", "The other quay")
    receipt = deliveries.deliver(tmp_path, given)
    assert (receipt["delivery"], receipt["replaces"], receipt["continues"]) == ("b1.r2", None, "b1")
    made = tmp_path / "deliveries" / "b1.r2"
    assert sorted(path.name for path in (made / "data").iterdir()) == ["PEH-0002", "PEH-0003"]
    assert info_of(made)["Replaces-Item"] == "PEH-0002 (b1)"
    assert info_of(made)["Continues-Delivery"] == "b1"
    assert validation.check(made) == []
    assert deliveries.deliver(tmp_path, given)["revision"] == 2
    # an item that changed in between is compared with its last delivery
    deliveries.changed_title(tmp_path, "PEH-0002", "The third quay")
    receipt = deliveries.deliver(tmp_path, given)
    assert [(entry["item"], entry["replaces"]) for entry in receipt["items"]] == [
        ("PEH-0002", "b1.r2")
    ]


@pytest.mark.parametrize("later", ["whole", "changed"])
def test_another_reason_for_what_is_lacking_is_no_new_delivery(later: str, tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path, when="passed", later=later) | {"lacking": [LACKING]}
    deliveries.deliver(tmp_path, given)
    other = {**LACKING, "state": "waiting", "findings": []}
    assert deliveries.deliver(tmp_path, given | {"lacking": [other]})["revision"] == 1


def test_delivery_carried_away_is_not_made_again(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path)
    deliveries.deliver(tmp_path, given)
    shutil.rmtree(tmp_path / "deliveries" / "b1")
    deliveries.deliver(tmp_path, given)
    assert not (tmp_path / "deliveries" / "b1").exists()


def test_large_batch_is_parted(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path, 3)
    folders = [tmp_path / "results" / "b1" / "items" / item for item in given["items"]]
    sizes = [due.item_of(folder, due.read_package(folder)).bytes for folder in folders]
    given["settings"]["delivery"]["max_bag_gb"] = (sizes[0] + sizes[1]) / 1e9
    receipt = deliveries.deliver(tmp_path, given)
    assert [entry["name"] for entry in receipt["bags"]] == ["b1.001", "b1.002"]
    for number, entry in enumerate(receipt["bags"], 1):
        folder = tmp_path / "deliveries" / entry["name"]
        assert validation.check(folder) == []
        assert bagit.Bag(str(folder)).validate()
        assert info_of(folder)["Bag-Count"] == f"{number} of 2"
        assert info_of(folder)["Bag-Group-Identifier"] == "b1"
    delivered_items = {
        path.name for path in (tmp_path / "deliveries").glob("b1.00?/data/*") if path.is_dir()
    }
    assert delivered_items == set(given["items"])


class Killed(BaseException):
    """Stands for a kill: nothing but the file system outlives it."""


@contextmanager
def killed_after(count: int, patch: pytest.MonkeyPatch) -> Iterator[list[Path]]:
    """Let only `count` payload files be read; gives the list of those that were begun."""
    begun: list[Path] = []
    real = hashing.of_stream

    def counted(stream: Any, target: Any = None) -> hashing.Digests:
        if target is not None:
            begun.append(Path(stream.name))
            if len(begun) > count:
                target.write(memoryview(b"half of it"))
                raise Killed
        return real(stream, target)

    with patch.context() as inner:
        inner.setattr(serialization.hashing, "of_stream", counted)
        yield begun


@pytest.mark.parametrize("form", FORMS)
def test_killed_delivery_goes_on(
    form: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = deliveries.make_batch(tmp_path, form=form)
    total = 2 * (7 + 1 + 2 + 3)
    done = int(total * 0.8)
    with killed_after(done, monkeypatch) as begun, pytest.raises(Killed):
        deliveries.deliver(tmp_path, given)
    assert not (tmp_path / "deliveries" / FORMS[form]).exists()
    with killed_after(total, monkeypatch) as begun:
        deliveries.deliver(tmp_path, given)
    assert len(begun) == total - done
    assert validation.check(tmp_path / "deliveries" / FORMS[form]) == []
    deliveries.without_records(monkeypatch)
    fresh = tmp_path / "fresh"
    deliveries.deliver(fresh, deliveries.make_batch(fresh, form=form))
    resumed = {path: content for path, (_, content) in tree(tmp_path / "deliveries").items()}
    whole = {path: content for path, (_, content) in tree(fresh / "deliveries").items()}
    # METS and records hold times of packing, which the fixed clock makes the same.
    assert resumed == whole


def test_killed_zip_with_large_members_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Members beyond 2 GiB have ZIP64 headers (APPNOTE.TXT 6.3.10, 4.5.3): here every one has."""
    monkeypatch.setattr(serialization, "_ZIP64_FROM", 0)
    given = deliveries.make_batch(tmp_path, form="zip")
    with killed_after(20, monkeypatch), pytest.raises(Killed):
        deliveries.deliver(tmp_path, given)
    with killed_after(100, monkeypatch) as begun:
        deliveries.deliver(tmp_path, given)
    assert len(begun) == 2 * (7 + 1 + 2 + 3) - 20
    assert validation.check(tmp_path / "deliveries" / "b1.zip") == []


@pytest.mark.parametrize("size", [0, 8 * 2**30 - 1, 8 * 2**30, 2**40])
@pytest.mark.parametrize("name", ["b1/data/a.tif", "b1/data/Ævø 港.tif", "b1/" + "x" * 180])
def test_tar_header_of_any_size_and_name(size: int, name: str) -> None:
    """The octal size of ustar ends at 8 GiB; beyond, pax has it (POSIX.1-2001)."""
    header = serialization._tar_header(name, size, 1_773_800_000)
    with tarfile.open(fileobj=io.BytesIO(header)) as archive:
        member = archive.next()
    assert member is not None
    assert (member.name, member.size, member.mtime) == (name, size, 1_773_800_000)


KILLED_BY_THE_SYSTEM = """
import json, os, signal, sys
from pathlib import Path
from makers import deliveries
from glassine.base import hashing
real, begun = hashing.of_stream, []
def counted(stream, target=None):
    if target is not None:
        begun.append(stream)
        if len(begun) > 20:
            target.write(memoryview(b"half of it"))
            target.flush()
            os.kill(os.getpid(), signal.SIGKILL)
    return real(stream, target)
hashing.of_stream = counted
deliveries.deliver(Path(sys.argv[1]), json.loads(sys.argv[2]))
"""


@pytest.mark.parametrize("form", FORMS)
def test_sigkill_leaves_nothing_that_needs_a_person(form: str, tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path, form=form)
    places = os.pathsep.join([str(PROJECT / "scripts"), str(PROJECT / "tests")])
    run = subprocess.run(
        [sys.executable, "-c", KILLED_BY_THE_SYSTEM, str(tmp_path), json.dumps(given)],
        env={**os.environ, "PYTHONPATH": places},
        check=False,
    )
    assert run.returncode == -signal.SIGKILL
    assert list((tmp_path / "deliveries").glob(".part-*"))
    assert not (tmp_path / "deliveries" / FORMS[form]).exists()
    deliveries.deliver(tmp_path, given)
    assert validation.check(tmp_path / "deliveries" / FORMS[form]) == []
    assert not list((tmp_path / "deliveries").rglob(".part-*"))


@pytest.mark.parametrize("form", FORMS)
def test_bytes_lost_in_a_power_cut_are_brought_again(
    form: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = deliveries.make_batch(tmp_path, form=form)
    with killed_after(20, monkeypatch), pytest.raises(Killed):
        deliveries.deliver(tmp_path, given)
    part = tmp_path / "deliveries" / f".part-{FORMS[form]}"
    if form == "folder":
        part = next(part.rglob("*_access.jpg"))
    content = bytearray(part.read_bytes())
    content[len(content) // 2 :] = bytes(len(content) - len(content) // 2)
    part.write_bytes(content)
    deliveries.deliver(tmp_path, given)
    assert validation.check(tmp_path / "deliveries" / FORMS[form]) == []


def test_killed_between_bag_and_receipt(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    given = deliveries.make_batch(tmp_path)

    def killed(*_: object) -> None:
        raise Killed

    with monkeypatch.context() as inner:
        inner.setattr(step, "_finish", killed)
        with pytest.raises(Killed):
            deliveries.deliver(tmp_path, given)
    before = tree(tmp_path / "deliveries" / "b1")
    receipt = deliveries.deliver(tmp_path, given)
    assert tree(tmp_path / "deliveries" / "b1") == before
    assert receipt["revision"] == 1
    assert not (tmp_path / "deliveries" / "b1.r2").exists()


@pytest.mark.parametrize("form", FORMS)
def test_killed_before_the_receipt_and_changed_since(
    form: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = deliveries.make_batch(tmp_path, form=form)

    def killed(*_: object) -> None:
        raise Killed

    with monkeypatch.context() as inner:
        inner.setattr(step, "_finish", killed)
        with pytest.raises(Killed):
            deliveries.deliver(tmp_path, given)
    deliveries.changed_title(tmp_path, "PEH-0001", "Another title")
    receipt = deliveries.deliver(tmp_path, given)
    assert receipt["revision"] == 1
    assert validation.check(tmp_path / "deliveries" / FORMS[form]) == []


def test_batch_changed_while_a_delivery_was_interrupted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = deliveries.make_batch(tmp_path)
    with killed_after(20, monkeypatch), pytest.raises(Killed):
        deliveries.deliver(tmp_path, given)
    deliveries.changed_title(tmp_path, "PEH-0001", "Another title")
    deliveries.deliver(tmp_path, given)
    assert validation.check(tmp_path / "deliveries" / "b1") == []
    names = {path.name for path in (tmp_path / "deliveries").iterdir()}
    assert not [name for name in names if name.startswith(".part-")]


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("which", ["master", "picture"])
def test_file_damaged_since_packing_is_not_delivered(form: str, which: str, tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path, form=form)
    path = (
        tmp_path / "masters/b1/PEH-0002.tif"
        if which == "master"
        else made_items.item_dir_of(tmp_path, "PEH-0002") / "access/PEH-0002_access.jpg"
    )
    content = bytearray(path.read_bytes())
    content[-50] ^= 1
    path.write_bytes(content)
    with pytest.raises(GlassineError) as caught:
        deliveries.deliver(tmp_path, given)
    assert codes(caught) == {"delivery.changed"}
    assert path.name in str(caught.value)
    assert not (tmp_path / "deliveries" / FORMS[form]).exists()
    assert not list((tmp_path / "deliveries").glob("*receipt*"))
    content[-50] ^= 1
    path.write_bytes(content)
    deliveries.deliver(tmp_path, given)
    assert validation.check(tmp_path / "deliveries" / FORMS[form]) == []


def test_file_that_vanished_is_named(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path)
    (tmp_path / "masters/b1/PEH-0002.tif").unlink()
    with pytest.raises(GlassineError) as caught:
        deliveries.deliver(tmp_path, given)
    assert codes(caught) == {"delivery.unreadable"}
    assert "PEH-0002.tif" in str(caught.value)


def test_incomplete_batch_is_withheld(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path) | {"lacking": [LACKING]}
    with pytest.raises(GlassineError) as caught:
        deliveries.deliver(tmp_path, given)
    assert codes(caught) == {"delivery.withheld"}
    assert "PEH-0009" in str(caught.value)
    assert not (tmp_path / "deliveries").exists()


def test_partial_delivery_lists_what_it_lacks_and_why(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path, when="passed") | {"lacking": [LACKING]}
    receipt = deliveries.deliver(tmp_path, given)
    made = tmp_path / "deliveries" / "b1"
    assert validation.check(made) == []
    assert info_of(made)["Lacking-Item"] == "PEH-0009 (held)"
    (lacking,) = json.loads((made / "delivery/delivery.json").read_text())["lacking"]
    assert "verify.digest" in lacking["reason"]
    assert receipt["lacking"] == [lacking]
    assert not (made / "data" / "PEH-0009").exists()


def test_nothing_done_nothing_delivered(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path, 1) | {"items": []}
    with pytest.raises(GlassineError) as caught:
        deliveries.deliver(tmp_path, given)
    assert codes(caught) == {"delivery.empty"}


@pytest.mark.parametrize("form", FORMS)
def test_what_has_the_name_already_is_not_touched(form: str, tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path, form=form)
    foreign = tmp_path / "deliveries" / FORMS[form]
    if form == "folder":
        foreign.mkdir(parents=True)
        (foreign / "kept.txt").write_text("kept")
    else:
        foreign.parent.mkdir()
        foreign.write_text("kept")
    before = tree(tmp_path / "deliveries")
    with pytest.raises(GlassineError) as caught:
        deliveries.deliver(tmp_path, given)
    assert codes(caught) == {"delivery.exists"}
    after = tree(tmp_path / "deliveries")
    assert before.items() <= after.items()
    assert not [path for path in after if "receipt" in path]


def test_each_delivery_keeps_its_receipt(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path)
    deliveries.deliver(tmp_path, given)
    first = (tmp_path / "deliveries" / "b1.receipt.json").read_bytes()
    deliveries.changed_title(tmp_path, "PEH-0002", "The other quay")
    (tmp_path / "deliveries" / "b1.receipt.json").unlink()
    deliveries.deliver(tmp_path, given)
    assert (tmp_path / "deliveries" / "b1.receipt.json").read_bytes() == first
    assert (tmp_path / "deliveries" / "b1.r2.receipt.json").exists()


@pytest.mark.parametrize("copy", ["reflink", "hardlink"])
def test_shared_files(copy: str, tmp_path: Path) -> None:
    """What the file system cannot share is copied; the bag is the same."""
    deliveries.deliver(tmp_path, deliveries.make_batch(tmp_path, copy=copy))
    made = tmp_path / "deliveries" / "b1"
    assert validation.check(made) == []
    if copy == "hardlink":
        master = tmp_path / "masters/b1/PEH-0001.tif"
        assert master.samefile(made / "data/PEH-0001/masters/PEH-0001.tif")


def test_too_little_room_is_said_beforehand(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = deliveries.make_batch(tmp_path)
    usage = shutil._ntuple_diskusage(10**9, 10**9, 1000)  # type: ignore[attr-defined]
    monkeypatch.setattr(bagging.shutil, "disk_usage", lambda path: usage)
    with pytest.raises(GlassineError) as caught:
        deliveries.deliver(tmp_path, given)
    assert codes(caught) == {"delivery.space"}
