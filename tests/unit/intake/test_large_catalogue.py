"""A catalogue of very many rows: the rows of a batch are as they are in a small one."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from glassine.base import files
from glassine.intake.catalogue import kept_rows, reading
from glassine.intake.catalogue.extract import Row
from glassine.intake.given import CatalogueSettings

_SETTINGS = msgspec.convert({"catalogue": {}}, CatalogueSettings)
# Counts over all rows: of a row that was kept also where it turns out that it cannot be used.
_COUNTS = {"catalogue.unused", "catalogue.separator"}
_CELL = st.sampled_from(
    ["", "Quay", "c. 1905", "not before long", "eng; spa", "Embargo until 2031", "reading_room",
     "2031", "closed", "public domain", "about 2031", "3", "nitrate", "A$B", "Käthe|Bo", "\x07"]
)  # fmt: skip
_COLUMNS = ["title", "date", "rights_note", "rights_access", "rights_embargo", "material",
            "subjects", "languages", "masters", "Restrictions"]  # fmt: skip
_ROWS = st.lists(
    st.fixed_dictionaries({"item_id": st.sampled_from(["P-1", "P-2", "P-3", "P-4", ""])}
                          | dict.fromkeys(_COLUMNS, _CELL)),
    min_size=1, max_size=8,
)  # fmt: skip


def _read(path: Path, at_once: int, patch: pytest.MonkeyPatch) -> reading.Catalogue:
    patch.setattr(reading, "CHECKED_ROWS", at_once)
    return reading.read_catalogue(path, _SETTINGS)


def _told(catalogue: reading.Catalogue) -> dict[str, Any]:
    """Return all that a catalogue says once each of its items was asked for."""
    catalogue.make_records([*catalogue.records])
    return {
        "records": msgspec.to_builtins(dict(sorted(catalogue.records.items()))),
        "bad": {item: each.sentence() for item, each in catalogue.bad_items.items()},
        "review": {item: [each.sentence() for each in told]
                   for item, told in catalogue.for_review.items()},
        "findings": sorted(
            each.sentence() for each in catalogue.findings if each.code not in _COUNTS
        ),
        "fields": catalogue.fields_read,
        "masters": sorted(catalogue.listing_masters({"quay"})),
    }  # fmt: skip


@settings(max_examples=120, deadline=None)
@given(rows=_ROWS, form=st.sampled_from(["csv", "jsonl"]), at_once=st.integers(0, 4))
def test_rows_that_are_made_when_asked_for_are_the_same_rows(
    tmp_path_factory: pytest.TempPathFactory, rows: list[dict[str, str]], form: str, at_once: int
) -> None:
    path = tmp_path_factory.mktemp("c") / f"catalogue.{form}"
    rows = [dict.fromkeys(["item_id", *_COLUMNS], "") | {"item_id": "P-0", "title": "Pier"}, *rows]
    if form == "csv":
        text = io.StringIO()
        writer = csv.DictWriter(text, ["item_id", *_COLUMNS])
        writer.writeheader()
        writer.writerows(rows)
        files.write_text(path, text.getvalue())
    else:
        files.write_text(path, "".join(json.dumps(row) + "\n" for row in rows))
    with pytest.MonkeyPatch.context() as patch:
        eager = _told(_read(path, 500_000, patch))
        lazy = _told(_read(path, at_once, patch))
    assert lazy == eager


def test_masters_of_rows_that_were_not_made_are_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "catalogue.csv"
    path.write_text("item_id,title,masters\nA,a,x.tif\nB,b,y.tif|Z.TIF\nC,c,\n", "utf-8")
    catalogue = _read(path, 0, monkeypatch)
    assert catalogue.listing_masters({"z.tif"}) == ["B"]
    assert catalogue.records.unmade == 3


def test_what_was_not_checked_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "catalogue.csv"
    path.write_text("item_id,title\nA,a\nB,b\nC,c\n", "utf-8")
    catalogue = _read(path, 1, monkeypatch)
    catalogue.make_records(["B"])  # type: ignore[list-item]
    (told,) = catalogue.unchecked(path)
    assert told.code == "catalogue.unchecked" and told.what.startswith("1 rows")


@given(rows=st.lists(st.dictionaries(st.text(max_size=3), st.text(max_size=3), max_size=3),
                     min_size=1, max_size=200))  # fmt: skip
def test_kept_rows_come_back_as_they_were(rows: list[dict[str, str]]) -> None:
    kept = kept_rows.KeptRows()
    places = [kept.add(Row(number, cells)) for number, cells in enumerate(rows)]
    for place, cells in reversed([*zip(places, rows, strict=True)]):
        assert kept.get(place).cells == cells


_MODS = (
    '<mods xmlns="http://www.loc.gov/mods/v3"><identifier>{item}</identifier><titleInfo>'
    "<title>{title}</title></titleInfo><note>{note}</note>"
    '<accessCondition type="use and reproduction">{rights}</accessCondition></mods>'
)
_MARC = (
    '<record xmlns="http://www.loc.gov/MARC21/slim"><controlfield tag="001">{item}</controlfield>'
    '<datafield tag="245"><subfield code="a">{title}</subfield></datafield>'
    '<datafield tag="506"><subfield code="a">{note}</subfield></datafield>'
    '<datafield tag="540"><subfield code="a">{rights}</subfield></datafield></record>'
)
_DC = (
    '<oai_dc xmlns:dc="http://purl.org/dc/elements/1.1/"><dc:identifier>{item}</dc:identifier>'
    "<dc:title>{title}</dc:title><dc:rights>{rights}</dc:rights><dc:x>{note}</dc:x></oai_dc>"
)
_LIDO = (
    '<lido xmlns="http://www.lido-schema.org"><lidoRecID>{item}</lidoRecID><descriptiveMetadata>'
    "<titleWrap><titleSet><appellationValue>{title}</appellationValue></titleSet></titleWrap>"
    "<note>{note}</note></descriptiveMetadata><administrativeMetadata><rightsWorkWrap>"
    "<rightsWorkSet><creditLine>{rights}</creditLine></rightsWorkSet></rightsWorkWrap>"
    "</administrativeMetadata></lido>"
)
_WORD = st.sampled_from(["", "Quay", "closed until 2040", "CC BY", "Kähte", "public domain"])
_OF_XML = st.lists(
    st.fixed_dictionaries({
        "item": st.sampled_from(["P-1", "P-2", "P-3", "P/4 a", "[digital only]", ""]),
        "title": _WORD, "note": _WORD, "rights": _WORD,
        "header": st.sampled_from(["", "oai:1", "oai:2", "oai:3"]),
    }),
    min_size=1, max_size=7,
)  # fmt: skip


@settings(max_examples=120, deadline=None)
@given(
    rows=_OF_XML,
    form=st.sampled_from([_MODS, _MARC, _DC, _LIDO]),
    in_response=st.booleans(),
    at_once=st.integers(0, 4),
)
def test_records_of_xml_that_are_read_when_asked_for_are_the_same_records(
    tmp_path_factory: pytest.TempPathFactory,
    rows: list[dict[str, str]],
    form: str,
    in_response: bool,
    at_once: int,
) -> None:
    records = [form.format(**row) for row in rows]
    if in_response:
        records = [
            f"<record><header><identifier>{row['header']}</identifier></header><metadata>"
            f"{record}</metadata></record>"
            for row, record in zip(rows, records, strict=True)
        ]
    path = tmp_path_factory.mktemp("c") / "catalogue.xml"
    files.write_text(path, f"<all>{''.join(records)}</all>")
    with pytest.MonkeyPatch.context() as patch:
        eager = _told(_read(path, 500_000, patch))
        lazy = _told(_read(path, at_once, patch))
    # Which fields there are is known of the records that were read.
    assert {**lazy, "fields": set()} == {**eager, "fields": set()}


@pytest.mark.parametrize("form", [_MODS, _MARC, _DC, _LIDO])
def test_records_of_xml_beyond_the_first_are_left_until_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, form: str
) -> None:
    path = tmp_path / "catalogue.xml"
    records = (form.format(item=n, title="Quay", note="", rights="") for n in range(5))
    files.write_text(path, f"<all>{''.join(records)}</all>")
    assert _read(path, 2, monkeypatch).records.unmade == 3
