"""From encoded values to linear light, as `colour` reads it for every step."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from glassine.masters import colour

Floats = npt.NDArray[np.float32]


def table_of(encoding: colour.Encoding) -> Floats:
    """Return linear light (0 to 1) of encoded 16-bit values, as (65536,) or (channels, 65536).

    encoding: of 16 bits. One table is enough where all channels share it, which is as good as
    always so.
    """
    tables = colour.neutral_tables(encoding)
    if (tables[1:] == tables[:1]).all():
        shared: Floats = tables[0]
        return shared
    return tables


def linear_table(stated: str | None) -> Floats:
    """Return the table of a master without a profile; `stated`: its encoding by batch.yaml."""
    return table_of(colour.encoding_of(None, stated, 16, 1))


def through(table: Floats, pixels: npt.NDArray[np.generic]) -> Floats:
    """Return `table` at each of (..., channels) pixels, uint8 or uint16."""
    if pixels.dtype == np.uint8:
        table = table[..., ::257]
    if table.ndim == 1:
        if not pixels.size:
            return np.empty(pixels.shape, np.float32)
        # Exact, as it only looks up; three times as fast as numpy's own.
        found = cv2.LUT(np.asarray(pixels), np.ascontiguousarray(table)[None])
        return np.asarray(found, np.float32).reshape(pixels.shape)
    bands = [own[pixels[..., band]] for band, own in enumerate(table)]
    return np.stack(bands, axis=-1)


def linear(pixels: npt.NDArray[np.generic], table: Floats) -> Floats:
    """Return (h, w, channels) float32 linear light of uint8 or uint16 pixels."""
    return through(table, pixels[..., None] if pixels.ndim == 2 else pixels)
