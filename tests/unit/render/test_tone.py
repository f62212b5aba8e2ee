"""Inversion by density and rendering of positives, against closed forms and other libraries."""

from __future__ import annotations

import dataclasses
import json
import warnings
from typing import Any

import msgspec
import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

from glassine.base import settings
from glassine.base.model import Facts, Frame, MasterGeometry
from glassine.base.tone import AnyTone, Negative, Shoulder
from glassine.masters import colour
from glassine.render import layers, tone, toning
from glassine.render.given import FilmStock, ToneSection
from makers import icc_profiles
from makers.tone import negatives, positives, renderings, sources
from unit.masters.test_colour import through_lcms, wide_profile

SECTION = msgspec.convert(settings.load({})["tone"], ToneSection)
LINEAR = sources.linear_profile()
DMIN = np.array([0.25, 0.60, 0.85])


def planned(
    codes: np.ndarray,
    *,
    icc: bytes | None = LINEAR,
    facts: Facts | None = None,
    process: str = "colour",
    polarity: str = "negative",
    section: dict[str, Any] | None = None,
) -> AnyTone:
    source = sources.ArraySource(codes)
    box = (0, 0, source.width, source.height)
    shape = sources.geometry(source, box, process, polarity)
    return tone.plan(
        source, shape, facts or Facts(), icc, msgspec.structs.replace(SECTION, **(section or {}))
    )[0]


def inversion(plan: AnyTone) -> Negative:
    assert isinstance(plan, Negative)
    return plan


def exposed(plan: AnyTone, dmin: tuple[float, ...], exposure: float) -> AnyTone:
    """Return `plan` for a known film and exposure: without a balance, highlights not rolled off."""
    return msgspec.structs.replace(
        inversion(plan), dmin=dmin, balance=(0.0,) * 3, exposure=exposure, shoulder=None
    )


def master_of(density: np.ndarray) -> np.ndarray:
    return np.round(10.0**-density * 65535).astype(np.uint16)


def some_negative() -> np.ndarray:
    film = negatives.Film(np.full(3, 0.6), DMIN, -2.2, False, np.eye(3))
    rng = np.random.default_rng(3)
    return negatives.master(film, positives.drawn(1)["day-0"], rng, False)[0]


def test_exposure_comes_back_through_a_16_bit_linear_master() -> None:
    # H/H0 = 10^((D - Dmin) / gamma), the straight line of the characteristic curve.
    slopes = np.array([0.5, 0.6, 0.7])
    ratio = 10.0 ** np.linspace(0, 2.6, 400)[:, None]
    d = DMIN + slopes * np.log10(ratio)
    codes = master_of(d)[None]
    light = colour.encoding_of(LINEAR, None, 16, 3).linear(codes)[0]
    again = 10.0 ** ((colour.density(light) - DMIN) / slopes)
    below = d.max(axis=1) < 2.3
    assert np.abs(again / ratio - 1)[below].max() < 0.005


def test_rendered_light_is_the_exposure_that_the_film_saw() -> None:
    plan = planned(some_negative(), facts=Facts(slopes=(0.5, 0.6, 0.7)), section={"toe": 0})
    plan = exposed(plan, tuple(DMIN.tolist()), -2.5)
    light = 10.0 ** np.linspace(-2, -0.05, 200)
    d = DMIN + np.array([0.5, 0.6, 0.7]) * (np.log10(light) + 2.5)[:, None]
    got = toning.apply16(master_of(d)[None], plan, LINEAR)[0] / 65535
    assert colour.srgb_to_linear(got) / light[:, None] == pytest.approx(1, abs=0.006)


def test_inversion_agrees_with_the_cineon_curve_of_another_library() -> None:
    # Cineon: 0.002 D a code, gamma 0.6, black 95, white 685 (as in colour-science).
    code = np.array([95, 200, 300, 445, 500, 685])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # colour-science tells of plots that it cannot draw
        from colour.models import log_decoding_Cineon
    wanted = log_decoding_Cineon(code / 1023)
    plan = planned(some_negative(), facts=Facts(slopes=(0.6, 0.6, 0.6)), section={"toe": 1})
    top = np.log10(1 / (1 - 10 ** ((95 - 685) * 0.002 / 0.6)))
    exposure = float(top - (685 - 95) * 0.002 / 0.6)
    plan = exposed(plan, (0.1,) * 3, exposure)
    d = np.repeat((0.1 + (code - 95) * 0.002)[None, :, None], 3, axis=2)
    got = colour.srgb_to_linear(toning.apply16(master_of(d), plan, LINEAR)[0, :, 0] / 65535)
    assert got == pytest.approx(wanted, abs=0.002)


