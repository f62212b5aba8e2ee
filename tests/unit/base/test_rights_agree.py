"""One rights statement, said alike by EXIF, XMP, IPTC, PREMIS, MODS, Dublin Core and IIIF."""

from __future__ import annotations

from typing import Any

import msgspec
import piexif
import pytest
from lxml import etree

from glassine import steps
from glassine.base import rights
from glassine.base.errors import GlassineError
from glassine.base.records.catalogue import CatalogueRow
from glassine.base.records.embedded import Embedded
from glassine.base.records.given import Institution
from glassine.base.records.render import Rendering
from glassine.base.settings import load
from glassine.embed import exif, iim, xmp
from glassine.embed import step as embed
from glassine.embed.facts import Technical
from glassine.intake.catalogue import reading as catalogue
from glassine.record import dublin_core, item_records, mods, premis, presentation
from makers.item_records import event
from makers.step_calls import read_rows

# What each statement says, read from the statements of rightsstatements.org 1.0 and the deeds of
# Creative Commons (values from memory): (URI, copyrightStatus of PREMIS, xmpRights:Marked).
IN, FREE, OPEN = "copyrighted", "public domain", "unknown"
RS, CC = "http://rightsstatements.org/vocab/", "http://creativecommons.org/"
STATEMENTS = [
    (f"{RS}InC/1.0/", IN, "True"),
    (f"{RS}InC-OW-EU/1.0/", IN, "True"),
    (f"{RS}InC-EDU/1.0/", IN, "True"),
    (f"{RS}InC-NC/1.0/", IN, "True"),
    (f"{RS}InC-RUU/1.0/", IN, "True"),
    # No copyright, but bound by a contract, another law or one country: never plainly free.
    (f"{RS}NoC-CR/1.0/", FREE, None),
    (f"{RS}NoC-NC/1.0/", FREE, None),
    (f"{RS}NoC-OKLR/1.0/", FREE, None),
    (f"{RS}NoC-US/1.0/", FREE, None),
    (f"{RS}CNE/1.0/", OPEN, None),
    (f"{RS}UND/1.0/", OPEN, None),
    (f"{RS}NKC/1.0/", OPEN, None),
    *((f"{CC}licenses/by{more}/4.0/", IN, "True") for more in ("", "-sa", "-nd", "-nc", "-nc-sa")),
    *((f"{CC}licenses/by-nc-nd/{number}/", IN, "True") for number in ("1.0", "2.0", "2.5", "3.0")),
    (f"{CC}licenses/by-sa/2.5/scotland/", IN, "True"),
    (f"{CC}licenses/by/3.0/de/", IN, "True"),
    (f"{CC}licenses/by/3.0/igo/", IN, "True"),
    (f"{CC}licenses/nd-nc/1.0/", IN, "True"),
    (f"{CC}publicdomain/zero/1.0/", FREE, "False"),
    (f"{CC}publicdomain/mark/1.0/", FREE, "False"),
]
TECHNICAL = Technical(10, 10, None, 1, "Glassine", "0" * 8, "1" * 8, "a.tif", "2" * 64, "3" * 64)
HOUSE = {
    "name": "Port Ellery Harbour Archive",
    "id": "https://archive.port-ellery.example/",
    "homepage": "",
}
DEFAULTS = {"uri": f"{RS}CNE/1.0/", "status": "", "jurisdiction": "gb"}
FRAME = {"master": "a.tif", "part": None, "index": 1, "width": 10, "height": 10, "skipped": None,
         "iiif_id": "PEH-1", "label": None, "ppi": None, "files": [], "tone": None,
         "tiles": {"path": "iiif/PEH-1", "width": 10, "height": 10, "tile_px": 512, "count": 2,
                   "bytes": 40, "sha256": "0" * 64}}  # fmt: skip


def row(tmp_path, **cells: str) -> catalogue.Catalogue:
    path = tmp_path / "catalogue.csv"
    names = ["item_id", "title", *cells]
    values = ["PEH-1", "Quay", *cells.values()]
    path.write_text(",".join(names) + "\n" + ",".join(f'"{value}"' for value in values) + "\n")
    return read_rows(path, {"catalogue": {}, "rights": DEFAULTS})


