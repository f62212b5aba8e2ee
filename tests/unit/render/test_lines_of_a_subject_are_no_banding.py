"""Lines of a subject end with the picture; bands of lamp or sensor go on over the film base."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from glassine.base.model import Frame
from glassine.masters import colour
from glassine.render import quality
from makers.tone import frame_faults

HIGH, WIDE, BASE = 500, 760, 40
LINEAR = colour.encoding_of(None, "linear", 16, 1)
# Boards as wide as the picture, and bands of a lamp: 4 % RMS of light, as density.
BOARDS = 0.04 * np.sqrt(2) / np.log(10) * np.sin(2 * np.pi * np.arange(HIGH) / 40)[:, None]


def _said(density: np.ndarray, *, turned: bool = False) -> dict[str, object]:
    """Return what is said of banding in a picture with film base on its left (turned: above)."""
    codes = np.round(10.0 ** -np.maximum(density, 0.0) * 65535).astype(np.uint16)
    frame = _quad(BASE, WIDE)
    strip = _quad(0, BASE)
    if turned:
        codes = codes.T
        frame, strip = ([(y, x) for x, y in quad] for quad in (frame, strip))
        frame = [frame[0], frame[3], frame[2], frame[1]]
    codes = np.ascontiguousarray(codes)[..., None]
    whole = frame_faults.geometry(codes.shape[1], codes.shape[0], False)
    shape = Frame(1, cast(Any, tuple(frame)), 0.0, "negative", "monochrome")
    sight = SimpleNamespace(
        source=SimpleNamespace(reduced=codes, reduction=1),
        geometry=replace(whole, frames=cast(Any, (shape,)), base_regions=cast(Any, (strip,))),
        frame=shape,
    )
    plane = LINEAR.density(codes)[..., 0]
    return {name: value for name, value, _, _ in _with_why(sight, plane)}


def _with_why(sight: SimpleNamespace, plane: np.ndarray) -> list[tuple[str, object, str, str]]:
    return [(*each, "") for each in quality._banding(cast(Any, sight), LINEAR, plane)]


def _quad(left: int, right: int) -> list[tuple[int, int]]:
    return [(left, 0), (right, 0), (right, HIGH), (left, HIGH)]


def _film(base: float = 0.25) -> np.ndarray:
    density = np.full((HIGH, WIDE), 0.8)
    density[:, :BASE] = base
    return density + 0.01 * np.random.default_rng(5).standard_normal(density.shape)


@pytest.mark.parametrize("turned", [False, True])
def test_boards_that_end_at_the_film_base_raise_no_alarm(turned: bool) -> None:
    density = _film()
    density[:, BASE:] += BOARDS
    # Not 0: weaker bands may lie between the boards.
    assert _said(density, turned=turned)["banding_in_picture"] is None


@pytest.mark.parametrize("turned", [False, True])
def test_bands_that_go_on_over_the_film_base_are_found(turned: bool) -> None:
    found = _said(_film() + BOARDS, turned=turned)["banding_in_picture"]
    assert found == pytest.approx(4.0, rel=0.35)


def test_base_so_bright_that_it_is_clipped_denies_no_bands() -> None:
    density = _film(base=-0.2) + BOARDS
    found = _said(density)["banding_in_picture"]
    assert found == pytest.approx(4.0, rel=0.35)


def test_a_holder_without_light_denies_no_bands() -> None:
    density = _film(base=6.0) + BOARDS
    found = _said(density)["banding_in_picture"]
    assert found == pytest.approx(4.0, rel=0.35)


def test_base_beside_a_small_part_of_the_picture_denies_no_bands() -> None:
    density = _film() + BOARDS
    density[:, :BASE] = 0.25  # even, but only seen over 170 rows: see the strip below
    codes = np.round(10.0**-density * 65535).astype(np.uint16)[..., None]
    strip = [(0, 0), (BASE, 0), (BASE, 170), (0, 170)]
    shape = Frame(1, cast(Any, tuple(_quad(BASE, WIDE))), 0.0, "negative", "monochrome")
    whole = frame_faults.geometry(WIDE, HIGH, False)
    sight = SimpleNamespace(
        source=SimpleNamespace(reduced=codes, reduction=1),
        geometry=replace(whole, frames=cast(Any, (shape,)), base_regions=cast(Any, (strip,))),
        frame=shape,
    )
    plane = LINEAR.density(codes)[..., 0]
    found = dict(each[:2] for each in quality._banding(cast(Any, sight), LINEAR, plane))
    assert found["banding_in_picture"] == pytest.approx(4.0, rel=0.35)
