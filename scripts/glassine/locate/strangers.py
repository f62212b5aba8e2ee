"""What lies beside the pictures and is none: labels, rulers, far too small finds."""

from __future__ import annotations

import cv2
import numpy as np

from glassine.base import film
from glassine.locate import border
from glassine.locate.candidate import Candidate
from glassine.locate.scene import Scene
from glassine.locate.shapes import Doubles
from glassine.locate.view import Floats

# What has no source was set on the scenes that `tests/benchmarks/locate` draws.
# Beside other pieces, what is so many times as long as wide is a ruler or a row of patches.
RULER = 3.2
# Beside other pieces, what has less than this share of the largest one's area is no picture.
SMALL_SHARE = 0.12
# Beside other pieces, no picture is narrower than this, mm.
NARROWEST_MM = 11
# Paper seen against the light: tones between these (density), the same for all colours within
# NEUTRAL and along the rim within EVEN, over this share of the rim.
PAPER_TONES, NEUTRAL, EVEN, RIM_SHARE = (0.42, 2.0), 0.2, 0.06, 0.6
# The rim is looked at on the outline shrunk to this share about its middle.
RIM = 0.93


def without_strangers(scene: Scene, ppi: float | None, found: list[Candidate]) -> list[Candidate]:
    """Leave out labels, rulers, nested and far too small finds; the first is kept if all are.

    ppi: pixels of the master per inch, where known.
    """
    if not found:
        return found
    wholes = [candidate.whole or candidate for candidate in found]
    if len({id(whole) for whole in wholes}) == 1:
        return found
    largest = max(_area(whole) for whole in wholes)
    keep = [
        candidate
        for candidate, whole in zip(found, wholes, strict=True)
        if candidate.kind != "single" or not _is_stranger(scene, ppi, whole, largest)
    ]
    return keep or found[:1]


def _area(candidate: Candidate) -> float:
    return abs(cv2.contourArea(candidate.corners.astype(np.float32)))


def _is_stranger(scene: Scene, ppi: float | None, whole: Candidate, largest: float) -> bool:
    """Whether a single piece is no picture beside others. largest: area of the largest, px."""
    c = whole.corners
    long = max(np.hypot(*(c[1] - c[0])), np.hypot(*(c[3] - c[0])))
    short = min(np.hypot(*(c[1] - c[0])), np.hypot(*(c[3] - c[0])))
    if long / max(short, 1) > RULER or _area(whole) < SMALL_SHARE * largest:
        return True
    if ppi is not None and short * film.MM_PER_INCH / ppi < NARROWEST_MM:
        return True
    return _is_paper(scene, whole)


def _is_paper(scene: Scene, candidate: Candidate) -> bool:
    """Tell a paper label from film: a readable code, or an even, neutral, half-opaque ground."""
    outline = candidate.corners if candidate.object_corners is None else candidate.object_corners
    shape = outline.astype(np.float32)
    for label in scene.labels:
        middle = np.mean(label["corners"], axis=0)
        if cv2.pointPolygonTest(shape, (float(middle[0]), float(middle[1])), False) >= 0:
            return True
    if candidate.levels > 1 and candidate.level_dark:
        return False  # a mount of card or plastic, with a picture lighter than it inside
    if scene.layout.tone > border.OPEN:
        return False  # on a board all is seen by light from above: paper is what prints are on
    level, share = border.common(_rim(scene, outline), EVEN)
    clearest, densest = PAPER_TONES
    even = float(np.ptp(level)) < NEUTRAL and share > RIM_SHARE
    return even and clearest < float(level.mean()) < densest


def _rim(scene: Scene, corners: Doubles) -> Floats:
    """Return (n, c) tones along a line a little inside an outline."""
    c = corners / scene.reduction
    middle = c.mean(0)
    c = middle + (c - middle) * RIM
    t = np.linspace(0, 1, 100)[:, None]
    p = np.concatenate([c[k] * (1 - t) + c[(k + 1) % 4] * t for k in range(4)])
    v = scene.view.v
    x = np.clip(p[:, 0].astype(int), 0, v.shape[1] - 1)
    y = np.clip(p[:, 1].astype(int), 0, v.shape[0] - 1)
    return np.asarray(v[y, x])
