"""What a master shows of how it lay, as notes: nothing is turned or mirrored for it. What speaks
against a statement is for review.

Two things tell: labels beside the film, which were laid to be read, and the code notch of sheet
film. Both can mislead (a label laid from the other side of the table; a corner that was cut), so
they only suggest what a person may state.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base import film
from glassine.base.model import Facts, MasterGeometry
from glassine.locate import cut_corner
from glassine.locate.turn import ORIENTATIONS

# Words by which a note of a mirrored label is known.
_READS_MIRRORED = "reads mirrored, so the master"
# A label lies upside down within this angle (degrees).
_ABOUT_DEG = 30.0
# Places along a side, and across it: from this share of the shorter side outside of the sheet to
# this far within.
_ALONG, _ACROSS = 1200, 64
_OUT, _IN = 0.012, 0.040
# A notch, or several together: depth and width as shares of the shorter side, and where on its side
# it lies, from the corner. Common practice, no source: 0.6 to 3 mm deep and 1.2 to 25 mm wide on
# film of 100 mm, within the quarter of a short side that is next to a corner.
_DEPTH = (0.006, 0.032)
_WIDTH = (0.012, 0.25)
_PLACE = (0.025, 0.30)
# What is narrower than so many places is no part of a notch.
_LEAST_ALONG = 3
# Notches nearer to one another than this share of the side belong together.
_TOGETHER = 0.06
# Sides can be told apart as short and long from this proportion on.
_LONGER = 1.08
# The table must differ by so many levels of 255 from the film's border, and by so many times the
# border's noise.
_CONTRAST, _NOISE = 10.0, 4.0


def suggestions(
    preview: npt.NDArray[np.uint8],
    geometry: MasterGeometry,
    facts: Facts,
    orientation: int,
    turn: tuple[int, bool],
) -> tuple[str, ...]:
    """Return notes on what speaks for another turn or mirroring than the pictures have.

    preview: the whole master as seen, (h, w, 3). geometry: with labels, coordinates in master px.
    orientation: the TIFF's. turn: how the pictures are turned, as (clockwise degrees, mirrored).
    """
    mirrored_file = ORIENTATIONS[orientation][1]
    mirrored = turn[1] != mirrored_file  # for the side of the emulsion
    found = [
        note
        for label in geometry.labels
        for note in _of_label(label, facts, turn[0], mirrored_file, mirrored)
    ]
    if geometry.kind == "sheet" and geometry.object_corners is not None:
        scale = preview.shape[1] / geometry.width
        toward = emulsion_toward(
            _grey(preview), np.array(geometry.object_corners, np.float64) * scale
        )
        if toward is not None and (toward != mirrored_file) != mirrored:
            found.append(NOTCH_TOWARD if toward != mirrored_file else NOTCH_AWAY)
    return tuple(found)


def notches(preview: npt.NDArray[np.uint8], geometry: MasterGeometry) -> str | None:
    """Return the shape of the code notch of sheet film whose scale is known, see `notch_code`.

    preview: the whole master as seen, (h, w, 3). geometry: coordinates in master px.
    """
    if geometry.kind != "sheet" or geometry.object_corners is None or not geometry.ppi:
        return None
    scale = preview.shape[1] / geometry.width
    outline = np.array(geometry.object_corners, np.float64) * scale
    return notch_code(_grey(preview), outline, film.px_per_mm(geometry.ppi) * scale)


def corner_cut(preview: npt.NDArray[np.uint8], geometry: MasterGeometry) -> int | None:
    """Return which corner of a sheet is cut off, as `notches`; see `cut_corner`."""
    if geometry.kind != "sheet" or geometry.object_corners is None:
        return None
    scale = preview.shape[1] / geometry.width
    outline = np.array(geometry.object_corners, np.float64) * scale
    return cut_corner.cut_corner(_grey(preview), outline)


def _grey(preview: npt.NDArray[np.uint8]) -> npt.NDArray[np.float32]:
    total = preview[..., 0].astype(np.uint16) + preview[..., 1] + preview[..., 2]
    return np.asarray(total / 3.0, np.float32)


def contradicted(suggested: Sequence[str], facts: Facts) -> list[str]:
    """Return what of the notes speaks against the side of the emulsion as it is stated, by
    batch.yaml or by the name of the file: reasons for a person to look.
    """
    found = []
    if NOTCH_AWAY in suggested:
        found.append(
            "mirrored, as the emulsion is stated to lie toward the camera, but the code notch of "
            "the sheet says that it lay away: see whether writing reads right"
        )
    if facts.emulsion_side != "away":
        return found
    if NOTCH_TOWARD in suggested:
        found.append(
            "batch.yaml states `emulsion_side: away`, but the code notch of the sheet says that "
            "the emulsion lay toward the camera: see whether writing reads right"
        )
    if any(_READS_MIRRORED in note for note in suggested):
        found.append(
            "batch.yaml states `emulsion_side: away`, but a label beside the picture reads mirrored"
        )
    return found


# ------------------------------------------------------------------ labels


def _of_label(
    label: dict[str, Any], facts: Facts, turned: int, mirrored_file: bool, mirrored: bool
) -> list[str]:
    found = []
    name = f"The label {label['text']!r}"
    if bool(label.get("mirrored")) != mirrored_file and not mirrored and _shows_sides(label):
        found.append(
            f"{name} {_READS_MIRRORED} as a whole seems to be mirrored, and its "
            "pictures with it. Where they are, state `emulsion_side: toward` in batch.yaml, or "
            "mirror them on the review page."
        )
    if upside_down(label, turned):
        doubt = " or is mirrored (its bars do not tell which)" if _is_bars(label) else ""
        found.append(
            f"{name} stands upside down{doubt}. Where the pictures do too, state `rotate: "
            f"{(facts.rotate + 180) % 360}` in batch.yaml, or turn them on the review page."
        )
    return found


def _shows_sides(label: dict[str, Any]) -> bool:
    """Return whether a mirrored label of this form would have been seen to be one."""
    return str(label["format"]).startswith("QR")


def _is_bars(label: dict[str, Any]) -> bool:
    return str(label["format"]).startswith("Code")


def upside_down(label: dict[str, Any], turned: int) -> bool:
    """Return whether the label's foot points up once its master is turned clockwise."""
    corners = np.array(label["corners"], np.float64)
    right, down = corners[1] - corners[0], corners[3] - corners[0]
    if label.get("mirrored"):  # its corners come with rows and columns exchanged
        down = right
    elif _is_bars(label):  # bars tell where they begin, not which end of them is up
        down = np.array([-right[1], right[0]])
    foot = np.degrees(np.arctan2(down[1], down[0])) + turned
    return bool(abs((foot + 90 + 180) % 360 - 180) <= _ABOUT_DEG)