@pytest.mark.parametrize("gamma", [1.0, 1.8, 2.2])
def test_wedge_densities_are_read_within_two_hundredths(gamma: float) -> None:
    # 21 steps of 0.15 from 0.05 to 3.05.
    steps = 0.05 + 0.15 * np.arange(21)
    icc = icc_profiles.matrix_profile("w", colour.srgb_matrix(), np.linspace(0, 1, 4096) ** gamma)
    codes = np.round((10.0**-steps) ** (1 / gamma) * 65535).astype(np.uint16)
    pixels = np.repeat(codes[None, :, None], 3, axis=2)
    read = colour.density(colour.encoding_of(icc, None, 16, 3).linear(pixels))[0]
    low = steps <= 2.5
    assert np.abs(read[low] - steps[low, None]).max() < 0.02


def test_dmin_is_measured_on_the_film_base_where_it_is_seen() -> None:
    film = negatives.Film(np.full(3, 0.6), DMIN, -2.2, False, np.eye(3))
    rng = np.random.default_rng(3)
    codes, box = negatives.master(film, positives.drawn(1)["day-0"], rng, True)
    source = sources.ArraySource(codes)
    plan = tone.plan(source, sources.geometry(source, box, "colour"), Facts(), LINEAR, SECTION)[0]
    # The master is exposed 5 % below full scale, which is 0.022 D.
    assert inversion(plan).dmin == pytest.approx(DMIN - np.log10(0.95), abs=0.003)
    assert inversion(plan).dmin_source.startswith("film base")


def test_without_film_base_the_estimate_is_said() -> None:
    assert inversion(planned(some_negative())).dmin_source == "thinnest part of the pictures"


def strip() -> tuple[sources.ArraySource, MasterGeometry]:
    film = negatives.Film(np.array([0.55, 0.6, 0.66]), DMIN, -2.2, False, np.eye(3))
    rng = np.random.default_rng(4)
    parts = [negatives.master(film, shown, rng, False)[0] for shown in positives.drawn(3).values()]
    source = sources.ArraySource(np.concatenate(parts, axis=1))
    width, height = source.width // 3, source.height
    frames = tuple(
        Frame(
            n + 1,
            (
                (n * width, 0),
                ((n + 1) * width, 0),
                ((n + 1) * width, height),
                (n * width, height),
            ),
            0.0,
            "negative",
            "colour",
            blank=n == 1,
        )
        for n in range(3)
    )
    return source, MasterGeometry("s.tif", source.width, height, None, None, frames)


def test_frames_of_a_strip_share_the_film_and_have_their_own_exposure() -> None:
    source, shape = strip()
    tones = tone.plan(source, shape, Facts(), LINEAR, SECTION)
    ways = [inversion(each) for each in tones]
    film = [
        (way.dmin, way.dmin_source, way.slopes, way.slopes_source, way.balance, way.toe)
        for way in ways
    ]
    assert film[0] == film[1] == film[2]
    assert ways[0].exposure != ways[2].exposure


def test_one_tone_for_each_frame_and_the_same_every_time() -> None:
    source, shape = strip()
    first = tone.plan(source, shape, Facts(), LINEAR, SECTION)
    assert len(first) == 3
    assert first == tone.plan(source, shape, Facts(), LINEAR, SECTION)


@pytest.mark.parametrize("polarity", ["negative", "positive"])
@pytest.mark.parametrize("icc", [LINEAR, wide_profile()])
def test_bands_of_rows_give_the_same_pixels_as_the_whole(polarity: str, icc: bytes) -> None:
    codes = some_negative()
    plan = planned(codes, icc=icc, polarity=polarity)
    whole = toning.apply(codes, plan, icc)
    rows = [toning.apply(codes[top : top + 37], plan, icc) for top in range(0, len(codes), 37)]
    assert np.array_equal(np.concatenate(rows), whole)


