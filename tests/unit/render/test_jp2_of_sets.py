"""JPEG 2000 where the library has it: refused in words where it has not, recorded rightly where.

The library of the locked packages has none. Pillow's encoder stands in for it here, so that files
of that form go through all steps.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from lxml import etree
from PIL import Image

from glassine.base import files, formats, settings
from glassine.masters import colour
from glassine.night import agreement
from glassine.render import encoded
from glassine.reproduce import step as reproduce
from makers import deliveries, made_items

SETS = [{"name": "repository", "form": "jp2", "quality": 90, "publish": True}]
MIX = "{http://www.loc.gov/mix/v20}"


def codes(**more: Any) -> list[str]:
    config = settings.load({"render": {"sets": [{"name": "a", "form": "jp2", **more}]}})
    return [each.code for each in agreement._check_naming(config, Path())]


def test_it_is_refused_in_words_where_the_library_has_none(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(encoded, "can_write", lambda suffix: False)
    assert codes() == ["settings.sets"]
    config = settings.load({"render": {"sets": SETS}})
    (found,) = agreement._check_naming(config, Path())
    assert "cannot write" in found.what and "another form" in found.expected


def test_it_is_taken_where_the_library_has_it_and_what_it_cannot_hold_is_refused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(encoded, "can_write", lambda suffix: suffix == "jp2")
    assert codes() == []
    for more in ({"effort": 2}, {"bits": 16}, {"profile": "romm"}, {"tone": "uninverted"}):
        assert codes(**more) == ["settings.sets"], more


def test_the_library_itself_is_asked() -> None:
    assert encoded.can_write("webp") and not encoded.can_write("nothing")


def as_pillow_writes(pixels: np.ndarray, kind: str, quality: int, **more: Any) -> bytes:
    assert kind == "jp2"
    shown = Image.fromarray(encoded.swapped(pixels) if pixels.shape[2] == 3 else pixels[..., 0])
    written = io.BytesIO()
    shown.save(written, "JPEG2000", icc_profile=colour.srgb_profile())
    return written.getvalue()


def test_a_file_of_that_form_goes_through_all_steps(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1773800000")
    monkeypatch.setattr(encoded, "alternate", as_pillow_writes)
    deliveries.night(tmp_path, "mets", more={"render": {"sets": SETS, "access_long_edge": 300}})
    (path,) = tmp_path.glob("deliveries/*/data/PEH-0001/alternates/PEH-0001_repository.jp2")
    with Image.open(path) as shown:
        assert shown.format == "JPEG2000"
    told = formats.identify(path)
    assert (told.puid, told.mime) == ("x-fmt/392", "image/jp2")  # PRONOM, value from memory
    (mets,) = tmp_path.glob("deliveries/*/data/PEH-0001/METS.xml")
    tree = etree.parse(str(mets))
    assert "JPEG 2000" in {each.text for each in tree.iter(f"{MIX}compressionScheme")}
    assert any(each.get("MIMETYPE") == "image/jp2" for each in tree.iter())
    manifest = files.read_json(made_items.item_dir_of(tmp_path) / "manifest.json")
    offered = {each["format"] for each in manifest["items"][0]["rendering"]}
    assert offered == {"image/jpeg", "image/jp2"}
    assert reproduce.reproduce(tmp_path / "deliveries" / "b1", tmp_path / "work") == []
