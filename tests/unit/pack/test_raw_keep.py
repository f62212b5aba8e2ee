"""What a package holds of a raw capture, by the setting: what the record says, what can be proved."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from lxml import etree

from glassine.base import files, settings
from glassine.deliver import validation
from glassine.record import check
from glassine.reproduce import step as reproduce
from makers import deliveries, made_items, raw_files
from makers.step_calls import do_step

ITEM = deliveries.ITEM
RAW, TIFF = f"raw/{ITEM}.dng", f"masters/{ITEM}.tif"
NS = {"mets": "http://www.loc.gov/METS/", "premis": "http://www.loc.gov/premis/v3"}
XSD = Path(__file__).resolve().parents[4] / "shared" / "schemas" / "premis-v3-0.xsd"


def draw_raw(path: Path) -> None:
    rows, columns = np.mgrid[0:240, 0:360] / 240
    light = raw_files.table(240, 360)
    scene = 0.4 + 0.3 * np.sin(9 * columns + 4 * rows)
    light[30:210, 40:320] *= scene[30:210, 40:320, None] * (0.8, 0.6, 0.5)
    raw_files.write(path, light, raw_files.Camera(full_well=0))


def geometry(name: str) -> dict[str, Any]:
    record = deliveries.geometry(name)
    master = record["masters"][0]
    master |= {
        "width": 360,
        "height": 240,
        "base_regions": [[[5, 5], [350, 5], [350, 25], [5, 25]]],
    }
    master["frames"][0]["corners"] = [[40.3, 30.2], [319.1, 31.9], [318.6, 209.2], [39.8, 208.4]]
    return record


@pytest.fixture(scope="module")
def embedded(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """An item of one raw master, up to its pictures; (folder, what steps are given)."""
    root = tmp_path_factory.mktemp("raw")
    batch_dir, item_dir = root / "masters" / "b1", made_items.item_dir_of(root)
    item_dir.mkdir(parents=True)
    batch_dir.mkdir(parents=True)
    draw_raw(batch_dir / f"{ITEM}.dng")
    given = {
        **made_items.given_for(ITEM, batch_dir / f"{ITEM}.dng"),
        "settings": settings.load({}),
        "findings": [],
        "facts": {"kind": "sheet", "polarity": "negative", "process": "colour"},
        "batch_facts": {},
        "calibration": [],
    }
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1773800000")
        do_step("verify", batch_dir, item_dir, given)
        do_step("develop", batch_dir, item_dir, given)
        master = given["masters"][0]
        given["masters"] = [master | {"path": f"{ITEM}.tif", "raw": f"{ITEM}.dng"}]
        files.write_json(item_dir / "geometry.json", geometry(f"{ITEM}.tif"))
        do_step("render", batch_dir, item_dir, given)
        do_step("embed", batch_dir, item_dir, given)
    return root, given


def delivered(
    embedded: tuple[Path, dict[str, Any]], root: Path, keep: str, profile: str = "mets"
) -> Path:
    """Return the bag of the item, packed as `raw.keep` says."""
    shutil.copytree(embedded[0], root, dirs_exist_ok=True)
    batch_dir, item_dir = root / "masters" / "b1", made_items.item_dir_of(root)
    config = settings.load({"package": {"profile": profile}, "delivery": {"form": "folder"}})
    given = embedded[1] | {"keep": keep, "settings": config}
    do_step("record", batch_dir, item_dir, given)
    do_step("pack", batch_dir, item_dir, given)
    own = {"delivery": config["delivery"], "package": config["package"]}
    deliveries.deliver(root, deliveries.given_of([ITEM]) | {"settings": own})
    return root / "deliveries" / "b1"


@pytest.fixture(scope="module")
def bags(
    embedded: tuple[Path, dict[str, Any]], tmp_path_factory: pytest.TempPathFactory
) -> dict[str, Path]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1773800000")
        return {
            keep: delivered(embedded, tmp_path_factory.mktemp(keep), keep)
            for keep in ("raw_and_master", "master", "raw")
        }


HELD = {"raw_and_master": {RAW, TIFF}, "master": {TIFF}, "raw": {RAW}}


def mets(bag: Path) -> Any:
    return etree.parse(bag / "data" / ITEM / "METS.xml")


@pytest.mark.parametrize("keep", HELD)
def test_the_package_holds_what_the_setting_says(keep: str, bags: dict[str, Path]) -> None:
    package = bags[keep] / "data" / ITEM
    there = {path for path in (RAW, TIFF) if (package / path).is_file()}
    assert there == HELD[keep]
    listed = mets(bags[keep]).xpath(
        "//mets:FLocat/@xlink:href", namespaces={**NS, "xlink": "http://www.w3.org/1999/xlink"}
    )
    assert {path for path in listed if path.startswith(("raw/", "masters/"))} == HELD[keep]
    rows = files.read_json(bags[keep] / "delivery" / "handover.json")["items"][0]["files"]
    assert {row["file"] for row in rows if row["use"] in ("master", "raw")} == HELD[keep]
    assert [f for f in validation.check(bags[keep]) if f.severity == "hold"] == []
    assert check.check_record(package / "METS.xml", package) == []


@pytest.mark.parametrize("keep", HELD)
def test_what_is_not_held_is_recorded_with_its_digests_and_why(
    keep: str, bags: dict[str, Path]
) -> None:
    fixity = files.read_json(bags[keep] / "data" / ITEM / "metadata" / "fixity.json")["masters"][0]
    digests = {TIFF: fixity["digests"]["sha256"], RAW: fixity["source"]["digests"]["sha256"]}
    objects = {
        str(node.findtext(".//premis:objectIdentifierValue", namespaces=NS)): node
        for node in mets(bags[keep]).iterfind(".//premis:object", NS)
    }
    for path, digest in digests.items():
        node = objects[f"{ITEM}/{path}"]
        assert digest in {each.text for each in node.iterfind(".//premis:messageDigest", NS)}
        level = node.find("premis:preservationLevel", NS)
        assert (level is None) == (path in HELD[keep])
    events = mets(bags[keep]).xpath("//premis:eventIdentifierValue/text()", namespaces=NS)
    assert any(each.endswith("#development") for each in events)


@pytest.mark.parametrize("keep", HELD)
def test_pictures_come_out_again_and_what_cannot_be_proved_is_said(
    keep: str, bags: dict[str, Path], tmp_path: Path
) -> None:
    findings = reproduce.reproduce(bags[keep], tmp_path)
    assert [finding.code for finding in findings] == (
        ["reproduce.no_raw"] if keep == "master" else []
    )
    assert (tmp_path / ITEM / "access").is_dir()


def codes(found: list[Any]) -> set[str]:
    return {finding.code for finding in found}


def test_a_raw_file_that_gives_another_picture_is_told(
    bags: dict[str, Path], tmp_path: Path
) -> None:
    copy = tmp_path / "b1"
    shutil.copytree(bags["raw"], copy)
    record = copy / "data" / ITEM / "metadata" / "developed.json"
    content = files.read_json(record)
    content["masters"][0]["gains"][0] *= 0.99
    files.write_json(record, content)
    assert codes(reproduce.reproduce(copy, tmp_path / "w")) == {"reproduce.development"}


@pytest.mark.parametrize(
    ("keep", "lost"),
    [("raw_and_master", TIFF), ("raw_and_master", RAW), ("raw", RAW), ("master", TIFF)],
)
def test_a_lost_file_is_not_taken_for_one_that_was_not_delivered(
    keep: str, lost: str, bags: dict[str, Path], tmp_path: Path
) -> None:
    copy = tmp_path / "b1"
    shutil.copytree(bags[keep], copy)
    (copy / "data" / ITEM / lost).unlink()
    assert "reproduce.missing" in codes(reproduce.reproduce(copy, tmp_path / "w"))
    assert "delivered.mets_missing" in codes(validation.check(copy))
    package = copy / "data" / ITEM
    assert "record.missing" in codes(check.check_record(package / "METS.xml", package))


def test_a_record_that_drops_both_is_refused(bags: dict[str, Path], tmp_path: Path) -> None:
    """The raw file's object, said not to be there though nothing made from it is."""
    package = tmp_path / ITEM
    shutil.copytree(bags["raw"] / "data" / ITEM, package)
    text = (package / "METS.xml").read_text("utf-8")
    level = text[
        text.index("<premis:preservationLevel>") : text.index("</premis:preservationLevel>")
    ]
    own = f"<premis:objectIdentifierValue>{ITEM}/{RAW}</premis:objectIdentifierValue>"
    at = text.index("</premis:objectIdentifier>", text.index(own)) + len(
        "</premis:objectIdentifier>"
    )
    text = text[:at] + level + "</premis:preservationLevel>" + text[at:]
    (package / "METS.xml").write_text(text, "utf-8")
    assert "record.beside" in codes(check.check_record(package / "METS.xml", package))


