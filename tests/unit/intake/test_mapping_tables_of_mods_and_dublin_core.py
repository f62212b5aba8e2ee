"""The mapping tables of MODS and Dublin Core read what is read without one, and can be edited."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from glassine.base import rights
from glassine.base.records.catalogue import CatalogueRow, RowRights
from glassine.record import dublin_core, mods
from makers import item_records
from makers.step_calls import read_rows

REAL = Path(__file__).resolve().parents[4] / "shared" / "catalogue" / "real"
FOLDER = Path(__file__).resolve().parents[3] / "config" / "mappings"
_FILES = [
    (path, "mods" if part.startswith("mods") else "dublin_core")
    for part in ("mods/*.xml", "mods_oai/*.xml", "oai_dc/*.xml", "qdc/*.xml")
    for path in sorted(REAL.glob(part))
    if path.name not in ("us_tn.xml", "us_in.xml", "us_wi.xml")  # not well-formed; other holders
]


def said(path: Path, **catalogue: Any) -> tuple[dict[str, Any], dict[str, str]]:
    """Return records without what no field takes, and why items are held."""
    found = read_rows(path, {"catalogue": catalogue})
    records = {
        item: {
            **record,
            "extra": {},
            # Of a subject that stands twice a table takes one.
            "subjects": [*{str(each): each for each in record["subjects"]}.values()],
        }
        for item, record in found.records.items()
    }
    return records, {item: finding.code for item, finding in found.bad_items.items()}


@pytest.mark.skipif(not REAL.is_dir(), reason="the real exports are not there")
@pytest.mark.parametrize(("path", "name"), _FILES, ids=lambda value: getattr(value, "name", value))
def test_real_records_are_read_alike(path: Path, name: str) -> None:
    by_table, by_itself = said(path, mapping=name), said(path)
    assert by_table[1] == by_itself[1]
    for item, record in by_itself[0].items():
        assert by_table[0][item] == record


def own_record(tmp_path: Path, kind: str) -> Path:
    """Write a record as this software itself writes it."""
    row = CatalogueRow(
        item="PEH-0001",
        row=2,
        title="Quay, low water",
        alternative="Ebbe",
        description="Two clerks.\nWith a tide gauge.",
        date_text="c. 1905",
        edtf="1905~",
        rights=RowRights(**item_records.CATALOGUE["rights"]),
        collection="Harbour Office",
        languages=["eng"],
        genre="negatives",
        physical="13 x 18 cm",
        material="glass",
        decay_level=1,
    )
    item_rights = rights.resolved({"uri": row.rights.uri, "note": row.rights.note}, {})
    if kind == "mods":
        root = mods.build(row, item_rights, "PEH-0001", "Port Ellery Harbour Archive")
    else:
        root = etree.Element("record")
        root.extend(dublin_core.build(row, item_rights, "PEH-0001", "Port Ellery Harbour Archive"))
    path = tmp_path / "catalogue.xml"
    path.write_bytes(etree.tostring(root))
    return path


@pytest.mark.parametrize(("kind", "name"), [("mods", "mods"), ("dc", "dublin_core")])
def test_a_record_of_this_software_is_read_alike(tmp_path: Path, kind: str, name: str) -> None:
    path = own_record(tmp_path, kind)
    records, held = said(path, mapping=name)
    assert records["PEH-0001"] == said(path)[0]["PEH-0001"]
    assert held == {} and records["PEH-0001"]["title"] == "Quay, low water"


def test_an_edited_copy_reads_another_number_and_title(tmp_path: Path) -> None:
    table = (FOLDER / "mods.yaml").read_text("utf-8")
    own = tmp_path / "own.yaml"
    own.write_text(
        table.replace("fields:\n", "fields:\n  item_id: mods:location/mods:shelfLocator\n", 1)
        .replace("genre: mods:genre", "genre: {constant: negatives}"),
        "utf-8",
    )  # fmt: skip
    path = tmp_path / "catalogue.xml"
    path.write_text(
        '<mods xmlns="http://www.loc.gov/mods/v3"><titleInfo><title>Quay</title></titleInfo>'
        "<identifier>x</identifier><location><shelfLocator>B 12/3</shelfLocator></location></mods>"
    )
    records, _ = said(path, mapping=str(own))
    assert list(records) == ["B 12/3"]
    assert records["B 12/3"]["genre"] == "negatives"
    assert [each["value"] for each in records["B 12/3"]["identifiers"]] == ["x"]
