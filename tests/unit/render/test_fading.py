"""Faded slides, restored by option: against film made from physics, which shares no code with it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

from glassine.render import fading
from makers.tone_judge import cases, rendered, scenes

FADED = {"tone": {"restore": "faded"}}


def _error(name: str, number: int, changed: dict[str, Any]) -> float:
    film = cases.film(cases.CASES[name], number)
    (answer,) = rendered.of_film(film, changed)
    truth = rgb2lab(film.shots[0].truth)
    return float(deltaE_ciede2000(truth, rgb2lab(answer.picture)).mean())


def test_the_error_of_faded_slides_nearly_halves() -> None:
    """Films that lost 10 to 40 % of each dye and have a stain. Measured: 0.55 of the median error
    is left of these six, 0.49 of 45 (tests/benchmarks/tone/README.md)."""
    before = [_error("slide, faded", number, {}) for number in range(6)]
    after = [_error("slide, faded", number, FADED) for number in range(6)]
    assert np.median(after) < 0.6 * np.median(before)
    assert all(one < other + 0.5 for one, other in zip(after, before, strict=True))


def test_a_slide_that_has_not_faded_changes_little() -> None:
    assert np.median([_error("slide", number, FADED) for number in range(6)]) < 2.5


def test_nothing_is_restored_unless_asked_for() -> None:
    assert _error("slide, faded", 1, {}) == _error("slide, faded", 1, {"tone": {"restore": "none"}})


def test_what_batch_yaml_states_goes_before_the_setting() -> None:
    film = cases.film(cases.CASES["slide, faded"], 1)
    plain, by_setting = rendered.of_film(film), rendered.of_film(film, FADED)
    by_fact = rendered.of_film(film, facts={"restore": "faded"})
    kept = rendered.of_film(film, FADED, facts={"restore": "none"})
    assert (by_fact[0].picture == by_setting[0].picture).all()
    assert (kept[0].picture == plain[0].picture).all()
    assert (by_fact[0].picture != plain[0].picture).any()


def test_negatives_are_the_same_with_the_option() -> None:
    film = cases.film(cases.CASES["clean"], 0)
    (plain,), (asked,) = rendered.of_film(film), rendered.of_film(film, FADED)
    assert (plain.picture == asked.picture).all()


def test_a_picture_without_darkness_is_left_and_asks_for_a_look() -> None:
    light = np.random.default_rng(1).uniform(0.4, 0.9, (2000, 3))
    estimate = fading.estimated(light)
    assert estimate.restoration == fading.UNTOUCHED
    assert "dark enough" in estimate.review[0]


def test_a_fresh_picture_without_black_that_is_changed_much_asks_for_a_look() -> None:
    """A drawn slide of coloured things, none of them black: what is changed wrongly is not silent."""
    film = cases.film(cases.CASES["slide"], 104)
    (answer,) = rendered.of_film(film, FADED)
    truth = rgb2lab(film.shots[0].truth)
    assert deltaE_ciede2000(truth, rgb2lab(answer.picture)).mean() > 6
    assert any("surely black" in reason for reason in answer.review)


def test_one_layer_that_lost_most_is_found_and_named() -> None:
    """Grey steps, a third of the magenta gone: by this module's own dyes, undone exactly."""
    greys = np.linspace(0.05, 2.8, 400)[:, None] * np.ones(3)
    kept = greys * [1.0, 2 / 3, 1.0]
    light = 10.0 ** -(kept @ fading.DYES.T) @ np.linalg.inv(fading.WIDE).T
    estimate = fading.estimated(light)
    assert estimate.restoration.strength == pytest.approx((1, 1.5, 1), abs=0.06)
    assert "magenta" in fading.words(estimate.restoration)
    shown = fading.restored(light, estimate.restoration)
    chroma = np.hypot(*np.moveaxis(rgb2lab(scenes.coded(shown)[None])[0, :, 1:], -1, 0))
    assert np.median(chroma) < 2


def test_the_primaries_are_those_of_bt_2020() -> None:
    """ITU-R BT.709 and BT.2020 chromaticities, D65: the matrix made anew from them."""

    def to_xyz(points: list[tuple[float, float]]) -> np.ndarray:
        xyz = np.array([[x / y, 1, (1 - x - y) / y] for x, y in [*points, (0.3127, 0.3290)]]).T
        return np.asarray(xyz[:, :3] * np.linalg.solve(xyz[:, :3], xyz[:, 3]))

    narrow = to_xyz([(0.64, 0.33), (0.30, 0.60), (0.15, 0.06)])
    wide = to_xyz([(0.708, 0.292), (0.170, 0.797), (0.131, 0.046)])
    assert pytest.approx(np.linalg.solve(wide, narrow), abs=1e-4) == fading.WIDE
