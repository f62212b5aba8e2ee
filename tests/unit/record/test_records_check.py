"""The check of a record: a sound one passes, each kind of damage is found and named."""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from glassine.base import markup
from glassine.record import check
from makers.item_records import Made

NS = {prefix: uri for prefix, uri in markup.NAMESPACES.items() if prefix != "xsi"}
HREF = f"{{{markup.XLINK}}}href"


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """One item with two masters, three frames and everything a record can hold."""
    made = Made(
        tmp_path_factory.mktemp("sound"),
        structure=[{"label": "Quay", "type": "section", "frames": [1, 2]}],
    )
    made.master("PEH-0001.tif").master("roll a/strip 1.tif", 2, "emu")
    made.given["corrections"] = {
        "by": "op-07",
        "when": "2026-03-18T08:55:00Z",
        "note": "left edge moved",
        "frames": [{"frame": 1}],
    }
    made.record()
    return made.item_dir


@pytest.fixture
def item_dir(sound, tmp_path):
    copy = tmp_path / sound.name
    shutil.copytree(sound, copy)
    return copy


def codes(item_dir: Path, path: Path | None = None) -> set[str]:
    found = check.check_record(path or item_dir / "METS.xml", item_dir)
    assert all(each.severity == "hold" and each.expected and each.next_step for each in found)
    return {each.code.removeprefix("record.") for each in found}


def test_a_sound_record_passes(item_dir):
    assert codes(item_dir) == set()


def one(root: Any, path: str) -> Any:
    return root.xpath(f"({path})[1]", namespaces=NS)[0]


# --- damage to the document --------------------------------------------------------------

Damage = Callable[[Any], None]


def text(path: str, value: str) -> Damage:
    def change(root: Any) -> None:
        one(root, path).text = value

    return change


def attribute(path: str, name: str, value: str | None) -> Damage:
    def change(root: Any) -> None:
        node = one(root, path)
        if value is None:
            del node.attrib[name]
        else:
            node.set(name, value)

    return change


def remove(path: str) -> Damage:
    def change(root: Any) -> None:
        node = one(root, path)
        node.getparent().remove(node)

    return change


def rename(path: str, namespace: str) -> Damage:
    def change(root: Any) -> None:
        top = one(root, path)
        for node in top.iter():
            node.tag = f"{{{namespace}}}{etree.QName(node).localname}"

    return change


def double(path: str) -> Damage:
    def change(root: Any) -> None:
        node = one(root, path)
        node.addnext(etree.fromstring(etree.tostring(node)))

    return change


MASTER = "//mets:fileGrp[@USE='master']/mets:file"
ACCESS = "//mets:fileGrp[@USE='access']/mets:file"
MIX_MASTER = "//mix:mix[.//mix:DigitalCameraCapture]"
MIX_JPEG = "//mix:mix[.//mix:ChangeHistory]"
FILE_OBJECT = "//premis:object[premis:objectCharacteristics]"
SHA256 = "//premis:fixity[premis:messageDigestAlgorithm='SHA-256']"
NOUGHT = "0" * 64

