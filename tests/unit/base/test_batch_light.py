"""The fall-off of light over a batch is that of its light table, or it is not measured."""

from __future__ import annotations

import numpy as np
import pytest

from glassine.base import batch_light

# log2 of (1 + r^2)^-2: the fourth power of the cosine of the angle at the sensor (the law of
# illumination, handbooks of optics), for a field that takes in so much of the focal length.
REACH = 0.35


def _light(x: np.ndarray, y: np.ndarray, tilt: float) -> np.ndarray:
    r2 = ((x - 0.5) ** 2 + (y - 0.5) ** 2) * REACH**2 * 4
    return np.asarray(-2 * np.log10(1 + r2) + tilt * (x - 0.5))


def _master(rng: np.random.Generator, tilt: float, sides: str = "ltrb") -> list:
    """Draw pieces of base about a picture; the base is of its own density and not quite even."""
    m = rng.uniform(0.02, 0.08)
    along = np.linspace(0.05, 0.95, 12)
    places = {"l": (m, along), "r": (1 - m, along), "t": (along, m), "b": (along, 1 - m)}
    x, y = (np.concatenate([np.broadcast_to(places[s][k], 12) for s in sides]) for k in (0, 1))
    wander = rng.normal(0, 0.006, 2)
    level = (
        _light(x, y, tilt) - rng.uniform(0.15, 0.4) + wander[0] * (x - 0.5) + wander[1] * (y - 0.5)
    )
    level = level + rng.normal(0, 0.002, len(x))
    level[rng.random(len(x)) < 0.05] -= 0.1  # marks, tape
    return list(zip(x.tolist(), y.tolist(), level.tolist(), strict=True))


def _true(tilt: float) -> np.ndarray:
    x, y = np.array([0.02, 0.98, 0.02, 0.98]), np.array([0.02, 0.02, 0.98, 0.98])
    middle = _light(np.array([0.5]), np.array([0.5]), tilt)
    return np.asarray((middle - _light(x, y, tilt)) / np.log10(2))


def test_corners_are_right_within_a_tenth_of_a_stop_from_the_least_number_of_masters_on() -> None:
    wrong = 0
    for seed in range(100):
        rng = np.random.default_rng(seed)
        tilt = rng.uniform(-0.05, 0.05)
        found = batch_light.course([_master(rng, tilt) for _ in range(batch_light.LEAST_MASTERS)])
        if found is not None:
            wrong += bool(np.abs(np.array(found.corners) - _true(tilt)).max() > 0.1)
    assert wrong <= 1


def test_more_masters_tell_it_better_and_say_how_surely() -> None:
    rng = np.random.default_rng(3)
    masters = [_master(rng, 0.03) for _ in range(60)]
    few, many = batch_light.course(masters[:8]), batch_light.course(masters)
    assert few is not None
    assert many is not None
    assert many.deviation < few.deviation / 1.5
    assert np.array(many.corners) == pytest.approx(_true(0.03), abs=0.03)


def test_too_few_masters_or_base_on_two_sides_alone_is_not_measured() -> None:
    rng = np.random.default_rng(4)
    few = [_master(rng, 0.0) for _ in range(batch_light.LEAST_MASTERS - 1)]
    assert batch_light.course(few) is None
    assert "not measured: 5 of them" in batch_light.words(few)
    strips = [_master(rng, 0.0, "tb") for _ in range(20)]
    assert batch_light.course(strips) is None
    assert "not measured: 0 of them" in batch_light.words(strips)
    assert batch_light.words([]).startswith("not measured")


def test_masters_that_do_not_agree_tell_nothing() -> None:
    rng = np.random.default_rng(5)
    masters = [_master(rng, tilt) for tilt in (-0.4, 0.5, -0.3, 0.4, 0.6, -0.6)]
    assert batch_light.course(masters) is None
    assert "does not agree" in batch_light.words(masters)


def test_words_say_each_corner_in_stops() -> None:
    rng = np.random.default_rng(6)
    said = batch_light.words([_master(rng, 0.06) for _ in range(20)])
    assert "top left" in said
    assert "stop less" in said
    assert "20 masters" in said