# ------------------------------------------------------------------ the notch of sheet film

_RULE = (
    "common practice: in the upper right corner of the upright sheet where the emulsion faces the "
    "viewer"
)
NOTCH_TOWARD = (
    f"The code notch of the sheet ({_RULE}) says that the emulsion lay toward the camera, so the "
    "picture is seen mirrored. Where writing in it shows that too, state `emulsion_side: toward`."
)
NOTCH_AWAY = (
    f"The code notch of the sheet ({_RULE}) says that the emulsion lay away from the camera, but "
    "the picture was mirrored. See whether writing in it reads right."
)


def emulsion_toward(grey: npt.NDArray[np.float32], outline: npt.NDArray[np.float64]) -> bool | None:
    """Return whether a sheet's notch shows its emulsion toward the camera, None where unclear.

    grey: (h, w). outline: the sheet's corners in its px, top-left first, clockwise. Turning the
    sheet changes nothing: clockwise along the short side that has the notch, the notch lies near
    its end where the emulsion is toward the camera, near its beginning where it is away.
    """
    found = _notch(grey, outline)
    return None if found is None else found.middle > 0.5


def notch_code(
    grey: npt.NDArray[np.float32], outline: npt.NDArray[np.float64], px_per_mm: float
) -> str | None:
    """Return the shape of a sheet's code notch: the depth of each of its parts in half millimetres,
    from the corner on, as "3-2-3"; None where it is unclear. Turned or mirrored, it is the same.

    px_per_mm: of `grey`.
    """
    found = _notch(grey, outline)
    if found is None:
        return None
    parts = [(a, b) for a, b in _runs(found.deep, 1) if b - a >= _LEAST_ALONG]
    depths = [float(found.depth[first : last + 1].max()) for first, last in parts]
    halves = [max(1, round(2 * depth * found.short / px_per_mm)) for depth in depths]
    return "-".join(str(half) for half in (halves[::-1] if found.middle > 0.5 else halves)) or None