def outputs(record: dict[str, Any] | None, defaults: dict[str, str] | None = None) -> Any:
    """Return what each output says of rights, read back from its own form."""
    defaults = defaults or DEFAULTS
    row = msgspec.convert(record, CatalogueRow) if record else None
    words = embed.words_of("PEH-1", row, msgspec.convert(HOUSE, Institution), defaults)
    tags = piexif.load(exif.encode(words, TECHNICAL)[0])
    packet = etree.fromstring(xmp.whole(words, TECHNICAL).split(b"\n", 1)[1].rsplit(b"\n", 1)[0])
    datasets = dict(iim.decode(iim.block(iim.encode(words)[0])))
    given = steps.given("record", {
        "batch": "b1", "item": "PEH-1", "masters": [], "catalogue": record, "institution": HOUSE,
        "settings": {"rights": defaults, "iiif": {"base_url": "https://x.example"}},
    })  # fmt: skip
    records = item_records.ItemRecords(given, *(None,) * 5)
    described = (given.row, records.rights, "PEH-1", HOUSE["name"])
    render = {"item": "PEH-1", "event": event("creation", 3), "frames": [FRAME]}
    embedded = {"item": "PEH-1", "event": event("metadata modification", 4), "files": []}
    shown = msgspec.to_builtins(
        presentation.manifest(
            given, msgspec.convert(render, Rendering), msgspec.convert(embedded, Embedded)
        )
    )

    def text(root: Any, path: str) -> list[str]:
        return list(root.xpath(path, namespaces={**xmp.NS, **root.nsmap}))

    rights_ = premis.rights(records)
    root = mods.build(*described)
    return {
        "exif": tags["0th"].get(piexif.ImageIFD.Copyright, b"").decode(),
        "iptc": datasets.get(iim.COPYRIGHT, b"").decode(),
        "xmp": "".join(text(packet, "//dc:rights//rdf:li/text()")),
        "marked": next(iter(text(packet, "//xmpRights:Marked/text()")), None),
        "terms": "".join(text(packet, "//xmpRights:UsageTerms//rdf:li/text()")),
        "web": "".join(text(packet, "//xmpRights:WebStatement/text()")),
        "premis": text(rights_, "//premis:copyrightStatus/text()"),
        "country": text(rights_, "//premis:copyrightJurisdiction/text()"),
        "notes": text(rights_, "//premis:copyrightNote/text()"),
        "premis_uri": text(rights_, "//premis:copyrightDocumentationIdentifierValue/text()"),
        "basis": text(rights_, "//premis:rightsBasis/text()"),
        "mods_uri": text(root, "//mods:accessCondition/@xlink:href"),
        "mods": text(root, "//mods:accessCondition/text()"),
        "dc": [each.text for each in dublin_core.build(*described)
               if each.tag.endswith("}rights")],
        "iiif_uri": shown.get("rights"),
        "iiif": shown["requiredStatement"]["value"]["none"],
        "iiif_rows": [text for each in shown["metadata"] if each["label"] == {"en": ["Rights"]}
                      for text in each["value"]["none"]],
    }  # fmt: skip


@pytest.mark.parametrize(("uri", "status", "marked"), STATEMENTS)
def test_every_output_says_what_the_uri_says(tmp_path, uri, status, marked):
    found = row(tmp_path, rights_uri=uri)
    assert found.findings == []
    told = outputs(found.records["PEH-1"])
    name = rights.statement(uri).name
    assert found.records["PEH-1"]["rights"]["status"] == status
    assert (told["premis"], told["marked"]) == ([status], marked)
    assert told["web"] == told["iiif_uri"] == uri
    assert told["premis_uri"] == told["mods_uri"] == [uri]
    assert told["dc"] == [uri]
    assert told["exif"] == told["iptc"] == told["xmp"]
    assert name in told["exif"]  # with a holder: the test below
    assert told["terms"] == name
    assert told["notes"] == told["mods"] == told["iiif_rows"] == [name]
    assert name in told["iiif"]
    assert told["country"] == (["us"] if "NoC-US" in uri else ["gb"])
    assert told["basis"].count("license") == ("licenses/" in uri or "/zero/" in uri)
    plain = [text for text in (told["exif"], told["terms"]) if "ublic domain" in text]
    assert bool(plain) is ("publicdomain" in uri)


