"""What was made by option travels with the item: embedded, recorded, packed, delivered, repeated."""

from __future__ import annotations

import csv
import hashlib
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import piexif
import pytest
import pyvips
import tifffile
from lxml import etree

import validate_delivery
from glassine.base import alternates, files, formats, markup
from glassine.base.errors import GlassineError
from glassine.deliver import bag, validation
from glassine.masters import spaces
from glassine.record import check, official
from glassine.reproduce import step as reproduce
from makers import deliveries, made_items
from makers.step_calls import do_step

ITEM = deliveries.ITEM
SCHEMAS = Path(__file__).resolve().parents[4] / "shared" / "schemas"
TITLE = made_items.CATALOGUE["title"]
ALL = {
    "render": {
        "alternates": ["webp", "avif"],
        "crop_tiff": "captured",
        "tiff_spaces": ["adobergb", "romm", "ecirgb", "linear"],
        "uninverted": True,
    },
    "iiif": {"form": "pyramid", "tile_px": 64},
}
NAMES = {
    "webp": f"alternates/{ITEM}_access.webp",
    "avif": f"alternates/{ITEM}_access.avif",
    "pyramid": f"alternates/{ITEM}_pyramid.tif",
    "crop": f"alternates/{ITEM}_crop.tif",
    "adobergb": f"alternates/{ITEM}_adobergb.tif",
    "romm": f"alternates/{ITEM}_romm.tif",
    "ecirgb": f"alternates/{ITEM}_ecirgb.tif",
    "linear": f"alternates/{ITEM}_linear.tif",
    "uninverted": f"alternates/{ITEM}_uninverted.jpg",
}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """Return the root of a night with every option on, and what its steps were given."""
    root = tmp_path_factory.mktemp("night")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1773800000")
        given = deliveries.night(root, "mets", more=ALL)
    return root, given


@pytest.fixture(scope="module")
def item_dir(made: tuple[Path, dict[str, Any]]) -> Path:
    return made_items.item_dir_of(made[0])


@pytest.fixture
def copy(made: tuple[Path, dict[str, Any]], tmp_path: Path) -> Path:
    shutil.copytree(made[0], tmp_path / "night")
    return tmp_path / "night"


def noted(item_dir: Path) -> dict[str, dict[str, Any]]:
    entries = files.read_json(item_dir / "embedded.json")["files"]
    return {entry["use"]: entry for entry in entries}


def test_embedded_json_lists_each_as_it_is_on_disk(item_dir: Path) -> None:
    found = noted(item_dir)
    assert {use: found[use]["path"] for use in NAMES} == NAMES
    # The others are uses of sets (`render.sets`), which has a test of its own.
    assert set(alternates.USES) - set(NAMES) == {"jp2", "jpeg", "tiff"}
    for use in NAMES:
        entry = found[use]
        content = (item_dir / entry["path"]).read_bytes()
        assert entry["sha256"] == hashlib.sha256(content).hexdigest()
        assert entry["sha512"] == hashlib.sha512(content).hexdigest()
        assert entry["bytes"] == len(content)
        assert set(entry) == set(found["access"])
        assert entry["derived_from"] == found["access"]["derived_from"]
    assert sorted(path.name for path in (item_dir / "alternates").iterdir()) == sorted(
        Path(name).name for name in NAMES.values()
    )
    # PRONOM: fmt/568 WebP in the extended form, fmt/353 TIFF; version 109 has no AVIF
    assert [found[use]["puid"] for use in NAMES] == [
        "fmt/568",
        "",
        *["fmt/353"] * 6,
        found["access"]["puid"],
    ]


@pytest.mark.parametrize("use", NAMES)
def test_pixels_are_those_that_render_made(use: str, item_dir: Path) -> None:
    path = item_dir / NAMES[use]
    one, other = (
        pyvips.Image.new_from_file(str(each), fail_on="warning")
        for each in (path, item_dir / "render" / path.name)
    )
    assert np.array_equal(one.numpy(), other.numpy())
    assert one.get("icc-profile-data") == other.get("icc-profile-data")
    if use == "avif":
        assert path.read_bytes() == (item_dir / "render" / path.name).read_bytes()
    else:
        assert TITLE.encode() in one.get("xmp-data")


def test_the_crop_keeps_the_samples_of_the_master(item_dir: Path) -> None:
    paths = (item_dir / NAMES["crop"], item_dir / "render" / Path(NAMES["crop"]).name)
    first, second = (tifffile.imread(path) for path in paths)
    assert first.dtype == np.uint16
    assert np.array_equal(first, second)


