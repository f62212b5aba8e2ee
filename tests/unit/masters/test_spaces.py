"""Colour spaces of rendered pictures: their numbers, and their profiles as other readers see them."""

from __future__ import annotations

import io
import warnings

import numpy as np
import pytest
from PIL import Image, ImageCms

from glassine.base import alternates
from glassine.masters import colour, spaces

STEPS = np.linspace(0.0, 1.0, 501)
# colour-science 0.4.7 keeps the standards' numbers under these names.
KNOWN = {
    "adobergb": "Adobe RGB (1998)",
    "romm": "ROMM RGB",
    "ecirgb": "ECI RGB v2",
    "linear": "ROMM RGB",
}


def test_the_settings_know_the_same_spaces() -> None:
    assert tuple(spaces.SPACES) == alternates.SPACES


@pytest.mark.parametrize("name", KNOWN)
def test_primaries_and_curves_are_those_of_the_standards(name: str) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # colour-science tells of plots that it cannot draw
        from colour import RGB_COLOURSPACES
    space, known = spaces.SPACES[name], RGB_COLOURSPACES[KNOWN[name]]
    assert np.array([space.red, space.green, space.blue]) == pytest.approx(
        known.primaries, abs=1e-4
    )
    assert space.white == pytest.approx(known.whitepoint, abs=1e-4)
    if name != "linear":
        encode = known.cctf_encoding
        assert spaces.code_of(STEPS, space.curve) == pytest.approx(encode(STEPS), abs=2e-4)


@pytest.mark.parametrize("name", spaces.SPACES)
def test_light_comes_out_of_codes_again(name: str) -> None:
    curve = spaces.SPACES[name].curve
    again = spaces.light_of(spaces.code_of(STEPS, curve), curve)
    assert again == pytest.approx(STEPS, abs=1e-9)


@pytest.mark.parametrize("name", spaces.SPACES)
@pytest.mark.parametrize("bands", [1, 3])
def test_lcms_takes_the_profile_and_finds_white_and_primaries(name: str, bands: int) -> None:
    icc = spaces.profile(name, bands)
    opened = ImageCms.ImageCmsProfile(io.BytesIO(icc))
    title = spaces.SPACES[name].title if bands == 3 else spaces.grey_title(name)
    assert opened.profile.profile_description == title
    assert opened.profile.xcolor_space.strip() == ("RGB" if bands == 3 else "GRAY")
    if bands == 1:
        return
    red, green, blue = (
        np.array(getattr(opened.profile, f"{word}_colorant")[0])
        for word in ("red", "green", "blue")
    )
    assert red + green + blue == pytest.approx(colour.D50, abs=2e-4)
    if name in ("romm", "ecirgb", "linear"):  # their white is that of the connection space
        x, y = spaces.SPACES[name].red
        assert red[:2] / red.sum() == pytest.approx((x, y), abs=1e-3)
    else:  # Adobe RGB (1998), 4.3.6 and annex: red adapted to D50, as its own profile has it
        assert red == pytest.approx((0.60974, 0.31111, 0.01947), abs=5e-4)


def test_a_colour_outside_of_srgb_is_kept() -> None:
    """A green that sRGB cannot hold (its red is below 0) is another one in the wide spaces."""
    inside, outside = np.array([[[0.0, 0.5, 0.1]]]), np.array([[[-0.2, 0.5, 0.1]]])
    for name in ("adobergb", "romm", "ecirgb", "linear"):
        one, other = spaces.encoded(inside, name), spaces.encoded(outside, name)
        assert int(one[0, 0, 0]) > int(other[0, 0, 0])


@pytest.mark.parametrize("name", spaces.SPACES)
def test_white_and_black_are_the_ends(name: str) -> None:
    for bands in (1, 3):
        ends = spaces.encoded(np.array([[[0.0] * bands, [1.0] * bands]]), name)
        assert ends[0, 0].max() == 0
        assert ends[0, 1].min() >= 65535 - 20  # white of sRGB's profile, rounded as profiles are


def test_pillow_shows_srgb_colours_the_same_from_each_space() -> None:
    """8 bits, by lcms: within two levels of the sRGB codes (one of rounding there, one back)."""
    codes = np.array([[[200, 120, 60], [60, 90, 160], [128, 128, 128], [230, 230, 215]]], np.uint8)
    light = colour.srgb_to_linear(codes / 255)
    srgb = ImageCms.ImageCmsProfile(io.BytesIO(colour.srgb_profile()))
    for name in ("adobergb", "romm", "ecirgb"):
        own = ImageCms.ImageCmsProfile(io.BytesIO(spaces.profile(name, 3)))
        picture = Image.fromarray(np.round(spaces.encoded(light, name) / 257).astype(np.uint8))
        shown = np.array(ImageCms.profileToProfile(picture, own, srgb))
        assert np.abs(shown.astype(int) - codes).max() <= 3, name
