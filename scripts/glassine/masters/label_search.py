"""Where in a picture a bar code may lie, and how it is turned: bars are read only along rows.

A bar code is a place where all edges run one way; a matrix code one that is dense with edges. Both
show in the structure tensor of small blocks (J. Bigun and G. Granlund, "Optimal orientation
detection of linear symmetry", 1987): its trace is the energy of edges, its direction theirs, and
the share of the energy that runs that way is the coherence.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

Grey = npt.NDArray[np.uint8]

# Long edge of the copy that is searched and read as a whole (small codes are read where they may
# lie), and side of a block on it, px.
_SEARCH_EDGE_PX = 2000
_BLOCK_PX = 12
# Of blocks within bars; found with drawn codes at all angles (tests/benchmarks/identity).
_COHERENT = 0.55
# Root mean square of the edges (Sobel, eight times the step in grey) that printed codes exceed.
_STRONG = 60.0
_MOST_PLACES = 10
# A larger place is reduced to this: a code that fills it has wide bars.
_PLACE_EDGE_PX = 1600
# Blocks that a code has at least, and the share of the picture that it has at most.
_FEWEST_BLOCKS, _LARGEST_SHARE, _LARGEST_BARS = 4, 0.15, 0.5


@dataclass(frozen=True)
class Place:
    """A piece of a picture, turned so that bars stand upright.

    to_picture: 2 x 3 matrix from its pixels to those of the picture.
    """

    grey: Grey
    to_picture: npt.NDArray[np.float64]


def searched(grey: Grey) -> tuple[Grey, float]:
    """Return the copy of a grey picture that is searched, and its scale."""
    scale = min(1.0, _SEARCH_EDGE_PX / max(grey.shape))
    if scale == 1:
        return grey, scale
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.uint8), scale


def places(grey: Grey, small: Grey, scale: float) -> Iterator[Place]:
    """Yield the places of a grey picture that may be codes, the likeliest first, upright.

    small, scale: see `searched`."""
    energy, coherence, angle = _tensor(small)
    strong = energy > _STRONG**2
    bars = _pieces(strong & (coherence > _COHERENT), energy, _LARGEST_BARS)
    dense = _pieces(strong, energy, _LARGEST_SHARE)
    block = _BLOCK_PX / scale
    for piece in bars[:_MOST_PLACES]:
        yield _cut(grey, piece, _direction(angle, coherence, piece), block)
    for piece in dense[:_MOST_PLACES]:
        yield _cut(grey, piece, 0.0, block)


def _tensor(grey: Grey) -> tuple[npt.NDArray[np.float32], ...]:
    """Return energy, coherence and direction (radians, of the gradient) by block."""
    # Steps of 8 bits are whole numbers of at most 1020: 16 bits hold them, and their products are
    # exact in float32.
    gx = cv2.Sobel(grey, cv2.CV_16S, 1, 0)
    gy = cv2.Sobel(grey, cv2.CV_16S, 0, 1)
    size = (max(1, grey.shape[1] // _BLOCK_PX), max(1, grey.shape[0] // _BLOCK_PX))

    def averaged(one: Any, other: Any) -> npt.NDArray[np.float32]:
        product = cv2.multiply(one, other, dtype=cv2.CV_32F)
        return np.asarray(cv2.resize(product, size, interpolation=cv2.INTER_AREA), np.float32)

    xx, yy, xy = averaged(gx, gx), averaged(gy, gy), averaged(gx, gy)
    smooth = [cv2.blur(each, (3, 3)) for each in (xx, yy, xy)]
    xx, yy, xy = (np.asarray(each, np.float32) for each in smooth)
    energy = xx + yy
    coherence = np.hypot(xx - yy, 2 * xy) / np.maximum(energy, 1.0)
    return energy, coherence, np.asarray(0.5 * np.arctan2(2 * xy, xx - yy), np.float32)


# A mask of blocks.
_Piece = npt.NDArray[np.bool_]


def _pieces(
    mask: npt.NDArray[np.bool_], energy: npt.NDArray[np.float32], largest: float
) -> list[_Piece]:
    """Return the connected pieces of a mask of blocks that may be codes, by their energy.

    largest: share of the picture that they cover at most.
    """
    count, names, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
    found: list[tuple[float, _Piece]] = []
    for name in range(1, count):
        area = int(stats[name][cv2.CC_STAT_AREA])
        if area < _FEWEST_BLOCKS or area > largest * mask.size:
            continue
        inside = names == name
        found.append((float(energy[inside].sum()), inside))
    return [piece for _, piece in sorted(found, key=lambda pair: -pair[0])]


def _direction(
    angle: npt.NDArray[np.float32], coherence: npt.NDArray[np.float32], piece: _Piece
) -> float:
    """Return the mean direction of the edges of a piece, radians; doubled, as it has no sign."""
    turned = np.exp(2j * angle[piece].astype(np.float64)) * coherence[piece]
    return float(np.angle(turned.sum()) / 2)


def _cut(grey: Grey, piece: _Piece, angle: float, block: float) -> Place:
    """Return the piece turned by `angle`, so that its edges stand upright, with a quiet margin."""
    rows, columns = np.nonzero(piece)
    blocks = (np.column_stack([columns, rows]) + 0.5) * block
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    across = blocks @ turn.T
    low, high = across.min(axis=0) - 4 * block, across.max(axis=0) + 4 * block
    scale = min(1.0, _PLACE_EDGE_PX / float((high - low).max()))
    width, height = (int(side) for side in np.ceil((high - low) * scale))
    matrix = np.column_stack([turn, -low]) * scale
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    cut = cv2.warpAffine(grey, matrix, (width, height), flags=how, borderMode=cv2.BORDER_REPLICATE)
    back = np.asarray(cv2.invertAffineTransform(matrix), np.float64)
    return Place(np.asarray(cut, np.uint8), back)
