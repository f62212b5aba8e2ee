"""Finding frames and tone read a master's codes by one and the same reader.

Expected values: ICC.1:2022 (curveType 10.6, parametricCurveType 10.18), IEC 61966-2-1.
"""

from __future__ import annotations

import json
import struct
from pathlib import Path
from types import SimpleNamespace

import msgspec
import numpy as np
import pytest
import pyvips

from glassine.base import settings
from glassine.base.errors import GlassineError
from glassine.base.model import Facts
from glassine.locate import encoding as seen
from glassine.locate.view import look
from glassine.masters import colour
from glassine.render import tone
from glassine.render.given import ToneSection
from makers.film import tiff
from makers.step_calls import do_step

PRIMARIES = np.array([[0.436, 0.385, 0.143], [0.222, 0.717, 0.061], [0.014, 0.097, 0.714]])


def curv(*values: int) -> bytes:
    return b"curv\0\0\0\0" + struct.pack(f">I{len(values)}H", len(values), *values)


def para(function: int, *values: float) -> bytes:
    fixed = struct.pack(f">{len(values)}i", *(round(value * 65536) for value in values))
    return b"para\0\0\0\0" + struct.pack(">H2x", function) + fixed


def rgb(*curves: bytes) -> bytes:
    """Return a matrix profile with one curve for all channels, or one for each."""
    tags = colour._text_tags("Rig")
    for number, letter in enumerate("rgb"):
        column = (round(value * 65536) for value in PRIMARIES[:, number])
        tags[f"{letter}XYZ"] = b"XYZ \0\0\0\0" + struct.pack(">3i", *column)
        tags[f"{letter}TRC"] = curves[number % len(curves)]
    return colour._profile_bytes(b"RGB ", tags)


def grey(curve: bytes) -> bytes:
    return colour._profile_bytes(b"GRAY", colour._text_tags("Rig, grey") | {"kTRC": curve})


def lut(gamma: float) -> bytes:
    """Return an input profile of a lookup table alone (lut16Type, 10.10), greys on its diagonal."""
    steps = np.linspace(0, 1, 33)
    device = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    # Rows of the matrix sum to the white of the connection space, so that greys are neutral.
    matrix = PRIMARIES * (colour.D50 / PRIMARIES.sum(axis=1))[:, None]
    xyz = device**gamma @ matrix.T / colour.D50
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz * (29 / 6) ** 2 / 3 + 4 / 29)
    lab = [116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]) + 128, 200 * (f[:, 1] - f[:, 2]) + 128]
    codes = np.stack([lab[0] / 100 * 65280, lab[1] * 256, lab[2] * 256], axis=1)
    table = np.clip(np.round(codes), 0, 65535).astype(">u2").tobytes()
    ramp = np.array([0, 65535], ">u2").tobytes() * 3
    identity = struct.pack(">9i", *(65536 * value for value in (1, 0, 0, 0, 1, 0, 0, 0, 1)))
    tag = b"mft2\0\0\0\0" + bytes([3, 3, 33, 0]) + identity + struct.pack(">2H", 2, 2)
    made = colour._profile_bytes(
        b"RGB ", colour._text_tags("Table") | {"A2B0": tag + ramp + table + ramp}
    )
    return made[:12] + b"scnr" + made[16:20] + b"Lab " + made[24:]


def srgb(x: np.ndarray) -> np.ndarray:
    return np.where(x <= 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4)


# name: (profile, what batch.yaml states, channels, light by code 0..1 per channel)
CASES = {
    "sRGB": (colour.srgb_profile(), None, 3, srgb),
    "gamma 1.8": (rgb(curv(461)), None, 3, lambda x: x ** (461 / 256)),
    "gamma 2.2": (rgb(curv(563)), None, 3, lambda x: x ** (563 / 256)),
    "linear": (rgb(curv()), None, 3, lambda x: x),
    "sampled": (
        rgb(curv(0, 6554, 65535)),
        None,
        3,
        lambda x: np.interp(x, [0, 0.5, 1], [0, 0.1, 1]),
    ),
    "parametric 0": (rgb(para(0, 1.8)), None, 3, lambda x: x**1.8),
    "parametric 1": (
        rgb(para(1, 2.0, 1.25, -0.25)),
        None,
        3,
        lambda x: np.where(x >= 0.2, (1.25 * x - 0.25).clip(0) ** 2, 0),
    ),
    "parametric 2": (
        rgb(para(2, 2.0, 1.25, -0.25, 0.0)),
        None,
        3,
        lambda x: np.where(x >= 0.2, (1.25 * x - 0.25).clip(0) ** 2, 0),
    ),
    "parametric 3": (
        rgb(para(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)),
        None,
        3,
        srgb,
    ),
    "parametric 4": (
        rgb(para(4, 2.0, 0.9, 0.0, 0.1, 0.2, 0.19, 0.0)),
        None,
        3,
        lambda x: np.where(x >= 0.2, (0.9 * x) ** 2 + 0.19, 0.1 * x),
    ),
    "a curve for each channel": (
        rgb(curv(256), curv(512), curv(461)),
        None,
        3,
        (lambda x: x, lambda x: x**2, lambda x: x ** (461 / 256)),
    ),
    "grey gamma": (grey(curv(512)), None, 1, lambda x: x**2),
    "grey parametric": (grey(para(0, 2.2)), None, 1, lambda x: x**2.2),
    "a profile before a statement": (rgb(curv()), "gamma-1.8", 3, lambda x: x),
    "stated sRGB": (None, "srgb", 3, srgb),
    "stated linear": (None, "linear", 1, lambda x: x),
    "stated gamma 1.8": (None, "gamma-1.8", 3, lambda x: x**1.8),
    "nothing known": (None, None, 3, srgb),
}


