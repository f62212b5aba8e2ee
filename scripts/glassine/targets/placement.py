"""Where a target lies: a map from its millimetres to master px, and whether its tones agree."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from glassine.targets.capture import Capture
from glassine.targets.colour import Array
from glassine.targets.description import Description

# A placement must explain the tones: rank correlation of patch luminance with the references.
MIN_TONE_AGREEMENT = 0.8
MIN_PATCHES_FOR_TONE = 4


class NotFound(ValueError):
    """The target is not in the picture, or cannot be told apart; the text says what was seen."""

    def __init__(self, what: str, seen: list[tuple[float, float, float]]) -> None:
        super().__init__(what)
        self.seen = seen


@dataclass(frozen=True)
class Placement:
    """Where the target lies.

    homography: 3 x 3, mm to px without distortion. k1: radial distortion, px' = c + (px - c)
    (1 + k1 r^2), c the centre of the picture and r the distance from it in half diagonals.
    residual_px: rms and largest distance of the seen marks (or side points) from the map.
    shift_px: for each seen mark, x and y of each channel minus those of the second one.
    """

    homography: Array
    k1: float
    centre: tuple[float, float]
    half_diagonal: float
    residual_px: tuple[float, float]
    seen: int
    wanted: int
    tone_agreement: float | None
    marks_px: Array
    marks_mm: Array
    shift_px: Array

    def pixels(self, mm: Array) -> Array:
        """Return px (..., 2) of positions in mm (..., 2)."""
        return apply(self.homography, self.k1, self.centre, self.half_diagonal, np.asarray(mm))

    def scale(self, mm: Array) -> Array:
        """Return the 2 x 2 matrix px per mm about a position."""
        step = 1e-3
        at = np.asarray(mm, dtype=float)
        across = self.pixels(at + np.array([step, 0])) - self.pixels(at - np.array([step, 0]))
        down = self.pixels(at + np.array([0, step])) - self.pixels(at - np.array([0, step]))
        return np.stack([across, down], 1) / (2 * step)

    @property
    def mirrored(self) -> bool:
        return bool(np.linalg.det(self.homography[:2, :2]) < 0)


def apply(
    homography: Array, k1: float, centre: tuple[float, float], half_diagonal: float, mm: Array
) -> Array:
    """Return px (..., 2) of positions in mm (..., 2); see `Placement`."""
    flat = np.concatenate([mm, np.ones((*mm.shape[:-1], 1))], -1) @ homography.T
    plain = flat[..., :2] / flat[..., 2:3]
    away = plain - np.array(centre)
    radius = (away**2).sum(-1, keepdims=True) / half_diagonal**2
    return np.asarray(np.array(centre) + away * (1 + k1 * radius))


def best_orientation(
    capture: Capture,
    described: Description,
    maps: list[tuple[int, Array]],
    grey: npt.NDArray[np.float32],
) -> tuple[Array, float | None] | None:
    """Return the map to master px whose patches have the described tones, and how well."""
    _, factor = capture.small
    tested = len(described.patches) >= MIN_PATCHES_FOR_TONE
    best: tuple[float, Array] | None = None
    for number, homography in maps:
        agreement = tone_agreement(grey, described, homography) if tested else 0.0
        worth = agreement + 0.1 * number / max(1, len(described.marks))
        if best is None or worth > best[0] + 1e-9:
            best = (worth, homography)
            best_agreement = agreement
    if best is None or (tested and best_agreement < MIN_TONE_AGREEMENT):
        return None
    to_master = np.array([[factor, 0, factor / 2], [0, factor, factor / 2], [0, 0, 1.0]])
    return to_master @ best[1], best_agreement if tested else None


def tone_agreement(
    grey: npt.NDArray[np.float32], described: Description, homography: Array
) -> float:
    """Return the rank correlation of the patches' tones in the small copy with their references."""
    height, width = grey.shape
    at = apply(homography, 0.0, (0, 0), 1.0, np.array([patch.at for patch in described.patches]))
    column, row = np.round(at).astype(int).T
    inside = (column >= 1) & (row >= 1) & (column < width - 1) & (row < height - 1)
    if inside.mean() < 0.9:
        return -1.0
    seen = np.array(
        [
            grey[y - 1 : y + 2, x - 1 : x + 2].mean() if ok else np.nan
            for x, y, ok in zip(column, row, inside, strict=True)
        ]
    )
    wanted = np.array([patch.xyz[1] for patch in described.patches])
    ranks = [
        np.argsort(np.argsort(values[inside], kind="stable"), kind="stable")
        for values in (np.round(seen, 3), wanted)
    ]
    return float(np.corrcoef(ranks[0], ranks[1])[0, 1])
