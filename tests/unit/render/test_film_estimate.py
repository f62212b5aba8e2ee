"""A film estimated from its frames: layers told apart, light, contrast, doubt.

Films come from makers/tone/film_model.py, which shares no number with the package; photographs from
scikit-image (makers/tone/positives.py says whose they are).
"""

from __future__ import annotations

import dataclasses
import os
import subprocess
import sys
from pathlib import Path

import cv2
import msgspec
import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

from glassine.base import settings
from glassine.base.errors import GlassineError
from glassine.base.model import Facts
from glassine.base.tone import ColourNegative, Negative
from glassine.masters import colour
from glassine.render import dyes, layers, negative_film, tone, toning
from glassine.render.given import FilmStock, ToneSection
from glassine.render.lights import KEPT, LIGHTS
from glassine.render.looks import Look, look
from makers import processors
from makers.tone import film_model as model
from makers.tone import positives

SECTION = msgspec.convert(settings.load({})["tone"], ToneSection)
SIX = ("astronaut-0", "coffee-0", "rocket-2", "chelsea-0", "astronaut-2", "coffee-2")


def six() -> list[np.ndarray]:
    shown = positives.photographs()
    return [shown[name] for name in SIX]


def plans(
    strip: model.Strip, section: ToneSection = SECTION, facts: Facts | None = None
) -> list[Negative]:
    found = tone.plan(strip.source, strip.geometry, facts or Facts(), strip.icc, section)
    return [each for each in found if isinstance(each, Negative)]


def errors(strip: model.Strip, shown: list[np.ndarray], ways: list[Negative]) -> list[float]:
    """Return mean CIEDE2000 of each frame against its picture."""
    found = []
    for n, (way, picture) in enumerate(zip(ways, shown, strict=True)):
        got = toning.apply(strip.part(n), way, strip.icc)[::3, ::3]
        found.append(float(deltaE_ciede2000(rgb2lab(picture[::3, ::3]), rgb2lab(got)).mean()))
    return found


def looks_of(strip: model.Strip) -> list[Look]:
    encoding = colour.encoding_of(strip.icc, None, 16, 3)
    return [look(strip.source, frame, encoding) for frame in strip.geometry.frames]


def usual_film(strip: model.Strip, dmin: np.ndarray | None = None) -> negative_film.Film:
    base = model.DMIN if dmin is None else dmin
    return negative_film.stated(
        "colour", (0, 1, 2), tuple(base.tolist()), "film base, 1 region(s)", Facts(), FilmStock()
    )


# ------------------------------------------------------------------ layers told apart


def test_channels_in_primaries_of_srgb_stand_for_their_layers() -> None:
    assert dyes.nominal(np.eye(3)).matrix == ((1, 0, 0), (0, 1, 0), (0, 0, 1))
    assert dyes.nominal(np.eye(3)).slopes == (1, 1, 1)


@pytest.mark.parametrize("profile", ["adobe", "prophoto"])
def test_the_matrix_for_a_profile_leaves_greys_alone(profile: str) -> None:
    to_srgb = np.linalg.inv(colour.srgb_matrix()) @ model.PRIMARIES[profile]
    matrix = np.array(dyes.nominal(to_srgb).matrix)
    assert matrix.sum(axis=1) == pytest.approx(1, abs=2e-4)
    # Red sees the flank of magenta: that is taken away, and more of it the wider the primaries.
    assert matrix[0, 1] < -0.1


@pytest.mark.parametrize("profile", ["prophoto", "camera"])
def test_dyes_seen_by_a_camera_are_told_apart(profile: str) -> None:
    shown = six()
    gains = []
    for number in (3, 12):
        film = model.film_of("spectral", number, profile)
        strip = model.strip(film, shown, number, base=True)
        ways = plans(strip)
        assert ways[0].density_matrix is not None
        unmixed = [msgspec.structs.replace(way, density_matrix=None) for way in ways]
        gains += list(np.array(errors(strip, shown, unmixed)) - errors(strip, shown, ways))
    assert np.median(gains) > 0.5
    assert np.mean(np.array(gains) > -0.3) > 0.75