# What is damaged -> how -> the codes it must give, exactly.
DAMAGES: dict[str, tuple[Damage, set[str]]] = {
    "digest in METS": (attribute(ACCESS, "CHECKSUM", NOUGHT), {"agreement", "digest"}),
    "digest of a master in METS": (
        attribute(MASTER, "CHECKSUM", NOUGHT),
        {"agreement", "digest"},
    ),
    "digest in PREMIS": (
        text(f"{SHA256}/premis:messageDigest", NOUGHT),
        {"agreement", "digest"},
    ),
    "sha512 in PREMIS": (
        text(
            "//premis:fixity[premis:messageDigestAlgorithm='SHA-512']/premis:messageDigest",
            "0" * 128,
        ),
        {"agreement", "digest"},
    ),
    "digest in MIX": (text("//mix:Fixity/mix:messageDigest", NOUGHT), {"agreement"}),
    "size in METS": (attribute(ACCESS, "SIZE", "17"), {"agreement", "size"}),
    "size in PREMIS": (text("//premis:size", "17"), {"agreement"}),
    "size in MIX": (text("//mix:fileSize", "17"), {"agreement"}),
    "kind of digest": (attribute(ACCESS, "CHECKSUMTYPE", "MD5"), {"profile"}),
    "digest in capitals": (
        attribute(ACCESS, "CHECKSUM", "A" * 64),
        {"profile", "agreement", "digest"},
    ),
    "dangling FILEID": (
        attribute("//mets:div[@TYPE='frame']/mets:fptr[@FILEID]", "FILEID", "nobody"),
        {"reference", "structure"},
    ),
    "dangling FILEID of an area": (attribute("//mets:area", "FILEID", "nobody"), {"reference"}),
    "dangling DMDID": (
        attribute("//mets:div[@TYPE='item']", "DMDID", "dmd-mods dmd-none"),
        {"reference"},
    ),
    "dangling ADMID": (
        attribute("//mets:div[@TYPE='item']", "ADMID", "tech-item right"),
        {"reference"},
    ),
    "ADMID to a wrong section": (
        attribute("//mets:div[@TYPE='item']", "ADMID", "dmd-dc"),
        {"reference"},
    ),
    "a file without its records": (attribute(ACCESS, "ADMID", "rights"), {"mix", "object"}),
    "ID twice": (attribute("//mets:rightsMD", "ID", "tech-item"), {"id", "reference"}),
    "ID begins with a digit": (attribute("//mets:fileGrp", "ID", "1st"), {"profile"}),
    "namespace of PREMIS": (
        rename("//premis:event", "http://www.loc.gov/premis/v2"),
        {"profile", "namespace", "identifier"},
    ),
    "namespace of PREMIS with a slash": (
        rename("//premis:agent", markup.PREMIS + "/"),
        {"profile", "namespace", "identifier"},
    ),
    "namespace of MIX": (
        rename(MIX_JPEG, "http://www.loc.gov/mix/v10"),
        {"profile", "namespace", "agreement"},
    ),
    "namespace of MODS": (
        rename("//mods:mods", "http://www.loc.gov/mods/v4"),
        {"profile", "namespace", "item", "date"},
    ),
    "namespace of Dublin Core": (
        rename("//dc:title", "http://purl.org/dc/elements/1.0/"),
        {"profile", "namespace"},
    ),
    "MDTYPE": (
        attribute("//mets:mdWrap[@MDTYPE='NISOIMG']", "MDTYPE", "MIX"),
        {"profile", "namespace", "version", "mix"},
    ),
    "version of MODS": (
        attribute("//mets:mdWrap[@MDTYPE='MODS']", "MDTYPEVERSION", "3.4"),
        {"profile", "version"},
    ),
    "MIX without size": (remove("//mix:fileSize"), {"profile"}),
    "MIX without byte order": (remove("//mix:byteOrder"), {"profile"}),
    "MIX without compression": (remove("//mix:Compression"), {"profile"}),
    "MIX without width": (remove("//mix:imageWidth"), {"profile"}),
    "MIX without colour space": (remove("//mix:colorSpace"), {"profile"}),
    "MIX without bits": (remove("//mix:BitsPerSample"), {"profile"}),
    "MIX without source": (remove(f"{MIX_MASTER}//mix:SourceID"), {"profile"}),
    "MIX without camera": (remove("//mix:DigitalCameraCapture"), {"profile"}),
    "MIX without resolution": (remove("//mix:SpatialMetrics"), {"profile"}),
    "MIX without processing": (remove("//mix:ChangeHistory"), {"profile"}),
    "MIX orientation without its asterisk": (text("//mix:orientation", "normal"), {"profile"}),
    "MIX unit spelt out": (text("//mix:samplingFrequencyUnit", "inch"), {"profile"}),
    "MIX exposure as a fraction": (text("//mix:exposureTime", "1/125"), {"profile"}),
    "MIX time of capture": (text("//mix:dateTimeCreated", "17.3.2026"), {"profile", "date_time"}),
    "MIX gone": (remove(f"//mets:techMD[.{MIX_JPEG}]"), {"reference", "mix"}),
    "MIX that nothing refers to": (
        attribute(ACCESS, "ADMID", "object-x rights"),
        {"reference", "mix", "object"},
    ),
    "EDTF in MODS": (
        text("//mods:dateCreated[@encoding='edtf']", "c. 1905"),
        {"date"},
    ),
    "EDTF in Dublin Core": (text("//dcterms:created", "1905-13"), {"date"}),
    "EDTF of a day that is not": (
        text("//mods:dateCreated[@encoding='edtf']", "1905-02-30"),
        {"date"},
    ),
    "time of an event": (text("//premis:eventDateTime", "yesterday"), {"profile", "date_time"}),
    "event without a time": (remove("//premis:eventDateTime"), {"profile"}),
    "event without a type": (remove("//premis:eventType"), {"profile"}),
    "event that an object names is gone": (
        remove("//mets:digiprovMD[.//premis:event]"),
        {"identifier", "reference"},
    ),
    "agent is gone": (remove("//mets:digiprovMD[.//premis:agent]"), {"identifier"}),
    "event names an unknown object": (
        text("//premis:linkingObjectIdentifierValue", "PEH-0002"),
        {"identifier"},
    ),
    "relation to an unknown object": (
        text("//premis:relatedObjectIdentifierValue", "PEH-0002"),
        {"identifier"},
    ),
    "identifier of an object": (
        text(f"{FILE_OBJECT}/premis:objectIdentifier/premis:objectIdentifierValue", "x"),
        {"identifier", "object", "agreement"},
    ),
    "event twice": (double("//mets:digiprovMD[.//premis:event]"), {"id", "identifier"}),
    "rights are gone": (remove("//mets:rightsMD"), {"profile", "reference", "identifier"}),
    "copyright status": (text("//premis:copyrightStatus", "maybe"), {"profile"}),
    "PREMIS without a format": (remove("//premis:format"), {"profile"}),
    "PRONOM identifier": (text("//premis:formatRegistryKey", "fmt/99999"), {"agreement"}),
    "PREMIS without fixity": (
        remove(f"{FILE_OBJECT}/premis:objectCharacteristics/premis:fixity"),
        {"agreement"},
    ),
    "address of a file": (
        attribute(f"{ACCESS}/mets:FLocat", HREF, "access/other.jpg"),
        {"missing", "unlisted", "object", "agreement"},
    ),
    "address that leads out": (
        attribute(f"{ACCESS}/mets:FLocat", HREF, "../../other/METS.xml"),
        {"link", "missing", "unlisted", "object", "agreement"},
    ),
    "address on the network": (
        attribute(f"{ACCESS}/mets:FLocat", HREF, "http://images.example/a.jpg"),
        {"link", "missing", "unlisted", "object", "agreement"},
    ),
    "file without an address": (
        remove(f"{ACCESS}/mets:FLocat"),
        {"profile", "link", "unlisted", "object", "mix"},
    ),
    "file that the record leaves out": (
        remove(ACCESS),
        {"reference", "object", "unlisted", "mix"},
    ),
    "item number": (attribute("/mets:mets", "OBJID", "PEH-9999"), {"item", "object", "agreement"}),
    "item number in MODS": (text("//mods:identifier[@type='local']", "PEH-9999"), {"item"}),
    "title is gone": (remove("//mods:titleInfo"), {"profile"}),
    "title is blank": (text("//mods:title", "  \n "), {"profile"}),
    "structure is gone": (remove("//mets:structMap[@TYPE='PHYSICAL']"), {"profile", "structure"}),
    "master outside the structure": (
        remove("//mets:div[@TYPE='master']"),
        {"structure"},
    ),
    "content type with a hyphen": (
        attribute("/mets:mets", "TYPE", "Photographs - Digital"),
        {"profile"},
    ),
    "profile": (attribute("/mets:mets", "PROFILE", None), {"profile"}),
    "element of our own": (
        lambda root: root.append(etree.Element("extra")),
        {"profile", "namespace"},
    ),
    "tile digest": (text("//premis:significantPropertiesValue", NOUGHT), {"tiles"}),
}