@pytest.mark.parametrize("use", ["webp", "pyramid", "crop", "romm", "uninverted"])
def test_exiv2_reads_the_texts(use: str, item_dir: Path) -> None:
    program = shutil.which("exiv2")
    if program is None:
        pytest.skip("exiv2 is not installed (Debian package exiv2): an independent reader")
    run = subprocess.run(
        [program, "-PEIXkt", "-q", str(item_dir / NAMES[use])],
        capture_output=True,
        check=False,
        env={**os.environ, "LC_ALL": "C.UTF-8"},
    )
    assert run.stderr == b""
    found = dict(line.partition(" ")[::2] for line in run.stdout.decode().splitlines()[::-1])
    found = {key: value.strip() for key, value in found.items()}
    assert found["Exif.Image.ImageDescription"] == made_items.CATALOGUE["description"]
    assert found["Exif.Image.Artist"] == "Åse Østergård"
    assert found["Exif.Image.Copyright"] == "© Port Ellery Harbour Archive"
    assert found["Xmp.dc.title"] == f'lang="x-default" {TITLE}'
    assert found["Xmp.dc.source"] == "PEH-0001.tif"
    if use != "webp":  # WebP has no place for IPTC-IIM
        assert found["Iptc.Application2.ObjectName"] == TITLE


def _texts(node: Any, path: str) -> list[str]:
    spaces = {key: value for key, value in markup.NAMESPACES.items() if key != "xsi"}
    return [str(text) for text in node.xpath(path + "/text()", namespaces=spaces)]


def _mix(root: Any, item_path: str) -> Any:
    spaces = {"mix": markup.MIX}
    value = f"{ITEM}/{item_path}"
    (found,) = [
        node
        for node in root.xpath("//mix:mix", namespaces=spaces)
        if value in _texts(node, ".//mix:ObjectIdentifier/mix:objectIdentifierValue")
    ]
    return found


def test_the_record_tells_how_each_is_coded(item_dir: Path) -> None:
    root = etree.parse(str(item_dir / "METS.xml")).getroot()
    told = {
        use: (
            *_texts(_mix(root, path), ".//mix:byteOrder"),
            *_texts(_mix(root, path), ".//mix:compressionScheme"),
            "+".join(_texts(_mix(root, path), ".//mix:bitsPerSampleValue")),
            *_texts(_mix(root, path), ".//mix:colorSpace"),
            *_texts(_mix(root, path), ".//mix:iccProfileName"),
        )
        for use, path in NAMES.items()
    }
    # the master carries the project's sRGB profile; a crop as captured keeps it
    assert told == {
        "webp": ("little endian", "VP8", "8+8+8", "sRGB", "sRGB"),
        "avif": ("big endian", "AV1", "8+8+8", "sRGB", "sRGB"),
        "pyramid": ("little endian", "JPEG", "8+8+8", "sRGB", "sRGB"),
        "crop": ("little endian", "deflate", "16+16+16", "RGB", "sRGB"),
        **{
            use: ("little endian", "deflate", "16+16+16", "RGB", spaces.SPACES[use].title)
            for use in spaces.SPACES
        },
        "uninverted": ("big endian", "JPEG", "8+8+8", "sRGB", "sRGB"),
    }
    for use in ("uninverted", "adobergb"):
        told_of = _texts(_mix(root, NAMES[use]), ".//mix:processingActions")
        assert ("inverted from negative" in told_of) == (use == "adobergb")
    actions = _texts(_mix(root, NAMES["crop"]), ".//mix:processingActions")
    assert "encoded as TIFF of 16 bits" in actions
    assert not {"inverted from negative", "reduced in size"} & set(actions)
    assert "inverted from negative" in _texts(
        _mix(root, NAMES["pyramid"]), ".//mix:processingActions"
    )
    assert "metadata embedded" not in _texts(_mix(root, NAMES["avif"]), ".//mix:processingActions")


def _events(root: Any, path: str) -> set[str]:
    spaces = {"premis": markup.PREMIS}
    return {
        _texts(event, "premis:eventIdentifier/premis:eventIdentifierValue")[0].rsplit("#")[1]
        for event in root.xpath("//premis:event", namespaces=spaces)
        if f"{ITEM}/{path}" in _texts(event, ".//premis:linkingObjectIdentifierValue")
    }


