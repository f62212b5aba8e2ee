"""Noise and bits, from patches at full resolution."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from glassine.render.quality.patches import Floats, Patch


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
