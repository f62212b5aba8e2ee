"""The record of an item: METS with MODS, Dublin Core, PREMIS and MIX."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from glassine.base import markup, vocabulary
from glassine.base.errors import GlassineError
from glassine.base.settings import PROJECT
from glassine.record import official
from makers.item_records import Made, event
from makers.step_calls import do_step

SCHEMAS = PROJECT.parent / "shared" / "schemas"
NS = {prefix: uri for prefix, uri in markup.NAMESPACES.items() if prefix != "xsi"}
needs_schemas = pytest.mark.skipif(not SCHEMAS.exists(), reason=f"{SCHEMAS} is not there")


@pytest.fixture(autouse=True)
def _same_time(monkeypatch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1774000000")


@pytest.fixture
def made(tmp_path):
    return Made(tmp_path).master("PEH-0001.tif")


def strip(tmp_path: Path, **catalogue: Any) -> Made:
    made = Made(tmp_path, "PEH-0002", **catalogue)
    return made.master("roll a/strip 1.tif", 3, "emu").master("roll a/strip 2.tif", 2, "base")


def parsed(made: Made) -> Any:
    return etree.fromstring(made.record().read_bytes())


def texts(root: Any, path: str) -> list[str]:
    return [str(each) for each in root.xpath(path, namespaces=NS)]


# --- what it says ------------------------------------------------------------------------


def test_the_catalogue_in_mods(made):
    mods = parsed(made).xpath("//mods:mods", namespaces=NS)[0]
    assert texts(mods, "mods:titleInfo[not(@type)]/mods:title/text()") == [
        "Quay at low water, Ævø ferry — “Łódź”"
    ]
    assert texts(mods, "mods:originInfo/mods:dateCreated/text()") == ["c. 1905", "1905~"]
    assert texts(mods, "mods:originInfo/mods:dateCreated/@encoding") == ["edtf"]
    assert texts(mods, "mods:name[1]//mods:roleTerm/@type") == ["text"]
    assert texts(mods, "mods:name[2]//mods:roleTerm/@authority") == ["marcrelator"]
    assert texts(mods, "mods:subject[mods:topic='Harbors']/@authority") == ["lcsh"]
    assert texts(mods, "mods:language/mods:languageTerm/@authority") == ["iso639-2b", "rfc5646"]
    assert texts(mods, "mods:identifier/@type") == ["local", "box"]
    assert texts(mods, "mods:accessCondition/@xlink:href") == [
        "http://rightsstatements.org/vocab/NoC-OKLR/1.0/"
    ]


def test_the_catalogue_in_dublin_core(made):
    root = parsed(made)
    assert texts(root, "//dcterms:created/text()") == ["1905~"]
    assert texts(root, "//dc:date/text()") == ["c. 1905"]
    assert texts(root, "//dc:identifier/text()") == ["PEH-0001", "12"]


def test_an_item_without_a_catalogue_row_says_so(made):
    made.given["catalogue"] = None
    root = parsed(made)
    assert texts(root, "//mods:title/text()") == ["PEH-0001"]
    assert texts(root, "//mods:recordOrigin/text()") == ["no catalogue row was found"]
    # The settings' default stands in for rights that no row states.
    assert texts(root, "//premis:copyrightStatus/text()") == ["unknown"]


def test_a_date_that_was_not_understood_stands_in_words_alone(tmp_path):
    made = Made(tmp_path, date_text="05/06/21", edtf=None, date_understood=False)
    root = parsed(made.master("PEH-0001.tif"))
    assert texts(root, "//mods:dateCreated/text()") == ["05/06/21"]
    assert "not understood" in texts(root, "//mods:recordOrigin/text()")[0]


def test_files_are_listed_by_use_with_relative_addresses(made):
    root = parsed(made)
    assert texts(root, "//mets:fileGrp/@USE") == [
        "master",
        "access",
        "thumbnail",
        "tiles",
        "presentation",
        "provenance",
    ]
    assert texts(root, "//mets:fileGrp[@USE='master']//@xlink:href") == ["masters/PEH-0001.tif"]
    assert texts(root, "//mets:fileGrp[@USE='access']//@xlink:href") == [
        "access/PEH-0001_PEH-0001_01_access.jpg"
    ]
    assert texts(root, "//mets:fileGrp[@USE='presentation']//@xlink:href") == ["manifest.json"]


def test_the_physical_structure_goes_from_item_to_master_to_frame(tmp_path):
    root = parsed(strip(tmp_path))
    item = root.xpath("//mets:structMap[@TYPE='PHYSICAL']/mets:div", namespaces=NS)[0]
    assert texts(item, "mets:div/@TYPE") == ["master", "master"]
    assert texts(item, "mets:div/@LABEL") == ["roll a/strip 1.tif", "roll a/strip 2.tif"]
    assert texts(item, "mets:div[1]/mets:div/@ORDER") == ["1", "2", "3"]
    # The outline of a frame on its master, as a polygon in pixels.
    assert texts(item, "mets:div[1]/mets:div[1]//mets:area/@COORDS") == [
        "1000,10,1900,12,1899,1200,999,1199"
    ]


def test_the_catalogues_divisions_make_the_logical_structure(tmp_path):
    divisions = [
        {"label": "Quay", "type": "section", "frames": [1, 2]},
        {"label": "Ferry", "type": "section", "frames": [4]},
    ]
    root = parsed(strip(tmp_path, structure=divisions))
    parts = root.xpath("//mets:structMap[@TYPE='LOGICAL']/mets:div/mets:div", namespaces=NS)
    assert [each.get("LABEL") for each in parts] == ["Quay", "Ferry"]
    assert [len(each) for each in parts] == [6, 3]  # access, thumbnail and tiles of each frame


def test_a_division_that_names_a_frame_too_many_holds_the_item(tmp_path):
    made = strip(tmp_path, structure=[{"label": "Quay", "type": "section", "frames": [6]}])
    with pytest.raises(GlassineError) as caught:
        made.record()
    assert [each.code for each in caught.value.findings] == ["record.division"]
    assert not (made.item_dir / "METS.xml").exists()


# --- PREMIS ------------------------------------------------------------------------------


def test_every_step_is_an_event(made):
    kinds = texts(parsed(made), "//premis:eventType/text()")
    assert kinds == [
        "capture",
        "ingestion",
        "message digest calculation",
        "fixity check",
        "format identification",
        "image analysis",
        "validation",
        "image modification",
        "creation",
        "quality review",
        "metadata modification",
        "message digest calculation",
        "metadata creation",
    ]


def test_terms_have_their_uri_or_are_marked_local(made):
    root = parsed(made)
    # http://id.loc.gov/vocabulary/preservation/eventType: code "fix" is "fixity check".
    fixity = root.xpath("//premis:eventType[.='fixity check']", namespaces=NS)[0]
    assert fixity.get("valueURI") == "http://id.loc.gov/vocabulary/preservation/eventType/fix"
    local = texts(root, "//premis:eventType[@authority='local']/text()")
    assert "quality review" in local and "capture" not in local


def test_no_fixity_check_is_claimed_where_nothing_was_compared(made):
    made.fixity["masters"][0]["expected"] = {}
    made.fixity["masters"][0]["verdict"] = "unlisted"
    kinds = texts(parsed(made), "//premis:eventType/text()")
    assert "fixity check" not in kinds and "message digest calculation" in kinds


def test_the_capture_is_told_from_exif(made):
    root = parsed(made)
    capture = root.xpath("//premis:event[premis:eventType='capture']", namespaces=NS)[0]
    assert texts(capture, "premis:eventDateTime/text()") == ["2026-03-17T10:00:00+00:00"]
    assert texts(capture, "premis:linkingAgentIdentifier/premis:linkingAgentRole/text()") == [
        "capture device",
        "implementer",
    ]
    hardware = root.xpath("//premis:agent[premis:agentType='hardware']", namespaces=NS)[0]
    assert texts(hardware, "premis:agentName/text()") == ["Ellery Optical Table Camera 1"]
    assert texts(hardware, "premis:agentNote/text()") == ["serial number EO-000417"]


@pytest.mark.parametrize(
    ("taken", "offset", "told"),
    (
        ("2026-03-17T10:00:00", "+01:00", ["2026-03-17T10:00:00+01:00"]),
        ("2026-03-17T10:00:00", "local", ["2026-03-17T10:00:00"]),
        ("2026-13-45T99:00:00", "+01:00", []),
        ("", None, []),
    ),
)
def test_a_camera_whose_clock_was_wrong_holds_nothing(made, taken, offset, told):
    made.fixity["masters"][0]["header"]["capture"] |= {"taken": taken, "offset": offset}
    root = parsed(made)
    capture = "//premis:event[premis:eventType='capture']/premis:eventDateTime/text()"
    assert texts(root, capture) == told


def test_a_format_that_pronom_does_not_know_has_its_name(made):
    made.fixity["masters"][0]["header"] |= {
        "format_name": "BigTIFF",
        "format_version": None,
        "puid": None,
    }
    assert "BigTIFF" in texts(parsed(made), "//mix:formatName/text()")


def test_a_master_without_a_capture_time_has_no_capture_event(made):
    made.fixity["masters"][0]["header"]["capture"]["taken"] = None
    assert "capture" not in texts(parsed(made), "//premis:eventType/text()")


def test_a_persons_decision_is_recorded_by_role(made):
    made.given["corrections"] = {
        "by": "op-07",
        "when": "2026-03-18T08:55:00Z",
        "note": "left edge moved to the rebate",
        "frames": [{"frame": 1, "rotate": 90}],
    }
    made.geometry["masters"][0]["frames"][0]["source"] = "correction"
    root = parsed(made)
    told = root.xpath("//premis:event[premis:eventType='correction']", namespaces=NS)[0]
    assert texts(told, "premis:eventDateTime/text()") == ["2026-03-18T08:55:00Z"]
    assert texts(told, ".//premis:linkingAgentIdentifierValue/text()") == ["person/op-07"]
    assert texts(told, ".//premis:eventOutcomeDetailNote/text()") == [
        "left edge moved to the rebate"
    ]
    assert json.loads(texts(told, ".//premis:eventDetail/text()")[0])["frames"] == [
        {"frame": 1, "rotate": 90}
    ]


def test_the_parameters_that_repeat_the_pixels_are_recorded(made):
    root = parsed(made)
    for kind, name, expected in (
        ("image modification", "tone", made.render["frames"][0]["tone"]),
        ("creation", "settings", made.render["event"]["detail"]),
    ):
        told = root.xpath(f"//premis:event[premis:eventType='{kind}']", namespaces=NS)[0]
        detail = json.loads(texts(told, ".//premis:eventDetail/text()")[0])
        assert detail[name] == json.loads(json.dumps(expected))
        assert texts(told, ".//premis:linkingObjectRole/text()") == ["source"] + ["outcome"] * 3


def test_each_file_has_both_digests_its_format_and_its_source(made):
    root = parsed(made)
    objects = root.xpath("//premis:object[premis:objectCharacteristics]", namespaces=NS)
    assert len(objects) == len(root.xpath("//mets:file", namespaces=NS)) == 10
    for each in objects:
        assert texts(each, ".//premis:messageDigestAlgorithm/text()") == ["SHA-256", "SHA-512"]
        assert texts(each, ".//premis:formatRegistryName/text()") == ["PRONOM"]
    derived = root.xpath(
        "//premis:relationship[premis:relationshipType='derivation']"
        "//premis:relatedObjectIdentifierValue/text()",
        namespaces=NS,
    )
    assert set(derived) == {"PEH-0001/masters/PEH-0001.tif"}


def test_a_licence_is_a_rights_statement_of_its_own(tmp_path):
    rights = {"uri": "http://creativecommons.org/licenses/by/4.0/", "status": "copyrighted"}
    root = parsed(Made(tmp_path, rights=rights).master("PEH-0001.tif"))
    assert texts(root, "//premis:rightsBasis/text()") == ["copyright", "license"]
    assert texts(root, "//premis:copyrightStatus/text()") == ["copyrighted"]
    assert texts(root, "//premis:licenseDocumentationIdentifierValue/text()") == [rights["uri"]]


def test_a_file_points_to_its_records_and_to_what_happened_to_it(made):
    root = parsed(made)
    master = root.xpath("//mets:fileGrp[@USE='master']/mets:file", namespaces=NS)[0]
    kinds = [
        texts(root, f"//*[@ID='{each}']//premis:eventType/text()")
        for each in master.get("ADMID").split()
    ]
    assert [kind[0] for kind in kinds if kind] == [
        "capture",
        "ingestion",
        "message digest calculation",
        "fixity check",
        "format identification",
        "image analysis",
        "validation",
        "image modification",
        "creation",
        "quality review",
    ]


def test_software_is_named_with_its_version(made):
    root = parsed(made)
    found = {
        (texts(each, "premis:agentName/text()")[0], texts(each, "premis:agentVersion/text()")[0])
        for each in root.xpath("//premis:agent[premis:agentType='software']", namespaces=NS)
    }
    assert {("glassine", "0.1.0"), ("pyvips", "3.1.1")} <= found


# --- MIX ---------------------------------------------------------------------------------


def test_mix_of_a_master(made):
    root = parsed(made)
    mix = root.xpath("//mix:mix[.//mix:DigitalCameraCapture]", namespaces=NS)[0]
    told = {
        etree.QName(each).localname: each.text for each in mix.iter() if each.text and not len(each)
    }
    assert told["imageWidth"] == "6000" and told["byteOrder"] == "little endian"
    assert told["exposureTime"] == "0.008"  # seconds, never 1/125
    assert told["fNumber"] == "5.6" and told["isoSpeedRatings"] == "64"
    assert told["orientation"] == "normal*"
    assert told["samplingFrequencyUnit"] == "in."
    assert texts(mix, ".//mix:xSamplingFrequency/*/text()") == ["39997", "10"]  # 3999.7
    assert texts(mix, ".//mix:bitsPerSampleValue/text()") == ["16", "16", "16"]
    assert told["samplingFrequencyPlane"] == "object plane"
    assert told["iccProfileName"] == "ProStar wide gamut linear"
    assert told["sourceType"] == "glass plate, glass, negative"
    # 900.001 px at 3999.7 ppi: 5.72 mm.
    assert told["sourceXDimensionValue"] == "5.72"


def test_mix_of_a_derivative_tells_what_was_done(made):
    root = parsed(made)
    mix = root.xpath("//mix:mix[.//mix:ChangeHistory]", namespaces=NS)[0]
    actions = texts(mix, ".//mix:processingActions/text()")
    assert actions[:5] == [
        "cropped to frame 1",
        "straightened by 0.120°",
        "rotated 90° clockwise",
        "mirrored left to right",
        "inverted from negative",
    ]
    # 600 of 900 px at 3999.7 ppi, told to the hundredth.
    numerator, denominator = texts(mix, ".//mix:xSamplingFrequency/*/text()")
    assert int(numerator) / int(denominator) == pytest.approx(3999.7 * 600 / 900, abs=5e-3)
    assert texts(mix, ".//mix:bitsPerSampleValue/text()") == ["8"]  # one band, as rendered


def test_resolution_that_is_not_known_is_not_claimed(made):
    made.geometry["masters"][0]["ppi"] = None
    made.render["frames"][0]["ppi"] = None
    root = parsed(made)
    assert set(texts(root, "//mix:samplingFrequencyUnit/text()")) == {
        "no absolute unit of measurement"
    }
    assert texts(root, "//mix:sourceXDimensionValue/text()") == []


def test_targets_of_the_batch_are_named(made):
    import json

    target = {"path": "targets/step wedge.tif", "description": "wedge.yaml"}
    made.given["batch_facts"] = {"targets": [target]}
    result = {
        "target": "wedge",
        "path": target["path"],
        "identity": {"name": "Step wedge", "number": "W-3"},
        "event": {
            "type": "quality review",
            "time": "2026-03-17T21:00:00Z",
            "outcome": "success",
            "software": {"glassine": "0.1.0"},
            "operator": None,
            "detail": {"levels_reached": {"a table": "2"}},
        },
    }
    known = {"batch": "b1", "statement": "No certificate.", "targets": [result]}
    (made.item_dir.parents[1] / "targets.json").write_text(json.dumps(known))
    root = parsed(made)
    assert texts(root, "//mix:externalTarget/text()") == ["targets/step%20wedge.tif"]
    assert texts(root, "//mix:targetName/text()") == ["Step wedge"]
    assert texts(root, "//mix:performanceData/text()") == ["metadata/targets.json"]
    assert any("levels_reached" in text for text in texts(root, "//premis:eventDetail/text()"))
    assert (made.item_dir / "targets.json").exists()


def test_the_profiles_named_in_mix_are_those_that_derivatives_carry():
    from io import BytesIO

    from PIL import ImageCms

    from glassine.masters import colour
    from glassine.record import mix

    for bands, profile in ((3, colour.srgb_profile()), (1, colour.grey_profile())):
        opened = ImageCms.ImageCmsProfile(BytesIO(profile))
        assert ImageCms.getProfileDescription(opened).strip() == mix.OUTPUT_PROFILES[bands]


@pytest.mark.parametrize("value", range(1, 9))
def test_orientations_are_those_of_the_schema(made, value):
    made.fixity["masters"][0]["header"]["orientation"] = value
    root = parsed(made)
    assert vocabulary.ORIENTATIONS[value] in texts(root, "//mix:orientation/text()")


# --- stable, honest, bounded -------------------------------------------------------------


def test_the_same_input_gives_the_same_bytes(made):
    first = made.record().read_bytes()
    (made.item_dir / "METS.xml").unlink()
    assert made.record().read_bytes() == first


def test_identifiers_stay_when_another_master_joins(tmp_path):
    alone = parsed(Made(tmp_path / "a").master("PEH-0001.tif"))
    joined = parsed(Made(tmp_path / "b").master("PEH-0000.tif").master("PEH-0001.tif"))
    path = "//mets:file[contains(mets:FLocat/@xlink:href, 'masters/PEH-0001.tif')]/@ID"
    assert texts(alone, path) == texts(joined, path)
    assert texts(alone, path)[0].startswith("file-masters_PEH-0001.tif-")


def test_ids_of_names_that_look_alike_differ():
    names = ("a b.tif", "a_b.tif", "a/b.tif", "ä.tif", "ö.tif")
    assert len({markup.xml_id("file", name) for name in names}) == len(names)


def test_what_the_check_refuses_is_not_written(made, monkeypatch):
    (made.item_dir / "access" / "stranger.jpg").write_bytes(b"x")
    with pytest.raises(GlassineError) as caught:
        made.record()
    assert [each.code for each in caught.value.findings] == ["record.unlisted"]
    assert not (made.item_dir / "METS.xml").exists()
    assert not (made.item_dir / "manifest.json").exists()
    assert list(made.item_dir.glob(".part-*")) == []


def test_a_blank_frame_is_told_but_has_no_picture(tmp_path):
    made = strip(tmp_path)
    blank = made.render["frames"][1]
    (made.item_dir / "access" / made.embedded["files"][2]["path"].split("/")[1]).unlink()
    (made.item_dir / "thumbs" / made.embedded["files"][3]["path"].split("/")[1]).unlink()
    del made.embedded["files"][2:4]
    for path in sorted((made.item_dir / blank["tiles"]["path"]).rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()
    blank |= {"skipped": "blank", "tiles": None, "tone": None, "width": None, "height": None}
    root = parsed(made)
    labels = texts(root, "//mets:div[@TYPE='frame']/@LABEL")
    assert labels[:3] == ["frame 1", "frame 2 (blank)", "frame 3"]


def test_missing_records_of_steps_are_told(made):
    made.write()
    (made.item_dir / "quality.json").unlink()
    with pytest.raises(GlassineError, match="cannot be read"):
        do_step("record", made.batch_dir, made.item_dir, made.given)


# --- the official schemas ----------------------------------------------------------------


def schema_errors(path: Path) -> list[str]:
    return [each.what for each in official.check_schemas(path, SCHEMAS)]


@needs_schemas
def test_official_schemas_accept_the_record(tmp_path):
    made = strip(tmp_path, structure=[{"label": "Quay", "type": "section", "frames": [1]}])
    made.given["settings"]["records"]["schema_dir"] = str(SCHEMAS)
    made.record()
    assert schema_errors(made.item_dir / "METS.xml") == []


@needs_schemas
@pytest.mark.parametrize(
    ("old", "new"),
    (
        ("<mix:orientation>normal*<", "<mix:orientation>normal<"),
        ('TYPE="PHYSICAL">', 'TYPE="PHYSICAL" COLOUR="red">'),
        ('<mods:languageTerm type="code"', '<mods:languageTerm type="word"'),
        ("<premis:size>", "<premis:size>x"),
    ),
)
def test_official_schemas_refuse_what_breaks_them(made, old, new):
    path = made.record()
    content = path.read_text("utf-8")
    assert old in content
    path.write_text(content.replace(old, new), "utf-8")
    assert schema_errors(path)


def test_a_folder_without_schemas_is_told(made, tmp_path):
    (tmp_path / "empty").mkdir()
    made.given["settings"]["records"]["schema_dir"] = str(tmp_path / "empty")
    with pytest.raises(GlassineError) as caught:
        made.record()
    assert [each.code for each in caught.value.findings] == ["record.schemas"]


_HOSTILE = (
    "</dc:title><script>alert(1)</script>",
    "]]><!-- & &amp; &#0; &boom;",
    "bell\x07 vt\x0b esc\x1b nul\x00 nel\x85",
    "half \ud800 of a pair, \ufffe, \uffff",
    "שלום עולם \u202eآخر\u202c",
    "🎞️𝕊𝕥𝕣𝕚𝕡 👩‍🔬",
    "line\r\nline\rline\nline\ttab\u2028\u2029",
    "=HYPERLINK(\"http://127.0.0.1/\",'x')",
    "{http://www.loc.gov/METS/}mets",
    "a" * 20_000,
    "Å Å ﬁ ½ ‰ 漢字 한국어 ไทย",
    " leading and trailing ",
    "..//..\\..",
    "<?php ?>",
    "\"'`´‘’“”",
)


def hostile(root: Path, number: int) -> Made:
    """Return an item whose every text is an attack, chosen by its number."""
    pick = random.Random(number)

    def word() -> str:
        return pick.choice(_HOSTILE)

    made = Made(
        root,
        f"PEH-{number:04d}",
        title=word() or "x",
        alternative=word(),
        description=word(),
        date_text=word()[:500],  # no longer ones are taken in
        edtf=pick.choice(("1905~", "193X", "../1920", "XXXX", "[1906,1907]", None)),
        creators=[{"name": word(), "role": word(), "uri": ""} for _ in range(pick.randint(0, 3))],
        subjects=[
            {"term": word(), "uri": "http://id.example/a?b=1&c=2#d", "authority": ""}
            for _ in range(pick.randint(0, 3))
        ],
        places=[{"name": word(), "uri": ""}],
        identifiers=[{"type": word(), "value": word()}],
        genre=word(),
        physical=word(),
        collection=word(),
        rights={
            "uri": "http://rightsstatements.org/vocab/InC/1.0/",
            "status": "unknown",
            "holder": word(),
            "note": word(),
            "credit": word(),
        },
    )
    made.master(f"PEH-{number:04d}.tif")
    capture = made.fixity["masters"][0]["header"]["capture"]
    capture |= {"make": word(), "model": word(), "serial": word()}
    made.fixity["masters"][0]["header"]["icc_name"] = word()
    made.given["corrections"] = {
        "by": "op-07",
        "when": "2026-03-18T08:55:00Z",
        "note": word()[:2000],
        "frames": [],
    }
    return made


@needs_schemas
@pytest.mark.parametrize("number", range(1, 16))
def test_hostile_metadata_is_valid_to_the_official_schemas(tmp_path, number):
    path = hostile(tmp_path, number).record()
    assert schema_errors(path) == []


def second_engine() -> Any:
    import xmlschema

    names = {
        "http://www.w3.org/2001/xml.xsd": "xml.xsd",
        "http://www.w3.org/2001/03/xml.xsd": "xml.xsd",
        "http://www.loc.gov/mods/xml.xsd": "xml.xsd",
        "http://www.loc.gov/standards/xlink/xlink.xsd": "xlink.xsd",
        "http://www.loc.gov/standards/mets/mets.xsd": "mets-1-12-1.xsd",
        "http://www.loc.gov/standards/premis/premis.xsd": "premis-v3-0.xsd",
        "http://www.loc.gov/standards/mix/mix20/mix20.xsd": "mix20.xsd",
        "http://www.loc.gov/standards/mods/v3/mods-3-8.xsd": "mods-3-8.xsd",
        "http://dublincore.org/schemas/xmls/qdc/2008/02/11/dcterms.xsd": "dc/dcterms.xsd",
        "http://dublincore.org/schemas/xmls/qdc/2008/02/11/dc.xsd": "dc/dc.xsd",
        "http://dublincore.org/schemas/xmls/qdc/2008/02/11/dcmitype.xsd": "dc/dcmitype.xsd",
    }
    places = {url: (SCHEMAS / name).as_uri() for url, name in names.items()}
    parts = ("mets-1-12-1", "mods-3-8", "premis-v3-0", "mix20", "dc/dcterms")
    return xmlschema.XMLSchema(
        [str(SCHEMAS / f"{name}.xsd") for name in parts], uri_mapper=places, allow="local"
    )


@needs_schemas
@pytest.mark.parametrize(
    "numbers",
    [range(1000, 1040), pytest.param(range(1040, 1200), marks=pytest.mark.long)],
    ids=["some", "the rest"],
)
def test_hostile_items_are_valid_in_both_engines(tmp_path, numbers):
    engine = second_engine()
    for number in numbers:
        path = hostile(tmp_path / str(number), number).record()
        assert schema_errors(path) == []
        assert engine.is_valid(str(path)), number


@needs_schemas
def test_a_second_engine_accepts_the_record_and_follows_its_references(tmp_path):
    engine = second_engine()
    path = strip(tmp_path).record()
    engine.validate(str(path))
    broken = path.read_text("utf-8").replace('DMDID="dmd-mods dmd-dc"', 'DMDID="dmd-none"')
    (tmp_path / "broken.xml").write_text(broken, "utf-8")
    assert not engine.is_valid(str(tmp_path / "broken.xml"))


def test_events_of_steps_that_are_people_name_them(made):
    made.geometry["event"] = event("image analysis", 2) | {"operator": "op-11"}
    root = parsed(made)
    assert "person/op-11" in texts(root, "//premis:agentIdentifierValue/text()")