def test_the_record_tells_what_happened_to_each(item_dir: Path) -> None:
    root = etree.parse(str(item_dir / "METS.xml")).getroot()
    common = {"frame-1-image", "frame-1-files", "derivative-digests"}
    assert _events(root, NAMES["pyramid"]) == {*common, "embedding"}
    assert _events(root, NAMES["webp"]) == {*common, "embedding"}
    assert _events(root, NAMES["avif"]) == common
    assert _events(root, NAMES["crop"]) == {"frame-1-crop", "derivative-digests", "embedding"}
    assert _events(root, NAMES["romm"]) == {*common, "embedding"}
    assert _events(root, NAMES["uninverted"]) == {
        "frame-1-uninverted",
        "derivative-digests",
        "embedding",
    }


def test_groups_name_each_use(item_dir: Path) -> None:
    root = etree.parse(str(item_dir / "METS.xml")).getroot()
    (group,) = root.xpath("//mets:fileGrp[@USE='alternate']", namespaces={"mets": markup.METS})
    assert [(entry.get("USE"), entry.get("MIMETYPE")) for entry in group] == [
        ("webp", "image/webp"),
        ("avif", "image/avif"),
        ("pyramid", "image/tiff"),
        ("crop", "image/tiff"),
        *((use, "image/tiff") for use in spaces.SPACES),
        ("uninverted", "image/jpeg"),
    ]


def test_the_record_is_sound(item_dir: Path) -> None:
    assert check.check_record(item_dir / "METS.xml", item_dir) == []


def test_official_schemas_accept_the_record(item_dir: Path) -> None:
    if not SCHEMAS.is_dir():
        pytest.skip(f"no official XSDs at {SCHEMAS}")
    assert official.check_schemas(item_dir / "METS.xml", SCHEMAS) == []


def test_the_package_lists_them(item_dir: Path) -> None:
    entries = files.read_json(item_dir / "package.json")["files"]
    assert {
        entry["use"]: entry["path"] for entry in entries if entry["use"] in alternates.USES
    } == NAMES


def test_the_delivery_is_valid_and_hands_them_over(made: tuple[Path, dict[str, Any]]) -> None:
    bag_dir = made[0] / "deliveries" / "b1"
    assert bag.validate(bag_dir) == []
    assert validate_delivery.main([str(bag_dir)]) == 0
    (item,) = files.read_json(bag_dir / "delivery/handover.json")["items"]
    by_use = {entry["use"]: entry for entry in item["files"]}
    assert {use: by_use[use]["file"] for use in NAMES} == NAMES
    with (bag_dir / "delivery/handover.csv").open(encoding="utf-8", newline="") as opened:
        rows = {row["use"]: row for row in csv.DictReader(opened)}
    for use, name in NAMES.items():
        content = (bag_dir / "data" / ITEM / name).read_bytes()
        assert rows[use]["sha256"] == hashlib.sha256(content).hexdigest()
        assert rows[use]["bytes"] == str(len(content))
        assert int(rows[use]["width_px"]) > 0


