"""A column that no field takes says who may see an item: its other rows tell so.

The words are those that catalogues write in such columns: common practice, no source.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from glassine.intake.catalogue import reading
from makers.step_calls import read_rows


def read(folder: Path, column: str, *words: str, **section: Any) -> Any:
    path = folder / "catalogue.csv"
    rows = "".join(f'PEH-{n},Quay,"{word}"\n' for n, word in enumerate(words, 1))
    path.write_text(f"item_id,title,{column}\n{rows}", encoding="utf-8")
    return read_rows(path, {"catalogue": section})


def closed(found: Any) -> list[str]:
    """Return the items for review whose pictures are not public until a person says so."""
    return [item for item in found.for_review if found.records[item]["access"]["doubt"]]


@pytest.mark.parametrize(
    ("column", "words"),
    [
        ("Zugang", ["frei", "nach Rücksprache"]),
        ("Nutzung", ["Frei.", "auf Anfrage"]),
        ("Openbaarheid", ["openbaar", "na overleg"]),
        ("Consultation", ["libre", "sur demande"]),
        ("vis", ["unrestricted", "ask the curator"]),
        ("vis", ["Open for research.", "family's consent, see letter of 1987 in the file"]),
        ("Benutzung", ["offen", "offen, ausser Bild 3"]),
    ],
)
def test_a_word_that_is_not_open_closes_its_item(
    tmp_path: Path, column: str, words: list[str]
) -> None:
    found = read(tmp_path, column, *words, "gesperrt", "")
    assert "PEH-2" in closed(found)
    (told,) = found.for_review["PEH-2"]
    assert told.code == "catalogue.access_in_words" and repr(words[1])[1:40] in told.what
    assert "PEH-1" not in found.for_review and "PEH-4" not in found.for_review


@pytest.mark.parametrize(
    ("column", "word"),
    [
        ("Zugang", "auf Anfrage"),
        ("Benutzung", "nach Absprache mit der Familie"),
        ("Consultation", "sur demande"),
        ("Toegang", "na overleg"),
        ("Accesso", "su richiesta"),
        ("Acceso", "previa autorización"),
        ("Tillgång", "efter överenskommelse"),
        ("Zugänglichkeit", "Stufe 3"),
        ("Conditions d'accès", "voir le conservateur"),
        ("Openbaarheid", "categorie B"),
    ],
)
def test_a_column_in_which_no_row_is_open_closes_its_items(
    tmp_path: Path, column: str, word: str
) -> None:
    assert closed(read(tmp_path, column, word, word)) == ["PEH-1", "PEH-2"]


def test_rows_of_which_records_are_made_later_are_closed_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading, "CHECKED_ROWS", 1)
    found = read(tmp_path, "Zugang", "nach Rücksprache", "frei", "auf Anfrage", "frei")
    found.make_records(["PEH-3", "PEH-4"])
    assert closed(found) == ["PEH-1", "PEH-3"]


@pytest.mark.parametrize(
    ("column", "words"),
    [
        ("Lagerort", ["Regal 3", "Regal 4"]),
        ("Status", ["offen", "erledigt"]),  # of work, not of access
        ("Zugang", ["1987/14", "1987/15"]),  # a number of accession
        ("Zugang", ["Schenkung 1987", "Ankauf"]),  # how it came to the archive
        ("Zugänglichkeit", ["frei", "öffentlich"]),
        ("Zugang", ["frei", "frei", "-"]),
        ("vis", ["Open for research.", "No restrictions"]),
        ("note", ["free", *(f"scratch {n} at the left" for n in range(60))]),
    ],
)
def test_what_says_nothing_of_access_closes_nothing(
    tmp_path: Path, column: str, words: list[str]
) -> None:
    assert not read(tmp_path, column, *words).for_review


def test_a_column_that_the_studio_knows_closes_nothing(tmp_path: Path) -> None:
    found = read(tmp_path, "Zugang", "frei", "nach Rücksprache", ignored_columns=["Zugang"])
    assert not found.for_review
