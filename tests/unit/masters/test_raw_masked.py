"""A black level that a file states wrongly decodes without an error: masked sites contradict it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from glassine.masters import raws
from makers import raw_files_other

SENSOR = raw_files_other.Sensor(width=192, height=128)


def notes(path: Path) -> list[str]:
    header = raws.read(path, 10**6).header
    found = raws.notes_on(header, path.name, listed=True, lossy="note")
    return [note.code for note in found if note.severity != "note"]


@pytest.mark.parametrize("phase", raw_files_other.PHASES)
def test_a_black_level_that_masked_sites_have_asks_for_nothing(tmp_path: Path, phase: str) -> None:
    sensor = raw_files_other.Sensor(width=192, height=128, phase=phase)
    raw_files_other.capture(tmp_path / "x.dng", sensor)
    assert notes(tmp_path / "x.dng") == []


@pytest.mark.parametrize("stated", [(1, 1, 1, 1), (256, 256, 256, 256), (900, 900, 900, 900)])
def test_one_that_they_contradict_is_for_review(
    tmp_path: Path, stated: tuple[int, int, int, int]
) -> None:
    raw_files_other.capture(tmp_path / "x.dng", SENSOR, stated_black=stated)
    assert notes(tmp_path / "x.dng") == ["masters.note_raw_black"]


@pytest.mark.parametrize("margin", ["white", "noise"])
def test_what_lies_outside_and_is_not_dark_says_nothing(tmp_path: Path, margin: str) -> None:
    path = tmp_path / "x.dng"
    raw_files_other.capture(path, SENSOR)
    import rawpy

    from glassine.masters import raw_masked

    draw = np.random.default_rng(1)
    with rawpy.imread(str(path)) as raw:
        inside = raw.raw_image_visible.copy()
        whole = raw.raw_image
        whole[:] = 15_000 if margin == "white" else draw.integers(0, 9_000, whole.shape)
        raw.raw_image_visible[:] = inside
        assert raw_masked.over_black(raw, 15_800.0) is None


def test_without_sites_outside_nothing_is_said(tmp_path: Path) -> None:
    sensor = raw_files_other.Sensor(width=192, height=128, margin=0)
    raw_files_other.capture(tmp_path / "x.dng", sensor, stated_black=(1, 1, 1, 1))
    assert notes(tmp_path / "x.dng") == []
