"""Frames made wrong on purpose, in the ways in which finding goes wrong.

All take and return lists of (4, 2) corners, px of a map of (height, width); None where a way does
not apply.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import numpy.typing as npt

Quad = npt.NDArray[np.float64]
Quads = list[Quad]
Shape = tuple[int, int]
Rng = np.random.Generator
# What a good finder's corners are off by, px.
JITTER = 0.4


def jittered(rng: Rng, frames: Quads) -> Quads:
    return [c + rng.normal(0, JITTER, c.shape) for c in frames]


def between(c: Quad, across: bool, a: float, b: float) -> Quad:
    """Return the part of a frame from share a to b of its width (across) or height."""

    def at(u: float, v: float) -> Quad:
        return np.asarray((1 - u) * ((1 - v) * c[0] + v * c[3]) + u * ((1 - v) * c[1] + v * c[2]))

    if across:
        return np.array([at(a, 0), at(b, 0), at(b, 1), at(a, 1)])
    return np.array([at(0, a), at(1, a), at(1, b), at(0, b)])


def missing(rng: Rng, frames: Quads, shape: Shape) -> Quads | None:
    """One of several was not found."""
    if len(frames) < 2:
        return None
    gone = rng.integers(len(frames))
    return jittered(rng, [c for k, c in enumerate(frames) if k != gone])


def _one_changed(rng: Rng, frames: Quads, low: float, high: float) -> tuple[int, Quad]:
    k = int(rng.integers(len(frames)))
    across, share = bool(rng.integers(2)), rng.uniform(low, high)
    ends = (share, 1.0) if rng.random() < 0.5 else (0.0, 1 - share)
    return k, between(frames[k], across, *ends)


def part(rng: Rng, frames: Quads, shape: Shape) -> Quads | None:
    """A line within the picture was taken for its edge: 8 to 40 % are cut off."""
    k, less = _one_changed(rng, frames, 0.08, 0.4)
    return jittered(rng, [*frames[:k], less, *frames[k + 1 :]])


def beyond(rng: Rng, frames: Quads, shape: Shape) -> Quads | None:
    """Border was taken for picture: a side is 6 to 25 % too far out."""
    k, more = _one_changed(rng, frames, -0.25, -0.06)
    more = np.clip(more, 0, shape[::-1])
    if np.abs(more - frames[k]).max() < 0.05 * np.ptp(frames[k], axis=0).min():
        return None
    return jittered(rng, [*frames[:k], more, *frames[k + 1 :]])


def merged(rng: Rng, frames: Quads, shape: Shape) -> Quads | None:
    """Two neighbours were taken for one."""
    pairs = []
    for i, a in enumerate(frames):
        for j, b in enumerate(frames):
            ways = ((a[[1, 2]], b[[0, 3]], (0, 1)), (a[[3, 2]], b[[0, 1]], (0, 3)))
            for way, (end, start, side) in enumerate(ways):
                size = np.hypot(*(a[side[1]] - a[side[0]]))
                if i != j and np.hypot(*(end - start).T).max() < 0.2 * size:
                    whole = [a[0], b[1], b[2], a[3]] if way == 0 else [a[0], a[1], b[2], b[3]]
                    pairs.append((i, j, np.array(whole)))
    if not pairs:
        return None
    i, j, whole = pairs[rng.integers(len(pairs))]
    return jittered(rng, [*(c for k, c in enumerate(frames) if k not in (i, j)), whole])


def split(rng: Rng, frames: Quads, shape: Shape) -> Quads | None:
    """One was taken for two."""
    k, across = int(rng.integers(len(frames))), bool(rng.integers(2))
    at, gap = rng.uniform(0.25, 0.75), rng.uniform(0, 0.03)
    halves = [
        between(frames[k], across, 0, at - gap / 2),
        between(frames[k], across, at + gap / 2, 1),
    ]
    return jittered(rng, [*frames[:k], *halves, *frames[k + 1 :]])


def extra(rng: Rng, frames: Quads, shape: Shape) -> Quads | None:
    """A frame where no picture is."""
    h, w = shape
    taken = np.zeros(shape, np.uint8)
    for c in frames:
        cv2.fillPoly(taken, [c.round().astype(np.int32)], 1)
    for _ in range(60):
        size = rng.uniform(0.12, 0.35, 2) * (w, h)
        x, y = rng.uniform(0, 1, 2) * (np.array([w, h]) - size)
        if taken[int(y) : int(y + size[1]), int(x) : int(x + size[0])].mean() < 0.02:
            box = np.array([[x, y], [x + size[0], y], [x + size[0], y + size[1]], [x, y + size[1]]])
            return jittered(rng, [*frames, box])
    return None


WAYS: dict[str, Callable[[Rng, Quads, Shape], Quads | None]] = {
    way.__name__: way for way in (missing, part, beyond, merged, split, extra)
}
