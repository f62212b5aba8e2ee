"""Binary MARC of very many records: those that a batch asks for are as they are in a small file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec
import pymarc
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from glassine.base.errors import GlassineError
from glassine.intake.catalogue import reading
from glassine.intake.given import CatalogueSettings

_WORD = st.sampled_from(
    ["Quay", "closed until 2040", "CC BY", "Kähte", "public domain", "[1905?]", "c1967", ""]
)
_RECORDS = st.lists(
    st.fixed_dictionaries({
        "item": st.sampled_from(["P-1", "P-2", "P-3", "P/4 a", ""]),
        "title": _WORD, "date": _WORD, "note": _WORD, "rights": _WORD,
    }),
    min_size=1, max_size=7,
)  # fmt: skip


def marc(**texts: str) -> bytes:
    """Return a record (MARC 21: 001, 035 $a, 245 $a, 260 $c, 506 $a, 540 $a) in UTF-8."""
    record = pymarc.Record(force_utf8=True, leader="00000nkm a2200000 a 4500")
    fields = [("245", "a", "title"), ("260", "c", "date"), ("506", "a", "note"),
              ("540", "a", "rights"), ("035", "a", "item")]  # fmt: skip
    if texts["item"]:
        record.add_field(pymarc.Field(tag="001", data=texts["item"]))
    for tag, code, name in fields:
        if texts.get(name):
            part = pymarc.Subfield(code=code, value=texts[name])
            indicators = pymarc.Indicators(" ", " ")
            record.add_field(pymarc.Field(tag=tag, indicators=indicators, subfields=[part]))
    return bytes(record.as_marc())


def read(path: Path, at_once: int, patch: pytest.MonkeyPatch, **section: Any) -> Any:
    patch.setattr(reading, "CHECKED_ROWS", at_once)
    given = msgspec.convert({"catalogue": section}, CatalogueSettings)
    return reading.read_catalogue(path, given)


def told(catalogue: Any) -> dict[str, Any]:
    """Return all that a catalogue says once each of its items was asked for."""
    catalogue.make_records([*catalogue.records])
    return {
        "records": msgspec.to_builtins(dict(sorted(catalogue.records.items()))),
        "bad": {item: each.sentence() for item, each in catalogue.bad_items.items()},
        "review": {item: [each.sentence() for each in of_item]
                   for item, of_item in catalogue.for_review.items()},
    }  # fmt: skip


@settings(max_examples=20, deadline=None)
@given(
    texts=_RECORDS,
    at_once=st.integers(0, 4),
    section=st.sampled_from([{}, {"item_identifier": "035$a"}]),
)
def test_records_that_are_read_when_asked_for_are_the_same_records(
    tmp_path_factory: pytest.TempPathFactory,
    texts: list[dict[str, str]],
    at_once: int,
    section: dict[str, Any],
) -> None:
    path = tmp_path_factory.getbasetemp() / "catalogue.mrc"
    first = {"item": "P-0", "title": "Pier"}
    path.write_bytes(b"".join(marc(**each) for each in [first, *texts]))
    with pytest.MonkeyPatch.context() as patch:
        eager = told(read(path, 500_000, patch, **section))
        lazy = told(read(path, at_once, patch, **section))
    assert lazy == eager


def test_a_record_that_nobody_asks_for_and_cannot_be_read_refuses_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "catalogue.mrc"
    good = marc(item="P-1", title="Pier")
    bad = marc(item="P-2", title="Kähte").replace("ä".encode(), b"\xe4\xe4")
    path.write_bytes(good + bad)
    with pytest.raises(GlassineError, match="record 2"):
        read(path, 0, monkeypatch)


def test_only_the_numbers_are_at_hand_of_records_that_nobody_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "catalogue.mrc"
    path.write_bytes(b"".join(marc(item=f"P-{n}", title="Pier") for n in range(9)))
    catalogue = read(path, 2, monkeypatch)
    assert catalogue.rows_read == 9 and catalogue.records.unmade == 7
    assert catalogue.records["P-8"].title == "Pier"
