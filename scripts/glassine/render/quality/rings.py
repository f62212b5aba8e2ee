"""Newton's rings: fringes of interference, which run the closer the further from their middle."""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base.model import Frame
from glassine.masters import colour
from glassine.render.quality.patches import Floats

if TYPE_CHECKING:
    from glassine.masters.pixels import Source

Doubles = npt.NDArray[np.float64]

# Rings are looked for in a frame of this many px on the long edge, in pieces of SIDE px.
LONG_EDGE, SIDE, STEP = 400, 32, 16
# Spatial frequencies (cycles/px), each GROWTH times the one before, and directions in half a turn.
GROWTH, DIRECTIONS = 1.17, 16
_RADII = 0.055 * GROWTH ** np.arange(13)
# Fringes stand out against what is so many steps of frequency finer and coarser.
APART = 3
# Radius (px) of the first dark ring, and how many times that rings reach: then the light's waves no
# longer hang together.
_FIRST = 16.0 * GROWTH ** (np.arange(19) / 2)
REACH = 3.6
LEAST_PIECES = 20
# Centres are tried so far apart (px), and the best again at half of that about them.
CENTRES, BEST = 22.0, 4
# A score (deviations of as many pieces without rings) that is as likely rings as not: of what the
# channels do not share, and of a grey picture, whose own ripples count too. Measured on
# tests/benchmarks/tone-frames and tone-faults.
OF_COLOURS, OF_GREY = 6.2, 9.0
# Density by which the channels must differ to be told apart (RMS).
ALIKE = 1e-4


def newton_rings(source: Source, frame: Frame, encoding: colour.Encoding) -> float | None:
    """Return the likelihood (0 to 1) that rings of interference lie over a frame.

    The fringes of a gap that grows with the square of the distance from a middle have the
    frequency 2 d / first^2 at the distance d, along the line from there. For all middles and
    sizes, the contrast that small pieces of the frame show at that frequency is added up.
    Red and blue light have rings of different sizes while a picture is much the same in both:
    so what they do not share is looked at, in grey masters the picture. None for a frame too
    small to tell.
    """
    density = _small(source, frame, encoding)
    if min(density.shape[:2]) < 4 * SIDE:
        return None
    plane, usual = _unlike(density)
    contrast, places = _contrast(plane)
    score = _Search(contrast, places).best(plane.shape)
    return float(score / (score + usual))


def _small(source: Source, frame: Frame, encoding: colour.Encoding) -> Floats:
    """Return the density (h, w, bands) of the frame's upright box, reduced."""
    quad = np.array(frame.corners, float) / source.reduction
    quad = quad.mean(axis=0) + (quad - quad.mean(axis=0)) * 0.96
    left, top = np.maximum(np.ceil(quad.min(axis=0)), 0).astype(int)
    right, bottom = np.floor(quad.max(axis=0)).astype(int)
    box = source.reduced[top:bottom, left:right]
    if min(box.shape[:2]) < SIDE:
        return np.zeros((0, 0, 1), np.float32)
    scale = min(1.0, LONG_EDGE / max(box.shape[:2]))
    size = (max(1, round(box.shape[1] * scale)), max(1, round(box.shape[0] * scale)))
    small = cv2.resize(np.ascontiguousarray(box), size, interpolation=cv2.INTER_AREA)
    return encoding.density(small.reshape(size[1], size[0], -1))


def _unlike(density: Floats) -> tuple[Floats, float]:
    """Return the plane that rings are looked for in, and the score that is usual in it."""
    if density.shape[2] == 3:
        red, blue = (_even(density[..., band]) for band in (0, 2))
        share = float((red * blue).mean() / max(float((blue * blue).mean()), 1e-9))
        common, own = cv2.blur(red * blue, (21, 21)), cv2.blur(blue * blue, (21, 21))
        # Where there is little picture the share of the whole frame holds, else rings would be
        # explained away.
        little = np.float32(0.01**2)
        apart = red - (common + little * np.float32(share)) / (own + little) * blue
        if float(apart.std()) > ALIKE:
            return np.asarray(apart), OF_COLOURS
    return np.ascontiguousarray(density[..., min(1, density.shape[2] - 1)]), OF_GREY


def _even(plane: Floats) -> Floats:
    return np.asarray(plane - cv2.blur(np.ascontiguousarray(plane), (21, 21)))


