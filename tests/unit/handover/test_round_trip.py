"""Catalogue in, handover out: no field that the mapping names is lost, whatever it holds."""

from __future__ import annotations

import json
import tempfile
import unicodedata
from pathlib import Path

import msgspec
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from glassine.base.records.catalogue import CatalogueRow
from glassine.handover import columns
from glassine.handover.facts import ItemFacts, persistent_of
from glassine.handover.given import HandoverSection
from makers.step_calls import read_rows

words = st.text(
    st.characters(codec="utf-8", categories=("L", "N"), include_characters=" -.,&'"), min_size=1,
    max_size=20,
).map(lambda text: unicodedata.normalize("NFC", " ".join(text.split()))).filter(
    lambda text: text and not text.startswith(("-", ".", ",")) and text.isprintable()
)  # fmt: skip
numbers = st.integers(0, 9999)
fields = st.fixed_dictionaries(
    {"title": words},
    optional={
        "alternative": words,
        "description": words,
        "genre": words,
        "collection": words,
        "physical": words,
        "extent": words,
        "dimensions": words,
        "creator": st.lists(words, max_size=3, unique=True),
        "subjects": st.lists(words, max_size=3, unique=True),
        "people": st.lists(words, max_size=3, unique=True),
        "places": st.lists(words, max_size=3, unique=True),
        "doi": numbers.map(lambda number: f"10.1000/{number}"),
        "ark": numbers.map(lambda number: f"ark:12345/x{number}"),
        "handle": numbers.map(lambda number: f"20.500.12345/{number}"),
        "urn": numbers.map(lambda number: f"urn:example:{number}"),
        "credit": words,
    },
)
_NAME_OF = {"creator": "creators"}


def read(folder: Path, cells: dict[str, object]) -> CatalogueRow:
    path = folder / "catalogue.json"
    path.write_text(json.dumps([{"item_id": "PEH-1", **cells}]), "utf-8")
    found = read_rows(path, {"catalogue": {}})
    return msgspec.convert(found.records["PEH-1"], CatalogueRow)


@hypothesis_settings(max_examples=80, deadline=None)
@given(fields)
def test_each_field_of_the_catalogue_comes_back(cells):
    with tempfile.TemporaryDirectory() as folder:
        row = read(Path(folder), cells)
    asked = ["item"]
    asked += [name for name in cells if name in ("ark", "doi", "handle", "urn")]
    asked += [
        "catalogue.rights_credit" if name == "credit" else f"catalogue.{_NAME_OF.get(name, name)}"
        for name in cells
        if name not in asked
    ]
    template = columns.template(HandoverSection(columns=tuple(asked)))
    facts = ItemFacts(
        batch="b1", item="PEH-1", state="done", row=row, persistent=persistent_of(row)
    )
    (back,) = columns.rows(facts, template, "")
    for name, value in cells.items():
        key = name if name in back else f"catalogue.{_NAME_OF.get(name, name)}"
        key = "catalogue.rights_credit" if name == "credit" else key
        wanted = [value] if name in ("ark", "doi", "handle", "urn") else value
        assert (back[key] or type(wanted)()) == wanted, name
