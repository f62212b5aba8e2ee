"""Film in a sleeve: the page of clear plastic is no piece, what lies in its pockets is.

A page differs a little from the table, and its welded seams from it; taken for one piece, film in
it is split at the seams or not at all. A page is told by its own clear, neutral tone, of which much
of it is, and by what lies in it: rectangles with an even edge of their own, as film has all round.
The pictures on a bare strip, or on a plate, have no such edge against the film between them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from glassine.locate.view import Floats, Layout, Mask, Piece, View, mean_of, pieces_of

# Plastic is so much denser than the table at the most, and its channels differ by no more.
CLEAR, NEUTRAL = 0.24, 0.07
# Share of a page that is of its own tone, within so much (density).
BARE, SAME = 0.03, 0.016
# What is denser than a page by more lies in it: tried in turn.
DENSER = (0.05, 0.09, 0.14, 0.2)
# Seams and writing are narrower than this share of the page's short side: tried in turn.
SEAMS = (0.02, 0.05)
# Share of its rectangle that a piece fills; share of the page that it takes at least, and all of
# them at most.
FILLED, LEAST, MOST = 0.9, 0.015, 0.985
# One piece alone is so many times as long as wide.
LONG = 1.9
# Share of the edge of a piece of film that is of one tone, within so much (density).
EVEN, EDGE = 0.45, 0.06
# A single piece as large as that is no less than what was taken for a page.
ALL = 0.99
# A perforation is no larger than this share of a page.
HOLE = 8e-4
# A stub of a seam is narrower than this share of the film that it lies against.
STUB = 0.15
# A page is looked at in a copy with this long side (px).
LONG_PX = 600
# A page takes this share of the view at least.
PAGE = 0.05


def opened(view: View, layout: Layout) -> Layout:
    """Return the layout with what lies in its sleeves as pieces, and the sleeves as its ground."""
    if layout.ground != "light" or not layout.pieces:
        return layout
    pages = [_held(view, layout.level, piece) for piece in layout.pieces]
    if not any(held for _, held in pages):
        return layout
    level, pieces = layout.level.copy(), []
    for piece, (tone, held) in zip(layout.pieces, pages, strict=True):
        plain = None if held else _plain(view, layout.level, piece)
        if plain is None:
            pieces += held or [piece]
        if held or plain is not None:
            own = np.float32(tone if held else plain)
            x, y, w, h = piece.box
            box = np.s_[y : y + h, x : x + w]
            np.copyto(level[box], layout.level[box] + own, where=piece.mask[box][..., None])
    pieces.sort(key=lambda each: -float(each.mask.sum()))
    return replace(layout, level=level, pieces=pieces, apart=True)


def _plain(view: View, level: Floats, piece: Piece) -> float | None:
    """Return the tone of a piece that is a part of a page with nothing in it, or None."""
    x, y, w, h = piece.box
    box = np.s_[y : y + h : 2, x : x + w : 2]
    mask = piece.mask[box]
    if not mask.any():
        return None
    grey = cv2.blur(mean_of(view.v[box] - level[box]), (3, 3))
    low, tone, high = np.percentile(grey[mask], (1, 50, 98))
    return float(tone) if tone < CLEAR / 2 and high - low < 5 * SAME else None


@dataclass(frozen=True)
class _Page:
    """A piece that may be a page, in a copy with the long side LONG_PX. off: (h, w, c) tones
    against the table, grey: their mean; own: (h, w) mean tones; short: its shorter side, px.
    """

    off: Floats
    grey: Floats
    own: Floats
    mask: Mask
    short: float

    @classmethod
    def of(cls, view: View, level: Floats, piece: Piece) -> _Page:
        x, y, w, h = piece.box
        box = np.s_[y : y + h, x : x + w]
        factor = min(1.0, LONG_PX / max(w, h))
        size = max(8, round(w * factor)), max(8, round(h * factor))

        def small(a: Floats) -> Floats:
            made = cv2.resize(np.ascontiguousarray(a), size, interpolation=cv2.INTER_AREA)
            return np.asarray(made.reshape(size[1], size[0], -1), np.float32)

        off = small(view.v[box]) - small(level[box])
        mask = small(piece.mask[box].astype(np.float32))[..., 0] > 0.5
        short = factor * min(piece.width, piece.height)
        return cls(off, mean_of(off), small(view.grey[box])[..., 0], mask, short)


def _held(view: View, level: Floats, piece: Piece) -> tuple[float, list[Piece]]:
    """Return the tone of a page against the table, and the pieces in it; none if it is no page."""
    if piece.mask.mean() < PAGE:
        return 0.0, []
    page = _Page.of(view, level, piece)
    tone = _page_tone(page.grey, page.off, page.mask)
    if tone is None:
        return 0.0, []
    best: tuple[tuple[int, float], float, list[Mask]] = (0, 0.0), 0.0, []
    for denser in DENSER:
        limit = tone + max(denser, 6 * view.noise)
        away = (page.grey > limit) & page.mask
        if not LEAST < float(away.sum()) / float(page.mask.sum()) < MOST:
            continue
        away = _without_holes(away, page.mask)
        for seam in SEAMS:
            held, filled = _rectangles(page, away, max(3, round(seam * page.short)))
            edged = sum(_edged(page, each) for each in held)
            if edged >= 0.5 * len(held) and (edged, filled) > best[0]:
                best = (edged, filled), limit, held
    if not best[2] or (len(best[2]) == 1 and best[2][0].sum() > ALL * page.mask.sum()):
        return 0.0, []
    return tone, _at_view(view, level, piece, best[2], best[1])


def _at_view(
    view: View, level: Floats, piece: Piece, held: list[Mask], limit: float
) -> list[Piece]:
    """Return the pieces at the view's own scale. limit: tone against the table, from which on."""
    x, y, w, h = piece.box
    box = np.s_[y : y + h, x : x + w]
    places = cv2.dilate(np.any(held, axis=0).astype(np.uint8), np.ones((3, 3), np.uint8))
    places = cv2.resize(places, (w, h), interpolation=cv2.INTER_NEAREST)
    whole = np.zeros(view.grey.shape, bool)
    whole[box] = (view.grey[box] - mean_of(level[box]) > limit) & (places > 0)
    return [each for each in pieces_of(view, whole) if each.mask.sum() > LEAST * piece.mask.sum()]


