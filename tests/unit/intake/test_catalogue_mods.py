"""MODS and Dublin Core in: nothing of a date, a material or a restriction is dropped unseen."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from glassine.base import rights
from glassine.base.markup import write
from glassine.base.records.catalogue import CatalogueRow
from glassine.intake.catalogue import reading as catalogue
from glassine.record import mods
from makers.step_calls import read_rows

INC = "http://rightsstatements.org/vocab/InC/1.0/"
HEAD = (
    '<mods xmlns="http://www.loc.gov/mods/v3" xmlns:xlink="http://www.w3.org/1999/xlink">'
    "<identifier>PEH-1</identifier><titleInfo><title>Quay</title></titleInfo>"
)


def read(folder: Path, text: str | bytes, **section: Any) -> catalogue.Catalogue:
    path = folder / "catalogue.xml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_rows(path, {"catalogue": section})


def record(folder: Path, inner: str, **section: Any) -> Any:
    found = read(folder, f"{HEAD}{inner}</mods>", **section)
    return found.records.get("PEH-1"), found.findings


def unused(findings) -> str:
    return " ".join(each.what for each in findings if each.code == "catalogue.unused")


@pytest.mark.parametrize(
    ("inner", "words", "edtf"),
    [  # MODS 3.8 user guidelines: dateCreated with point, qualifier and encoding
        ('<dateCreated point="start">1890</dateCreated><dateCreated point="end">1910</dateCreated>',
         "", "1890/1910"),
        ('<dateCreated encoding="w3cdtf" point="start" qualifier="approximate">1890</dateCreated>'
         '<dateCreated encoding="w3cdtf" point="end" qualifier="approximate">1910</dateCreated>',
         "", "1890~/1910~"),
        ('<dateCreated encoding="w3cdtf" point="start">1890-05</dateCreated>', "", "1890-05/.."),
        ('<dateCreated encoding="marc" point="end">1910</dateCreated>', "", "../1910"),
        ('<dateCreated encoding="marc" point="start">1890</dateCreated>'
         '<dateCreated encoding="marc" point="end">9999</dateCreated>', "", "1890/.."),
        ('<dateCreated qualifier="approximate">1905</dateCreated>',
         "approximately 1905", "1905~"),
        ('<dateCreated qualifier="approximate">c. 1905</dateCreated>', "c. 1905", "1905~"),
        ('<dateCreated qualifier="questionable">1905</dateCreated>', "1905?", "1905?"),
        ('<dateCreated qualifier="inferred">1905</dateCreated>', "[1905]", "1905"),
        ('<dateCreated encoding="w3cdtf">1905-06-01</dateCreated>', "", "1905-06-01"),
        ('<dateCreated encoding="w3cdtf">1905-06-01T10:00:00Z</dateCreated>', "", "1905-06-01"),
        ('<dateCreated encoding="iso8601">19050601</dateCreated>', "", "1905-06-01"),
        ('<dateCreated encoding="w3cdtf" qualifier="questionable">1905</dateCreated>', "", "1905?"),
        ('<dateCreated encoding="marc">19uu</dateCreated>', "", "19XX"),
        ('<dateCreated>ca. 1905</dateCreated><dateCreated encoding="w3cdtf">1905</dateCreated>',
         "ca. 1905", "1905~"),
        ('<dateCreated>Easter 1905</dateCreated><dateCreated encoding="w3cdtf">1905-04-23'
         "</dateCreated>", "Easter 1905", "1905-04-23"),
        ('<dateCreated encoding="edtf">1905~/1910</dateCreated>', "", "1905~/1910"),
    ],
)  # fmt: skip
def test_dates_keep_their_ends_and_doubts(tmp_path, inner, words, edtf):
    found, findings = record(tmp_path, f"<originInfo>{inner}</originInfo>")
    assert findings == []
    assert (found["date_text"], found["edtf"]) == (words, edtf)


@pytest.mark.parametrize(
    ("inner", "path", "value"),
    [
        ("<originInfo><dateIssued>1910</dateIssued></originInfo>", "originInfo/dateIssued", "1910"),
        ("<originInfo><copyrightDate>1910</copyrightDate></originInfo>",
         "originInfo/copyrightDate", "1910"),
        ('<originInfo><dateCreated encoding="temper">1905</dateCreated></originInfo>',
         "originInfo/dateCreated [encoding=temper]", "1905"),
        ("<physicalDescription><form>glass negative</form></physicalDescription>",
         "physicalDescription/form", "glass negative"),
        ('<note type="ownership">Gift</note>', "note [type=ownership]", "Gift"),
        ("<subject><temporal>1900s</temporal></subject>", "subject/temporal", "1900s"),
        ('<titleInfo type="translated"><title>Kai</title></titleInfo>', "titleInfo/title", "Kai"),
        ('<name type="personal"><namePart>A</namePart></name>', "name/@type", "personal"),
        ('<genre authority="aat">negatives</genre>', "genre/@authority", "aat"),
        ("<typeOfResource>text</typeOfResource>", "typeOfResource", "text"),
        ('<x:own xmlns:x="urn:x" y="2"><x:part>3</x:part></x:own>', "own/part", "3"),
        ('<relatedItem xlink:href="http://a.example/"/>', "relatedItem/@href", "http://a.example/"),
    ],
)  # fmt: skip
def test_what_the_reader_does_not_know_is_told_and_kept(tmp_path, inner, path, value):
    found, findings = record(tmp_path, inner)
    assert f"{path} (1)" in unused(findings)
    assert found["extra"][path] == value


def test_a_date_of_issue_alone_is_for_a_person(tmp_path):
    found, findings = record(tmp_path, "<originInfo><dateIssued>1910</dateIssued></originInfo>")
    assert found["edtf"] is None
    assert "catalogue.date_unread" in [each.code for each in findings]


@pytest.mark.parametrize(
    ("form", "material"),
    [("cellulose nitrate film", "nitrate"), ("glass", "glass"), ("safety film", "acetate")],
)
def test_the_material_is_read(tmp_path, form, material):
    inner = f"<physicalDescription><form type='material'>{form}</form></physicalDescription>"
    found, findings = record(tmp_path, inner, materials={"safety film": "acetate"})
    assert (found["material"], findings) == (material, [])


@pytest.mark.parametrize(
    ("inner", "code"),
    [
        ('<accessCondition type="restriction on access">closed until 2040</accessCondition>',
         "catalogue.restriction"),
        ('<accessCondition type="restrictionOnAccess">family</accessCondition>',
         "catalogue.restriction"),
        (f'<accessCondition xlink:href="{INC}"/><accessCondition '
         'xlink:href="http://creativecommons.org/licenses/by/4.0/"/>', "catalogue.rights_uri"),
        ("<accessCondition><r:copyright xmlns:r='urn:r' copyright.status='copyrighted'/>"
         "</accessCondition>", "catalogue.rights_unread"),
    ],
)  # fmt: skip
def test_restrictions_and_rights_that_are_not_read_hold_the_item(tmp_path, inner, code):
    found, findings = record(tmp_path, inner)
    assert found is None
    assert [each.code for each in findings if each.severity == "hold"] == [code]


@pytest.mark.parametrize(
    ("inner", "uri", "status", "note"),
    [
        (f'<accessCondition xlink:href="{INC}">In Copyright</accessCondition>', INC,
         "copyrighted", ""),
        (f"<accessCondition>{INC}</accessCondition>", INC, "copyrighted", ""),
        ("<accessCondition>Public domain</accessCondition>", "", "public domain", ""),
        (f'<accessCondition xlink:href="{INC}">Ask first</accessCondition>', INC, "copyrighted",
         "Ask first"),
        ('<accessCondition type="restriction on access">Open</accessCondition>', "", "unknown", ""),
    ],
)  # fmt: skip
def test_access_conditions_are_rights(tmp_path, inner, uri, status, note):
    rights = record(tmp_path, inner)[0]["rights"]
    assert (rights["uri"], rights["status"], rights["note"]) == (uri, status, note)


def dublin_core(folder: Path, inner: str) -> Any:
    found = read(
        folder,
        '<record xmlns:dc="http://purl.org/dc/elements/1.1/" '
        'xmlns:dcterms="http://purl.org/dc/terms/"><dc:identifier>PEH-1</dc:identifier>'
        f"<dc:title>Quay</dc:title>{inner}</record>",
    )
    return found.records.get("PEH-1"), found.findings


def test_dublin_core_terms_are_read(tmp_path):
    found, findings = dublin_core(
        tmp_path,
        "<dcterms:created>1905~</dcterms:created><dc:date>about 1905</dc:date>"
        f"<dcterms:license>{INC}</dcterms:license><dc:rights>Ask first</dc:rights>"
        "<dcterms:medium>glass</dcterms:medium><dcterms:extent>13 x 18 cm</dcterms:extent>",
    )
    assert findings == []
    assert (found["date_text"], found["edtf"]) == ("about 1905", "1905~")
    assert (found["rights"]["uri"], found["rights"]["note"]) == (INC, "Ask first")
    assert (found["material"], found["physical"]) == ("glass", "13 x 18 cm")


def test_dublin_core_created_alone_is_the_date(tmp_path):
    found, _ = dublin_core(tmp_path, "<dcterms:created>c. 1905</dcterms:created>")
    assert (found["date_text"], found["edtf"]) == ("c. 1905", "1905~")


@pytest.mark.parametrize(
    ("inner", "code"),
    [
        ("<dcterms:accessRights>closed</dcterms:accessRights>", "catalogue.restriction"),
        (f"<dc:rights>{INC}</dc:rights><dcterms:license>http://creativecommons.org/licenses/by/4.0/"
         "</dcterms:license>", "catalogue.rights_uri"),
    ],
)  # fmt: skip
def test_dublin_core_restrictions_hold(tmp_path, inner, code):
    found, findings = dublin_core(tmp_path, inner)
    assert found is None and code in [each.code for each in findings]


def test_several_subjects_in_one_element_are_told(tmp_path):
    _, findings = dublin_core(tmp_path, "<dc:subject>Quays; Tides</dc:subject>")
    assert [each.code for each in findings] == ["catalogue.separator"]


def test_dublin_core_that_is_not_read_is_told(tmp_path):
    found, findings = dublin_core(
        tmp_path, "<dcterms:issued>1910</dcterms:issued><dc:contributor>A</dc:contributor>"
    )
    assert "contributor (1), issued (1)" in unused(findings)
    assert found["extra"] == {"issued": "1910", "contributor": "A"}


# --- our own MODS read back ---

_WORDS = st.lists(st.text("abcäøŁ港<&>\"'.?", min_size=1, max_size=6), min_size=1, max_size=3).map(
    " ".join
)
_MAYBE = st.one_of(st.just(""), _WORDS)
_URI = st.sampled_from(["", "https://names.example/1", "urn:x:2"])
_RIGHTS = st.fixed_dictionaries(
    {
        "uri": st.sampled_from(
            ["", INC, "http://rightsstatements.org/vocab/NoC-US/1.0/",
             "http://creativecommons.org/licenses/by/3.0/de/",
             "http://creativecommons.org/publicdomain/mark/1.0/"]),
        "status": st.sampled_from(["", "copyrighted", "public domain", "unknown"]),
        "holder": _MAYBE,
        "note": _MAYBE,
        "credit": _MAYBE,
    }
)  # fmt: skip
_ROW = st.fixed_dictionaries(
    {
        "title": _WORDS,
        "alternative": _MAYBE,
        "description": st.lists(_WORDS, max_size=3).map("\n".join),
        "date": st.sampled_from(["", "c. 1905", "1890-1910", "long ago", "n.d."]),
        "edtf": st.sampled_from(["", "1905~", "1890/1910", "../1920", "1905-06-01", "193X"]),
        "creator": st.lists(
            st.fixed_dictionaries(
                {"name": _WORDS, "role": st.one_of(_MAYBE, st.just("pht")), "uri": _URI}
            ),
            max_size=2,
        ),
        "subjects": st.lists(
            st.fixed_dictionaries(
                {"term": _WORDS, "uri": _URI, "authority": st.sampled_from(["", "lcsh"])}
            ),
            max_size=2,
        ),
        "places": st.lists(st.fixed_dictionaries({"name": _WORDS, "uri": _URI}), max_size=2),
        "languages": st.lists(st.sampled_from(["eng", "de", "en-GB"]), max_size=2),
        "genre": _MAYBE,
        "physical": _MAYBE,
        "material": st.sampled_from(["", "nitrate", "acetate", "polyester", "glass", "paper"]),
        "decay_level": st.sampled_from(["", "0", "6"]),
        "identifiers": st.lists(
            st.fixed_dictionaries(
                {"type": st.sampled_from(["box", "local"]),
                 "value": st.one_of(_WORDS, st.just("PEH-1"))}
            ),
            max_size=2,
        ),
        "collection": _MAYBE,
        "rights": _RIGHTS,
    }
)  # fmt: skip


def _from_json(folder: Path, row: dict[str, Any]) -> dict[str, Any] | None:
    """Return the record of a row as JSON gives it, or None where it is held."""
    import json

    cells = {**row, "item_id": "PEH-1", "date_edtf": row["edtf"]}
    for name, field in (("uri", "rights_uri"), ("status", "copyright_status"),
                        ("holder", "rights_holder"), ("note", "rights_note"),
                        ("credit", "credit")):  # fmt: skip
        cells[field] = row["rights"][name]
    del cells["rights"], cells["edtf"]
    path = folder / "catalogue.jsonl"
    path.write_text(json.dumps(cells))
    return read_rows(path, {"catalogue": {}}).records.get("PEH-1")


@hypothesis_settings(max_examples=80, deadline=None)
@given(_ROW)
def test_our_own_mods_read_back_is_the_same_row(row):
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        before = _from_json(folder, row)
        if before is None:
            return  # held: its status contradicts its URI, or its words a date
        row = msgspec.convert(before, CatalogueRow)
        stated = rights.resolved(before["rights"], None)
        root = mods.build(row, stated, "PEH-1", "Port Ellery Harbour Archive")
        found = read(folder, write(root))
    after = found.records["PEH-1"]
    kept = set(before) - {"row", "extra", "masters", "structure", "date_understood"}
    assert {name: after[name] for name in kept} == {name: before[name] for name in kept}
    # What the record says of itself and of its keeper; nothing of the picture.
    assert set(after["extra"]) == {"location/physicalLocation", "recordInfo/recordOrigin"}
