"""The corner of a sheet that its maker or a holder cut off: where it lies, as a suggestion.

Nothing published says which corner of which film is cut, so its place alone turns nothing. Film of
one kind has it in one place: of captures of one item, those that show it elsewhere were turned or
laid with the other side up (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

from glassine.locate.shapes import Doubles
from glassine.locate.view import Floats

# A corner is looked at so far along both sides (share of the shorter one), in so many steps.
_REACH, _STEPS = 0.10, 40
# A cut takes this much of both sides, about as much of either; a corner that is whole takes less.
# Film is cut by 2 to 8 mm of 100 (common practice, no source).
_LEGS, _ALIKE, _WHOLE = (0.02, 0.085), 1.5, 0.01
# Of the triangle that is cut off and of what lies beyond it, so much shows the table.
_WITHIN, _BEYOND = 0.92, 0.06
# Levels of 255 by which the table differs from the sheet's border at the least.
_CONTRAST = 15.0
# The corners as they are named once the picture stands as it is shown.
NAMES = ("top left", "top right", "bottom right", "bottom left")


def cut_corner(grey: Floats, outline: Doubles) -> int | None:
    """Return which corner of a sheet is cut off, None where none is, several are, or it is unclear.

    One corner alone that is worn round may pass for one that is cut.

    grey: (h, w), 0 to 255. outline: the sheet's corners in its px, top left first, clockwise, as if
    it were whole.
    """
    sides = np.roll(outline, -1, axis=0) - outline
    lengths = np.hypot(*sides.T)
    short = float(lengths.min())
    if short < 4 * _STEPS:
        return None
    legs = [_legs(grey, outline, sides / lengths[:, None], k, short) for k in range(4)]
    if any(each is None for each in legs):
        return None
    cut = [k for k, each in enumerate(legs) if each]
    return cut[0] if len(cut) == 1 else None


def _legs(
    grey: Floats, outline: Doubles, along: Doubles, corner: int, short: float
) -> tuple[float, float] | tuple[()] | None:
    """Return how much of both sides a cut takes, () for a whole corner, None where unclear."""
    steps = (np.arange(_STEPS) + 0.5) / _STEPS * _REACH
    to_next, to_last = along[corner], -along[corner - 1]
    shown = _shown(grey, outline[corner], to_next, to_last, steps * short)
    border = float(np.median(np.r_[shown[2:6, -10:].ravel(), shown[-10:, 2:6].ravel()]))
    beside = np.array([-0.014, -0.012, -0.010]) * short
    table = float(np.median(_shown(grey, outline[corner], to_next, to_last, beside)))
    if abs(table - border) < _CONTRAST:
        return None
    open_ = (shown - border) / (table - border) > 0.5
    # The outline is known to a step or two: the first places are passed over.
    rows, columns = open_[2:4], open_[:, 2:4]
    legs = [
        _REACH * _first_shut(rows[0] & rows[1]),
        _REACH * _first_shut(columns[:, 0] & columns[:, 1]),
    ]
    if max(legs) < _WHOLE:
        return ()
    low, high = min(legs), max(legs)
    if not (_LEGS[0] <= low and high <= _LEGS[1] and high <= _ALIKE * low):
        return None
    # 1 on the cut itself, less towards the corner.
    over = steps[None] / legs[0] + steps[:, None] / legs[1]
    inner = steps > 2.5 * _REACH / _STEPS
    inside = inner[None] & inner[:, None]
    within, beyond = open_[inside & (over < 0.85)], open_[inside & (over > 1.3)]
    if within.size < 4 or within.mean() < _WITHIN or beyond.mean() > _BEYOND:
        return None
    return legs[0], legs[1]


def _shown(grey: Floats, corner: Doubles, first: Doubles, other: Doubles, px: Doubles) -> Floats:
    """Return (len(px), len(px)): rows away from the corner along `other`, columns along `first`."""
    points = corner + px[None, :, None] * first + px[:, None, None] * other - 0.5
    x, y = (np.ascontiguousarray(points[..., k], np.float32) for k in (0, 1))
    made = cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(made, np.float32).reshape(len(px), len(px))


def _first_shut(open_: npt.NDArray[np.bool_]) -> float:
    """Return the share of a side from the corner on that shows the table."""
    shut = np.flatnonzero(~open_[2:])
    return (shut[0] + 2) / _STEPS if shut.size and shut[0] else 0.0 if shut.size else 1.0


def shown_at(corner: int, turn: tuple[int, bool]) -> str:
    """Return where a corner of the master lies in the picture as it is shown.

    turn: clockwise degrees, then mirrored left-right.

    >>> shown_at(0, (90, False)), shown_at(0, (0, True)), shown_at(0, (90, True))
    ('top right', 'top right', 'top left')
    """
    turned = (corner + turn[0] // 90) % 4
    return NAMES[(1, 0, 3, 2)[turned] if turn[1] else turned]


def note(place: str, others: Sequence[str]) -> str:
    """Return what is said of a cut corner. others: where other captures of the item show it."""
    here = f"One corner of the sheet is cut off, {place} as the picture is shown"
    elsewhere = sorted({each for each in others if each != place})
    if not elsewhere:
        return f"{here}."
    return (
        f"{here}, and {' or '.join(elsewhere)} in other captures of the item: one of them was "
        "turned, or laid with the other side up."
    )
