"""Strong faults of frames are found by the measures that tell them; what was not seen is said."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from glassine.base import item_states
from glassine.base.model import MasterGeometry
from glassine.masters import colour
from glassine.render.quality import area, bands, lines, motion, planes, spectra
from makers.tone import frame_faults, frame_measures, sources
from makers.tone.measures import measured


# Rings over these photographs are found too seldom to promise it (benchmarks/tone/README.md);
# test_quality.py has them over drawn views.
@pytest.mark.parametrize("fault", [each for each in frame_faults.FAULTS if each != "rings"])
def test_a_strong_fault_is_found(fault: str) -> None:
    values = frame_measures.of_master(0, fault, "strong")
    assert frame_measures.alarms(values, frame_faults.MEASURES_OF[fault])


# Fence, masts, fog, sky, cloth. (Windows raise an alarm of rings: benchmarks/tone/README.md.)
@pytest.mark.parametrize("number", [10, 11, 12, 13, 14])
def test_hard_subjects_raise_no_alarm(number: int) -> None:
    assert frame_measures.alarms(frame_measures.of_master(number, None), frame_measures.ALL) == []


def _lit(fall: float) -> tuple[sources.ArraySource, MasterGeometry]:
    high, wide = 816, 1072
    y, x = np.mgrid[0:high, 0:wide]
    r2 = ((x - wide / 2) ** 2 + (y - high / 2) ** 2) / (wide**2 + high**2) * 4
    codes = np.round(0.8 * 65535 * (1 - fall * r2)).astype(np.uint16)
    source = sources.ArraySource(np.repeat(codes[..., None], 3, axis=2))
    return source, frame_faults.geometry(wide, high, False)


@pytest.mark.parametrize("fall", [0.06, 0.2])
def test_falloff_is_that_of_the_master_not_of_its_edges(fall: float) -> None:
    source, geometry = _lit(fall)
    encoding = colour.encoding_of(sources.linear_profile(), None, 16, 3)
    found = area.light_falloff(source, geometry, encoding)
    # (highest - lowest) / mean of 1 - fall r^2, whose mean over a rectangle is 1 - fall / 3.
    assert found == pytest.approx(100 * fall / (1 - fall / 3), rel=0.12)


@pytest.mark.parametrize("count", [1, 2])
def test_a_count_is_said_as_a_number(count: int) -> None:
    measure = {"name": "scratches", "value": count, "unit": "count", "limit": "<= 0 count"}
    assert item_states.measure_words({**measure, "verdict": "review"}).startswith(
        f"scratches: {count}"
    )


def _sheet(seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).normal(0.8, 0.02, (600, 800)).astype(np.float32)


def _upright(density: np.ndarray) -> planes.Upright:
    return planes.Upright(density, np.ones(density.shape, bool), planes.MARGIN)


def test_a_thin_line_along_the_whole_film_is_a_scratch() -> None:
    sheet = _sheet()
    assert lines.scratches(_upright(sheet)) == 0
    sheet[:, 300:302] += 0.12
    assert lines.scratches(_upright(sheet)) == 1


def test_a_line_that_ends_with_the_picture_is_no_scratch() -> None:
    sheet, m = _sheet(), planes.MARGIN
    sheet[m:-m, 300:302] += 0.12
    assert lines.scratches(_upright(sheet)) == 0


@pytest.mark.parametrize(("share", "count"), [(0.78, 0), (1.0, 1)])
def test_without_base_in_view_a_line_over_part_of_the_picture_may_be_a_rope(
    share: float, count: int
) -> None:
    """A mast and its rope in a mounted slide, as faint as a scratch; over the whole it is one."""
    sheet = _sheet(4) + 0.15 * np.sin(np.linspace(0, 9, 600, dtype=np.float32))[:, None]
    m = planes.MARGIN
    end = m + int(share * (600 - 2 * m)) + 1 if share < 1 else 600
    sheet[:end, 300:302] += 0.016
    frame = planes.Upright(sheet, np.zeros(sheet.shape, bool), m)
    assert lines.scratches(frame) == count


def test_a_thing_of_one_tone_before_a_changing_background_is_no_scratch() -> None:
    sheet = _sheet() + np.linspace(0, 0.6, 600, dtype=np.float32)[:, None]
    sheet[:, 300:302] = 1.6
    assert lines.scratches(_upright(sheet)) == 0


def test_banding_is_read_from_base_on_both_sides() -> None:
    high, wide = 816, 1072
    rng = np.random.default_rng(2)
    density = rng.normal(0.3, 0.02, (high, wide, 3))
    encoding = colour.encoding_of(sources.linear_profile(), None, 16, 3)
    geometry = frame_faults.geometry(wide, high, False)
    rows = rng.normal(0, 0.01 / np.log(10), (high, 1, 1))
    clean, found = (
        bands.of_base(np.round(10.0**-d * 65535).astype(np.uint16), encoding, geometry, 1.0).rows
        for d in (density, density + rows)
    )
    assert clean is not None
    assert clean < 0.35
    assert found == pytest.approx(1.0, rel=0.25)


def test_motion_weakens_grain_in_one_direction_everywhere() -> None:
    codes, monochrome = frame_faults.master(12, None)
    height, width = codes.shape[:2]
    geometry = frame_faults.geometry(width, height, monochrome)
    values = measured(codes, monochrome, geometry)
    assert values["motion_blur"].verdict == "pass"


def test_a_frame_that_shows_too_little_is_not_measured() -> None:
    assert spectra.quiet(spectra.powers([], 0)) is None
    assert motion.motion_blur(spectra.powers([], 0), spectra.places([])) is None
    codes = np.full((200, 300, 3), 30000, np.uint16)
    values = measured(codes, False, frame_faults.geometry(300, 200, False))
    assert values["edge_blur"].verdict == "not measured"


def test_what_was_not_measured_asks_for_no_look_and_is_never_called_good() -> None:
    measure: dict[str, Any] = {
        "name": "edge_blur",
        "value": None,
        "unit": "px",
        "limit": "<= 1.6 px",
        "verdict": "not measured",
        "source": "",
    }
    frame = {"master": "a.tif", "index": 1, "measures": [measure], "verdict": "not measured"}
    assert item_states._quality_reasons({"frames": [frame]}) == []
    assert item_states.measure_words(measure).startswith("blur of edges: not measured")