@dataclass(frozen=True)
class _Notch:
    """The code notch of a sheet. middle: where along its side, 0 to 1, clockwise; deep: of each
    place along it whether the table reaches in; depth: how far, as shares of `short`, px."""

    middle: float
    deep: npt.NDArray[np.bool_]
    depth: npt.NDArray[np.float64]
    short: float


def _notch(grey: npt.NDArray[np.float32], outline: npt.NDArray[np.float64]) -> _Notch | None:
    """Return the one place on a short side where a sheet has its notch, None where unclear."""
    sides = [np.hypot(*(outline[(k + 1) % 4] - outline[k])) for k in range(4)]
    across, down = (sides[0] + sides[2]) / 2, (sides[1] + sides[3]) / 2
    short = float(min(across, down))
    if short <= 0 or max(across, down) < _LONGER * short:
        return None
    notches = [
        (sides[k] < _LONGER**0.5 * short, notch)
        for k in range(4)
        for notch in _notches(grey, outline, k, short)
    ]
    # Where there are several places, or one on a long side, it is damage as likely as a notch.
    if len(notches) != 1 or not notches[0][0]:
        return None
    notch = notches[0][1]
    near = min(notch.middle, 1 - notch.middle)
    return notch if _PLACE[0] <= near <= _PLACE[1] else None


def _notches(
    grey: npt.NDArray[np.float32], outline: npt.NDArray[np.float64], side: int, short: float
) -> list[_Notch]:
    """Return where along a side the table reaches into the sheet."""
    band = _band(grey, outline, side, short)
    rows = np.linspace(-_OUT, _IN, _ACROSS)
    ends = slice(round(0.02 * _ALONG), round(0.98 * _ALONG))
    table = float(np.median(band[rows < -0.004]))
    border = band[(rows > 0.004) & (rows < 0.012), ends]
    level = float(np.median(border))
    noise = float(np.median(np.abs(border - level))) * 1.4826
    if abs(table - level) < max(_CONTRAST, _NOISE * noise):
        return []
    bright = (band - level) / (table - level) > 0.5
    inside = bright[rows > 0.003]
    # How far the table reaches in without a gap, as a share of the shorter side.
    depth = np.cumprod(inside, axis=0).sum(axis=0) * (_OUT + _IN) / (_ACROSS - 1) + 0.003
    deep = depth >= _DEPTH[0]
    deep[: ends.start], deep[ends.stop :] = False, False
    length = np.hypot(*(outline[(side + 1) % 4] - outline[side]))
    found = []
    for first, last in _runs(deep, round(_TOGETHER * _ALONG)):
        wide = (last - first + 1) / _ALONG * length / short
        if wide >= _WIDTH[0]:
            fits = wide <= _WIDTH[1] and depth[first : last + 1].max() <= _DEPTH[1]
            # What is too wide or deep for a notch is damage, which makes all of it unclear.
            own = np.zeros(_ALONG, bool)
            own[first : last + 1] = deep[first : last + 1]
            notch = _Notch((first + last) / 2 / _ALONG, own, depth, short)
            found += [notch] * (1 if fits else 2)
    return found


def _runs(deep: npt.NDArray[np.bool_], together: int) -> list[tuple[int, int]]:
    """Return first and last place of each stretch, those near one another as one."""
    found: list[tuple[int, int]] = []
    for place in np.flatnonzero(deep):
        if found and place - found[-1][1] <= together:
            found[-1] = found[-1][0], int(place)
        else:
            found.append((int(place), int(place)))
    return found


def _band(
    grey: npt.NDArray[np.float32], outline: npt.NDArray[np.float64], side: int, short: float
) -> npt.NDArray[np.float32]:
    """Return the values about a side, (_ACROSS, _ALONG): rows from outside inwards."""
    a, b = outline[side], outline[(side + 1) % 4]
    along = (b - a) / np.hypot(*(b - a))
    inwards = np.array([-along[1], along[0]])
    t = np.linspace(0, 1, _ALONG)[None, :, None]
    s = np.linspace(-_OUT, _IN, _ACROSS)[:, None, None] * short
    points = (a + t * (b - a) + s * inwards - 0.5).astype(np.float32)
    return cv2.remap(
        grey, points[..., 0], points[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    ).astype(np.float32)
