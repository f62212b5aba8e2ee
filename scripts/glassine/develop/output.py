"""The developed picture as a file: 16-bit TIFF 6.0, uncompressed, strips one behind the other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from glassine import __version__
from glassine.base.records.parts import Capture

_STRIP_ROWS = 64
_BIG = 4 * 2**30 - 2**20

Codes = npt.NDArray[np.uint16]


def write(
    path: Path,
    size: tuple[int, int],
    bands: Iterable[Codes],
    icc: bytes,
    orientation: int,
    capture: Capture,
) -> None:
    """Write the picture; the same bytes every time. size: width, height in px; bands: rows from the
    top, (n, w, 3); orientation: TIFF tag."""
    import tifffile

    width, height = size
    with tifffile.TiffWriter(path, bigtiff=width * height * 6 > _BIG) as tiff:
        tiff.write(
            data=_strips(bands),
            shape=(height, width, 3),
            dtype=np.uint16,
            photometric="rgb",
            rowsperstrip=_STRIP_ROWS,
            iccprofile=icc,
            software=f"Glassine {__version__}",
            metadata=None,
            extratags=_tags(orientation, capture),
        )


def _tags(orientation: int, capture: Capture) -> list[tuple[int, str, int, Any, bool]]:
    tags: list[tuple[int, str, int, Any, bool]] = [(274, "H", 1, orientation, True)]
    taken = (capture.taken or "").replace("-", ":").replace("T", " ")
    for tag, text in ((271, capture.make), (272, capture.model), (306, taken)):
        plain = (text or "").encode("ascii", "replace").decode("ascii")
        if plain and (tag != 306 or len(plain) == 19):
            tags.append((tag, "s", 0, plain, True))
    return tags


def _strips(bands: Iterable[Codes]) -> Iterator[Codes]:
    """Yield bands cut anew into strips."""
    left: Codes | None = None
    for band in bands:
        rows = band if left is None else np.concatenate([left, band])
        whole = rows.shape[0] // _STRIP_ROWS * _STRIP_ROWS
        for top in range(0, whole, _STRIP_ROWS):
            yield np.ascontiguousarray(rows[top : top + _STRIP_ROWS])
        left = rows[whole:] if whole < rows.shape[0] else None
    if left is not None:
        yield np.ascontiguousarray(left)