def test_a_plan_repeats_the_pixels_after_it_was_written_as_json() -> None:
    codes = some_negative()
    plan = planned(codes)
    again = msgspec.convert(json.loads(json.dumps(msgspec.to_builtins(plan))), AnyTone)
    assert again == plan
    assert np.array_equal(toning.apply(codes, plan, LINEAR), toning.apply(codes, again, LINEAR))


def test_sixteen_bits_agree_with_eight() -> None:
    codes = some_negative()
    plan = planned(codes)
    eight, deep = toning.apply(codes, plan, LINEAR), toning.apply16(codes, plan, LINEAR)
    assert np.abs(eight - deep / 257).max() <= 0.51


def test_a_monochrome_negative_gives_one_neutral_band() -> None:
    codes = some_negative()
    plan = planned(codes, process="monochrome")
    assert plan.bands == 1
    assert toning.apply(codes, plan, LINEAR).shape == (*codes.shape[:2], 1)


def test_a_grey_master_is_rendered_from_its_one_band() -> None:
    codes = some_negative()[..., 1:2].copy()
    for polarity in ("negative", "positive"):
        plan = planned(codes, icc=None, process="monochrome", polarity=polarity)
        assert toning.apply(codes, plan, None).shape == codes.shape


def test_a_monochrome_positive_keeps_its_colour() -> None:
    codes = some_negative()
    plan = planned(codes, process="monochrome", polarity="positive")
    assert toning.apply(codes, plan, LINEAR).shape == codes.shape


def test_no_profile_and_no_statement_is_for_review() -> None:
    codes = some_negative()
    assert "sRGB assumed" in planned(codes, icc=None).review[0]
    assert planned(codes, icc=None, facts=Facts(encoding="linear")).review == ()


def test_positives_agree_with_lcms() -> None:
    differences = []
    for shown in positives.photographs().values():
        plan = planned(shown, icc=wide_profile(), polarity="positive")
        got = rgb2lab(toning.apply(shown, plan, wide_profile()))
        wanted = rgb2lab(through_lcms(shown, wide_profile()))
        differences.append(deltaE_ciede2000(got, wanted).mean())
    assert max(differences) < 0.7


def test_sixteen_bit_positives_agree_with_lcms_on_their_eight_bit_truth() -> None:
    shown = positives.photographs()["astronaut-0"]
    codes = shown.astype(np.uint16) * 257
    plan = planned(codes, icc=wide_profile(), polarity="positive", section={"black_limit": 0})
    got = toning.apply(codes, plan, wide_profile()).astype(int)
    assert np.abs(got - through_lcms(shown, wide_profile())).max() <= 2


def test_the_black_point_of_a_positive_stays_within_its_limit() -> None:
    codes = np.random.default_rng(5).integers(20000, 60000, (60, 80, 3)).astype(np.uint16)
    assert planned(codes, polarity="positive").black == SECTION.black_limit


def difference(name: str, number: int, known: bool) -> tuple[float, float]:
    row = renderings.one(name, positives.pictures(40)[name], number, True, known, False)
    return row["mean"], row["plain"]


def test_known_films_come_within_two_and_a_half_in_the_median() -> None:
    names = ["astronaut-0", "astronaut-3", "coffee-0", "coffee-2", "view-basin", "dull-1", "snow-4"]
    rows = [difference(name, number, True) for number, name in enumerate(names)]
    ours, plain = np.median(rows, axis=0)
    assert ours <= 2.5 < plain


def test_films_of_which_nothing_is_known_come_within_four_in_the_median() -> None:
    names = ["astronaut-2", "coffee-2", "rocket-0", "view-snow", "view-men", "dull-7", "woods-5"]
    ours, plain = np.median([difference(name, n, False) for n, name in enumerate(names)], axis=0)
    assert ours <= 4 < plain