def test_what_is_there_and_said_not_to_be_is_told(bags: dict[str, Path], tmp_path: Path) -> None:
    package = tmp_path / ITEM
    shutil.copytree(bags["master"] / "data" / ITEM, package)
    (package / "raw").mkdir()
    shutil.copy(bags["raw"] / "data" / ITEM / RAW, package / RAW)
    assert "record.unlisted" in codes(check.check_record(package / "METS.xml", package))


@pytest.mark.parametrize("keep", ["master", "raw"])
def test_other_layouts_hold_the_same(
    keep: str,
    embedded: tuple[Path, dict[str, Any]],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1773800000")
    bag = delivered(embedded, tmp_path / "r", keep, "eark")
    assert [f for f in validation.check(bag) if f.severity == "hold"] == []
    folders = {path.name for path in (bag / "data" / ITEM / "representations").iterdir()}
    assert folders == {"access", "masters" if keep == "master" else "raw"}
    wrong = [f for f in reproduce.reproduce(bag, tmp_path / "w") if f.severity == "hold"]
    assert wrong == []


@pytest.mark.skipif(not XSD.is_file(), reason="the official schemas are not beside the checkout")
@pytest.mark.parametrize("keep", ["master", "raw"])
def test_premis_is_valid_by_its_own_schema(keep: str, bags: dict[str, Path]) -> None:
    schema = etree.XMLSchema(etree.parse(str(XSD)))
    for node in mets(bags[keep]).iterfind(".//premis:object", NS):
        assert schema.validate(etree.fromstring(etree.tostring(node))), schema.error_log
