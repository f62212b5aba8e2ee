"""Later deliveries in layouts that tell of what was before: OCFL objects and E-ARK packages.

OCFL: https://ocfl.io/1.1/spec/ as checked by ocfl-py, which is not of this project. E-ARK: the SIP
vocabulary for the record's status (DILCIS Board, SIPVocabularyRecordStatus.xml): REPLACEMENT "fully
replaces a previous submission"; NEW "not previously delivered to the repository".
"""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import ocfl
import pytest

from glassine.base import files, hashing
from glassine.base.errors import GlassineError
from glassine.base.records.package import PackagedFile
from glassine.deliver import objects, shapes, validation
from glassine.pack import layouts
from makers import deliveries, made_items, redelivered
from makers.step_calls import do_delivery, do_step

ITEM = "PEH-0001"


@pytest.fixture(autouse=True)
def no_records(monkeypatch: pytest.MonkeyPatch) -> None:
    deliveries.without_records(monkeypatch)


def pack(root: Path, item: str) -> None:
    master = files.read_json(made_items.item_dir_of(root, item) / "fixity.json")["masters"][0]
    given = made_items.given_for(item, root / "masters/b1" / master["path"])
    given["settings"]["package"]["profile"] = "ocfl"
    made_items.write_mets(made_items.item_dir_of(root, item))
    do_step("pack", root / "masters/b1", made_items.item_dir_of(root, item), given)


def objects_of(root: Path, **section: str) -> dict[str, Any]:
    given = redelivered.make_batch(root, 2, later="changed", **section)
    for item in given["items"]:
        pack(root, item)
    do_delivery(root, given)
    return given


def retitled(root: Path, title: str) -> None:
    redelivered.changed_title(root, ITEM, title)
    pack(root, ITEM)


def receipt_of(root: Path, name: str) -> dict[str, Any]:
    return dict(files.read_json(root / "deliveries" / f"{name}.receipt.json"))


def laid_over(root: Path, *names: str) -> Path:
    """Return the object as a repository has it that lays each delivery over those before."""
    for name in names:
        shutil.copytree(
            root / "deliveries" / name / "data" / ITEM, root / "object", dirs_exist_ok=True
        )
    return root / "object"


def valid(folder: Path) -> tuple[bool, str]:
    passed, validator = ocfl.Object().validate(str(folder), log_warnings=True)
    return bool(passed) and validator.log.num_warnings == 0, str(validator)


def test_a_changed_object_is_its_next_version_with_what_is_new_alone(tmp_path: Path) -> None:
    given = objects_of(tmp_path)
    for number, title in ((2, "The other quay"), (3, "The third quay")):
        retitled(tmp_path, title)
        do_delivery(tmp_path, given)
        folder = tmp_path / "deliveries" / f"b1.r{number}"
        assert [path.name for path in (folder / "data").iterdir()] == [ITEM]
        content = folder / "data" / ITEM / f"v{number}" / "content"
        held = {
            path.relative_to(content).as_posix() for path in content.rglob("*") if path.is_file()
        }
        assert "manifest.json" in held
        assert not any(path.startswith(("masters/", "access/")) for path in held)
        assert not list((folder / "data" / ITEM).glob("v1*"))
        assert validation.check(folder) == []
    receipt = receipt_of(tmp_path, "b1.r3")
    (item,) = receipt["items"]
    assert (item["refers"], item["replaces"]) == (["b1.r2", "b1"], "b1.r2")
    assert "Adds-To-Item: PEH-0001 (b1.r2, b1)\n" in (
        tmp_path / "deliveries/b1.r3/bag-info.txt"
    ).read_text("utf-8")
    merged = laid_over(tmp_path, "b1", "b1.r2", "b1.r3")
    assert valid(merged) == (True, valid(merged)[1])
    inventory = files.read_json(merged / "inventory.json")
    assert (inventory["head"], sorted(inventory["versions"])) == ("v3", ["v1", "v2", "v3"])
    # What the layout makes of it again is what was packed, byte for byte.
    plain = layouts.get("ocfl").plain_paths(merged) or {}
    packed = files.read_json(made_items.item_dir_of(tmp_path, ITEM) / "package.json")["files"]
    expected = {
        entry["path"].removeprefix("v1/content/"): entry["sha256"]
        for entry in packed
        if entry["path"].startswith("v1/content/")
    }
    assert {path: hashing.sha256_of(merged / plain[path]) for path in plain} == expected
    # By itself it is not whole, and says so.
    assert not valid(tmp_path / "deliveries/b1.r3/data" / ITEM)[0]
    # Nothing changed: nothing is delivered.
    assert do_delivery(tmp_path, given).delivery == "b1.r3"


