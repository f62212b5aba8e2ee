"""What a small trained network takes for picture on the reduced copy of a master.

The network has seen drawn scenes alone (`tests/training`). It knows no measures and finds no
frames: it says of each pixel of a coarse view whether it looks like picture, and whether it looks
like the edge of one. It is a witness beside the finder, that was made in another way and errs in
other ways; it never moves a frame.

All its sums are of whole numbers that float32 holds exactly (`tests/training/network.py`), so that
its scores are the same on every processor, whatever instructions OpenCV takes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base import processor
from glassine.locate.shapes import Doubles
from glassine.locate.view import Floats, Mask, View, tone

FILE = Path(__file__).with_name("learned.onnx")
CLASSES = ("ground", "carrier", "film", "picture", "perforation", "label")
# The view is made as small as those that the network was trained with: so many pixels at most,
# so many along its longer side, and sides that can be halved four times.
MOST_PX = 98_304
LONGEST_PX = 640
MULTIPLE = 16
# Tones are whole steps: so many a unit of density, up to that of FLOOR in `view`.
STEPS = 400
GREATEST = 1080
# Scores come in 32nds; a score of 0 is an even chance, one of 4 is 98 %.
UNIT = 32
FIRM = 4.0


@dataclass(frozen=True)
class Seen:
    """What the network sees. All (h, w) of the coarse view.

    picture, edge: share, 0 to 1, from whole scores; kind: index into CLASSES; scale: px of the
    coarse view a px of the reduced copy, across and down.
    """

    picture: Floats
    edge: Floats
    kind: npt.NDArray[np.uint8]
    scale: tuple[float, float]


@cache
def _network() -> Any:
    return cv2.dnn.readNetFromONNX(np.fromfile(FILE, np.uint8))


def prepare() -> None:
    """Read the network, once a process."""
    with processor.whole_numbers():
        _network()


def tones_of(view: View) -> npt.NDArray[np.uint16]:
    """Return the coarse view as the network takes it: (h, w, 3) whole steps, 0 the brightest."""
    h, w = view.light.shape[:2]
    k = min(1.0, LONGEST_PX / max(h, w), float(np.sqrt(MOST_PX / (h * w))))
    size = max(1, round(w * k)), max(1, round(h * k))
    light = cv2.resize(view.light, size, interpolation=cv2.INTER_AREA)
    light = np.asarray(light, np.float32).reshape(size[1], size[0], -1)
    if light.shape[2] == 1:
        light = light.repeat(3, 2)
    v = tone(np.minimum(light, np.float32(1)))
    return np.asarray(np.clip(np.rint(v * np.float32(STEPS)), 0, GREATEST), np.uint16)


def scores_of(tones: npt.NDArray[np.uint16]) -> Floats:
    """Return (classes + 1, h, w) scores, the last of edges, of (h, w, 3) tones."""
    h, w = tones.shape[:2]
    below, right = -h % MULTIPLE, -w % MULTIPLE
    padded = cv2.copyMakeBorder(tones, 0, below, 0, right, cv2.BORDER_REPLICATE)
    with processor.whole_numbers():
        net = _network()
        net.setInput(np.ascontiguousarray(padded.transpose(2, 0, 1)[None], dtype=np.float32))
        out = np.asarray(net.forward(), np.float32)[0, :, :h, :w]
    return np.asarray(out / np.float32(UNIT))


def _share(score: Floats) -> Floats:
    """Return scores as shares: by double precision of quarters, so that all processors agree."""
    rounded = np.asarray(np.rint(np.clip(score, -12, 12) * 4) / 4, np.float64)
    return np.asarray(1 / (1 + np.exp(-rounded)), np.float32)


def seen_in(scores: Floats, scale: tuple[float, float]) -> Seen:
    """Return what (classes + 1, h, w) scores say; scale: see `Seen`."""
    classes, at = scores[:-1], CLASSES.index("picture")
    others = np.delete(classes, at, 0).max(0)
    kind = np.asarray(classes.argmax(0), np.uint8)
    return Seen(_share(classes[at] - others), _share(scores[-1]), kind, scale)


def seen(view: View) -> Seen:
    """Return what the network sees of a view."""
    scores = scores_of(tones_of(view))
    h, w = view.light.shape[:2]
    return seen_in(scores, (scores.shape[2] / w, scores.shape[1] / h))


def picture_map(view: View) -> Floats:
    """Return (h, w), coarser than the view: the share of picture."""
    return seen(view).picture


@dataclass(frozen=True)
class Area:
    """Picture that no frame covers. corners: (4, 2) px of the master, the least rectangle around
    it; share: of the master; wide: px of the coarse view across its narrowest place, about;
    likely: mean share of picture that the network sees in it.
    """

    corners: Doubles
    share: float
    wide: float
    likely: float = 1.0


# Picture beyond a frame by less than this share of the map's shorter side is its own edge, blurred.
NEAR = 0.015
# A whole picture that was missed is larger than this share of the master, and as wide as this
# share of the map's shorter side.
LEAST_SHARE = 0.004
LEAST_WIDE = 0.05
LIKELY = 0.5


def covered(frames: Sequence[Doubles], found: Seen, reduction: float, grow: float) -> Mask:
    """Return where frames (corners in master px) lie on the map, grown by `grow` px of it."""
    drawn = np.zeros(found.picture.shape, np.uint8)
    k = np.array(found.scale) / reduction
    for corners in frames:
        points = np.round((corners * k - 0.5) * 16)
        cv2.fillPoly(drawn, [np.clip(points, -1e8, 1e8).astype(np.int32)], 1, cv2.LINE_8, 4)
    if grow > 0:
        size = 2 * round(grow) + 1
        drawn = np.asarray(cv2.dilate(drawn, np.ones((size, size), np.uint8)))
    return np.asarray(drawn > 0)


def unexplained(frames: Sequence[Doubles], found: Seen, reduction: float) -> list[Area]:
    """Return the areas of picture that no frame covers, the largest first.

    frames: corners in master px; reduction: master px per px of the reduced copy.
    """
    short = min(found.picture.shape)
    rest = (found.picture > LIKELY) & ~covered(frames, found, reduction, NEAR * short + 1)
    size = max(3, 2 * round(LEAST_WIDE * short / 2) + 1)
    mask = cv2.morphologyEx(rest.astype(np.uint8), cv2.MORPH_OPEN, np.ones((size, size), np.uint8))
    contours, _ = cv2.findContours(np.asarray(mask), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    k = reduction / np.array(found.scale)
    areas = []
    for contour in contours:
        share = float(cv2.contourArea(contour)) / mask.size
        if share < LEAST_SHARE:
            continue
        box = cv2.minAreaRect(contour)
        corners = (np.asarray(cv2.boxPoints(box), np.float64) + 0.5) * k
        own = np.zeros(mask.shape, np.uint8)
        cv2.drawContours(own, [contour], -1, 1, -1)
        likely = float(found.picture[own > 0].mean())
        areas.append(Area(corners, share, float(min(box[1])), likely))
    return sorted(areas, key=lambda area: -area.share)


@dataclass(frozen=True)
class Signs:
    """How far frames and map disagree; 0 where they agree.

    missed: the largest area of picture that no frame covers, as a share of a frame's mean area;
    empty: the greatest share of a frame that is no picture; unseen: the greatest share of a side
    along which no edge is seen; parted: the greatest share of a frame's width or height along
    which one straight line of edge runs inside of it; parted_at: where that line cuts the side that
    it crosses, a share.
    """

    missed: float
    empty: float
    unseen: float
    parted: float
    parted_at: float = 0.0


# A frame without its own blurred rim, as a share of its sides; how far from a side its edge is
# looked for, px of the map; how far from its own sides a line inside a frame must be.
INNER = 0.92
REACH_PX = 3
INSIDE = 0.07
# The edges of frames that are smaller on the map, px of their shorter side, are not judged.
SMALL_PX = 24


def signs(frames: Sequence[Doubles], found: Seen, reduction: float) -> Signs:
    """Return the signs of frames (corners in master px; none that is blank or oval)."""
    k = np.array(found.scale) / reduction
    placed = [np.asarray(corners * k, np.float64) for corners in frames]
    areas = [abs(cv2.contourArea(c.astype(np.float32))) for c in placed]
    mean = max(float(np.mean(areas)), 1.0) if areas else found.picture.size / 4
    missed = [area.share * found.picture.size for area in unexplained(frames, found, reduction)]
    inner = [c.mean(0) + (c - c.mean(0)) * INNER for c in frames]
    empty = []
    for corners in inner:
        inside = covered([corners], found, reduction, 0)
        empty.append(float((found.picture[inside] < LIKELY).mean()) if inside.any() else 1.0)
    large = [c for c in placed if min(_sides_of(c)) >= SMALL_PX]
    unseen = [_unseen(c, found.edge) for c in large]
    parted = [_parted(c, found.edge) for c in large]
    return Signs(
        max(missed, default=0.0) / mean,
        max(empty, default=0.0),
        max(unseen, default=0.0),
        *max(parted, default=(0.0, 0.0)),
    )


# From these on a sign counts. Measured (tests/benchmarks/locate/MAP.md): true frames stay below
# them but for a few in a hundred, most of those made wrong do not.
MISSED = 0.0
EMPTY = 0.2
UNSEEN = 0.85
PARTED = 0.55


def doubts(shown: Signs) -> tuple[str, ...]:
    """Return in words what speaks against the frames; nothing where map and frames agree."""
    said = (
        (shown.missed > MISSED, "picture is seen where no frame is"),
        (shown.empty > EMPTY, "part of a frame does not look like picture"),
        (shown.unseen > UNSEEN, "a frame has a side along which no edge of a picture is seen"),
        (shown.parted > PARTED, "the edge of a picture runs through a frame: may be several"),
    )
    return tuple(words for counts, words in said if counts)


def _sides_of(c: Doubles) -> tuple[float, float]:
    """Return the width and height of a frame."""
    return float(np.hypot(*(c[1] - c[0]))), float(np.hypot(*(c[3] - c[0])))


def _unseen(c: Doubles, edge: Floats) -> float:
    """Return the greatest share of a side without an edge, of sides within the master."""
    h, w = edge.shape
    t = np.linspace(0.06, 0.94, 60)[:, None]
    off = np.arange(-REACH_PX, REACH_PX + 1)[None, :, None]
    most = 0.0
    for p, q in zip(c, np.roll(c, -1, 0), strict=True):
        x, y = (p + q) / 2
        if min(x, y, w - x, h - y) < REACH_PX:
            continue  # cut off by the master's own edge: none is to be seen
        along = (q - p) / max(float(np.hypot(*(q - p))), 1e-6)
        at = (p * (1 - t) + q * t)[:, None] + off * np.array([-along[1], along[0]])
        columns = np.clip(np.rint(at[..., 0] - 0.5).astype(int), 0, w - 1)
        rows = np.clip(np.rint(at[..., 1] - 0.5).astype(int), 0, h - 1)
        most = max(most, 1 - float((edge[rows, columns].max(1) > LIKELY).mean()))
    return most


def _parted(c: Doubles, edge: Floats) -> tuple[float, float]:
    """Return along what share of its width or height one line of edge crosses a frame, and where
    it cuts the other side, a share.
    """
    w, h = (max(8, round(side)) for side in _sides_of(c))
    box = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32) - np.float32(0.5)
    m = cv2.getPerspectiveTransform(box, (c - 0.5).astype(np.float32))
    how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    upright = cv2.warpPerspective(edge, m, (w, h), flags=how, borderMode=cv2.BORDER_REPLICATE)
    # A line may lean by a pixel or two: one pixel to either side counts.
    lines = np.asarray(cv2.dilate(upright, np.ones((3, 3), np.uint8))) > LIKELY
    most = 0.0, 0.0
    for axis, size in ((0, w), (1, h)):
        rim = max(4, round(INSIDE * size))
        if size > 2 * rim + 1:
            shares = lines.mean(axis)[rim : size - rim]
            at = int(shares.argmax())
            most = max(most, (float(shares[at]), (rim + at + 0.5) / size))
    return most