def measured_stock(film: model.FilmModel) -> FilmStock:
    """Return what a target tells of a film: slopes of its greys, and what its dyes mix."""
    grey = np.array([[0.03], [0.5]]) * np.ones(3)
    d = -np.log10(film.seen(film.developed(grey)))
    slopes = (d[1] - d[0]) / np.log10(0.5 / 0.03)
    mix = np.linalg.inv(film.cross) * slopes
    return FilmStock(slopes=tuple(slopes.tolist()), matrix=tuple(map(tuple, mix.tolist())))


def test_slopes_and_matrix_from_a_target_come_nearer_to_the_picture() -> None:
    shown = [six()[1]]
    known, mixed = [], []
    for number in (8, 9, 10):
        film = dataclasses.replace(model.film_of("usual", number), couplers=np.eye(3))
        strip = model.strip(film, shown, 5, base=True)
        section = msgspec.structs.replace(SECTION, film_stocks={"harbour": measured_stock(film)})
        ways = plans(strip, section, Facts(film_stock="harbour"))
        assert np.array(ways[0].density_matrix).sum(axis=1) == pytest.approx(1, abs=1e-5)
        known += errors(strip, shown, ways)
        bare = [msgspec.structs.replace(way, density_matrix=None) for way in ways]
        mixed += errors(strip, shown, bare)
    assert np.median(known) <= 4.5
    assert np.median(np.array(mixed) - known) > 2


def test_a_matrix_that_tells_nothing_apart_is_refused_with_words() -> None:
    stock = FilmStock(matrix=((1, 0, 0), (1, 0, 0), (0, 0, 1)))
    with pytest.raises(GlassineError) as caught:
        negative_film.stated("colour", (0, 1, 2), (0.2,) * 3, "x", Facts(), stock)
    assert caught.value.findings[0].code == "tone.matrix"


def test_pixels_follow_the_formula_in_8_and_in_16_bits() -> None:
    film = model.film_of("spectral", 3, "prophoto")
    strip = model.strip(film, [six()[1]], 3, base=True)
    way = msgspec.structs.replace(plans(strip)[0], shoulder=None)
    codes = strip.part(0)
    light = colour.encoding_of(strip.icc, None, 16, 3).linear(codes)
    u = (colour.density(light) - np.array(way.dmin)) / np.array(way.slopes)
    gain = np.array(way.balance) + way.exposure
    x = u @ np.array(way.density_matrix).T + gain
    wanted = colour.linear_to_srgb(10.0 ** np.minimum(x, 6) - way.toe * 10.0**gain)
    eight, deep = toning.apply(codes, way, strip.icc), toning.apply16(codes, way, strip.icc)
    assert np.abs(eight - wanted * 255).max() < 0.6
    assert np.abs(deep / 65535 - wanted).max() < 0.0015
    assert np.abs(eight - deep / 257).max() <= 0.51


def test_a_record_of_an_earlier_version_still_reads() -> None:
    strip = model.strip(model.film_of("clean", 1), [six()[0]], 1, base=True)
    record = msgspec.to_builtins(plans(strip)[0])
    record.pop("density_matrix", None)
    record.pop("expected_error")
    again = msgspec.convert(record, ColourNegative)
    assert again.density_matrix is None
    assert again.expected_error is None


# ------------------------------------------------------------------ one film, many frames


def test_no_frame_leaves_the_film_as_it_is_known() -> None:
    strip = model.strip(model.film_of("clean", 1), [six()[0]], 1, base=True)
    assert layers.estimate([], usual_film(strip)) == usual_film(strip)


def test_more_frames_make_a_film_surer() -> None:
    film = model.film_of("usual", 2)
    strip = model.strip(film, six(), 2, base=True)
    seen = looks_of(strip)
    one = layers.estimate(seen[:1], usual_film(strip, film.dmin))
    many = layers.estimate(seen, usual_film(strip, film.dmin))
    assert (one.uncertainty.frames, many.uncertainty.frames) == (1, 6)
    assert many.uncertainty.balance < one.uncertainty.balance
    assert many.uncertainty.ratios < one.uncertainty.ratios
    assert many.uncertainty.contrast < one.uncertainty.contrast


