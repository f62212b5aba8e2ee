"""People, places and subjects with the addresses of their authorities, from a catalogue's cells to
MODS, Dublin Core, XMP and IIIF; and back from MODS."""

from __future__ import annotations

import json
import re

import msgspec
import pytest
from lxml import etree

from glassine.base import markup
from glassine.base.errors import GlassineError
from glassine.base.records.catalogue import CatalogueRow
from glassine.base.records.given import Institution
from glassine.base.settings import PROJECT
from glassine.embed import step as embed
from glassine.embed import xmp
from glassine.embed.facts import Technical
from glassine.record import official, presentation
from makers.item_records import Made
from makers.step_calls import read_rows

SCHEMAS = PROJECT.parent / "shared" / "schemas"
NS = {prefix: uri for prefix, uri in markup.NAMESPACES.items() if prefix != "xsi"}
INC = "http://rightsstatements.org/vocab/InC/1.0/"
CELLS = {
    "item_id": "PEH-0001",
    "title": "Quay",
    "rights_uri": INC,
    "creator": "Ørkind, Åse <http://id.loc.gov/authorities/names/n1>",
    "subjects": "Harbors <http://id.loc.gov/authorities/subjects/sh85058863>|Tide gauges",
    "people": "Ellery & Sons <https://names.example/2>|Aune, Per",
    "places": "Port Ellery <http://vocab.getty.edu/tgn/7>",
    "place_country": "Norland",
    "place_state": "Harbourshire",
    "place_county": "South Quay",
    "place_city": "Port Ellery",
    "extent": "3 negatives",
    "dimensions": "9 x 12 cm",
    "doi": "10.1000/182",
}


def row_of(folder, **more):
    cells = {**CELLS, **more}
    path = folder / "catalogue.json"
    path.write_text(json.dumps([cells]), "utf-8")
    found = read_rows(path, {"catalogue": {}})
    assert [each for each in found.findings if each.severity == "hold"] == []
    return found.records["PEH-0001"]


def made_of(folder, **more):
    made = Made(folder, **row_of(folder, **more))
    return made.master("PEH-0001.tif")


def texts(root, path):
    return [str(each) for each in root.xpath(path, namespaces=NS)]


def test_in_mods(tmp_path):
    root = etree.fromstring(made_of(tmp_path).record().read_bytes())
    assert texts(root, "//mods:mods/mods:name/@authority") == ["naf"]
    assert texts(root, "//mods:mods/mods:name/@valueURI") == [
        "http://id.loc.gov/authorities/names/n1"
    ]
    subject = "//mods:subject[mods:topic='Harbors']"
    assert texts(root, f"{subject}/@authority") == ["lcsh"]
    assert texts(root, f"{subject}/@valueURI") == [
        "http://id.loc.gov/authorities/subjects/sh85058863"
    ]
    assert texts(root, "//mods:subject/mods:name/mods:namePart/text()") == [
        "Ellery & Sons",
        "Aune, Per",
    ]
    assert texts(root, "//mods:subject/mods:name/@valueURI") == ["https://names.example/2"]
    assert texts(root, "//mods:geographic/text()") == ["Port Ellery"]
    assert texts(root, "//mods:geographic/@authority") == ["tgn"]
    assert texts(root, "//mods:hierarchicalGeographic/*/text()") == [
        "Norland",
        "Harbourshire",
        "South Quay",
        "Port Ellery",
    ]
    assert texts(root, "//mods:identifier[@type='doi']/text()") == ["10.1000/182"]
    assert texts(root, "//mods:note[@type='extent' or @type='dimensions']/text()") == [
        "3 negatives",
        "9 x 12 cm",
    ]


@pytest.mark.skipif(not SCHEMAS.exists(), reason=f"{SCHEMAS} is not there")
@pytest.mark.parametrize("objid", ["item", "doi"])
def test_it_is_valid_by_the_official_schemas(tmp_path, objid):
    made = made_of(tmp_path)
    made.given["settings"]["records"]["objid"] = objid
    assert official.check_schemas(made.record(), SCHEMAS) == []


