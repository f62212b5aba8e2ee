"""The command: it publishes into a folder of its own, and never while another run goes on."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from glassine.base import exits
from glassine.base.model import ItemId
from glassine.base.numbers import Numbers
from glassine.night import publishing
from glassine.night.lock import RunLock

SETTINGS = """
masters: masters
institution: {name: "Port Ellery Harbour Archive", id: "https://archive.port-ellery.example/"}
iiif: {base_url: "%s"}
rights: {jurisdiction: "gb"}
"""


@pytest.fixture
def place(tmp_path: Path) -> Path:
    for name in ("masters", "results", "deliveries"):
        (tmp_path / name).mkdir()
    return tmp_path


def run(place: Path, folder: str, base: str = "https://images.port-ellery.example/iiif") -> int:
    settings = place / "studio.yaml"
    settings.write_text(SETTINGS % base)
    target = str(place / folder)
    return publishing.main([target, "--directory", str(place), "--configfile", str(settings)])


@pytest.mark.parametrize(
    "folder", ["masters/public", "results/public", "deliveries", "deliveries/x/y", "."]
)
def test_nothing_is_published_into_what_is_kept(place, folder, capsys) -> None:
    assert run(place, folder) == exits.SETTINGS
    assert "a folder of its own" in capsys.readouterr().err
    assert [path.name for path in sorted(place.iterdir())] == [
        "deliveries", "masters", "results", "studio.yaml",
    ]  # fmt: skip
    assert not list((place / "masters").rglob("*"))


def test_nights_without_an_item_publish_an_empty_tree_and_say_so(place, capsys) -> None:
    assert run(place, "public") == 0
    assert capsys.readouterr().out.startswith("0 items published")
    assert (place / "public" / "index.html").is_file()


@pytest.mark.parametrize("base", ["", "images", "ftp://images.example/iiif"])
def test_an_address_that_is_no_whole_one_is_refused(place, base, capsys) -> None:
    assert run(place, "public", base) == exits.SETTINGS
    assert "iiif" in capsys.readouterr().err
    assert not (place / "public").exists()


def test_it_waits_for_a_run_that_goes_on(place) -> None:
    other = RunLock(place)
    other.take()
    try:
        assert run(place, "public") == exits.LATER
    finally:
        other.ended()


WITHDRAWN = """
withdraw:
  - {item: PEH-1, reason: "given back to the lender", by: op-07, when: "2026-03-18T08:55:00Z"}
  - {item: PEH-2, master: PEH-2.tif, reason: "damaged", by: op-07, when: "2026-03-18T08:56:00Z"}
"""


def test_what_was_withdrawn_since_the_last_night_is_not_published(place) -> None:
    (place / "masters" / "corrections.yaml").write_text(WITHDRAWN)
    found = publishing.withdrawn_since(place / "masters", [])
    assert sorted(found) == ["PEH-1", "PEH-2"]
    assert "given back to the lender" in found["PEH-1"]


def test_what_a_night_took_in_already_goes_by_its_records(place) -> None:
    (place / "masters" / "corrections.yaml").write_text(WITHDRAWN)
    entry = {
        "item": "PEH-2", "master": "PEH-2.tif", "reason": "damaged", "by": "op-07",
        "when": "2026-03-18T08:56:00Z",
    }  # fmt: skip
    assert sorted(publishing.withdrawn_since(place / "masters", [entry])) == ["PEH-1"]
    assert publishing.withdrawn_since(place / "results", []) == {}


def test_a_withdrawal_under_another_spelling_is_of_the_item_that_has_the_number(place) -> None:
    entry = {
        "item": "PEH-01",
        "reason": "asked for",
        "by": "op-1",
        "when": "2026-03-18T08:55:00Z",
    }
    (place / "masters").mkdir(exist_ok=True)
    (place / "masters" / "corrections.yaml").write_text(json.dumps({"withdraw": [entry]}))
    numbers = Numbers(leading_zeros=True)
    own = {numbers.key(item): item for item in (ItemId("PEH-1"),)}

    def spell(item: ItemId) -> ItemId:
        return own.get(numbers.key(item), item)

    assert list(publishing.withdrawn_since(place / "masters", [], spell)) == ["PEH-1"]
    known = [{**entry, "item": "PEH-1"}]
    assert publishing.withdrawn_since(place / "masters", known, spell) == {}
