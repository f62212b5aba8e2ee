"""Several things on one board: prints side by side, a print with a ruler or patches beside it.

On a dark ground all that is lighter is first taken for one piece, as dark parts of a picture do not
show there. Where everything that differs from the ground is a rectangle of its own, with nothing
but ground between, it is several pieces.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from glassine.locate.view import (
    Floats,
    Layout,
    Mask,
    Patch,
    Piece,
    View,
    most_of,
    pieces_of,
    surface,
)

# A board sends back a few hundredths of the light and more; what is darker shows nothing darker.
BOARD, PAPER = 1.6, 0.12
# Share of its rectangle that a piece fills, and of the view that it covers at least.
FILLED, LEAST = 0.86, 0.004
# On black, lit parts of one picture may be rectangles too: there they are larger, and fill more.
FILLED_ON_BLACK, LEAST_ON_BLACK = 0.95, 0.02
# What is so many times as long as wide is a ruler or a row of patches.
RULER = 3.2


def apart(view: View, layout: Layout) -> Layout:
    """Return the layout with its pieces apart, where they are several on a dark ground."""
    grey = layout.ground == "light" and layout.tone > PAPER and _whole(view, layout)
    if (layout.ground != "dark" and not grey) or not layout.pieces:
        return layout
    on_board = layout.tone < BOARD
    away = _differing(view, layout) if on_board else _lighter(view, layout)
    pieces = pieces_of(view, away)
    least = (LEAST if on_board else LEAST_ON_BLACK) * view.grey.size
    large = [p for p in pieces if p.mask.sum() >= least]
    filled = FILLED if on_board else FILLED_ON_BLACK
    if len(large) < (1 if grey else 2) or min(_filling(p) for p in large) < filled:
        return layout
    if all(max(p.width, p.height) > RULER * min(p.width, p.height) for p in large):
        return layout  # rulers and rows of patches: the picture itself does not show here
    rest = sum(float(p.mask.sum()) for p in pieces) - sum(float(p.mask.sum()) for p in large)
    if rest > 0.05 * sum(float(p.mask.sum()) for p in large) or _overlap(large):
        return layout
    if not on_board and not _alike(large):
        return layout
    return replace(layout, pieces=large, look_again=None, apart=True)


def _whole(view: View, layout: Layout) -> bool:
    """Whether the texture of a grey ground was taken for one piece as large as the view."""
    return any(p.width * p.height > 0.9 * view.grey.size for p in layout.pieces)


def _differing(view: View, layout: Layout) -> Mask:
    """Return where the view differs from the board, lighter or darker, beyond its own texture."""
    near = _near_rim(view.v, layout.tone)
    step = max(1, min(view.grey.shape) // 250)
    rest = most_of(np.abs(view.v - surface(view.v, near, step)))
    smooth = cv2.blur(rest, (3, 3))
    spread = 1.4826 * float(np.median(smooth[near])) if near.any() else 1.0
    return np.asarray(smooth > max(0.04, 5 * spread))


def _near_rim(v: Floats, tone: float) -> Mask:
    """Return the pixels within a tenth of the view's edge that are about of the ground's tone."""
    h, w = v.shape[:2]
    n = max(3, round(0.1 * min(h, w)))
    chosen = np.ones((h, w), bool)
    chosen[n:-n, n:-n] = False
    return np.asarray(chosen & (np.abs(v.mean(2) - tone) < 0.15))


def _lighter(view: View, layout: Layout) -> Mask:
    """Return what is plainly lighter than a black ground."""
    return np.asarray(cv2.blur(view.grey, (3, 3)) < layout.tone - 0.3)


def _filling(piece: Piece) -> float:
    return float(piece.mask.sum() / max(piece.width * piece.height, 1.0))


def _overlap(pieces: list[Piece]) -> bool:
    """Whether the rectangles of two pieces overlap: they are parts of one thing, then."""
    boxes = [((*p.centre,), (p.width, p.height), p.angle_deg) for p in pieces]
    for k, one in enumerate(boxes):
        for other in boxes[:k]:
            kind, _ = cv2.rotatedRectangleIntersection(one, other)
            if kind != cv2.INTERSECT_NONE:
                return True
    return False


def _alike(pieces: list[Piece]) -> bool:
    """Whether the larger ones are of like size: prints or slides, and no windows lit at night."""
    areas = sorted((p.width * p.height for p in pieces), reverse=True)
    return areas[1] > 0.4 * areas[0] or max(areas) > 0.2 * pieces[0].mask.size


def alone(patch: Patch, piece: Piece, ground: Floats) -> Patch:
    """Return the patch with ground (c,) all round the piece, whatever else lies there."""
    return _covered(patch, ~_on_patch(patch, piece.mask), ground)


def without_others(patch: Patch, piece: Piece, pieces: list[Piece], ground: Floats) -> Patch:
    """Return the patch with ground (c,) where other pieces reach into it, as neighbours do that lie
    nearer than the ground that is left around it.
    """
    h, w = patch.v.shape[:2]
    corners = patch.points(np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float64))
    low, high = corners.min(0), corners.max(0)
    others = np.zeros((h, w), bool)
    for other in pieces:
        x, y, wide, high_px = other.box
        apart = x > high[0] or y > high[1] or x + wide < low[0] or y + high_px < low[1]
        if other.mask is not piece.mask and not apart:
            others |= _on_patch(patch, other.mask & ~piece.mask)
    return _covered(patch, others, ground) if others.any() else patch


def _on_patch(patch: Patch, mask: Mask) -> Mask:
    """Return where a mask of the view, a little widened, lies on a patch."""
    turn, shift = patch.to_view[:, :2], patch.to_view[:, 2]
    half = np.array([0.5, 0.5])
    h, w = patch.v.shape[:2]
    made = cv2.warpAffine(
        cv2.dilate(mask.astype(np.uint8), np.ones((5, 5), np.uint8)),
        np.c_[turn, turn @ half + shift - half],
        (w, h),
        flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP,
    )
    return np.asarray(made, bool)


def _covered(patch: Patch, where: Mask, ground: Floats) -> Patch:
    """Return the patch with ground (c,) in some places."""
    there = where[..., None]
    light = np.asarray(10.0 ** -ground.astype(np.float64), np.float32)
    return replace(
        patch,
        v=np.where(there, ground.astype(np.float32), patch.v),
        light_of=lambda: np.where(there, light, patch.light),
    )