def test_in_dublin_core_and_iiif(tmp_path):
    made = made_of(tmp_path)
    root = etree.fromstring(made.record().read_bytes())
    assert texts(root, "//dc:subject/text()") == [
        "Harbors",
        "Tide gauges",
        "Ellery & Sons",
        "Aune, Per",
    ]
    manifest = json.loads((made.item_dir / "manifest.json").read_text("utf-8"))
    shown = {pair["label"]["en"][0]: pair["value"]["none"] for pair in manifest["metadata"]}
    assert shown["Place"] == [
        '<a href="http://vocab.getty.edu/tgn/7">Port Ellery, South Quay, Harbourshire, Norland</a>'
    ]
    assert shown["Person"] == [
        '<a href="https://names.example/2">Ellery &amp; Sons</a>',
        "Aune, Per",
    ]
    assert shown["Other identifier"] == ["10.1000/182 (DOI)"]
    assert shown["Dimensions"] == ["9 x 12 cm"]


def test_an_address_cannot_break_out_of_its_link():
    linked = presentation._linked('<img src=x onerror="a">', 'https://x.example/"onclick="b')
    assert linked.count("<") == 2
    assert not re.search(r'"\s*onclick', linked)
    assert presentation._linked("a", "javascript:alert(1)") == "a"


def test_in_xmp(tmp_path):
    row = msgspec.convert(row_of(tmp_path), CatalogueRow)
    words = embed.words_of("PEH-0001", row, Institution(), {})
    technical = Technical(
        width=10, height=10, ppi=None, colour_space=1, software="", document_id="a", master_id="b",
        master_name="m", master_sha256="c", pixels_sha256="d",
    )  # fmt: skip
    packet = xmp.whole(words, technical)
    root = etree.fromstring(packet[packet.index(b"<x:xmpmeta") : packet.rindex(b"<?xpacket")])

    def values(path):
        return [str(each) for each in root.xpath(path, namespaces=xmp.NS)]

    assert values("//Iptc4xmpExt:CvTermId/text()") == [
        "http://id.loc.gov/authorities/subjects/sh85058863",
        "https://names.example/2",
    ]
    assert values("//Iptc4xmpExt:AOCreatorId//rdf:li/text()") == [
        "http://id.loc.gov/authorities/names/n1"
    ]
    place = "//Iptc4xmpExt:LocationShown//rdf:li[Iptc4xmpExt:LocationName]"
    assert values(f"{place}/Iptc4xmpExt:CountryName/text()") == ["Norland"]
    assert values(f"{place}/Iptc4xmpExt:ProvinceState/text()") == ["Harbourshire"]
    assert values(f"{place}/Iptc4xmpExt:City/text()") == ["Port Ellery"]
    assert "Aune, Per" in values("//dc:subject//rdf:li/text()")


def test_mods_read_again_gives_the_same_row(tmp_path):
    made = made_of(tmp_path)
    mods = etree.fromstring(made.record().read_bytes()).find(".//{*}mods")
    path = tmp_path / "catalogue.xml"
    path.write_bytes(etree.tostring(mods))
    found = read_rows(path, {"catalogue": {}})
    again, before = found.records["PEH-0001"], row_of(tmp_path)
    for name in ("creators", "subjects", "people", "places", "identifiers", "extent", "dimensions"):
        assert again[name] == before[name], name
    unread = [each.what for each in found.findings if each.code == "catalogue.unused"]
    assert unread == [
        "Unused columns: location/physicalLocation (1), recordInfo/recordOrigin (1); in brackets, "
        "how many rows have a value there."
    ]


# --- what names the record ---


def test_a_record_may_be_named_by_a_persistent_identifier(tmp_path):
    made = made_of(tmp_path, ark="https://n2t.net/ark:/12345/x6")
    made.given["settings"]["records"]["objid"] = "ark"
    root = etree.fromstring(made.record().read_bytes())
    assert root.get("OBJID") == "ark:12345/x6"
    assert texts(root, "//mets:altRecordID/text()") == ["PEH-0001"]


@pytest.mark.parametrize("cells", [{}, {"ark": "ark:12345/a|ark:12345/b"}])
def test_without_one_or_with_two_the_item_is_held(tmp_path, cells):
    made = made_of(tmp_path, **cells)
    made.given["settings"]["records"]["objid"] = "ark"
    with pytest.raises(GlassineError) as held:
        made.record()
    assert [each.code for each in held.value.findings] == ["record.objid"]
    assert not (made.item_dir / "METS.xml").exists()