def table(icc: bytes | None, stated: str | None, bands: int) -> np.ndarray:
    return seen.table_of(colour.encoding_of(icc, stated, 16, bands))


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("name", CASES)
def test_both_steps_see_the_same_light(name: str, bits: int) -> None:
    icc, stated, bands, law = CASES[name]
    r = np.random.default_rng(4)
    codes = r.integers(0, 2**bits, (40, 50, bands)).astype([np.uint8, np.uint16][bits > 8])
    codes[0, :4] = [[0], [1], [2**bits - 2], [2**bits - 1]]
    laws = law if isinstance(law, tuple) else (law,) * bands
    wanted = np.stack([own(codes[..., k] / (2**bits - 1)) for k, own in enumerate(laws)], axis=-1)
    in_tone = colour.encoding_of(icc, stated, bits, bands).linear(codes)
    in_locate = seen.linear(codes, table(icc, stated, bands))
    assert np.abs(in_tone - wanted).max() < 1e-4
    assert np.abs(in_locate - wanted).max() < 1e-4


@pytest.mark.parametrize("bits", [8, 16])
def test_greys_of_a_profile_of_lookup_tables_are_the_same_light_in_both_steps(bits: int) -> None:
    """Colours are not: tables of one channel each cannot tell them."""
    icc = lut(1.8)
    codes = np.linspace(0, 2**bits - 1, 256).round().astype([np.uint8, np.uint16][bits > 8])
    codes = np.repeat(codes[None, :, None], 3, axis=2)
    in_tone = colour.encoding_of(icc, None, bits, 3).linear(codes)
    in_locate = seen.linear(codes, table(icc, None, 3))
    assert np.abs(in_locate - in_tone).max() < 1e-4
    law = (codes / (2**bits - 1)) ** 1.8
    # A lookup table of 33 steps of L* goes straight between them.
    assert np.abs(in_locate - law)[:, 16:].max() < 2e-3


def test_the_view_sees_each_channel_by_its_own_curve() -> None:
    icc, _, _, laws = CASES["a curve for each channel"]
    codes = np.full((60, 80, 3), 30000, np.uint16)
    codes[:20] = 65535
    view = look(codes, table(icc, None, 3), 1)
    wanted = [law(30000 / 65535) for law in laws]
    assert view.light[40, 40] == pytest.approx(wanted, abs=1e-4)


def test_one_curve_for_all_is_one_table() -> None:
    assert table(colour.srgb_profile(), None, 3).shape == (65536,)


# ------------------------------------------------------------------ the steps themselves


def broken_profiles() -> dict[str, bytes]:
    whole = rgb(curv(563))
    tag = whole.index(b"gTRC")
    return {
        "cut short": whole[:-40],
        "no green curve": whole[:tag] + b"none" + whole[tag + 4 :],
        "another colour space": whole[:16] + b"CMYK" + whole[20:],
        "grey for a colour master": grey(curv(512)),
        "a table that the colour engine refuses": lut(1.8).replace(b"mft2", b"mft9"),
    }


def write_master(path: Path, icc: bytes | None) -> None:
    """A print on a dark board, 600 x 480 px."""
    r = np.random.default_rng(1)
    codes = np.full((480, 600, 3), 6000, np.uint16)
    codes[60:420, 80:520] = r.integers(20000, 60000, (360, 440, 3))
    if icc is None:
        pyvips.Image.new_from_array(codes).copy(interpretation="rgb16").tiffsave(str(path))
        return
    # libvips leaves out a profile that does not fit; other software does not.
    capture = tiff.Capture(taken="2026:03:17 09:14:05")
    storage = tiff.Storage()
    tiff.write(
        path, iter([codes]), codes.shape, icc=icc, capture=capture, ppi=None, storage=storage
    )


def located(root: Path, **facts: str) -> dict:
    given = {
        "item": "PEH-0001",
        "masters": [{"path": "a.tif"}],
        "facts": Facts(**facts).as_dict(),
        "settings": {},
        "version": "test",
    }
    (root / "item").mkdir(exist_ok=True)
    do_step("locate", root, root / "item", given)
    return json.loads((root / "item" / "geometry.json").read_text())


def in_tone(icc: bytes) -> None:
    source = SimpleNamespace(bits=16, bands=3)
    section = msgspec.convert(settings.load({})["tone"], ToneSection)
    tone.plan(source, SimpleNamespace(frames=()), Facts(), icc, section)


@pytest.mark.parametrize("name", broken_profiles())
def test_a_broken_profile_holds_the_item_in_both_steps(tmp_path: Path, name: str) -> None:
    icc = broken_profiles()[name]
    write_master(tmp_path / "a.tif", icc)
    with pytest.raises(GlassineError) as caught:
        located(tmp_path)
    (finding,) = caught.value.findings
    assert (finding.code, finding.path, finding.severity) == ("tone.profile", "a.tif", "hold")
    with pytest.raises(GlassineError) as again:
        in_tone(icc)
    assert again.value.findings[0].code == "tone.profile"


def test_where_the_encoding_came_from_is_recorded(tmp_path: Path) -> None:
    write_master(tmp_path / "a.tif", None)
    for facts, by, name in (
        ({}, "assumption", "srgb"),
        ({"encoding": "linear"}, "batch.yaml", "linear"),
    ):
        record = located(tmp_path, **facts)
        told = record["event"]["detail"]["encodings"]["a.tif"]
        assert (told["by"], told["name"]) == (by, name)
        notes = record["masters"][0]["notes"]
        assert any("sRGB assumed" in note for note in notes) == (by == "assumption")
    write_master(tmp_path / "a.tif", rgb(curv(563)))
    told = located(tmp_path)["event"]["detail"]["encodings"]["a.tif"]
    assert (told["by"], told["name"]) == ("profile", "Rig")