def test_frames_of_several_masters_give_the_film_of_one() -> None:
    # The same frames, captured with other light: each master has a base of its own.
    film = model.film_of("usual", 2)
    strip = model.strip(film, six()[:3], 2, base=True)
    seen = looks_of(strip)
    base = film.dmin - np.log10(0.95)
    together = layers.estimate(seen, usual_film(strip, base))
    brighter = [
        dataclasses.replace(each, calm=each.calm * share, base=tuple(base - np.log10(share)))
        for each, share in zip(seen, (1.0, 0.8, 0.5), strict=True)
    ]
    pooled = layers.estimate(brighter, usual_film(strip, base))
    assert pooled.slopes == pytest.approx(together.slopes, rel=0.005)
    assert pooled.balance == pytest.approx(together.balance, abs=0.003)


def test_layers_that_faded_are_found_on_a_film_of_six() -> None:
    film = dataclasses.replace(model.film_of("clean", 4), losses=np.array([0.4, 0.1, 0.2]))
    strip = model.strip(film, six(), 4, base=True)
    slopes = np.array(plans(strip)[0].slopes)
    wanted = film.slopes * (1 - film.losses)
    ratio = np.log10(slopes / wanted)
    assert np.abs(ratio - ratio.mean()).max() < 0.02


def shown_grey(way: Negative, film: model.FilmModel, cast: float | np.ndarray = 0.0) -> np.ndarray:
    """Return the colour (log10 of light, mean 0) in which a frame shows a grey that the film took 1.9
    (log10 of exposure) above its base, in light of this cast: balances of unlike slopes compare by
    that alone."""
    x = (1.9 + cast) * film.slopes / np.array(way.slopes)
    if way.density_matrix is not None:
        x = np.array(way.density_matrix) @ x
    colour = x + np.array(way.balance)
    return np.asarray(colour - colour.mean())


def test_one_frame_of_one_colour_does_not_turn_its_film() -> None:
    film = model.film_of("clean", 4)
    grass = np.clip(six()[3].astype(float) * [0.45, 1.0, 0.2], 0, 255).astype(np.uint8)
    without = plans(model.strip(film, six()[:5], 4, base=True))[0]
    strip = model.strip(film, [*six()[:5], grass], 4, base=True)
    found = shown_grey(plans(strip)[0], film)
    assert found == pytest.approx(shown_grey(without, film), abs=0.03)


# ------------------------------------------------------------------ light


def test_colours_of_lights_are_those_of_black_bodies() -> None:
    # Planck's law: log10 of the ratio of 640 to 445 nm between 2850 K and 5500 K by its exponents,
    # (1.4388e7 / 445 - 1.4388e7 / 640) (1 / 2850 - 1 / 5500) log10(e), within 2 % (Wien's form).
    lamps = next(light for light in LIGHTS if "2850" in light.name)
    wien = 1.4388e7 * (1 / 445 - 1 / 640) * (1 / 2850 - 1 / 5500) * np.log10(np.e)
    assert lamps.cast[0] - lamps.cast[2] == pytest.approx(wien, rel=0.02)
    assert sum(light.prior for light in LIGHTS) == pytest.approx(1)


