"""The judge's film is what it says: light, surfaces, curves, profiles, and a truth within reach."""

from __future__ import annotations

import io
import warnings
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image, ImageCms
from skimage.color import deltaE_ciede2000, rgb2lab

from makers.tone_judge import capture, cases, scenes, spectra, stocks

GREYS = 10 ** np.linspace(-1.5, -0.2, 9)[None, :, None] * np.ones((2, 1, 3))


def test_the_lamps_radiate_as_a_black_body_does() -> None:
    """colour-science 0.4.7, `sd_blackbody`, is the reference."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it tells of plots that it cannot draw
        import colour
    shape = colour.SpectralShape(400, 700, 10)
    reference = colour.sd_blackbody(3200, shape).values
    assert spectra.planck(3200) == pytest.approx(reference / reference[16], rel=1e-3)


def test_surfaces_have_the_colours_of_srgb_and_are_possible() -> None:
    seen = spectra.observer() * spectra.ILLUMINANTS["daylight"]
    xyz = seen @ spectra.surfaces() / seen.sum(axis=1)[:, None] * spectra.SRGB_TO_XYZ.sum(axis=1)[:, None]  # fmt: skip
    assert xyz == pytest.approx(spectra.SRGB_TO_XYZ, abs=0.01)
    assert spectra.surfaces().sum(axis=1) == pytest.approx(1.0, abs=0.01)
    assert spectra.surfaces().min() >= 0


@pytest.mark.parametrize("seed", range(4))
def test_layers_of_negatives_have_slopes_of_05_to_07(seed: int) -> None:
    stock = replace(stocks.negative(np.random.default_rng(seed)), grain=0.0)
    exposed = stocks.exposures(stock, GREYS, spectra.ILLUMINANTS["daylight"])
    amounts = stocks.develop(stock, exposed, np.random.default_rng(0))[0]
    slopes = np.diff(amounts, axis=0) / np.diff(np.log10(GREYS[0, :, :1]), axis=0)
    assert slopes[4:].min() > 0.45
    assert slopes[4:].max() < 0.75


def test_film_balanced_for_daylight_takes_lamps_for_red() -> None:
    stock = stocks.negative(np.random.default_rng(1))
    red, green, blue = stocks.exposures(stock, GREYS, spectra.ILLUMINANTS["tungsten"])[0, -1]
    assert red > 1.2 * green > 1.2 * 1.5 * blue


@pytest.mark.parametrize("encoding", capture.ENCODINGS)
def test_every_encoding_says_the_same_of_the_same_grey(encoding: str) -> None:
    """Read back by lcms (Pillow), as no part of the project does."""
    rig = capture.Rig("broad", "white", encoding, 0.0, 0.0, 0.8)
    codes, icc = capture.encode(rig, np.full((4, 4, 3), 0.5), 1.0)
    profile = ImageCms.ImageCmsProfile(io.BytesIO(icc))
    transform = ImageCms.buildTransform(profile, ImageCms.createProfile("LAB"), "RGB", "LAB")
    picture = Image.fromarray(np.round(codes / 257.0).astype(np.uint8))
    light, a, b = np.array(ImageCms.applyTransform(picture, transform))[0, 0].astype(int)
    assert light / 2.55 == pytest.approx(76.1, abs=1.0)  # L* of Y = 0.5, CIE 015
    assert abs((a + 128) % 256 - 128) <= 2
    assert abs((b + 128) % 256 - 128) <= 2


@pytest.mark.parametrize("name", ["clean", "film: usual", "film: encoded romm"])
def test_the_truth_can_be_reached_from_the_master(name: str) -> None:
    """A curve of the second degree in densities, fitted to the truth, comes near it."""
    for shot in cases.film(cases.CASES[name], 0).shots:
        left, top, right, bottom = shot.box
        codes = shot.codes[top:bottom, left:right].reshape(-1, 3) / 65535
        light = codes if "romm" not in name else codes**1.8
        density = -np.log10(np.clip(light, 1e-5, 1))
        parts = np.hstack([density, density**2, np.ones((len(density), 1))])
        wanted = np.log10(np.clip(scenes.linear(shot.truth.reshape(-1, 3)), 2e-3, 1))
        fitted = 10 ** (parts @ np.linalg.lstsq(parts, wanted, rcond=None)[0])
        shown = scenes.coded(fitted).reshape(shot.truth.shape)
        assert deltaE_ciede2000(rgb2lab(shot.truth), rgb2lab(shown)).mean() < 4.5


def test_a_film_is_the_same_each_time() -> None:
    one, two = (cases.film(cases.CASES["film: faded"], 3) for _ in range(2))
    assert all((a.codes == b.codes).all() for a, b in zip(one.shots, two.shots, strict=True))


def test_a_faded_slide_is_not_its_truth_and_a_fresh_one_is() -> None:
    errors = {}
    for name in ("slide", "slide, faded"):
        (shot,) = cases.film(cases.CASES[name], 1).shots
        shown = capture.read(shot.rig, shot.codes)
        errors[name] = deltaE_ciede2000(rgb2lab(shot.truth), rgb2lab(shown)).mean()
    assert errors["slide"] < 3 < 5 < errors["slide, faded"]


def test_a_slide_of_grey_is_grey() -> None:
    """To the observer of CIE 015, before light of 5000 K: u'v' within 0.01 down to density 1.8."""
    stock = replace(stocks.slide(np.random.default_rng(2)), grain=0.0)
    exposed = stocks.exposures(stock, GREYS, spectra.ILLUMINANTS["daylight"])
    through = stock.through(stocks.develop(stock, exposed, np.random.default_rng(0)))[0]
    seen = spectra.observer() * spectra.planck(5000)

    def uv(xyz: np.ndarray) -> np.ndarray:
        return np.stack([4 * xyz[..., 0], 9 * xyz[..., 1]], -1) / (xyz @ [1, 15, 3])[..., None]

    assert uv(through @ seen.T) == pytest.approx(uv(seen.sum(axis=1))[None].repeat(9, 0), abs=0.01)
