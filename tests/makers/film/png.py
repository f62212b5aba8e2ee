"""8-bit RGB PNG files that are the same bytes on every machine (for the reference scenes)."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import numpy as np

from makers.film import deflate


def write(path: Path, rgb_u8: np.ndarray) -> None:
    """Write rows x width x 3 u8 samples; each row filtered by difference to its left."""
    height, width, _ = rgb_u8.shape
    filtered = rgb_u8.copy()
    filtered[:, 1:] -= rgb_u8[:, :-1]
    rows = np.concatenate(
        [np.ones((height, 1), np.uint8), filtered.reshape(height, width * 3)], axis=1
    )
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n"
        + _chunk(b"IHDR", header)
        + _chunk(b"sRGB", b"\0")
        + _chunk(b"IDAT", deflate.compress(rows.tobytes()))
        + _chunk(b"IEND", b"")
    )


def _chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))
