"""Encodings of masters, against IEC, ISO and ICC values and against Little CMS through Pillow."""

from __future__ import annotations

import io
import json
import struct
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms
from skimage.color import deltaE_ciede2000, rgb2lab

from glassine.base.errors import GlassineError
from glassine.masters import colour
from makers import icc_profiles

PROJECT = Path(__file__).resolve().parents[3]
REFERENCE = PROJECT.parent / "shared" / "reference" / "reference_values.json"

# Adobe RGB (1998) primaries adapted to D50, as its ICC profile holds them (Adobe RGB (1998)
# Color Image Encoding, version 2005-05, annex C), and its gamma 563/256.
WIDE = np.array(
    [[0.60974, 0.20528, 0.14919], [0.31111, 0.62567, 0.06322], [0.01947, 0.06087, 0.74457]]
)


def wide_profile() -> bytes:
    return icc_profiles.matrix_profile("Wide", WIDE, np.linspace(0, 1, 4096) ** (563 / 256))


def table_profile(matrix: np.ndarray, gamma: float) -> bytes:
    """Return an input profile that works by a lookup table alone (lut16, ICC.1:2001-04 6.5.8)."""
    grid = 17
    steps = np.linspace(0, 1, grid)
    device = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    xyz = device**gamma @ matrix.T / colour.D50
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz * (29 / 6) ** 2 / 3 + 4 / 29)
    lab = np.stack(
        [116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1
    )
    codes = np.stack(
        [lab[:, 0] / 100 * 65280, (lab[:, 1] + 128) * 256, (lab[:, 2] + 128) * 256], axis=1
    )
    clut = np.clip(np.round(codes), 0, 65535).astype(">u2").tobytes()
    ramp = np.array([0, 65535], ">u2").tobytes() * 3
    identity = struct.pack(">9i", *(65536 * value for value in (1, 0, 0, 0, 1, 0, 0, 0, 1)))
    tag = b"mft2\0\0\0\0" + bytes([3, 3, grid, 0]) + identity + struct.pack(">2H", 2, 2)
    tag += ramp + clut + ramp
    made = colour._profile_bytes(b"RGB ", colour._text_tags("Table") | {"A2B0": tag})
    return made[:12] + b"scnr" + made[16:20] + b"Lab " + made[24:]


def through_lcms(pixels: np.ndarray, icc: bytes) -> np.ndarray:
    """Return sRGB (uint8) of 8-bit `pixels` by Pillow's Little CMS, relative colorimetric + BPC."""
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(icc)),
        ImageCms.createProfile("sRGB"),
        "RGB",
        "RGB",
        ImageCms.Intent.RELATIVE_COLORIMETRIC,
        ImageCms.Flags.BLACKPOINTCOMPENSATION,
    )
    return np.asarray(ImageCms.applyTransform(Image.fromarray(pixels), transform))


def test_ciede2000_agrees_with_published_pairs() -> None:
    # Sharma, Wu, Dalal, Color Research and Application 30(1), 2005, table 1, pairs 1, 7, 17, 33.
    pairs = [
        ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
        ((50.0, 0.0, 0.0), (50.0, -1.0, 2.0), 2.3669),
        ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
        ((6.7747, -0.2908, -2.4247), (5.8714, -0.0985, -2.2286), 0.6377),
    ]
    for first, second, wanted in pairs:
        assert deltaE_ciede2000(np.array(first), np.array(second)) == pytest.approx(
            wanted, abs=1e-4
        )


def test_ciede2000_agrees_with_all_34_published_pairs() -> None:
    if not REFERENCE.exists():
        pytest.skip("the table of the 34 pairs (Sharma, Wu, Dalal 2005) is not on this machine")
    rows = [row for row in json.loads(REFERENCE.read_text("utf-8")) if "ciede2000." in row["id"]]
    assert len(rows) == 34
    for row in rows:
        first, second = json.loads(row["note"])
        assert deltaE_ciede2000(np.array(first), np.array(second)) == pytest.approx(
            row["value"], abs=1e-4
        ), row["id"]


def test_srgb_curve_has_the_values_of_its_standard() -> None:
    # IEC 61966-2-1: the two pieces meet at code 0.04045 = 0.0031308 linear; 0.5 is 0.214041.
    assert colour.srgb_to_linear(np.array([0.04045, 0.5, 1.0])) == pytest.approx(
        [0.0031308, 0.214041, 1.0], abs=1e-6
    )
    codes = np.linspace(0, 1, 257)
    assert colour.linear_to_srgb(colour.srgb_to_linear(codes)) == pytest.approx(codes, abs=1e-6)


def test_density_is_the_negative_logarithm_of_transmittance() -> None:
    # ISO 5-1: D = -log10 T.
    light = np.array([1.0, 0.5, 0.1, 0.01, 0.001, 0.0001])
    assert colour.density(light) == pytest.approx([0, 0.30103, 1, 2, 3, 4], abs=1e-5)


