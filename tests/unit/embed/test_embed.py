"""Access images that say what they show, read back by programs that are not ours."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import piexif
import pytest
import pyvips

from glassine.base import files, formats, rights
from glassine.base.errors import GlassineError
from glassine.base.records.catalogue import CatalogueRow
from glassine.base.records.given import Institution
from glassine.embed import jpeg
from glassine.embed import step as embed
from glassine.embed.facts import Words
from makers import jpeg_packets, made_items
from makers.step_calls import do_step

TITLE = made_items.CATALOGUE["title"]
DESCRIPTION = made_items.CATALOGUE["description"]


def embedded(root: Path, **more: Any) -> tuple[Path, dict[str, Any]]:
    """Make and embed an item; return its access image and embedded.json."""
    given = made_items.make_item(root, **more)
    item_dir = made_items.item_dir_of(root)
    do_step("embed", root / "masters" / "b1", item_dir, given)
    return item_dir / "access/PEH-0001_access.jpg", files.read_json(item_dir / "embedded.json")


@pytest.fixture(scope="module")
def access(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return embedded(tmp_path_factory.mktemp("embed"))[0]


def test_pixels_are_those_that_render_made(access: Path) -> None:
    rendered = access.parents[1] / "render" / access.name
    assert jpeg.picture(access.read_bytes()) == jpeg.picture(rendered.read_bytes())
    assert np.array_equal(
        pyvips.Image.new_from_file(str(access)).numpy(),
        pyvips.Image.new_from_file(str(rendered)).numpy(),
    )


def test_files_are_noted_as_they_are_on_disk(access: Path) -> None:
    item_dir = access.parents[1]
    noted = files.read_json(item_dir / "embedded.json")["files"]
    assert [entry["path"] for entry in noted] == [
        "access/PEH-0001_access.jpg",
        "thumbs/PEH-0001_thumb.jpg",
    ]
    for entry in noted:
        content = (item_dir / entry["path"]).read_bytes()
        assert entry["sha256"] == hashlib.sha256(content).hexdigest()
        assert entry["sha512"] == hashlib.sha512(content).hexdigest()
        assert entry["bytes"] == len(content)
        assert entry["derived_from"]["path"] == "PEH-0001.tif"


def test_piexif_reads_it_back(access: Path) -> None:
    exif = piexif.load(str(access))
    image, own = piexif.ImageIFD, piexif.ExifIFD
    texts = {
        tag: exif["0th"][tag].decode()
        for tag in (image.ImageDescription, image.DocumentName, image.Artist, image.Copyright)
    }
    assert texts == {
        image.ImageDescription: DESCRIPTION,
        image.DocumentName: "PEH-0001",
        image.Artist: "Åse Østergård",
        image.Copyright: "© Port Ellery Harbour Archive",
    }
    assert exif["0th"][image.Make] == b"Ellery Optical"
    assert exif["0th"][image.Software].startswith(b"Glassine ")
    # 4000 ppi of the 180 px frame, reduced to 90 px
    assert exif["0th"][image.XResolution] == (2000, 1)
    assert exif["0th"][image.ResolutionUnit] == 2
    assert exif["Exif"][own.DateTimeOriginal] == b"2026:03:17 10:00:00"
    assert exif["Exif"][own.OffsetTimeOriginal] == b"+00:00"
    assert exif["Exif"][own.ExposureTime] == (1, 125)
    assert exif["Exif"][own.ColorSpace] == 1
    assert exif["Exif"][own.BodySerialNumber] == b"EO-000417"
    # Exif 2.32, 4.6.5 A-1: 32 hexadecimal digits and NUL
    assert len(exif["Exif"][own.ImageUniqueID]) == 32
    assert image.DateTime not in exif["0th"]  # the time of the run is nowhere in the file


def test_values_stand_on_even_offsets(access: Path) -> None:
    """TIFF 6.0, page 15: a value offset is expected to be on a word boundary."""
    segments, _ = jpeg.split(access.read_bytes())
    (block,) = [s.payload[6:] for s in segments if s.payload.startswith(jpeg.EXIF_HEAD)]
    places = [8, int.from_bytes(block[block.index(b"\x87\x69\0\4\0\0\0\1") + 8 :][:4], "big")]
    for at in places:
        assert at % 2 == 0
        tags = []
        for number in range(int.from_bytes(block[at : at + 2], "big")):
            entry = block[at + 2 + 12 * number :][:12]
            kind = int.from_bytes(entry[2:4], "big")
            size = int.from_bytes(entry[4:8], "big") * {2: 1, 3: 2, 4: 4, 5: 8, 7: 1}[kind]
            tags.append(int.from_bytes(entry[:2], "big"))
            if size > 4:
                assert int.from_bytes(entry[8:12], "big") % 2 == 0
        assert tags == sorted(tags)


def test_libvips_reads_it_back(access: Path) -> None:
    image = pyvips.Image.new_from_file(str(access))
    assert image.get("exif-ifd0-Artist").startswith("Åse Østergård ")
    assert image.get("exif-ifd0-ImageDescription").startswith("The quay at low water; © on")
    assert TITLE.encode() in image.get("xmp-data")
    assert TITLE.encode() in image.get("iptc-data")
    assert image.get("icc-profile-data") == jpeg.icc_profile(access.read_bytes())


def exiv2(path: Path) -> dict[str, str]:
    """Return what exiv2 reads: {key: value}, of arrays the first."""
    program = shutil.which("exiv2")
    if program is None:
        pytest.skip("exiv2 is not installed (Debian package exiv2): an independent reader")
    run = subprocess.run(
        [program, "-PEIXkt", "-q", str(path)],
        capture_output=True,
        check=False,
        env={**os.environ, "LC_ALL": "C.UTF-8"},
    )
    assert run.stderr == b""
    found: dict[str, str] = {}
    for line in run.stdout.decode("utf-8").splitlines():
        key, _, value = line.partition(" ")
        found.setdefault(key, value.strip())
    return found


def test_exiv2_reads_it_back(access: Path) -> None:
    found = exiv2(access)
    plain = 'lang="x-default" '
    assert found["Exif.Image.ImageDescription"] == DESCRIPTION
    assert found["Exif.Photo.DateTimeOriginal"] == "2026:03:17 10:00:00"
    assert found["Iptc.Application2.ObjectName"] == TITLE
    assert found["Iptc.Application2.Caption"] == DESCRIPTION
    assert found["Iptc.Application2.DateCreated"] == "1906-05-01"
    assert found["Xmp.dc.title"] == plain + TITLE
    assert found["Xmp.dc.description"] == plain + DESCRIPTION
    assert found["Xmp.dc.creator"] == "Åse Østergård"
    assert found["Xmp.xmpRights.Marked"] == "True"
    assert found["Xmp.photoshop.DateCreated"] == "1906-05-01"
    master = files.read_json(access.parents[1] / "fixity.json")["masters"][0]
    origin = found["Xmp.xmpMM.DerivedFrom/stRef:instanceID"]
    assert origin == "sha256:" + master["digests"]["sha256"]


def test_three_encodings_agree(access: Path) -> None:
    found = exiv2(access)
    plain = 'lang="x-default" '
    same = [
        ("Exif.Image.ImageDescription", "Iptc.Application2.Caption", "Xmp.dc.description"),
        ("Exif.Image.Copyright", "Iptc.Application2.Copyright", "Xmp.dc.rights"),
        ("Exif.Image.Artist", "Iptc.Application2.Byline", "Xmp.dc.creator"),
        ("Exif.Image.DocumentName", "Iptc.Application2.TransmissionReference", "Xmp.dc.identifier"),
        ("Exif.Image.Make", "Exif.Image.Make", "Xmp.tiff.Make"),
    ]
    for keys in same:
        assert len({found[key].removeprefix(plain) for key in keys}) == 1


def test_same_item_same_bytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1")
    first, _ = embedded(tmp_path / "a")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "2000000000")
    second, _ = embedded(tmp_path / "b")
    assert first.read_bytes() == second.read_bytes()


def test_without_a_record_only_technical_facts(tmp_path: Path) -> None:
    path, _ = embedded(tmp_path, catalogue=None)
    exif = piexif.load(str(path))["0th"]
    assert piexif.ImageIFD.ImageDescription not in exif
    assert piexif.ImageIFD.Copyright not in exif
    assert exif[piexif.ImageIFD.DocumentName] == b"PEH-0001"


# As long as the catalogue lets a text be; four octets a letter, more than one XMP packet holds.
LONG = "𠮷𠀋𠮷𠀋𠮷𠀋𠮷𠀋, " * 2000


def test_long_texts_stand_whole_in_xmp_and_are_told_where_not(tmp_path: Path) -> None:
    catalogue = {**made_items.CATALOGUE, "description": LONG.strip()}
    path, record = embedded(tmp_path, catalogue=catalogue)
    data = path.read_bytes()
    packet, extended = jpeg_packets.read_xmp(data)
    assert packet is not None
    assert extended is not None
    assert LONG.strip().encode() in extended
    shortened = record["event"]["detail"]["shortened"]["access/PEH-0001_access.jpg"]
    assert shortened == ["exif:270", "iim:description"]
    rendered = path.parents[1] / "render" / path.name
    assert jpeg.picture(data) == jpeg.picture(rendered.read_bytes())
    pyvips.Image.new_from_file(str(path), fail_on="error").avg()


@pytest.mark.parametrize("letter", ["\0", "\x0b", "\x1b", "\ufffe", "\ud800"])
def test_characters_that_cannot_be_embedded_are_named(letter: str, tmp_path: Path) -> None:
    catalogue = {**made_items.CATALOGUE, "title": f"Quay{letter}"}
    with pytest.raises(GlassineError) as caught:
        embedded(tmp_path, catalogue=catalogue)
    (finding,) = caught.value.findings
    assert finding.code == "embed.character"
    assert "title" in finding.what
    assert f"U+{ord(letter):04X}" in finding.what


@pytest.mark.parametrize("damage", ["flip", "cut", "gone"])
def test_rendered_file_damaged_meanwhile_is_named(damage: str, tmp_path: Path) -> None:
    given = made_items.make_item(tmp_path)
    item_dir = made_items.item_dir_of(tmp_path)
    path = item_dir / "render/PEH-0001_access.jpg"
    content = bytearray(path.read_bytes())
    content[-50] ^= 1
    if damage == "gone":
        path.unlink()
    else:
        path.write_bytes(content if damage == "flip" else content[:-10])
    with pytest.raises(GlassineError) as caught:
        do_step("embed", tmp_path / "masters" / "b1", item_dir, given)
    assert "PEH-0001_access.jpg" in str(caught.value)
    assert not (item_dir / "embedded.json").exists()
    assert not (item_dir / "access").exists()


def test_a_file_that_is_no_jpeg_is_refused(tmp_path: Path) -> None:
    given = made_items.make_item(tmp_path)
    item_dir = made_items.item_dir_of(tmp_path)
    files.write_bytes(item_dir / "render/PEH-0001_access.jpg", b"<html>")
    record = files.read_json(item_dir / "render/render.json")
    record["frames"][0]["files"][0]["sha256"] = hashlib.sha256(b"<html>").hexdigest()
    files.write_json(item_dir / "render/render.json", record)
    with pytest.raises(GlassineError) as caught:
        do_step("embed", tmp_path / "masters" / "b1", item_dir, given)
    assert caught.value.findings[0].code == "embed.encode"


def test_pictures_of_an_earlier_run_go(tmp_path: Path) -> None:
    given = made_items.make_item(tmp_path)
    item_dir = made_items.item_dir_of(tmp_path)
    files.write_bytes(item_dir / "access/old.jpg", b"old")
    do_step("embed", tmp_path / "masters" / "b1", item_dir, given)
    assert [path.name for path in (item_dir / "access").iterdir()] == ["PEH-0001_access.jpg"]


@pytest.mark.parametrize(
    ("uri", "status", "marked"),
    [  # RightsStatements.org 1.0 and Creative Commons, by their own names
        ("http://rightsstatements.org/vocab/InC/1.0/", "", True),
        ("http://rightsstatements.org/vocab/InC-OW-EU/1.0/", "unknown", True),
        ("http://rightsstatements.org/vocab/NoC-US/1.0/", "", None),
        ("http://rightsstatements.org/vocab/CNE/1.0/", "unknown", None),
        ("http://rightsstatements.org/vocab/UND/1.0/", "", None),
        ("http://creativecommons.org/publicdomain/mark/1.0/", "", False),
        ("http://creativecommons.org/licenses/by/4.0/", "", True),
        ("", "copyrighted", True),
        ("", "public domain", False),
        ("", "", None),
    ],
)
def test_copyright_is_never_guessed(uri: str, status: str, marked: bool | None) -> None:
    assert rights.resolved({"uri": uri, "status": status}, None).marked is marked


@pytest.mark.parametrize(
    ("edtf", "date"),
    [
        ("1906", "1906"),
        ("1906-05", "1906-05"),
        ("1906-05-31", "1906-05-31"),
        ("1974-22", ""),  # EDTF level 1: summer 1974, no month
        ("1906-05-32", ""),
        ("1905~", ""),
        ("190X", ""),
        ("1890/1910", ""),
        ("-0044", ""),
        ("", ""),
        (None, ""),
    ],
)
def test_only_a_year_month_or_day_is_a_date(edtf: str | None, date: str) -> None:
    record = {**made_items.CATALOGUE, "edtf": edtf, "date_text": "as written"}
    words = words_of(record)
    assert (words.date_iso, words.date_text) == (date, "as written")


def words_of(record: dict[str, Any], name: str = "", **defaults: str) -> Words:
    row = msgspec.convert(record, CatalogueRow)
    return embed.words_of("PEH-0001", row, Institution(name=name), defaults)


@pytest.mark.parametrize(
    ("stated", "notice"),
    [
        ({"uri": "http://rightsstatements.org/vocab/InC/1.0/", "holder": "A"}, "© A"),
        ({"uri": "http://rightsstatements.org/vocab/InC/1.0/"}, "In Copyright"),
        ({"status": "public domain", "holder": "A"}, "Public domain"),
        ({"status": "unknown", "holder": "A"}, "Rights holder: A"),
        ({"status": "unknown"}, ""),
    ],
)
def test_copyright_notice(stated: dict[str, str], notice: str) -> None:
    record = {**made_items.CATALOGUE, "rights": stated}
    assert words_of(record).copyright_notice == notice


def test_rights_that_the_catalogue_leaves_open_come_from_the_settings() -> None:
    record = {**made_items.CATALOGUE, "rights": {"uri": "", "holder": ""}}
    defaults = {"uri": "http://rightsstatements.org/vocab/CNE/1.0/", "credit": "By the archive"}
    words = words_of(record, "Archive", **defaults)
    assert words.web_statement == defaults["uri"]
    assert words.credit == "By the archive"


def test_formats_by_their_signatures() -> None:
    """PRONOM identifiers as in its signature file of version 109."""
    plain = made_items.encoded(1, 8, 8)
    assert formats.identify_bytes(plain) == formats.Format(
        "JPEG File Interchange Format", "1.01", "fmt/43", "image/jpeg"
    )
    no_jfif = plain[:2] + plain[20:]
    assert formats.identify_bytes(no_jfif).puid == "fmt/41"  # type: ignore[union-attr]
    for version, puid in {b"0210": "x-fmt/390", b"0220": "x-fmt/391", b"0232": "fmt/1507"}.items():
        exif = piexif.dump({"Exif": {piexif.ExifIFD.ExifVersion: version}})
        first = no_jfif[:2] + jpeg.Segment(jpeg.APP1, exif).encoded() + no_jfif[2:]
        assert formats.identify_bytes(first).puid == puid  # type: ignore[union-attr]
    assert formats.identify_bytes(b"GIF89a") is None


@pytest.mark.parametrize("kind", ["tiff", "bigtiff"])
def test_format_of_a_tiff(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    made_items.picture(1, 8, 8).tiffsave(str(path), bigtiff=kind == "bigtiff")
    assert formats.identify(path).puid == {"tiff": "fmt/353", "bigtiff": ""}[kind]


def test_unknown_format_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.bin"
    path.write_bytes(b"GIF89a")
    with pytest.raises(GlassineError, match="47 49 46"):
        formats.identify(path)


@pytest.mark.slow
def test_fido_agrees_on_formats(access: Path) -> None:
    """opf-fido with PRONOM 109 identifies what lies on disk as embedded.json says."""
    pytest.importorskip("fido", reason="opf-fido is not installed: an independent identifier")
    item_dir = access.parents[1]
    paths = [item_dir / entry["path"] for entry in _noted(item_dir)]
    run = subprocess.run(
        [sys.executable, "-W", "ignore", "-m", "fido.fido", "-nocontainer", "-q",
         "-matchprintf", "%(info.puid)s\n", *map(str, paths)],
        capture_output=True,
        check=True,
    )  # fmt: skip
    assert run.stdout.decode().split() == [entry["puid"] for entry in _noted(item_dir)]


def _noted(item_dir: Path) -> list[dict[str, Any]]:
    noted: list[dict[str, Any]] = json.loads((item_dir / "embedded.json").read_text())["files"]
    return noted