@pytest.mark.parametrize("name", DAMAGES)
def test_damage_to_the_document_is_found(sound, tmp_path, name):
    change, expected = DAMAGES[name]
    root = etree.fromstring((sound / "METS.xml").read_bytes())
    before = etree.tostring(root)
    change(root)
    assert etree.tostring(root) != before
    (tmp_path / "METS.xml").write_bytes(etree.tostring(root))
    assert codes(sound, tmp_path / "METS.xml") == expected


def test_there_are_at_least_forty_kinds_of_damage():
    assert len(DAMAGES) >= 40


# --- damage to the files -----------------------------------------------------------------


def _flip(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[0] ^= 1
    path.write_bytes(bytes(content))


def _first(item_dir: Path, pattern: str) -> Path:
    return sorted(item_dir.glob(pattern))[0]


FILES: dict[str, tuple[Callable[[Path], object], set[str]]] = {
    "a bit of an access image": (lambda d: _flip(_first(d, "access/*")), {"digest"}),
    "a bit of the manifest": (lambda d: _flip(d / "manifest.json"), {"digest"}),
    "a bit of a tile": (lambda d: _flip(_first(d, "iiif/*/full/max/0/*.jpg")), {"tiles"}),
    "a tile gone": (lambda d: _first(d, "iiif/*/full/max/0/*.jpg").unlink(), {"tiles"}),
    "a tile too many": (lambda d: (_first(d, "iiif/*") / "x.jpg").write_bytes(b"x"), {"tiles"}),
    "an access image gone": (lambda d: _first(d, "access/*").unlink(), {"missing"}),
    "an access image cut short": (
        lambda d: _first(d, "access/*").write_bytes(b""),
        {"digest", "size"},
    ),
    "an access image too many": (
        lambda d: (d / "access" / "z.jpg").write_bytes(b"x"),
        {"unlisted"},
    ),
    "a picture too many": (
        lambda d: shutil.copytree(_first(d, "iiif/*"), d / "iiif" / "zz"),
        {"unlisted"},
    ),
    "info.json gone": (lambda d: _first(d, "iiif/*/info.json").unlink(), {"missing", "tiles"}),
    "a thumbnail in place of another": (
        lambda d: shutil.copyfile(_first(d, "thumbs/*strip*02*"), _first(d, "thumbs/*strip*01*")),
        {"digest"},
    ),
    "quality.json changed": (
        lambda d: (d / "quality.json").write_text("{}"),
        {"digest", "size"},
    ),
}


@pytest.mark.parametrize("name", FILES)
def test_damage_to_the_files_is_found(item_dir, name):
    damage, expected = FILES[name]
    damage(item_dir)
    assert codes(item_dir) == expected


def test_what_the_caller_has_read_is_not_read_again(item_dir):
    path = _first(item_dir, "access/*")
    name = f"access/{path.name}"
    content = path.read_bytes()
    known = {each: hashlib.new(each, content).hexdigest() for each in ("sha256", "sha512")}
    path.write_bytes(b"x" * len(content))

    def found(size: int, digests: dict[str, str]) -> set[str]:
        told = check.check_record(
            item_dir / "METS.xml", item_dir, hashed={name: (size, digests)}, tiles=False
        )
        return {each.code for each in told}

    assert found(len(content), known) == set()
    assert found(len(content) + 1, known) == {"record.size"}
    assert found(len(content), known | {"sha512": "0" * 128}) == {"record.digest"}


def test_a_master_that_fixity_knows_otherwise_is_found(item_dir):
    path = item_dir / "fixity.json"
    fixity = json.loads(path.read_text("utf-8"))
    fixity["masters"][0]["digests"]["sha512"] = "0" * 128
    path.write_text(json.dumps(fixity), "utf-8")
    assert "digest" in codes(item_dir)


@pytest.mark.parametrize(
    "content",
    (
        b"",
        b"<mets",
        b"\xff\xfe\x00",
        b'<!DOCTYPE m [<!ENTITY x SYSTEM "file:///etc/hostname">]><m>&x;</m>',
        b'<!DOCTYPE m [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><m>&b;</m>',
    ),
)
def test_what_is_no_xml_or_has_a_doctype_is_refused(item_dir, content):
    (item_dir / "METS.xml").write_bytes(content)
    assert codes(item_dir) == {"xml"}


def test_a_record_that_is_not_there_is_refused(item_dir):
    (item_dir / "METS.xml").unlink()
    assert codes(item_dir) == {"xml"}


def test_any_other_document_is_refused(item_dir):
    (item_dir / "METS.xml").write_bytes(b"<html><body/></html>")
    assert {"profile", "namespace"} <= codes(item_dir)


def test_the_root_of_a_package_is_checked_with_its_masters(sound, tmp_path):
    package = tmp_path / "package"
    for folder in ("access", "thumbs", "iiif"):
        shutil.copytree(sound / folder, package / folder)
    for name in ("METS.xml", "manifest.json"):
        shutil.copyfile(sound / name, package / name)
    (package / "metadata").mkdir()
    for name in ("embedded", "fixity", "geometry", "quality"):
        shutil.copyfile(sound / f"{name}.json", package / "metadata" / f"{name}.json")
    shutil.copyfile(sound / "render/render.json", package / "metadata" / "render.json")
    shutil.copytree(sound.parents[1] / "masters", package / "masters")
    assert codes(package) == set()
    _flip(package / "masters" / "PEH-0001.tif")
    assert codes(package) == {"digest"}
    (package / "masters" / "PEH-0001.tif").unlink()
    assert codes(package) == {"missing"}