def test_the_hand_over_list_says_which_delivery_has_each_file(tmp_path: Path) -> None:
    given = objects_of(tmp_path)
    retitled(tmp_path, "The other quay")
    do_delivery(tmp_path, given)
    (row,) = files.read_json(tmp_path / "deliveries/b1.r2.handover.json")["items"]
    master = next(entry for entry in row["files"] if entry["use"] == "master")
    assert (master["delivery"], master["bag"]) == ("b1", "b1")
    there = tmp_path / "deliveries/b1/data" / ITEM / master["file"]
    assert hashing.sha256_of(there) == master["sha256"]


@pytest.mark.parametrize("form", ["folder", "tar"])
def test_a_bag_that_was_carried_away_is_not_needed(form: str, tmp_path: Path) -> None:
    given = objects_of(tmp_path, form=form)
    away = tmp_path / "deliveries" / ("b1" if form == "folder" else "b1.tar")
    away.rename(tmp_path / away.name)
    retitled(tmp_path, "The other quay")
    outcome = do_delivery(tmp_path, given)
    assert receipt_of(tmp_path, "b1.r2")["items"][0]["refers"] == ["b1"]
    assert [note.code for note in outcome.notes] == []


@pytest.mark.parametrize("damage", ["lost", "changed"])
def test_where_the_last_version_is_not_known_the_whole_object_comes_and_it_is_said(
    damage: str, tmp_path: Path
) -> None:
    given = objects_of(tmp_path)
    kept = objects.path_of(tmp_path / "deliveries", "b1")
    inventory = tmp_path / "deliveries/b1/data" / ITEM / "inventory.json"
    if damage == "lost":
        kept.unlink()
        retitled(tmp_path, "The other quay")
        do_delivery(tmp_path, given)
        assert receipt_of(tmp_path, "b1.r2")["items"][0]["refers"] == ["b1"]  # of the bag
        return
    kept.write_bytes(kept.read_bytes()[:-9])
    inventory.write_text(inventory.read_text().replace("v1", "v7"))
    retitled(tmp_path, "The other quay")
    outcome = do_delivery(tmp_path, given)
    assert [note.code for note in outcome.notes] == ["delivery.object_whole"]
    assert "refers" not in receipt_of(tmp_path, "b1.r2")["items"][0]
    assert valid(tmp_path / "deliveries/b1.r2/data" / ITEM)[0]


def test_a_whole_delivery_holds_whole_objects(tmp_path: Path) -> None:
    given = objects_of(tmp_path)
    retitled(tmp_path, "The other quay")
    do_delivery(tmp_path, given)
    given["settings"]["delivery"]["later"] = "whole"
    retitled(tmp_path, "The third quay")
    do_delivery(tmp_path, given)
    assert valid(tmp_path / "deliveries/b1.r3/data" / ITEM)[0]
    assert receipt_of(tmp_path, "b1.r3")["also_replaces"] == ["b1"]


