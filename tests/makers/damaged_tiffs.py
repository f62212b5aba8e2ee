"""TIFFs of every accepted kind, and what can happen to one strip or tile of them.

Written by libvips (LZW, deflate, PackBits, JPEG) and tifffile (byte orders, BigTIFF, planes): both
apart from the code that judges them.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyvips
import tifffile

SIDES = (150, 200)  # rows, columns: neither a multiple of a tile's 64


def picture(dtype: str, bands: int, seed: int = 1) -> np.ndarray:
    """Return a smooth picture with noise, no sample zero or full."""
    rng = np.random.default_rng(seed)
    height, width = SIDES
    y, x = np.mgrid[0:height, 0:width]
    base = (np.sin(x / 37) + np.cos(y / 23) + 2.2) / 4.6
    most = np.iinfo(dtype).max
    noise = rng.normal(0, most / 300, (height, width, bands))
    planes = np.stack([base * (0.5 + 0.2 * band) for band in range(bands)], -1)
    return np.clip(planes * most * 0.9 + noise, 1, most - 1).astype(dtype)


@dataclass(frozen=True)
class Kind:
    """One accepted kind of master: its name and how it is written."""

    name: str
    dtype: str
    bands: int
    write: Callable[[Path, np.ndarray], None]


def by_vips(path: Path, pixels: np.ndarray, options: dict[str, Any]) -> None:
    bands = pixels.shape[2]
    image = pyvips.Image.new_from_array(pixels if bands > 1 else pixels[:, :, 0])
    deep = pixels.dtype == np.uint16
    meaning = {1: ("b-w", "grey16"), 3: ("srgb", "rgb16")}[bands][deep]
    image.copy(interpretation=meaning).tiffsave(str(path), **options)


def _by_tifffile(path: Path, pixels: np.ndarray, options: dict[str, Any]) -> None:
    bands = pixels.shape[2]
    content = pixels[:, :, 0] if bands == 1 else pixels
    if options.get("planarconfig") == "separate":
        content = np.moveaxis(pixels, -1, 0)
    photometric = "rgb" if bands == 3 else "minisblack"
    tifffile.imwrite(path, content, photometric=photometric, metadata=None, **options)


def _vips_kinds() -> Iterator[Kind]:
    packings = [("none", "none"), ("packbits", "none"), ("jpeg", "none")]
    packings += [(name, how) for name in ("lzw", "deflate") for how in ("none", "horizontal")]
    for dtype in ("uint8", "uint16"):
        for bands in (1, 3):
            for compression, predictor in packings:
                if compression == "jpeg" and dtype == "uint16":
                    continue
                for tile in (False, True):
                    options = {"compression": compression, "predictor": predictor, "tile": tile}
                    options |= {"tile_width": 64, "tile_height": 64} if tile else {}
                    yield Kind(
                        f"{compression}-{predictor}-{'tiles' if tile else 'strips'}-{dtype}-{bands}",
                        dtype,
                        bands,
                        lambda path, pixels, o=options: by_vips(path, pixels, o),
                    )


def _tifffile_kinds() -> Iterator[Kind]:
    forms: list[tuple[str, dict[str, Any]]] = [
        ("strips", {"rowsperstrip": 37}),
        ("tiles", {"tile": (64, 64)}),
        ("planes", {"rowsperstrip": 37, "planarconfig": "separate"}),
    ]
    for order, big in (("<", True), (">", False), (">", True)):
        for compression in (None, "zlib"):
            for form, options in forms:
                chosen = {"byteorder": order, "bigtiff": big, "compression": compression} | options
                name = f"{compression or 'none'}-{form}-{'MM' if order == '>' else 'II'}-{big}"
                yield Kind(
                    name,
                    "uint16",
                    3,
                    lambda path, pixels, o=chosen: _by_tifffile(path, pixels, o),
                )


KINDS = [*_vips_kinds(), *_tifffile_kinds()]


# ------------------------------------------------------------------ damage


class Mutable:
    """The bytes of a TIFF, with its lists of offsets and counts to be changed."""

    def __init__(self, path: Path) -> None:
        self.content = bytearray(path.read_bytes())
        with tifffile.TiffFile(path) as tiff:
            page = tiff.pages[0]
            self.offsets, self.counts = list(page.dataoffsets), list(page.databytecounts)
            tiled = "TileOffsets" in page.tags
            self._tags = {
                "offset": page.tags["TileOffsets" if tiled else "StripOffsets"],
                "count": page.tags["TileByteCounts" if tiled else "StripByteCounts"],
            }
            self._order = tiff.byteorder
        self.middle = len(self.offsets) // 2

    def put(self, what: str, index: int, value: int) -> None:
        """Set the offset or count of one segment in the directory."""
        tag = self._tags[what]
        code = self._order + {3: "H", 4: "I", 16: "Q"}[int(tag.dtype)]
        struct.pack_into(code, self.content, tag.valueoffset + index * struct.calcsize(code), value)

    def fill(self, start: float, value: bytes | None) -> None:
        """Write over the middle segment from a share of it on: one byte's repeat, else noise."""
        offset, count = self.offsets[self.middle], self.counts[self.middle]
        first = offset + int(start * count)
        length = offset + count - first
        noise = np.random.default_rng(5).bytes(length)
        self.content[first : first + length] = value * length if value else noise

    def flip(self, place: int) -> None:
        """Flip a bit of the middle segment's byte at `place` (from its end where negative)."""
        offset, count = self.offsets[self.middle], self.counts[self.middle]
        self.content[offset + (place if place >= 0 else count + place)] ^= 0x10


def _exchange(file: Mutable, counts: bool) -> None:
    one = file.middle
    other = one + 1 if one + 1 < len(file.offsets) else one - 1
    for a, b in ((one, other), (other, one)):
        file.put("offset", a, file.offsets[b])
        if counts:
            file.put("count", a, file.counts[b])


def _twice(file: Mutable) -> None:
    other = file.middle - 1
    file.put("offset", file.middle, file.offsets[other])
    file.put("count", file.middle, file.counts[other])


DAMAGE: dict[str, Callable[[Mutable], None]] = {
    "zeroed": lambda file: file.fill(0, b"\0"),
    "noise": lambda file: file.fill(0, None),
    "zeros from half on": lambda file: file.fill(0.5, b"\0"),
    "cut to half": lambda file: file.put("count", file.middle, file.counts[file.middle] // 2),
    "offset 0": lambda file: file.put("offset", file.middle, 0),
    "count 0": lambda file: file.put("count", file.middle, 0),
    "offset moved": lambda file: file.put("offset", file.middle, file.offsets[file.middle] + 7),
    "last offset moved": lambda file: file.put("offset", -1 + len(file.offsets), file.offsets[-1] + 2),
    "offset past the end": lambda file: file.put("offset", file.middle, len(file.content) - 3),
    "offset in the header": lambda file: file.put("offset", file.middle, 4),
    "twice the same": _twice,
    "exchanged": lambda file: _exchange(file, counts=True),
    "offsets exchanged": lambda file: _exchange(file, counts=False),
    "wrong checksum": lambda file: file.flip(-2),
    "flipped bit": lambda file: file.flip(file.counts[file.middle] // 2),
}  # fmt: skip