def test_all_twelve_statements_are_in_the_table():
    codes = "InC InC-OW-EU InC-EDU InC-NC InC-RUU NoC-CR NoC-NC NoC-OKLR NoC-US CNE UND NKC"
    assert {uri for uri, _, _ in STATEMENTS if uri.startswith(RS)} == {
        f"{RS}{code}/1.0/" for code in codes.split()
    }


@pytest.mark.parametrize(
    "spelled",
    [
        "https://creativecommons.org/publicdomain/mark/1.0/",
        "https://creativecommons.org/publicdomain/mark/1.0",
        "http://www.creativecommons.org/publicdomain/mark/1.0/deed.de",
        "https://creativecommons.org/publicdomain/mark/1.0/deed.pt_BR",
        "HTTPS://CREATIVECOMMONS.ORG/publicdomain/mark/1.0/",
    ],
)
def test_a_public_domain_mark_is_one_however_it_is_spelled(tmp_path, spelled):
    told = outputs(row(tmp_path, rights_uri=spelled).records["PEH-1"])
    assert (told["premis"], told["marked"], told["exif"]) == ([FREE], "False", "Public domain")
    assert told["iiif_uri"] == f"{CC}publicdomain/mark/1.0/"


@pytest.mark.parametrize(
    "spelled",
    [
        "https://rightsstatements.org/page/NoC-US/1.0/?language=de",
        "http://rightsstatements.org/page/NoC-US/1.0/",
        "https://rightsstatements.org/vocab/NoC-US/1.0",
        "http://rightsstatements.org/page/NoC-US/1.0/de/",
        "http://rightsstatements.org/page/noc-us/1.0/?lang=pt-BR",
    ],
)
def test_a_page_of_a_statement_is_the_statement(tmp_path, spelled):
    told = outputs(row(tmp_path, rights_uri=spelled).records["PEH-1"])
    assert told["premis_uri"] == [f"{RS}NoC-US/1.0/"]
    assert told["exif"] == "No Copyright - United States"


@pytest.mark.parametrize(
    "text",
    [
        "CC BY",
        "CC BY 4.0",
        "All rights reserved",
        "public domain",
        f"{RS}InC/2.0/",
        f"{RS}PDM/1.0/",
        f"{CC}licenses/by/",
        f"{CC}licenses/by/5.0/",
        f"{CC}licenses/by/4.0/de/",
        f"{CC}licenses/free/4.0/",
        f"{CC}publicdomain/mark/2.0/",
        f"{RS}InC/1.0/|{CC}licenses/by/4.0/",
        "http://rightsstatements.org.evil.example/vocab/InC/1.0/",
    ],
)
def test_a_uri_that_says_nothing_certain_is_for_review_and_states_nothing(tmp_path, text):
    found = row(tmp_path, rights_uri=text)
    (record,) = found.records.values()
    # What the settings state for items without rights is not said of this one.
    assert (record["rights"]["uri"], record["rights"]["status"]) == ("", "unknown")
    assert text in record["extra"].values()
    (told,) = (each for each in found.findings if each.code == "catalogue.rights_uri")
    assert told.severity == "review"
    assert "'rights_uri'" in told.what and "rightsstatements.org" in told.expected


@pytest.mark.parametrize("column", ["rights_uri", "copyright_status"])
@pytest.mark.parametrize(
    "text",
    [
        "Closed until 2050",
        "Not to be published",
        "gesperrt",
        "embargo 2031",
        "private, family only",
        "reading room only",
        "do not publish",
        "copyright; gesperrt bis 2050",
        "CC BY, not for publication",
    ],
)
def test_words_in_a_cell_of_rights_that_may_keep_the_picture_back_hold_the_item(
    tmp_path, column, text
):
    found = row(tmp_path, **{column: text})
    assert found.records == {}
    assert "hold" in {each.severity for each in found.findings}


