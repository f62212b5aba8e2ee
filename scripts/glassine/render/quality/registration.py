"""Whether the colour channels of a master lie on one another, and how surely that is seen."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from glassine.render.quality.patches import Floats, Patch

Doubles = npt.NDArray[np.float64]

# So many patches tell of it, those with most detail, by a square of SQUARE px in the middle, where
# that is not enough by a larger one; in blocks: within a block one channel is the other's,
# more or less strong.
PATCHES, SQUARE, WHOLE, BLOCK = 6, 208, 384, 32
LEAST_SQUARE = 3 * BLOCK
# It is enough with a deviation of so little (px) and so large a share explained.
CLOSER_PX, CLOSER = 0.1, 0.3
# Detail between these smoothings (sigma, px) is compared: finer is grain, coarser has no place.
FINE, COARSE = 1.2, 4.0
# Pixels that such detail has in common: 4 pi FINE^2.
ALIKE_PX = 18.0
# Blocks may differ by so much (px) beyond what grain explains: a subject's own coloured edges.
OWN_PX = 0.15
# A step of the estimate (px) after which it is not made again, and how often it is at most. Grain
# in green makes steps too short, unless it explains nearly all; what is left of them is at most
# LONGEST / (1 - LONGEST) times the last.
SMALL_STEP, STEPS, PLAIN, LONGEST = 0.08, 7, 0.85, 0.85
# All directions tell about as much where the least of them tells this share of the most.
EVEN = 0.1
# A block tells nothing where its gain is not so many times its deviation: grain alone.
SURE_GAIN = 2.5
# Share of the detail that must be explained: of grain alone 0.06 to 0.1 are, by chance.
# Less will do where patches show the same shift within this, px.
EXPLAINED, ALIKE_SHIFT_PX = 0.12, 0.3
# By so much more another start must explain: stripes fit again a period aside.
BETTER = 0.02
# A peak of phase correlation from which it is tried as a start, and how far (px) it lies from 0.
PEAK, FAR_PX = 0.15, 0.8
# Three quarters of the patches show this share of a shift at least, along it.
AGREED = 0.5
# A shift is not measured where its deviation is more than this, px.
UNSURE_PX = 0.3
# A shift that is not so many times its deviation may as well be none; so much of a shift (px) may
# hide in what is called none.
TIMES, HIDDEN_PX = 3.0, 0.5


@dataclass(frozen=True)
class _Blocks:
    """Of each block: shift (n, 2) beyond a place, px; information (n, 2, 2); patch (n); and
    explained: the median of the third of the blocks that are explained best (R^2)."""

    shift: Doubles
    information: Doubles
    patch: npt.NDArray[np.intp]
    explained: float


@dataclass(frozen=True)
class _Shift:
    """place: (x, y) px, of a channel against green; deviation: px, of each; patches: (n, 2) px,
    what each patch shows that shows enough; explained: as of blocks."""

    place: Doubles
    deviation: float
    patches: Doubles
    explained: float


def misregistration(patches: list[Patch]) -> float | None:
    """Return the shift (px) of red or blue against green, the larger.

    In each block of a patch the fine detail of a channel is that of green, moved and more or less
    strong: least squares, made linear in the shift, three values a block. A robust mean over all
    blocks, weighed by what the detail of each tells, with its deviation from how much patches
    differ. None for grey masters, and where the deviation is too large to tell, patches disagree,
    or two channels have no more in common than grain has.
    """
    if not patches or patches[0].density.shape[2] < 3:
        return None
    values = []
    close = _squares(patches, SQUARE)
    whole: list[_Square] | None = None
    for band in (0, 2):
        shift = _shift(close, band)
        if shift is not None and (shift.deviation > CLOSER_PX or shift.explained < CLOSER):
            whole = whole or _squares(patches, WHOLE)
            shift = _shift(whole, band)
        values.append(None if shift is None else _length(shift))
    seen = [value for value in values if value is not None]
    if len(seen) < 2 and max(seen, default=0.0) <= HIDDEN_PX:
        return None
    return max(seen)


def _length(shift: _Shift) -> float | None:
    """Return the length (px) of a shift; None where it cannot be told."""
    length = float(np.hypot(*shift.place))
    if shift.explained < EXPLAINED and not _alike(shift.patches):
        return None
    if length > HIDDEN_PX:
        along = np.sort(shift.patches @ shift.place / length)
        agreed = len(along) > 0 and along[len(along) // 4] > AGREED * length
        if length < TIMES * shift.deviation or not agreed:
            return None
    elif shift.deviation > UNSURE_PX:
        return None
    return float(np.sqrt(max(length**2 - 2 * shift.deviation**2, 0.0)))


def _alike(places: Doubles) -> bool:
    """Return whether several patches show the same: grain alone shows something else in each."""
    return len(places) > 1 and bool(np.ptp(places, axis=0).max() < ALIKE_SHIFT_PX)


@dataclass(frozen=True)
class _Square:
    """The middle of a patch (h, w, 3), and what its green shows, to which both others are
    compared: fine detail and edges (h, w)."""

    density: Floats
    green: Floats
    edges: Floats


def _squares(patches: list[Patch], most: int) -> list[_Square]:
    """Return the middles of the first patches, but for those too small to tell."""
    cut = [_square(patch, most) for patch in patches[:PATCHES]]
    return [
        _Square(density, _detail(density[..., 1]), _edges(density[..., 1]))
        for density in cut
        if min(density.shape[:2]) >= LEAST_SQUARE
    ]


def _shift(squares: list[_Square], band: int) -> _Shift | None:
    """Return the shift of a channel, from the start that explains it better.

    None for patches too small to tell.
    """
    if not squares:
        return None
    greens = [square.green for square in squares]
    others = [_detail(square.density[..., band]) for square in squares]
    found = _settled(greens, others, np.zeros(2))
    starts = [_correlated(square.edges, _edges(square.density[..., band])) for square in squares]
    start, peak = max(starts, key=lambda each: each[1])
    if peak > PEAK and np.hypot(*(start - found.place)) > FAR_PX:
        far = _settled(greens, others, start)
        if far.explained > found.explained + BETTER:
            found = far
    return found


def _settled(greens: list[Floats], others: list[Floats], start: Doubles) -> _Shift:
    """Return the shift about a start."""
    place, before = start, np.zeros(2)
    for number in range(STEPS):
        blocks = _of_patches(greens, others, place)
        step, weighted = _robust_mean(blocks.shift, blocks.information)
        place = place + np.clip(step, -1.5, 1.5)
        told, axes = np.linalg.eigh(weighted.sum(axis=0))
        plain = blocks.explained > PLAIN and told[0] > EVEN * told[1]
        if np.hypot(*step) < SMALL_STEP and (number > 0 or plain):
            # Steps that are too short by the same share each time, along and across what is seen
            # (stripes tell little along them): what is left of their sum.
            own, last = axes.T @ step, axes.T @ before
            ratio = np.where(np.abs(last) > 1e-3, own / np.where(last == 0, 1.0, last), 0.0)
            ratio = np.clip(ratio, 0.0, LONGEST)
            place = place + axes @ (own * ratio / (1.0 - ratio))
            break
        before = step
    total = np.linalg.inv(weighted.sum(axis=0))
    off = (weighted @ (blocks.shift - step)[..., None])[..., 0]
    each = [blocks.patch == number for number in range(len(greens))]
    pulls = np.stack([off[mine].sum(axis=0) for mine in each])
    few = len(greens) / max(len(greens) - 1, 1)
    spread = few * total @ (pulls.T @ pulls) @ total
    variance = np.maximum(np.trace(spread), np.trace(total)) / 2
    means = []
    for mine in each:
        own = np.linalg.inv(weighted[mine].sum(axis=0))
        if np.sqrt(np.trace(own) / 2) < UNSURE_PX:
            sums = (weighted[mine] @ blocks.shift[mine][..., None]).sum(axis=0)
            means.append(place - step + (own @ sums)[:, 0])
    return _Shift(place, float(np.sqrt(variance)), np.array(means).reshape(-1, 2), blocks.explained)


def _robust_mean(places: Doubles, information: Doubles) -> tuple[Doubles, Doubles]:
    """Return the mean (2) of places (n, 2) and the weights (n, 2, 2) that it was taken with.

    Weights are `information` (n, 2, 2), less for what is far off (Cauchy, 2 deviations).
    """
    weighted, mean = information, np.zeros(2)
    for _ in range(8):
        total = np.linalg.inv(weighted.sum(axis=0))
        mean = total @ (weighted @ places[..., None]).sum(axis=0)[:, 0]
        off = places - mean
        far = ((information @ off[..., None])[..., 0] * off).sum(axis=1)
        weighted = information / (1.0 + far / 4.0)[:, None, None]
    return mean, weighted


def _square(patch: Patch, most: int) -> Floats:
    side = min(*patch.density.shape[:2], most)
    y, x = (patch.density.shape[0] - side) // 2, (patch.density.shape[1] - side) // 2
    return np.asarray(patch.density[y : y + side, x : x + side])


def _detail(density: Floats) -> Floats:
    plane = np.ascontiguousarray(density)
    fine = cv2.GaussianBlur(plane, (0, 0), FINE, borderType=cv2.BORDER_REFLECT)
    coarse = cv2.GaussianBlur(plane, (0, 0), COARSE, borderType=cv2.BORDER_REFLECT)
    return np.asarray(cv2.subtract(fine, coarse))


def _edges(plane: Floats) -> Floats:
    """Return how strong the edges of a plane are, whatever their sign."""
    smooth = cv2.GaussianBlur(np.ascontiguousarray(plane), (0, 0), 1.0)
    dx = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=1)
    dy = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, ksize=1)
    return np.asarray(cv2.magnitude(dx, dy))


def _correlated(first: Floats, second: Floats) -> tuple[Doubles, float]:
    """Return the shift (x, y) by phase correlation of edges; and its peak."""
    window = cv2.createHanningWindow(first.shape[::-1], cv2.CV_32F)
    shift, peak = cv2.phaseCorrelate(first, second, window)
    return np.array(shift), float(peak)


def _of_patches(greens: list[Floats], others: list[Floats], place: Doubles) -> _Blocks:
    parts = [_of_blocks(*pair, place) for pair in zip(greens, others, strict=True)]
    patch = np.repeat(np.arange(len(parts)), [len(part[0]) for part in parts])
    explained = np.sort(np.concatenate([part[2] for part in parts]))
    best = explained[-max(len(explained) // 3, 1) :]
    shift, information = (np.concatenate([part[k] for part in parts]) for k in (0, 1))
    return _Blocks(shift, information, patch, float(np.median(best)))


def _of_blocks(green: Floats, other: Floats, place: Doubles) -> tuple[Doubles, Doubles, Doubles]:
    """Return each block's shift (n, 2) beyond `place`, its information (n, 2, 2), and R^2 (n).

    other(p) = gain (green(p - place) - shift . slope) + offset; information is gain^2 times the
    products of slopes that are no gain, over the variance that is left.
    """
    matrix = np.array([[1, 0, place[0]], [0, 1, place[1]]], np.float32)
    moved = green
    if place.any():
        edge = cv2.BORDER_REFLECT
        size = green.shape[::-1]
        moved = np.asarray(
            cv2.warpAffine(green, matrix, size, flags=cv2.INTER_CUBIC, borderMode=edge)
        )
    slopes = [cv2.Sobel(moved, cv2.CV_32F, *way, ksize=1, scale=-0.5) for way in ((1, 0), (0, 1))]
    terms = np.stack([_blocks(np.asarray(each)) for each in (moved, *slopes)], axis=1)
    values = _blocks(other)[:, None]
    size = values.shape[2]
    products = (terms @ terms.transpose(0, 2, 1)).astype(np.float64)
    own = (terms @ values.transpose(0, 2, 1)).astype(np.float64)
    whole = (values @ values.transpose(0, 2, 1)).astype(np.float64)[:, 0, 0]
    ridge = 1e-9 + 1e-4 * np.trace(products, axis1=1, axis2=2)[:, None, None] / 3
    found = np.linalg.solve(products + ridge * np.eye(3), own)[..., 0]
    left = np.maximum(whole - (found * own[..., 0]).sum(axis=1), 1e-12)
    gain = np.where(np.abs(found[:, 0]) < 1e-6, 1e-6, found[:, 0])
    shared = products[:, 1:, :1] @ products[:, :1, 1:] / np.maximum(products[:, :1, :1], 1e-12)
    each = ALIKE_PX * left / size
    sure = np.maximum(gain**2 - SURE_GAIN**2 * each / np.maximum(products[:, 0, 0], 1e-12), 0.0)
    told = (sure / each)[:, None, None] * (products[:, 1:, 1:] - shared)
    # What a block tells ends where a subject's own colours begin.
    spread = np.linalg.inv(told + np.eye(2) * 1e-3) + np.eye(2) * OWN_PX**2
    explained = 1.0 - left / np.maximum(whole, 1e-12)
    information = np.asarray(np.linalg.inv(spread), np.float64)
    return found[:, 1:] / gain[:, None], information, explained


def _blocks(plane: Floats) -> Floats:
    """Return the blocks (n, BLOCK^2) of a plane without its outermost pixels, each about 0."""
    margin = BLOCK // 4
    inner = plane[margin:-margin, margin:-margin]
    down, across = inner.shape[0] // BLOCK, inner.shape[1] // BLOCK
    cut = inner[: down * BLOCK, : across * BLOCK].reshape(down, BLOCK, across, BLOCK)
    flat = cut.transpose(0, 2, 1, 3).reshape(-1, BLOCK * BLOCK)
    return np.asarray(flat - flat.mean(axis=1, keepdims=True))
