"""Finding aids in: one row a component, numbers apart, nothing of a parent counted twice.

EAD Tag Library 2002 and EAD3 1.1.1: `did`, `unitid`, `container`, `accessrestrict`, `userestrict`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from glassine.base.errors import GlassineError
from makers.step_calls import read_rows


def read(folder: Path, inner: str, head: str = "<ead>", number: str = "PEH 7") -> Any:
    path = folder / "catalogue.xml"
    top = f"<eadheader><eadid>peh7</eadid></eadheader><archdesc><did><unitid>{number}</unitid>"
    text = f"{top}<unittitle>Harbour works</unittitle><unitdate>1890-1920</unitdate></did>"
    path.write_text(f"{head}{text}{inner}</archdesc></ead>", encoding="utf-8")
    return read_rows(path, {"catalogue": {}})


def component(did: str, inner: str = "", name: str = "c", attributes: str = "") -> str:
    return f"<{name}{attributes}><did>{did}</did>{inner}</{name}>"


def test_a_component_has_its_own_words_and_inherits_what_it_lacks(tmp_path):
    child = component("<unitid>PEH-2</unitid>", "<scopecontent><p>Low water.</p></scopecontent>")
    parent = component("<unitid>PEH-1</unitid><unittitle>Quay</unittitle><unitdate>1905</unitdate>",
                       child)  # fmt: skip
    found = read(tmp_path, f"<userestrict><p>Ask first.</p></userestrict><dsc>{parent}</dsc>")
    assert sorted(found.records) == ["PEH-1", "PEH-2"]
    quay, low = found.records["PEH-1"], found.records["PEH-2"]
    assert quay["description"] == "" and low["description"] == "Low water."
    assert (low["title"], low["date_text"], low["edtf"]) == ("Quay", "1905", "1905")
    assert quay["collection"] == low["collection"] == "Harbour works"
    assert quay["rights"]["note"] == low["rights"]["note"] == "Ask first."
    assert "catalogue.inherited" in {each.code for each in found.findings}


def test_numbers_come_from_containers_and_positions_and_are_kept_apart(tmp_path):
    box = '<container type="box">1</container><container type="folder">{}</container>'
    parts = [component(f"{box.format(number)}<unittitle>Quay</unittitle>") for number in (1, 2, 2)]
    parts += [component("<unittitle>Mole</unittitle>"), component("<unittitle>Pier</unittitle>",
                        attributes=' id="p9"')]  # fmt: skip
    found = read(tmp_path, f"<dsc>{''.join(parts)}</dsc>")
    assert sorted(found.records) == [
        "p9", "peh7-4", "peh7-box-1-folder-1", "peh7-box-1-folder-2-2", "peh7-box-1-folder-2-3",
    ]  # fmt: skip


def test_numbers_that_repeat_have_the_level_above_before_them(tmp_path):
    series = [
        component(f"<unitid>{series}</unitid><unittitle>S</unittitle>",
                  component("<unitid>1</unitid><unittitle>T</unittitle>", name="c02"), name="c01")
        for series in ("A", "B")
    ]  # fmt: skip
    found = read(tmp_path, f"<dsc>{''.join(series)}</dsc>")
    assert sorted(found.records) == ["A", "A/1", "B", "B/1"]


def test_a_finding_aid_without_components_is_one_item(tmp_path):
    found = read(tmp_path, "<dsc/>", number="SE/PE/7 A")
    assert list(found.records) == ["SE/PE/7 A"]


@pytest.mark.parametrize(
    ("words", "severity"),
    [
        ("Unrestricted access.", None),
        ("The collection is open for research.", None),
        ("Open for research. Box 3 is closed until 2040.", "hold"),
        ("Access by permission of the family.", "hold"),
        ("Ask two days before.", "review"),  # of the whole collection, and unclear
    ],
)
def test_a_restriction_of_a_level_above_is_not_lost(tmp_path, words, severity):
    inner = f"<accessrestrict><head>Restrictions</head><p>{words}</p></accessrestrict>"
    part = component("<unitid>PEH-1</unitid><unittitle>Quay</unittitle>")
    found = read(tmp_path, f"{inner}<dsc>{part}</dsc>")
    told = [each.severity for each in found.findings if each.code == "catalogue.restriction"]
    assert told == ([severity] if severity else [])
    assert bool(found.bad_items) is (severity == "hold")


def test_an_unclear_restriction_of_the_component_itself_holds_it(tmp_path):
    inner = "<accessrestrict><p>Partly.</p></accessrestrict>"
    found = read(tmp_path, f"<dsc>{component('<unitid>PEH-1</unitid>', inner)}</dsc>")
    assert found.bad_items["PEH-1"].code == "catalogue.restriction"


def test_bounds_of_a_normalised_date_serve_where_words_fail(tmp_path):
    did = '<unitid>PEH-1</unitid><unitdate normal="19050601/19050630">in the dry month</unitdate>'
    found = read(tmp_path, f"<dsc>{component(did)}</dsc>")
    assert found.records["PEH-1"]["edtf"] == "1905-06-01/1905-06-30"


def test_ead3_names_have_parts(tmp_path):
    did = ("<unitid>PEH-1</unitid><unittitle>Quay</unittitle><origination><persname "
           'relator="photographer" identifier="http://x.example/1"><part>Orne</part><part>Ida</part>'
           "</persname></origination>")  # fmt: skip
    head = '<ead xmlns="http://ead3.archivists.org/schema/">'
    found = read(tmp_path, f"<dsc>{component(did)}</dsc>", head)
    assert found.records["PEH-1"]["creators"] == [
        {"name": "Orne, Ida", "role": "photographer", "uri": "http://x.example/1"}
    ]


def test_a_document_type_is_let_pass_and_never_followed(tmp_path):
    head = '<!DOCTYPE ead PUBLIC "+//ISBN 1-931666-00-8//DTD ead.dtd//EN" "ead.dtd"><ead>'
    part = component("<unitid>PEH-1</unitid><unittitle>Quay</unittitle>")
    assert list(read(tmp_path, f"<dsc>{part}</dsc>", head).records) == ["PEH-1"]
    hidden = part.replace("Quay", "Qu&aacute;y")
    with pytest.raises(GlassineError, match="letters by names"):
        read(tmp_path, f"<dsc>{hidden}</dsc>", head)


def test_a_restriction_after_thousands_of_components_counts_for_the_first_too(tmp_path):
    parts = [component(f"<unitid>PEH-{n}</unitid><unittitle>Q</unittitle>") for n in range(3000)]
    late = "<accessrestrict><p>Closed until 2040.</p></accessrestrict>"
    found = read(tmp_path, f"<dsc>{''.join(parts)}</dsc>{late}")
    assert len(found.bad_items) == 3000