def _contrast(plane: Floats) -> tuple[Doubles, Doubles]:
    """Return log contrast (n, radii, directions) of pieces, and their middles (n, 2: x, y).

    By how much the power at a frequency stands above that at APART steps below and above it in
    the same direction; what all pieces have in common (cloth, a roof) is taken away.
    """
    window = np.hanning(SIDE + 2)[1:-1]
    pieces = np.lib.stride_tricks.sliding_window_view(plane, (SIDE, SIDE))[::STEP, ::STEP]
    down, across = pieces.shape[:2]
    flat = pieces.reshape(-1, SIDE, SIDE).astype(np.float64)
    flat = (flat - flat.mean(axis=(1, 2), keepdims=True)) * np.outer(window, window)
    wave = np.fft.rfft2(flat)
    power = (wave.real**2 + wave.imag**2).reshape(len(flat), -1)
    sampled = sum(power[:, place] * weight for place, weight in zip(*_POLAR, strict=True))
    level = np.log(np.asarray(sampled) + 1e-12).reshape(len(flat), len(_RADII), DIRECTIONS)
    number = np.arange(len(_RADII))
    below, above = np.maximum(number - APART, 0), np.minimum(number + APART, len(_RADII) - 1)
    contrast = np.clip(level - (level[:, below] + level[:, above]) / 2, -2.5, 2.5)
    contrast = contrast - contrast.mean(axis=0)
    y, x = np.mgrid[0:down, 0:across] * STEP + SIDE / 2
    places = np.stack([x.ravel(), y.ravel()], axis=1)
    return contrast / max(float(contrast.std()), 1e-9), places


def _polar() -> tuple[npt.NDArray[np.intp], Doubles]:
    """Return places (4, n) and weights (4, n) that sample a piece's power by radius, direction."""
    angle = np.arange(DIRECTIONS) * np.pi / DIRECTIONS
    fx, fy = (np.outer(_RADII, part) * SIDE for part in (np.cos(angle), np.sin(angle)))
    # The spectrum of a real picture is the same at -f.
    fx, fy = np.where(fx < 0, -fx, fx), np.where(fx < 0, -fy, fy)
    x, y = np.floor(fx).astype(int), np.floor(fy).astype(int)
    right, low = fx - x, fy - y
    places, weights = [], []
    for dy, dx in ((0, 0), (0, 1), (1, 0), (1, 1)):
        column = np.minimum(x + dx, SIDE // 2)
        places.append(((y + dy) % SIDE * (SIDE // 2 + 1) + column).ravel())
        weights.append(((low if dy else 1 - low) * (right if dx else 1 - right)).ravel())
    return np.array(places), np.array(weights)


_POLAR = _polar()


class _Search:
    """Adds up contrast along the course of rings; see `_contrast`."""

    def __init__(self, contrast: Doubles, places: Doubles) -> None:
        # An empty frequency at the end takes what lies outside of those that are looked at.
        padded = np.pad(contrast, ((0, 0), (0, 1), (0, 0)))
        self.flat = padded.reshape(-1)
        self.places = places
        self.start = np.arange(len(places)) * padded[0].size

    def best(self, shape: tuple[int, ...]) -> float:
        """Return the highest score (deviations) of middles in or near a plane of that shape."""
        high, wide = shape[:2]
        x, y = np.meshgrid(
            np.arange(-0.05 * wide, 1.06 * wide, CENTRES),
            np.arange(-0.05 * high, 1.06 * high, CENTRES),
        )
        centres = np.stack([x.ravel(), y.ravel()], axis=1)
        scores = self._scores(centres, _FIRST[::2])
        best = centres[np.argsort(-scores, kind="stable")[:BEST]]
        near = np.stack(np.meshgrid([-0.5, 0.0, 0.5], [-0.5, 0.0, 0.5]), axis=-1).reshape(-1, 2)
        closer = (best[:, None] + near[None] * CENTRES).reshape(-1, 2)
        return max(float(scores.max()), float(self._scores(closer, _FIRST).max()), 0.0)

    def _scores(self, centres: Doubles, sizes: Doubles) -> Doubles:
        """Return the best score of each centre over rings of these sizes (px, the first's)."""
        off = self.places[None] - centres[:, None]
        distance = np.maximum(np.hypot(off[..., 0], off[..., 1]), 1.0)
        turn = np.arctan2(off[..., 1], off[..., 0]) % np.pi
        direction = np.round(turn / np.pi * DIRECTIONS).astype(np.int32) % DIRECTIONS
        place = (self.start + direction).astype(np.int32)
        step = np.log(2.0 * distance / _RADII[0]) / np.log(GROWTH)
        best = np.zeros(len(centres))
        for first in sizes:
            radius = np.rint(step - 2.0 * np.log(first) / np.log(GROWTH)).astype(np.int32)
            seen = (radius >= 0) & (radius < len(_RADII)) & (distance < REACH * first)
            radius[~seen] = len(_RADII)
            found = self.flat.take(place + radius * DIRECTIONS).sum(axis=1)
            count = np.count_nonzero(seen, axis=1)
            score = np.where(count >= LEAST_PIECES, found / np.sqrt(np.maximum(count, 1)), 0.0)
            best = np.maximum(best, score)
        return best