def test_a_coloured_lightest_part_is_not_made_neutral_where_steps_contradict() -> None:
    # A wood whose lightest parts are green: its shades show the slopes, so the green stays.
    film = negatives.Film(np.array([0.52, 0.6, 0.68]), DMIN, -2.2, False, np.eye(3))
    shown = positives.drawn(6)["woods-5"]
    codes, box = negatives.master(film, shown, np.random.default_rng(8), True)
    source = sources.ArraySource(codes)
    plan = tone.plan(source, sources.geometry(source, box, "colour"), Facts(), LINEAR, SECTION)[0]
    ratio = np.log10(np.array(inversion(plan).slopes) / film.slopes)
    assert np.abs(ratio - ratio.mean()).max() < 0.02


def test_a_glint_darkens_the_picture_within_a_limit_and_is_rolled_off() -> None:
    film = negatives.Film(np.full(3, 0.6), DMIN, -2.2, False, np.eye(3))
    density = film.density(negatives.linear(positives.drawn(1)["day-0"]))
    plain = inversion(planned(master_of(density))).exposure
    density[100:106, 100:106] = density.max() + 0.6  # ten times as bright as white
    glint = planned(master_of(density))
    assert 0 < plain - inversion(glint).exposure < layers.GLINTS + 0.1
    assert glint.shoulder is not None
    assert glint.shoulder.top > 1


@pytest.mark.parametrize("bands", [1, 3])
@pytest.mark.parametrize("code", [0, 30000, 65535])
def test_an_even_master_gets_a_finite_tone(bands: int, code: int) -> None:
    codes = np.full((120, 160, bands), code, np.uint16)
    icc = LINEAR if bands == 3 else None
    plan = planned(codes, icc=icc, process="colour" if bands == 3 else "monochrome")
    way = inversion(plan)
    numbers = [*way.dmin, *way.slopes, *way.balance, way.exposure]
    assert np.isfinite(numbers).all()
    assert toning.apply(codes, plan, icc).shape == codes.shape


def test_a_sunset_stays_one() -> None:
    shown = positives.drawn(3)["sunset-2"]
    film = negatives.Film(np.full(3, 0.6), DMIN, -2.2, True, np.eye(3))
    codes, _ = negatives.master(film, shown, np.random.default_rng(6), False)
    plan = planned(codes)
    assert np.abs(inversion(plan).balance).max() <= SECTION.balance_limit
    got, wanted = rgb2lab(toning.apply(codes, plan, LINEAR)), rgb2lab(shown)
    warm = wanted[..., 2] > 30
    assert got[warm][:, 2].mean() > 0.6 * wanted[warm][:, 2].mean()


def test_highlights_roll_off_and_do_not_clip_hard() -> None:
    light = np.linspace(0, 3, 1000)
    codes = toning._encoded(light, Shoulder(0.85, 3.0))
    assert np.all(np.diff(codes) > 0)
    below = light < 0.85
    assert codes[below] == pytest.approx(colour.linear_to_srgb(light[below]))
    assert codes[-1] == pytest.approx(1.0)


def test_stated_slopes_and_film_stocks_are_kept() -> None:
    codes = some_negative()
    stated = planned(codes, facts=Facts(slopes=(0.5, 0.6, 0.7)))
    assert inversion(stated).slopes == (0.5, 0.6, 0.7)
    stock = FilmStock(slopes=(0.52, 0.6, 0.64), dmin=(0.2, 0.5, 0.8), balance=(0.1, 0, -0.1))
    plan = planned(codes, facts=Facts(film_stock="f"), section={"film_stocks": {"f": stock}})
    way = inversion(plan)
    assert FilmStock(slopes=way.slopes, dmin=way.dmin, balance=way.balance) == stock


def test_pixels_that_are_not_the_masters_are_refused() -> None:
    plan = planned(some_negative())
    with pytest.raises(ValueError, match="do not fit"):
        toning.apply(np.zeros((4, 4, 1), np.uint16), plan, LINEAR)


def test_a_frame_outside_the_master_still_gets_a_tone() -> None:
    codes = some_negative()
    source = sources.ArraySource(codes)
    shape = sources.geometry(source, (0, 0, 320, 240), "colour")
    away = ((900.0, 900.0), (950.0, 900.0), (950.0, 950.0), (900.0, 950.0))
    frame = dataclasses.replace(shape.frames[0], corners=away)
    shape = dataclasses.replace(shape, frames=(frame,))
    assert len(tone.plan(source, shape, Facts(), LINEAR, SECTION)) == 1