@pytest.mark.parametrize(
    ("profile", "form", "crop"),
    [("mets", "folder", "captured"), ("eark", "tar", "rendered"), ("ocfl", "zip", "captured")],
)
def test_every_byte_comes_out_again(
    profile: str, form: str, crop: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1773800000")
    more = {**ALL, "render": {**ALL["render"], "crop_tiff": crop}}
    deliveries.night(tmp_path, profile, form, more=more)
    path = tmp_path / "deliveries" / {"folder": "b1", "tar": "b1.tar", "zip": "b1.zip"}[form]
    assert validation.check(path) == []
    assert reproduce.reproduce(path, tmp_path / "work") == []
    store = bag.open_store(path)
    made = {name.removeprefix(f"data/{ITEM}/") for name in store.files if "alternates/" in name}
    store.close()
    prefix = {"mets": "", "eark": "representations/access/data/", "ocfl": "v1/content/"}[profile]
    mixes = {name for name in made if name.endswith(".mix.xml")}
    assert made - mixes == {prefix + name for name in NAMES.values()}
    assert len(mixes) == (len(NAMES) if profile == "eark" else 0)


def test_monochrome_frames_are_told_with_one_band(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1773800000")
    more = {**ALL, "render": {**ALL["render"], "crop_tiff": "rendered"}}
    monkeypatch.setattr(deliveries, "geometry", _monochrome)
    deliveries.night(tmp_path, "mets", more=more, facts={"process": "monochrome"})
    item_dir = made_items.item_dir_of(tmp_path)
    root = etree.parse(str(item_dir / "METS.xml")).getroot()
    for use, path in NAMES.items():
        bits = _texts(_mix(root, path), ".//mix:bitsPerSampleValue")
        picture = pyvips.Image.new_from_file(str(item_dir / path))
        assert len(bits) == picture.bands, use
        named = _texts(_mix(root, path), ".//mix:iccProfileName")
        assert len(named) == ("icc-profile-data" in picture.get_fields()), use
    tags = piexif.load(str(item_dir / NAMES["uninverted"]))
    assert tags["Exif"][piexif.ExifIFD.ComponentsConfiguration] == b"\1\2\3\0"  # its master's
    assert reproduce.reproduce(tmp_path / "deliveries" / "b1", tmp_path / "work") == []


_colour_geometry = deliveries.geometry


def _monochrome(master: str) -> dict[str, Any]:
    found = _colour_geometry(master)
    found["masters"][0]["frames"][0]["process"] = "monochrome"
    return found


def _flip(path: Path, at: int) -> None:
    content = bytearray(path.read_bytes())
    content[at] ^= 1
    path.write_bytes(content)


def test_a_flipped_bit_is_found_before_and_after_delivery(
    copy: Path, made: tuple[Path, dict[str, Any]], tmp_path: Path
) -> None:
    item_dir, bag_dir = made_items.item_dir_of(copy), copy / "deliveries" / "b1"
    for name in NAMES.values():
        _flip(item_dir / name, -40)
        _flip(bag_dir / "data" / ITEM / name, -40)
    with pytest.raises(GlassineError) as caught:
        do_step("pack", copy / "masters" / "b1", item_dir, made[1])
    found = {each.path for each in caught.value.findings if each.code == "pack.digest"}
    assert found == set(NAMES.values())
    assert validate_delivery.main([str(bag_dir)]) == 1
    assert {
        (each.code, each.path.partition(f"data/{ITEM}/")[2])
        for each in reproduce.reproduce(bag_dir, tmp_path / "work")
    } == {("reproduce.differs", name) for name in NAMES.values()}


def test_one_taken_away_or_put_in_is_found(copy: Path, made: tuple[Path, dict[str, Any]]) -> None:
    item_dir = made_items.item_dir_of(copy)
    (item_dir / NAMES["crop"]).rename(item_dir / "alternates" / "more.tif")
    with pytest.raises(GlassineError) as caught:
        do_step("pack", copy / "masters" / "b1", item_dir, made[1])
    found = {(each.code, each.path) for each in caught.value.findings}
    assert {
        ("pack.missing", NAMES["crop"]),
        ("pack.unlisted", "alternates/more.tif"),
        ("record.missing", NAMES["crop"]),
        ("record.unlisted", "alternates/more.tif"),
    } == found


@pytest.mark.parametrize(
    ("harm", "code"),
    [
        (lambda path: _flip(path, -40), "embed.digest"),
        (lambda path: path.unlink(), "embed.missing"),
    ],
)
@pytest.mark.parametrize("use", NAMES)
def test_what_render_did_not_write_is_not_taken(
    use: str, harm: Any, code: str, copy: Path, made: tuple[Path, dict[str, Any]]
) -> None:
    item_dir = made_items.item_dir_of(copy)
    harm(item_dir / "render" / Path(NAMES[use]).name)
    before = (item_dir / "embedded.json").read_bytes()
    with pytest.raises(GlassineError) as caught:
        do_step("embed", copy / "masters" / "b1", item_dir, made[1])
    assert [each.code for each in caught.value.findings] == [code]
    assert (item_dir / "embedded.json").read_bytes() == before


def test_a_damaged_tiff_is_told_without_a_trace(
    copy: Path, made: tuple[Path, dict[str, Any]]
) -> None:
    item_dir = made_items.item_dir_of(copy)
    (item_dir / "render" / Path(NAMES["crop"]).name).write_bytes(b"II*\0\xff\xff")
    with pytest.raises(GlassineError) as caught:
        do_step("embed", copy / "masters" / "b1", item_dir, made[1])
    assert [each.code for each in caught.value.findings] == ["embed.encode"]


def _with_big_crop(item_dir: Path) -> Path:
    """Put a BigTIFF in the place of the rendered crop, as render writes a large one."""
    path = item_dir / "render" / Path(NAMES["crop"]).name
    pixels = tifffile.imread(path)
    options = {"photometric": "rgb", "compression": "zlib", "metadata": None}
    tifffile.imwrite(path, pixels, bigtiff=True, **options)
    record = item_dir / "render" / "render.json"
    rendered = files.read_json(record)
    entry = next(each for each in rendered["frames"][0]["alternates"] if each["use"] == "crop")
    content = path.read_bytes()
    entry |= {"bytes": len(content), "sha256": hashlib.sha256(content).hexdigest()}
    files.write_json(record, rendered)
    return path


def test_a_crop_beyond_4_gb_is_recorded_without_an_identifier(
    copy: Path, made: tuple[Path, dict[str, Any]]
) -> None:
    """PRONOM, version 109, has no identifier for BigTIFF; the record is sound without one."""
    item_dir, batch_dir = made_items.item_dir_of(copy), copy / "masters" / "b1"
    rendered = tifffile.imread(_with_big_crop(item_dir))
    do_step("embed", batch_dir, item_dir, made[1])
    entry = noted(item_dir)["crop"]
    assert (entry["format_name"], entry["puid"]) == ("BigTIFF", "")
    assert np.array_equal(tifffile.imread(item_dir / NAMES["crop"]), rendered)
    do_step("record", batch_dir, item_dir, made[1])
    assert check.check_record(item_dir / "METS.xml", item_dir) == []
    root = etree.parse(str(item_dir / "METS.xml")).getroot()
    assert _texts(_mix(root, NAMES["crop"]), ".//mix:formatName") == ["BigTIFF"]
    assert _texts(_mix(root, NAMES["crop"]), ".//mix:iccProfileName") == ["sRGB"]
    do_step("pack", batch_dir, item_dir, made[1])


def test_iptc_is_left_out_where_the_settings_say_so(
    copy: Path, made: tuple[Path, dict[str, Any]]
) -> None:
    item_dir = made_items.item_dir_of(copy)
    given = {**made[1], "settings": {**made[1]["settings"], "embed": {"iim": False}}}
    do_step("embed", copy / "masters" / "b1", item_dir, given)
    for use in ("pyramid", "crop"):
        picture = pyvips.Image.new_from_file(str(item_dir / NAMES[use]))
        assert "iptc-data" not in picture.get_fields()
        assert TITLE.encode() in picture.get("xmp-data")


def test_long_texts_are_cut_where_a_field_is_short_and_told(
    copy: Path, made: tuple[Path, dict[str, Any]]
) -> None:
    """The longest description, of 68 KB: whole in XMP, which no segment bounds here; cut in the others."""
    item_dir = made_items.item_dir_of(copy)
    long = "𠮷𠀋𠮷𠀋𠮷𠀋𠮷𠀋, " * 2000
    given = {**made[1], "catalogue": {**made[1]["catalogue"], "description": long}}
    do_step("embed", copy / "masters" / "b1", item_dir, given)
    told = files.read_json(item_dir / "embedded.json")["event"]["detail"]["shortened"]
    assert told[NAMES["crop"]] == ["exif:270", "iim:description"]
    picture = pyvips.Image.new_from_file(str(item_dir / NAMES["crop"]))
    assert long.strip().encode() in picture.get("xmp-data")


def test_without_the_options_nothing_of_them_is_there(
    copy: Path, made: tuple[Path, dict[str, Any]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also where they were on before: what was made then does not stay."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1773800000")
    item_dir = made_items.item_dir_of(copy)
    path = item_dir / "render" / "render.json"
    rendered = files.read_json(path)
    rendered["frames"][0]["alternates"] = []
    files.write_json(path, rendered)
    do_step("embed", copy / "masters" / "b1", item_dir, made[1])
    assert not (item_dir / "alternates").exists()
    assert set(noted(item_dir)) == {"access", "thumb"}


def test_formats_by_their_signatures(tmp_path: Path) -> None:
    """RFC 9649, 2.5 to 2.7; ISO/IEC 14496-12, 4.3, with the brands of AVIF (av1-avif, 7)."""
    cases = {
        b"RIFF\x1a\0\0\0WEBPVP8 ": "fmt/566",
        b"RIFF\x1a\0\0\0WEBPVP8L": "fmt/567",
        b"RIFF\x1a\0\0\0WEBPVP8X": "fmt/568",
        b"\0\0\0\x1cftypmif1\0\0\0\0mif1avifmiaf": "",
    }
    for head, puid in cases.items():
        found = formats.identify_bytes(head + bytes(20))
        assert found is not None
        assert found.puid == puid
    assert formats.identify_bytes(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + bytes(20)) is None
    assert formats.identify_bytes(b"RIFF\x1a\0\0\0WAVEfmt " + bytes(20)) is None