def test_an_altered_file_of_a_later_version_is_seen(tmp_path: Path) -> None:
    given = objects_of(tmp_path)
    retitled(tmp_path, "The other quay")
    do_delivery(tmp_path, given)
    path = tmp_path / "deliveries/b1.r2/data" / ITEM / "v2/content/manifest.json"
    path.write_bytes(path.read_bytes() + b" ")
    codes = {finding.code for finding in validation.check(tmp_path / "deliveries/b1.r2")}
    assert {"bag.payload_changed", "delivered.inventory", "delivered.content"} <= codes


METS = (
    b'<mets:mets xmlns:mets="http://www.loc.gov/METS/" LABEL="RECORDSTATUS=&quot;NEW&quot;">'
    b'<mets:metsHdr CREATEDATE="2026-03-18T02:00:00Z" RECORDSTATUS="NEW"/>'
    b'<note>RECORDSTATUS="NEW"</note></mets:mets>'
)


def as_eark(root: Path, item: str) -> None:
    """Let a package say that it is an E-ARK package, with a header as one has."""
    item_dir = made_items.item_dir_of(root, item)
    (item_dir / "METS.xml").write_bytes(METS)
    package = files.read_json(item_dir / "package.json")
    digests = hashing.of_bytes(METS)
    for entry in package["files"]:
        if entry["path"] == "METS.xml":
            entry |= {"bytes": len(METS), "sha256": digests.sha256, "sha512": digests.sha512}
    files.write_json(item_dir / "package.json", {**package, "profile": "eark"})


def status_in(path: Path) -> str:
    return (
        path.read_text().split('CREATEDATE="2026-03-18T02:00:00Z" RECORDSTATUS="')[1].split('"')[0]
    )


@pytest.mark.parametrize("form", ["folder", "zip"])
def test_a_package_that_was_delivered_before_says_that_it_replaces(
    form: str, tmp_path: Path
) -> None:
    given = redelivered.make_batch(tmp_path, 3, later="changed", form="folder", when="passed")
    for item in given["items"]:
        as_eark(tmp_path, item)
    do_delivery(tmp_path, given | {"items": ["PEH-0001", "PEH-0002"]})
    assert status_in(tmp_path / "deliveries/b1/data/PEH-0001/METS.xml") == "NEW"
    redelivered.changed_title(tmp_path, "PEH-0002", "The other quay")
    given["settings"]["delivery"]["form"] = form
    do_delivery(tmp_path, given)
    if form == "zip":
        shutil.unpack_archive(tmp_path / "deliveries/b1.r2.zip", tmp_path / "unpacked")
    data = tmp_path / ("unpacked/b1.r2" if form == "zip" else "deliveries/b1.r2") / "data"
    assert status_in(data / "PEH-0002/METS.xml") == "REPLACEMENT"
    assert status_in(data / "PEH-0003/METS.xml") == "NEW"
    text = (data / "PEH-0002/METS.xml").read_bytes()
    assert text.replace(b'"REPLACEMENT"', b'"NEW"') == METS
    items = {each["item"]: each for each in receipt_of(tmp_path, "b1.r2")["items"]}
    assert items["PEH-0002"]["packed"] != items["PEH-0002"]["digest"]
    assert "packed" not in items["PEH-0003"]
    # The results are as they were packed, so the night after has nothing to deliver.
    assert do_delivery(tmp_path, given).delivery == "b1.r2"


def test_a_record_that_was_damaged_in_the_results_is_not_delivered(tmp_path: Path) -> None:
    item_dir = tmp_path / "PEH-0001"
    item_dir.mkdir()
    (item_dir / "METS.xml").write_bytes(METS + b" ")
    digests = hashing.of_bytes(METS)
    entry = PackagedFile(
        path="METS.xml",
        source="item:METS.xml",
        use="record",
        bytes=len(METS),
        sha256=digests.sha256,
        sha512=digests.sha512,
    )
    with pytest.raises(GlassineError) as caught:
        shapes.Replacement().files(item_dir, [entry])
    assert [finding.code for finding in caught.value.findings] == ["delivery.changed_record"]
