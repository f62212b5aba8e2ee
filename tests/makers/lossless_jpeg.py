"""A lossless JPEG encoder (ITU-T T.81, process 14 with predictor 1), as DNG tiles have it.

Of one tile: a Bayer mosaic is written as two components of half the width (DNG 1.4, "Compression":
value from memory), three colours as three. One Huffman table, of all 17 categories with codes of 5
bits but for one of 4: no shorter than others, and easy to check.
"""

from __future__ import annotations

import struct

import numpy as np
import numpy.typing as npt

# 15 codes of 4 bits would leave none; one of 4 bits and 16 of 5 fit, and no code is all ones.
_LENGTHS = [0, 0, 0, 1, 16, *([0] * 11)]


def _codes() -> list[tuple[int, int]]:
    """Return (code, bits) of each category (T.81, annex C)."""
    found, code = [], 0
    for bits, count in enumerate(_LENGTHS, start=1):
        for _ in range(count):
            found.append((code, bits))
            code += 1
        code <<= 1
    return found


def encode(samples: npt.NDArray[np.uint16], bits: int) -> bytes:
    """Return one JPEG of (h, w, components) samples of `bits` bits."""
    height, width, components = samples.shape
    values = samples.astype(np.int64)
    predicted = np.empty_like(values)
    predicted[:, 1:] = values[:, :-1]  # from the left
    predicted[1:, 0] = values[:-1, 0]  # a row's first from above
    predicted[0, 0] = 1 << (bits - 1)
    differences = (values - predicted).ravel()
    differences = (differences + 32768) % 65536 - 32768
    table = _codes()
    text = []
    for each in differences.tolist():
        category = abs(each).bit_length()
        code, length = table[category]
        text.append(format(code, f"0{length}b"))
        if 0 < category < 16:
            low = each if each > 0 else each + (1 << category) - 1
            text.append(format(low, f"0{category}b"))
    stream = "".join(text)
    stream += "1" * (-len(stream) % 8)
    body = int(stream, 2).to_bytes(len(stream) // 8, "big").replace(b"\xff", b"\xff\x00")
    frame = struct.pack(">BHHB", bits, height, width, components)
    frame += b"".join(struct.pack("3B", place, 0x11, 0) for place in range(components))
    huffman = bytes([0, *_LENGTHS, *range(17)])
    scan = bytes([components]) + b"".join(bytes([place, 0]) for place in range(components))
    scan += bytes([1, 0, 0])
    parts = [(0xC3, frame), (0xC4, huffman), (0xDA, scan)]
    head = b"".join(
        struct.pack(">BBH", 0xFF, marker, len(content) + 2) + content for marker, content in parts
    )
    return b"\xff\xd8" + head + body + b"\xff\xd9"


def tiles(
    samples: npt.NDArray[np.uint16], bits: int, side: int = 64
) -> tuple[list[bytes], tuple[int, int]]:
    """Return the tiles of a mosaic (h, w) or of three colours (h, w, 3) row by row, the last ones
    filled up, and their (width, length) in px."""
    height, width = samples.shape[:2]
    spare = [(0, -height % side), (0, -width % side), *([(0, 0)] * (samples.ndim - 2))]
    whole = np.pad(samples, spare, mode="edge")
    made = []
    for top in range(0, whole.shape[0], side):
        for left in range(0, whole.shape[1], side):
            tile = whole[top : top + side, left : left + side]
            if tile.ndim == 2:
                tile = tile.reshape(side, side // 2, 2)
            made.append(encode(tile, bits))
    return made, (side, side)
