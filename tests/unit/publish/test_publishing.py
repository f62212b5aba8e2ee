"""The command: it publishes into a folder of its own, and never while another run goes on."""

from __future__ import annotations

from pathlib import Path

import pytest

from glassine.base import exits
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
