"""Sharpness, noise, real resolution and registration, from patches at full resolution."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.render.quality.patches import Floats, Patch

# Edge blur is read from two smoothings of the gradient, in px.
FINE_PX, COARSE_PX = 1.0, 2.0
# The difference over two px, [-1/2, 0, 1/2], blurs by a box of width 2: variance 2^2 / 12 px^2.
DIFFERENCE_BLUR = 1.0 / 3.0


def _gradient(image: Floats, sigma: float) -> tuple[Floats, Floats]:
    """Return (x, y) derivatives of `image` smoothed by a Gaussian of `sigma` px."""
    smooth = cv2.GaussianBlur(image, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
    kernel = np.array([[-0.5, 0.0, 0.5]], np.float32)
    dx = cv2.filter2D(smooth, cv2.CV_32F, kernel)
    dy = cv2.filter2D(smooth, cv2.CV_32F, kernel.T)
    return np.asarray(dx), np.asarray(dy)


def edge_blur(patches: list[Patch], band: int) -> tuple[float | None, int]:
    """Return (sigma in px of a Gaussian that blurs the sharpest edges, edge points used).

    At a step edge blurred by s, the gradient smoothed by S peaks at contrast / sqrt(2 pi
    (s^2 + S^2)); so two smoothings give s without the contrast. Edges are ridges of the
    gradient that rise well above the grain; the sharpest third of them counts, since the
    picture itself holds soft edges. None where no edge rises above the grain.
    """
    blurs, weights = [], []
    for patch in patches:
        patch_blurs, strength = _patch_blur(patch.density[..., band])
        blurs.append(patch_blurs)
        weights.append(strength)
    if not blurs:
        return None, 0
    blur = np.concatenate(blurs)
    if len(blur) < 30:
        return None, len(blur)
    return float(np.sqrt(np.percentile(blur, 25))), len(blur)


def _patch_blur(density: Floats) -> tuple[npt.NDArray[Any], npt.NDArray[Any]]:
    """Return squared blur and strength at the edge points of one patch."""
    dx, dy = _gradient(density, FINE_PX)
    wide_x, wide_y = _gradient(density, COARSE_PX)
    fine, coarse = np.hypot(dx, dy), np.hypot(wide_x, wide_y)
    floor = float(np.median(coarse))
    # Ridge: the coarse gradient is the largest along its own direction.
    ridge = _ridge(coarse, wide_x, wide_y)
    edge = 6
    strong = ridge & (coarse > max(5.0 * floor, 0.01))
    strong[:edge] = strong[-edge:] = False
    strong[:, :edge] = strong[:, -edge:] = False
    ratio = fine[strong] / np.maximum(coarse[strong], 1e-9)
    r2 = np.clip(ratio**2, 1.0001, (COARSE_PX / FINE_PX) ** 2)
    blur = (COARSE_PX**2 - r2 * FINE_PX**2) / (r2 - 1.0) - DIFFERENCE_BLUR
    return np.maximum(blur, 0.0), coarse[strong]


def _ridge(magnitude: Floats, dx: Floats, dy: Floats) -> npt.NDArray[np.bool_]:
    horizontal = np.abs(dx) >= np.abs(dy)
    left, right = np.roll(magnitude, 1, 1), np.roll(magnitude, -1, 1)
    up, down = np.roll(magnitude, 1, 0), np.roll(magnitude, -1, 0)
    along_x = (magnitude > left) & (magnitude >= right)
    along_y = (magnitude > up) & (magnitude >= down)
    return np.where(horizontal, along_x, along_y)


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


def power_spectrum(patches: list[Patch], band: int, side: int = 128) -> npt.NDArray[Any] | None:
    """Return the power by frequency along rows and columns, 0..0.5 cycles/px, of quiet pieces.

    Shape (2, side // 2 + 1): for rows, for columns. Windowed pieces of `side` px; the median
    of the quarter with least power at middle frequencies, where noise stands before picture.
    """
    pieces = []
    for patch in patches:
        d = patch.density[..., band]
        for top in range(0, d.shape[0] - side + 1, side):
            pieces += [
                d[top : top + side, left : left + side]
                for left in range(0, d.shape[1] - side + 1, side)
            ]
    if not pieces:
        return None
    stack = np.stack(pieces)
    return np.stack([_quiet_power(stack), _quiet_power(stack.transpose(0, 2, 1))])


def _quiet_power(stack: npt.NDArray[Any]) -> npt.NDArray[Any]:
    side = stack.shape[2]
    window = np.hanning(side).astype(np.float32)
    power = np.abs(np.fft.rfft((stack - stack.mean(2, keepdims=True)) * window, axis=2)) ** 2
    lines = np.median(power, axis=1)
    middle = lines[:, side // 10 : side // 5].sum(axis=1)
    quiet = np.argsort(middle, kind="stable")[: max(2, len(lines) // 4)]
    return np.asarray(np.median(lines[quiet], axis=0))


# A master's own noise keeps its spectrum level towards the end; where it falls by more than
# this within an eighth of a cycle per px, it was enlarged, or blurred on purpose. Measured on
# tests/benchmarks/tone: at most 7 dB in clean masters, at least 11 dB in enlarged ones.
STEEP_DB = 9.0


# A Gaussian of sigma px passes a tenth at sqrt(ln 10 / (2 pi^2)) / sigma cycles/px.
TENTH_PX = float(np.sqrt(np.log(10.0) / (2.0 * np.pi**2)))


def sampling_used(spectrum: npt.NDArray[Any] | None, blur: float | None) -> float | None:
    """Return the share (%) of half the sampling frequency that holds any signal or noise.

    100 unless the spectrum has a cliff (see STEEP_DB) beyond 0.2 cycles/px; then where it has
    fallen half of the way (in dB) from before to after the cliff. A picture without fine detail
    falls off too: edges as sharp as `blur` (sigma, px) show that up to where they pass a tenth
    nothing is missing.
    """
    if spectrum is None:
        return None
    used = float(min(_line_used(line) for line in spectrum))
    if blur is None:
        return used
    return max(used, min(100.0, 200.0 * TENTH_PX / max(blur, 1e-3)))


def _line_used(line: npt.NDArray[Any]) -> float:
    count = len(line) - 1
    level = 10.0 * np.log10(np.maximum(line, 1e-30))
    level = np.convolve(np.pad(level, 1, "edge"), np.ones(3) / 3, "valid")
    window, first, last = count // 4, int(count * 0.4), int(count * 0.98)
    falls = level[first : last - window + 1] - level[first + window : last + 1]
    if falls.max() < STEEP_DB:
        return 100.0
    before, after = level[first], level[first:last].min()
    above_half = np.flatnonzero(level[first:last] >= (before + after) / 2)
    return 100.0 * (first + int(above_half.max())) / count


# Two channels show the same edges where they agree so well (height of the peak of phase
# correlation: 0.7 to 1 on edges, 0.2 and less on grain and noise alone, which tell no shift).
SAME_EDGES = 0.3


def misregistration(patches: list[Patch]) -> float | None:
    """Return the median shift (px) of red or blue against green, the larger.

    None for grey masters and where no patch shows edges that two channels share.
    """
    if not patches or patches[0].density.shape[2] < 3:
        return None
    shifts: list[list[float]] = [[], []]
    for patch in patches:
        side = min(*patch.density.shape[:2], 256)
        y, x = (patch.density.shape[0] - side) // 2, (patch.density.shape[1] - side) // 2
        window = cv2.createHanningWindow((side, side), cv2.CV_32F)
        middle = patch.density[y : y + side, x : x + side]
        layers = [_edges_only(middle[..., band]) for band in range(3)]
        for number, band in enumerate((0, 2)):
            start, response = cv2.phaseCorrelate(layers[1], layers[band], window)
            sure = response > SAME_EDGES
            shift = _refined(layers[1], layers[band], window, start) if sure else None
            if shift is not None:
                shifts[number].append(float(np.hypot(*shift)))
    medians = [float(np.median(shift)) for shift in shifts if shift]
    return max(medians) if medians else None


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
    codes = np.concatenate([patch.codes.reshape(-1, patch.codes.shape[2]) for patch in patches])
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