@pytest.mark.parametrize(
    ("uri", "status", "severity"),
    [
        (f"{CC}publicdomain/mark/1.0/", "copyrighted", "hold"),
        (f"{RS}InC/1.0/", "public domain", "hold"),
        (f"{RS}NoC-CR/1.0/", "in copyright", "hold"),
        (f"{RS}CNE/1.0/", "public domain", "review"),
        (f"{RS}NKC/1.0/", "public domain", "review"),
        (f"{RS}InC/1.0/", "unknown", "review"),
        (f"{RS}InC/1.0/", "copyrighted", None),
        (f"{CC}publicdomain/zero/1.0/", "publicdomain", None),
        (f"{RS}UND/1.0/", "unknown", None),
    ],
)
def test_a_status_that_contradicts_its_uri_is_told(tmp_path, uri, status, severity):
    found = row(tmp_path, rights_uri=uri, copyright_status=status)
    assert [each.severity for each in found.findings] == ([severity] if severity else [])
    if severity != "hold":
        told = outputs(found.records["PEH-1"])
        assert told["premis"] == [rights.statement(uri).status]
    if severity:
        assert uri in found.findings[0].sentence() and "copyright_status" in found.findings[0].what


@pytest.mark.parametrize("status", ["copyrighted", "public domain", "unknown"])
def test_a_status_alone_is_not_joined_by_the_settings_statement(tmp_path, status):
    house = {**DEFAULTS, "uri": f"{RS}InC/1.0/", "note": "Ask the archive"}
    path = tmp_path / "catalogue.csv"
    path.write_text(f"item_id,title,copyright_status\nPEH-1,Quay,{status}\n")
    record = read_rows(path, {"catalogue": {}, "rights": house}).records["PEH-1"]
    told = outputs(record, house)
    assert told["premis"] == [status]
    assert told["premis_uri"] == told["mods_uri"] == [] and told["iiif_uri"] is None
    assert (
        told["marked"] == {"copyrighted": "True", "public domain": "False", "unknown": None}[status]
    )
    assert "Ask the archive" not in [*told["notes"], told["terms"]]


def test_a_row_that_states_nothing_has_the_rights_of_the_settings(tmp_path):
    house = {**DEFAULTS, "uri": f"{CC}publicdomain/mark/1.0/", "note": "Scans by the archive"}
    path = tmp_path / "catalogue.csv"
    path.write_text("item_id,title\nPEH-1,Quay\n")
    record = read_rows(path, {"catalogue": {}, "rights": house}).records["PEH-1"]
    for stated in (record, None):  # an item without a row too
        told = outputs(stated, house)
        assert (told["premis"], told["marked"]) == ([FREE], "False")
        assert told["exif"] == "Public domain" and told["iiif_uri"] == house["uri"]
        assert "Scans by the archive" in told["notes"] and "Scans by" in told["terms"]


def test_the_holder_of_the_settings_holds_no_public_domain(tmp_path):
    house = {**DEFAULTS, "holder": "Port Ellery Harbour Archive"}
    record = row(tmp_path, rights_uri=f"{CC}publicdomain/mark/1.0/").records["PEH-1"]
    told = outputs(record, house)
    assert not [note for note in told["notes"] if "holder" in note]
    record = row(tmp_path, rights_uri=f"{RS}InC/1.0/").records["PEH-1"]
    told = outputs(record, house)
    assert told["exif"] == "© Port Ellery Harbour Archive"
    assert "Copyright holder: Port Ellery Harbour Archive" in told["notes"]


def test_a_holder_of_what_is_in_the_public_domain_is_for_a_person(tmp_path):
    found = row(tmp_path, rights_uri=f"{CC}publicdomain/mark/1.0/", rights_holder="Office")
    assert [(each.code, each.severity) for each in found.findings] == [
        ("catalogue.rights_holder", "review")
    ]


@pytest.mark.parametrize(
    "section",
    [
        {"uri": "CC BY"},
        {"uri": f"{CC}publicdomain/mark/1.0/", "status": "copyrighted"},
        {"uri": f"{RS}InC/1.0/", "status": "unknown"},
    ],
)
def test_settings_of_rights_are_checked_like_a_row(section):
    with pytest.raises(GlassineError) as refused:
        load({"rights": section})
    assert "rights" in refused.value.findings[0].what
    load({"rights": {"uri": f"{CC}publicdomain/mark/1.0/"}})