@pytest.mark.parametrize("network", [False, True])
def test_lamplight_is_taken_out_but_for_a_tenth(
    network: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    if not network:
        monkeypatch.setattr(tone, "with_network", lambda found, looks, known: found)
    film = model.film_of("clean", 6)
    shown = six()
    lamps = np.array(model.planck(2850.0))
    strip = model.strip(film, shown, 6, base=True, lights=[lamps] * 6)
    day = model.strip(film, shown, 6, base=True)
    cast = lamps - lamps.mean()
    left = shown_grey(plans(strip)[0], film, cast) - shown_grey(plans(day)[0], film)
    assert left == pytest.approx(KEPT * cast, abs=0.06)
    # What is left is warm, red over blue; the network's part is not sure enough to tell.
    assert network or left[0] > left[2]


def test_one_frame_by_lamps_among_five_by_day_has_a_light_of_its_own() -> None:
    film = model.film_of("clean", 6)
    lights = [np.zeros(3)] * 6
    lights[4] = np.array(model.planck(2850.0))
    ways = plans(model.strip(film, six(), 6, base=True, lights=lights))
    by_day = {way.balance for n, way in enumerate(ways) if n != 4}
    assert len(by_day) == 1
    red, _, blue = np.array(ways[4].balance) - np.array(ways[0].balance)
    assert red < -0.15
    assert blue > 0.15


# ------------------------------------------------------------------ doubt


def one_colour() -> np.ndarray:
    rng = np.random.default_rng(2)
    shade = cv2.GaussianBlur(rng.normal(size=(240, 320)).astype(np.float32), (0, 0), 4)
    shade = 0.75 + 0.12 * shade / shade.std()
    return np.clip(shade[..., None] * [235, 120, 30], 0, 255).astype(np.uint8)


def test_one_colour_alone_without_base_is_for_review_with_words() -> None:
    strip = model.strip(model.film_of("usual", 3), [one_colour()], 3, base=False)
    way = plans(strip)[0]
    assert "one colour fills the frame" in way.review[0]
    assert "no film base" in way.review[0]
    assert way.expected_error is not None
    assert way.expected_error > 8


def test_a_usual_picture_is_not_for_review() -> None:
    shown = six()
    strip = model.strip(model.film_of("usual", 3), shown, 3, base=True)
    ways = plans(strip)
    assert [way.review for way in ways] == [()] * 6
    assert max(way.expected_error or 99 for way in ways) <= 8


def test_a_clipped_channel_is_for_review() -> None:
    strip = model.strip(model.film_of("usual", 3), [six()[0]], 3, base=True)
    over = np.minimum(strip.source.pixels.astype(np.int64) * 3, 65535).astype(np.uint16)
    strip.source.pixels = strip.source.reduced = over
    assert any("clipped" in words for words in plans(strip)[0].review)


# ------------------------------------------------------------------ every processor

PLAN = """
import hashlib, sys
import msgspec, numpy as np
from glassine.base import processor, settings
from glassine.base.model import Facts
from glassine.render import tone, toning
from glassine.render.given import ToneSection
from makers.tone import film_model, sources
processor.same_everywhere()
kept = np.load(sys.argv[1])
source, icc = sources.ArraySource(kept["pixels"]), kept["icc"].tobytes()
shape = sources.geometry(source, tuple(kept["box"].tolist()), "colour")
section = msgspec.convert(settings.load({})["tone"], ToneSection)
way = tone.plan(source, shape, Facts(), icc, section)[0]
made = toning.apply(source.pixels, way, icc).tobytes()
made += toning.apply16(source.pixels, way, icc).tobytes()
print(hashlib.sha256(msgspec.json.encode(way) + made).hexdigest(), way.density_matrix is None)
"""


def test_plan_and_pixels_do_not_depend_on_the_processor(tmp_path: Path) -> None:
    strip = model.strip(model.film_of("spectral", 3, "prophoto"), [six()[0]], 3, base=True)
    kept = tmp_path / "strip.npz"
    icc = np.frombuffer(strip.icc, np.uint8)
    np.savez(kept, pixels=strip.source.pixels, icc=icc, box=np.array(strip.boxes[0]))
    root = Path(__file__).resolve().parents[3]
    path = os.pathsep.join(str(root / name) for name in ("scripts", "tests"))
    done = {
        name: subprocess.run(
            [sys.executable, "-c", PLAN, str(kept)],
            env={**os.environ, **more, "PYTHONPATH": path},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for name, more in processors.environments().items()
    }
    assert len(set(done.values())) == 1
    assert next(iter(done.values())).strip().endswith("False")
