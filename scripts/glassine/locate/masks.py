"""An opaque mask on the table: what lies in its opening is looked at as if nothing else were there."""  # noqa: E501

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from glassine.locate.view import Layout, Mask, Piece, View, survey

# What has no source was set on the scenes that `tests/benchmarks/locate` draws.
# Width of the band just inside the opening's edge, and how far inside it begins (share of the
# shorter side): blur and a bevelled edge lie outside of it.
BAND = 0.012
# Pixels that the band has at the least, for its tones to say something.
BAND_PX = 50
# The band is light table where nearly all of it (per cent) is lighter than this tone, and nothing
# inside (but this per cent of it) is lighter than the band by so much.
TABLE_PERCENT, TABLE_TONE = 85, 0.1
LIGHTEST_PERCENT, LIGHTER = 2, 0.05
# Share of the opening that film in it covers: specks in something white are what a print shows.
FILM_SHARE = 0.1
# Nothing but card and metal is denser than this all over; so much of it may shine, at its rim.
# What covers the table beside film reaches so many of the master's edges.
OPAQUE, SHINES, REACHES = 1.6, 0.03, 2


@dataclass(frozen=True)
class Opening:
    """The opening of a mask. width, height: view px; tone: of the mask."""

    width: float
    height: float
    tone: float


@dataclass(frozen=True)
class Inside:
    """What an opening shows: the view with all else as light as its table, and what lies there."""

    opening: Opening
    view: View
    layout: Layout


def inside(view: View, layout: Layout, kind: str) -> Inside | None:
    """Return what lies in a mask's opening onto the light table; None where there is no such.

    kind: of material, as stated, or `auto`: an upright opening is then none of a mask.
    """
    if layout.ground != "dark" or len(layout.pieces) != 1:
        return None
    piece = layout.pieces[0]
    size = max(3, round(BAND * min(piece.width, piece.height)))
    inner = _shrunk(piece.mask.astype(np.uint8), size)
    band = (inner > 0) & (_shrunk(inner, size) == 0)
    tones = view.grey[band]
    if tones.size < BAND_PX or (piece.width / max(piece.height, 1) < 1.0 and kind == "auto"):
        return None
    if (
        np.percentile(tones, TABLE_PERCENT) > TABLE_TONE
        or np.percentile(view.grey[inner > 0], LIGHTEST_PERCENT) < np.median(tones) - LIGHTER
    ):
        return None
    shown = _shown(view, inner > 0, band)
    nested = survey(shown)
    if nested.ground != "light" or not nested.pieces or not _enough(nested, piece):
        return None
    return Inside(Opening(piece.width, piece.height, layout.tone), shown, nested)


def covers(view: View, layout: Layout, piece: Piece) -> bool:
    """Whether a piece on a light table is a part of a mask that lies over it: opaque all over, and
    so large that it reaches beyond the master.
    """
    if layout.ground != "light" or sum(piece.touches) < REACHES:
        return False
    inner = piece.mask & (_shrunk(piece.mask.astype(np.uint8), 2) > 0)
    return bool(inner.any() and (view.grey[inner] < OPAQUE).mean() < SHINES)


def opaque_areas(grey: npt.NDArray[np.float32]) -> Mask:
    """Return (h, w) where opaque areas lie that reach beyond the master: parts of a mask.

    Film that is black from light, or its black rebate, reaches one edge of the master at the most.
    """
    _, parts = cv2.connectedComponents((grey > OPAQUE).astype(np.uint8), connectivity=4)
    edges = [parts[0], parts[-1], parts[:, 0], parts[:, -1]]
    reached = np.concatenate([np.unique(edge) for edge in edges])
    numbers, times = np.unique(reached[reached > 0], return_counts=True)
    return np.asarray(np.isin(parts, numbers[times >= REACHES]))


def _shrunk(mask: npt.NDArray[np.uint8], size: int) -> npt.NDArray[np.uint8]:
    return np.asarray(cv2.erode(mask, np.ones((2 * size + 1,) * 2, np.uint8)), np.uint8)


def _enough(nested: Layout, piece: Piece) -> bool:
    largest = max(float(p.mask.sum()) for p in nested.pieces)
    return largest >= FILM_SHARE * float(piece.mask.sum())


def _shown(view: View, inner: Mask, band: Mask) -> View:
    """Return the view with everything outside the opening as light as the table in it."""
    tones = view.grey[band]
    return View(
        np.where(inner[..., None], view.light, np.float32(10 ** -np.median(tones))),
        np.where(inner[..., None], view.v, np.median(view.v[band], axis=0)),
        np.where(inner, view.grey, np.median(tones)).astype(np.float32),
        view.reduction,
        view.white,
        view.noise,
    )
