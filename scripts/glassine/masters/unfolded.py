"""The pixels that the proof of a compressed master unfolds, as rows: it need not be decoded again.

Of the common kind alone: strips of deflate, channels side by side, with or without horizontal
differencing (TIFF 6.0, section 14). All else is decoded by libvips, and so is this where the proof
was made by another process; both give the same pixels.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from glassine.masters.layout import DEFLATE, Layout

Pixels = npt.NDArray[Any]
Bytes = npt.NDArray[np.uint8]
# Rows whose differences are added up together: what the processor's nearest cache holds.
_ROWS = 16


def room_for(layout: Layout, most_bytes: int) -> Bytes | None:
    """Return room for the bytes of all strips, one behind the other; None where a master is of
    another kind, or larger than `most_bytes`."""
    plain = not layout.tiled and layout.planes == 1 and layout.bits in (8, 16)
    if layout.compression not in DEFLATE or not plain or layout.predictor not in (1, 2):
        return None
    whole = layout.height * _row_bytes(layout)
    if layout.unfolded != whole or whole > most_bytes:
        return None
    return np.empty(whole, np.uint8)


def _row_bytes(layout: Layout) -> int:
    return layout.width * layout.samples * layout.bits // 8


def as_rows(unfolded: Bytes, layout: Layout) -> Pixels:
    """Return pixels (height, width, bands), uint8 or uint16, in the place of the strips' bytes.

    unfolded: filled room of `room_for`, which is written over.
    """
    kind = "u1" if layout.bits == 8 else f"{layout.order}u2"
    lines = unfolded.view(kind).reshape(layout.height, layout.width * layout.samples)
    own = lines.view(lines.dtype.newbyteorder("="))
    for top in range(0, layout.height, _ROWS):
        if not lines.dtype.isnative:
            own[top : top + _ROWS].byteswap(inplace=True)
        if layout.predictor == 2:
            _add_up(own[top : top + _ROWS], layout.samples)
    return own.reshape(layout.height, layout.width, layout.samples)


def _add_up(lines: Pixels, samples: int) -> None:
    """Make of differences to the pixel at the left (n, width * samples) the pixels, in place.

    What overflows is cut off, as the differences were. Sums of 2, 4, 8 and more pixels at a time
    take half as long as one pixel after the other.
    """
    before = np.empty_like(lines)
    reach = samples
    while reach < lines.shape[1]:
        before[:, reach:] = lines[:, :-reach]
        lines[:, reach:] += before[:, reach:]
        reach *= 2
