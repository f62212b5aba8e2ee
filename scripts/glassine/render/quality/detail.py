"""Noise, registration and bits, from patches at full resolution."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.render.quality.patches import Floats, Patch


def _gradient(image: Floats, sigma: float) -> tuple[Floats, Floats]:
    """Return (x, y) derivatives of `image` smoothed by a Gaussian of `sigma` px."""
    smooth = cv2.GaussianBlur(image, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
    kernel = np.array([[-0.5, 0.0, 0.5]], np.float32)
    dx = cv2.filter2D(smooth, cv2.CV_32F, kernel)
    dy = cv2.filter2D(smooth, cv2.CV_32F, kernel.T)
    return np.asarray(dx), np.asarray(dy)


def noise(patches: list[Patch], band: int) -> float | None:
    """Return the RMS of density in the flattest parts, slow changes taken away; None if no patch.

    Blocks of 32 px; each loses its best-fitting plane; the quietest tenth of blocks counts.
    """
    values: list[float] = []
    for patch in patches:
        middle = patch.density[:256, :256, band]
        values += _block_rms(np.ascontiguousarray(middle), 32)
    if not values:
        return None
    values.sort()
    return float(np.median(values[: max(3, len(values) // 10)]))


def _block_rms(density: Floats, side: int) -> list[float]:
    rows, columns = density.shape[0] // side, density.shape[1] // side
    if rows == 0 or columns == 0:
        return []
    cut = density[: rows * side, : columns * side].reshape(rows, side, columns, side)
    blocks = cut.transpose(0, 2, 1, 3).reshape(-1, side * side).astype(np.float64)
    axis = np.linspace(-1, 1, side)
    plane = np.stack([np.ones((side, side)), *np.meshgrid(axis, axis)]).reshape(3, -1)
    basis = np.linalg.qr(plane.T)[0]
    rest = blocks - (blocks @ basis) @ basis.T
    return np.sqrt(np.mean(rest**2, axis=1)).tolist()  # type: ignore[no-any-return]


# Two channels show the same edges where they agree so well (height of the peak of phase
# correlation: 0.7 to 1 on edges, 0.2 and less on grain and noise alone, which tell no shift).
SAME_EDGES = 0.3
# So many patches tell of it, those with most detail.
SHIFT_PATCHES = 4


def misregistration(patches: list[Patch]) -> float | None:
    """Return the median shift (px) of red or blue against green, the larger.

    Each patch is measured by its upper and its lower half: what both agree on is a shift, what
    they do not is grain. So the square of a patch's shift is the product of its two halves'.
    None for grey masters and where fewer than two patches show edges that two channels share.
    """
    if not patches or patches[0].density.shape[2] < 3:
        return None
    medians = []
    for band in (0, 2):
        found = [_shift_squared(patch.density, band) for patch in patches[:SHIFT_PATCHES]]
        squares = [square for square in found if square is not None]
        if len(squares) >= min(2, len(patches)):
            medians.append(float(np.sqrt(max(np.median(squares), 0.0))))
    return max(medians) if medians else None


def _shift_squared(density: Floats, band: int) -> float | None:
    """Return the square of a channel's shift (px^2) in a patch; None where it is not sure."""
    side = min(*density.shape[:2], 256) // 2 * 2
    y, x = (density.shape[0] - side) // 2, (density.shape[1] - side) // 2
    middle = density[y : y + side, x : x + side]
    halves = [middle[: side // 2], middle[side // 2 :]]
    shifts = [_sure_shift(half, band) for half in halves]
    if shifts[0] is None or shifts[1] is None:
        return None
    return shifts[0][0] * shifts[1][0] + shifts[0][1] * shifts[1][1]


def _sure_shift(density: Floats, band: int) -> tuple[float, float] | None:
    window = cv2.createHanningWindow(density.shape[1::-1], cv2.CV_32F)
    green, other = _edges_only(density[..., 1]), _edges_only(density[..., band])
    start, response = cv2.phaseCorrelate(green, other, window)
    return _refined(green, other, window, start) if response > SAME_EDGES else None


def _refined(first: Floats, second: Floats, window: Any, start: Any) -> tuple[float, float] | None:
    """Return the shift (x, y) from `first` to `second` by least squares, near `start`.

    second(p) = gain * first(p - shift) + offset, made linear in the shift, three times.
    None where it does not settle within 1.5 px of the start.
    """
    x, y = (float(value) for value in start)
    weight = np.asarray(window, np.float64).ravel()
    for _ in range(3):
        matrix = np.array([[1, 0, x], [0, 1, y]], np.float32)
        moved = cv2.warpAffine(
            first, matrix, first.shape[::-1], flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT
        )
        dx, dy = np.gradient(moved, axis=1), np.gradient(moved, axis=0)
        columns = [part.ravel() * weight for part in (moved, -dx, -dy, np.ones_like(moved))]
        a = np.stack(columns, axis=1)
        normal = a.T @ a + np.eye(4) * 1e-9
        gain, px, py, _offset = np.linalg.solve(normal, a.T @ (second.ravel() * weight))
        if abs(gain) < 1e-3:
            return None
        x, y = x + px / gain, y + py / gain
    settled = abs(x - start[0]) < 1.5 and abs(y - start[1]) < 1.5
    return (x, y) if settled else None


def _edges_only(density: Floats) -> Floats:
    dx, dy = _gradient(np.ascontiguousarray(density), 1.0)
    return np.hypot(dx, dy).astype(np.float32)


def bits_used(patches: list[Patch], bits: int) -> float | None:
    """Return how many bits the codes really carry; fewer than stored where levels are missing.

    In the middle half of the codes that occur, the share of levels that occur is compared
    with the share that as many random pixels would hit.
    """
    if not patches:
        return None
    parts = [patch.codes[::2].reshape(-1, patch.codes.shape[2]) for patch in patches]
    codes = np.concatenate(parts)
    return min(_channel_bits(codes[:, band], bits) for band in range(codes.shape[1]))


def _channel_bits(codes: npt.NDArray[Any], bits: int) -> float:
    counts = np.bincount(codes, minlength=2**bits)
    total = np.cumsum(counts)
    low, high = np.searchsorted(total, [total[-1] * 0.1, total[-1] * 0.9])
    if high - low < 8:
        return float(bits)
    part = counts[low : high + 1]
    expected = len(part) * (1.0 - np.exp(-part.sum() / len(part)))
    share = np.count_nonzero(part) / max(expected, 1.0)
    return float(np.clip(bits + np.log2(max(share, 1e-6)), 1.0, bits))