def _page_tone(grey: Floats, off: Floats, mask: Mask) -> float | None:
    """Return the clearest tone that much of a piece is of; None where that is no clear plastic."""
    tones = np.sort(grey[::2, ::2][mask[::2, ::2]])
    n = len(tones)
    right = np.searchsorted(tones, tones + 2 * SAME)
    dense = np.flatnonzero(right - np.arange(n) > BARE * n)
    if not len(dense) or not -0.1 < tones[dense[0]] < CLEAR:
        return None
    # The clearest peak: the fullest interval within reach of the first that is full enough.
    near = dense[tones[dense] < tones[dense[0]] + 2 * SAME]
    first = int(near[np.argmax((right - np.arange(n))[near])])
    tone = float(np.median(tones[first : right[first]]))
    own = off[(np.abs(grey - tone) < SAME) & mask]
    channels = np.median(own, axis=0)
    return tone if tone < CLEAR and float(np.ptp(channels)) < NEUTRAL else None


def _without_holes(away: Mask, mask: Mask) -> Mask:
    """Return a mask with its small holes filled, as perforations are."""
    _, parts, stats, _ = cv2.connectedComponentsWithStats((~away).astype(np.uint8), connectivity=4)
    sizes = stats[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]]
    # The gap between film and a seam beside it is no hole.
    compact = stats[:, cv2.CC_STAT_AREA] > 0.5 * sizes.prod(1)
    compact &= sizes.max(1) < 3 * sizes.min(1)
    chosen = compact & (stats[:, cv2.CC_STAT_AREA] < HOLE * mask.sum())
    chosen[0] = False
    return np.asarray(away | chosen[parts])


def _rectangles(page: _Page, away: Mask, seam: int) -> tuple[list[Mask], float]:
    """Return the rectangles left in a page once what is narrower than a seam (px) is taken off, and
    how well they fill their outlines on the whole; none where something else is left.
    """
    kernel = np.ones((seam, seam), np.uint8)
    left = cv2.morphologyEx(away.astype(np.uint8), cv2.MORPH_OPEN, kernel)
    contours, _ = cv2.findContours(left, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    least = LEAST * float(page.mask.sum())
    large = [each for each in contours if cv2.contourArea(each) > least]
    boxes = [cv2.minAreaRect(each) for each in large]
    sizes = [(max(size) + 1, min(size) + 1) for _, size, _ in boxes]
    areas = [cv2.contourArea(each) for each in large]
    if not large or sum(areas) > MOST * float(page.mask.sum()):
        return [], 0.0
    shares = [area / (a * b) for area, (a, b) in zip(areas, sizes, strict=True)]
    if min(shares) < FILLED or (len(large) == 1 and sizes[0][0] < LONG * sizes[0][1]):
        return [], 0.0
    out = []
    for each in large:
        drawn = np.zeros(away.shape, np.uint8)
        cv2.drawContours(drawn, [each], -1, 1, -1)
        out.append(_without_stubs(drawn, min(cv2.minAreaRect(each)[1])).astype(bool))
    return out, float(np.mean(shares))


def _without_stubs(drawn: npt.NDArray[np.uint8], short: float) -> npt.NDArray[np.uint8]:
    """Return a rectangle without the stubs of seams that it lies against. short: its short side."""
    n = max(3, round(STUB * short))
    return np.asarray(cv2.morphologyEx(drawn, cv2.MORPH_OPEN, np.ones((n, n), np.uint8)), np.uint8)


def _edged(page: _Page, mask: Mask) -> bool:
    """Whether a piece has an even edge of its own, clearer than what it encloses, or black."""
    x, y, w, h = cv2.boundingRect(mask.astype(np.uint8))
    part = np.pad(mask[y : y + h, x : x + w].astype(np.uint8), 1)
    short = min(w, h)
    outer = cv2.erode(part, np.ones((2 * max(1, round(0.012 * short)) + 1,) * 2, np.uint8))
    inner = cv2.erode(part, np.ones((2 * max(3, round(0.035 * short)) + 1,) * 2, np.uint8))
    outer, inner = outer[1:-1, 1:-1], inner[1:-1, 1:-1]
    grey = page.own[y : y + h, x : x + w]
    tones = np.sort(grey[(outer > 0) & (inner == 0)])
    if len(tones) < 40 or not inner.any():
        return False
    right = np.searchsorted(tones, tones + EDGE)
    first = int((right - np.arange(len(tones))).argmax())
    if right[first] - first < EVEN * len(tones):
        return False
    edge = float(np.median(tones[first : right[first]]))
    return edge > 1.2 or edge < float(np.percentile(grey[inner > 0], 30)) + 0.02