def test_density_of_no_light_is_the_least_that_16_bits_can_say() -> None:
    # Half a code of 16 bits, 2**-17: D = 17 log10 2 (ISO 5-1).
    assert colour.density(np.array([0.0])) == pytest.approx([5.1175], abs=1e-4)


def test_srgb_profile_is_read_as_srgb() -> None:
    profile = colour.read_profile(colour.srgb_profile())
    assert profile.kind == "matrix"
    code = np.linspace(0, 1, 64)
    assert profile.curves[0].linear(code) == pytest.approx(colour.srgb_to_linear(code), abs=2e-4)


def test_profiles_written_here_are_accepted_by_another_library() -> None:
    for made in (colour.srgb_profile(), colour.grey_profile(), wide_profile()):
        assert ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(made))).strip()


def test_grey_profile_has_the_srgb_curve() -> None:
    profile = colour.read_profile(colour.grey_profile())
    assert (profile.kind, profile.channels) == ("grey", 1)
    code = np.linspace(0, 1, 64)
    assert profile.curves[0].linear(code) == pytest.approx(colour.srgb_to_linear(code), abs=1e-4)


@pytest.mark.parametrize(
    ("name", "code", "light"),
    [("linear", 0.25, 0.25), ("gamma-2.2", 0.5, 0.5**2.2), ("gamma-1.8", 0.5, 0.5**1.8)],
)
def test_stated_encodings(name: str, code: float, light: float) -> None:
    assert colour.stated_curve(name).linear(np.array([code])) == pytest.approx([light])


def test_an_unknown_stated_encoding_is_refused_in_words() -> None:
    with pytest.raises(GlassineError, match="gamma-3"):
        colour.stated_curve("gamma-3")


def test_without_profile_or_statement_srgb_is_assumed_and_said() -> None:
    assert colour.encoding_of(None, None, 16, 3).describe.assumed
    assert not colour.encoding_of(None, "linear", 16, 3).describe.assumed


def test_matrix_profile_leads_to_the_same_colours_as_lcms() -> None:
    pixels = np.random.default_rng(1).integers(0, 256, (40, 40, 3), np.uint8)
    encoding = colour.encoding_of(wide_profile(), None, 8, 3)
    srgb = colour.linear_to_srgb(encoding.linear(pixels) @ encoding.matrix.T)
    wanted = rgb2lab(through_lcms(pixels, wide_profile()))
    assert deltaE_ciede2000(rgb2lab(srgb), wanted).mean() < 0.3


def test_table_profile_leads_to_the_same_colours_as_lcms() -> None:
    icc = table_profile(WIDE, 1.8)
    pixels = np.random.default_rng(2).integers(0, 256, (40, 40, 3), np.uint8)
    encoding = colour.encoding_of(icc, None, 8, 3)
    assert encoding.describe.kind == "table"
    srgb = colour.linear_to_srgb(encoding.linear(pixels) @ encoding.matrix.T)
    wanted = rgb2lab(through_lcms(pixels, icc))
    assert deltaE_ciede2000(rgb2lab(srgb), wanted).mean() < 0.5


def test_table_profile_gives_linear_light_per_channel() -> None:
    icc = table_profile(WIDE, 1.8)
    ramp = np.round(np.linspace(0.2, 1, 9) * 65535).astype(np.uint16)
    pixels = np.repeat(ramp[None, :, None], 3, axis=2)
    light = colour.encoding_of(icc, None, 16, 3).linear(pixels)[0]
    assert light == pytest.approx(np.repeat(np.linspace(0.2, 1, 9)[:, None] ** 1.8, 3, 1), abs=0.01)


def test_a_profile_that_does_not_fit_the_bands_is_refused() -> None:
    with pytest.raises(GlassineError, match="channels"):
        colour.encoding_of(colour.srgb_profile(), None, 16, 1)


@pytest.mark.parametrize("space", [b"CMYK", b"Lab "])
def test_profiles_of_other_colour_spaces_are_refused(space: bytes) -> None:
    icc = colour.srgb_profile()
    with pytest.raises(GlassineError, match="colour space"):
        colour.read_profile(icc[:16] + space + icc[20:])


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_damaged_profiles_raise_nothing_but_the_projects_error(data: st.DataObject) -> None:
    icc = bytearray(data.draw(st.sampled_from([colour.srgb_profile(), wide_profile()[:2000]])))
    for _ in range(data.draw(st.integers(1, 8))):
        icc[data.draw(st.integers(0, min(len(icc), 600) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(0, len(icc)))
    try:
        colour.encoding_of(bytes(icc[:cut]) if data.draw(st.booleans()) else bytes(icc), None, 8, 3)
    except GlassineError as problem:
        assert problem.findings[0].code == "tone.profile"
