"""Three colours for each pixel of a corrected mosaic, by LibRaw, in bands of rows.

LibRaw is handed the mosaic as a plain DNG in memory whose values it neither scales nor balances:
levels, light and balance are done before (`mosaic`). A band has rows to spare on both sides, which
are thrown away, so that memory does not grow with the picture.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from glassine.masters.raws import Sensor

# By name: LibRaw's method, and memory it takes (bytes a pixel; measured at 101 megapixels).
METHODS = {"DHT": 23, "AAHD": 47, "AHD": 16, "DCB": 33}
# Memory that a band may take, and rows beside it: what one pixel reaches was measured below 8 px.
_BAND_BYTES = 700 * 2**20
_SPARE = 32
# Rows that are written together: bands of whole ones need no copy.
_WRITTEN = 64


def bands(
    codes: Sensor, pattern: npt.NDArray[np.int64], method: str, most_bytes: int = _BAND_BYTES
) -> Iterator[tuple[int, npt.NDArray[np.uint16]]]:
    """Yield (top row, (rows, w, 3) codes) from the top down. codes: (h, w), as in `mosaic`."""
    height, width = codes.shape
    rows = max(256, most_bytes // (METHODS[method] * width) // _WRITTEN * _WRITTEN)
    if height <= rows * 3 // 2:
        rows = height
    for top in range(0, height, rows):
        bottom = min(top + rows, height)
        first, last = max(0, top - _SPARE), min(height, bottom + _SPARE)
        colours = _developed(codes[first:last], pattern, method)
        yield top, colours[top - first : bottom - first]


def _developed(
    codes: Sensor, pattern: npt.NDArray[np.int64], method: str
) -> npt.NDArray[np.uint16]:
    import rawpy

    content = b"".join(
        [_head(codes.shape, pattern), codes.astype("<u2", order="C", copy=False).data]
    )
    with rawpy.imread(io.BytesIO(content)) as raw:
        made = raw.postprocess(
            demosaic_algorithm=getattr(rawpy.DemosaicAlgorithm, method),
            output_color=rawpy.ColorSpace.raw,
            output_bps=16,
            gamma=(1, 1),
            no_auto_bright=True,
            no_auto_scale=True,
            bright=1.0,
            highlight_mode=rawpy.HighlightMode.Ignore,
            adjust_maximum_thr=0.0,
            user_wb=[1.0, 1.0, 1.0, 1.0],
            user_black=0,
            user_sat=65535,
            user_flip=0,
            four_color_rgb=False,
            median_filter_passes=0,
            fbdd_noise_reduction=rawpy.FBDDNoiseReductionMode.Off,
            dcb_iterations=2,
            dcb_enhance=True,
        )
    return np.asarray(made, np.uint16)


def _head(size: tuple[int, ...], pattern: npt.NDArray[np.int64]) -> bytes:
    """Return what stands before the samples of a mosaic (height, width) in an uncompressed DNG,
    black 0, white 65535 (DNG 1.4, TIFF 6.0)."""
    height, width = size
    ones = struct.pack("<18i", *(value for place in range(9) for value in (int(place % 4 == 0), 1)))
    entries: list[tuple[int, int, int, bytes]] = [
        (254, 4, 1, struct.pack("<I", 0)),
        (256, 4, 1, struct.pack("<I", width)),
        (257, 4, 1, struct.pack("<I", height)),
        (258, 3, 1, struct.pack("<H", 16)),
        (259, 3, 1, struct.pack("<H", 1)),
        (262, 3, 1, struct.pack("<H", 32803)),
        (271, 2, 9, b"Glassine\0"),
        (272, 2, 7, b"Mosaic\0"),
        (273, 4, 1, b""),
        (277, 3, 1, struct.pack("<H", 1)),
        (278, 4, 1, struct.pack("<I", height)),
        (279, 4, 1, struct.pack("<I", 2 * width * height)),
        (33421, 3, 2, struct.pack("<2H", 2, 2)),
        (33422, 1, 4, bytes(int(colour) for colour in pattern.ravel())),
        (50706, 1, 4, bytes((1, 4, 0, 0))),
        (50708, 2, 16, b"Glassine Mosaic\0"),
        (50714, 4, 1, struct.pack("<I", 0)),
        (50717, 4, 1, struct.pack("<I", 65535)),
        (50721, 10, 9, ones),
        (50728, 5, 3, struct.pack("<6I", 1, 1, 1, 1, 1, 1)),
        (50778, 3, 1, struct.pack("<H", 21)),
    ]
    after = 8 + 2 + 12 * len(entries) + 4
    beside = b""
    places = []
    for _, _, _, value in entries:
        places.append(after + len(beside))
        beside += value + b"\0" * (len(value) % 2) if len(value) > 4 else b""
    start = after + len(beside)
    directory = struct.pack("<H", len(entries))
    for (tag, kind, count, value), place in zip(entries, places, strict=True):
        if tag == 273:
            value = struct.pack("<I", start)
        held = value.ljust(4, b"\0") if len(value) <= 4 else struct.pack("<I", place)
        directory += struct.pack("<HHI", tag, kind, count) + held
    head = b"II*\0" + struct.pack("<I", 8)
    return head + directory + struct.pack("<I", 0) + beside
