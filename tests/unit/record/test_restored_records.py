"""A slide whose faded dyes were made up for: what the records say of it, and that it repeats."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec
import pytest
from lxml import etree

from glassine.base import files, markup
from glassine.report import items
from glassine.report.views import Rendering
from glassine.reproduce import step as reproduce
from makers import deliveries, made_items

FADED = {"tone": {"restore": "faded"}, "render": {"crop_tiff": "rendered", "tiff_spaces": ["romm"]}}
_negative_geometry = deliveries.geometry


def _positive(master: str) -> dict[str, Any]:
    found = _negative_geometry(master)
    found["masters"][0]["frames"][0]["polarity"] = "positive"
    return found


def _night(root: Path, patch: pytest.MonkeyPatch, more: dict[str, Any]) -> Path:
    patch.setenv("SOURCE_DATE_EPOCH", "1773800000")
    patch.setattr(deliveries, "geometry", _positive)
    deliveries.night(root, "mets", more=more, facts={"polarity": "positive"})
    return made_items.item_dir_of(root)


def _notes(item_dir: Path) -> str:
    root = etree.parse(str(item_dir / "METS.xml")).getroot()
    found = root.xpath("//premis:eventOutcomeDetailNote", namespaces={"premis": markup.PREMIS})
    return "\n".join(note.text for note in found)


def test_render_json_premis_and_report_tell_of_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    item_dir = _night(tmp_path, monkeypatch, FADED)
    record = files.read_json(item_dir / "render" / "render.json")
    (frame,) = record["frames"]
    assert max(frame["tone"]["restored"]["strength"]) > 1.05
    assert "faded dyes were made up for" in _notes(item_dir)
    (noted,) = [
        finding.what
        for finding in items.render_notes(msgspec.convert(record, Rendering), "PEH-0001")
        if "frame 1" in finding.what
    ]
    assert "faded dyes were made up for" in noted


def test_every_byte_of_it_comes_out_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    _night(tmp_path, monkeypatch, FADED)
    assert reproduce.reproduce(tmp_path / "deliveries" / "b1", tmp_path / "work") == []


def test_without_the_option_nothing_of_it_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    item_dir = _night(tmp_path, monkeypatch, {})
    (frame,) = files.read_json(item_dir / "render" / "render.json")["frames"]
    assert "restored" not in frame["tone"]
    assert "fad" not in _notes(item_dir)


@pytest.mark.parametrize("more", [{"polarity": "auto"}, {"process": "monochrome"}])
def test_asked_for_where_it_cannot_be_done_the_report_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, more: dict[str, str]
) -> None:
    """The drawn master is recognised as a negative: nothing at intake could know that."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1773800000")
    deliveries.night(tmp_path, "mets", facts={"restore": "faded", **more})
    record = files.read_json(made_items.item_dir_of(tmp_path) / "render" / "render.json")
    (note,) = record["event"]["detail"]["notes"]
    assert "has no effect" in note
