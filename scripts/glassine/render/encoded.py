"""Encoded pictures: JPEG without metadata but for resolution and profile, and other formats.

Three-band pictures are held in the encoder's order here, in `tiles` and in `render`: blue,
green, red. Turning them once, while a block is in the cache, costs less than for each file.
"""

from __future__ import annotations

import itertools
import math
import struct
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import pyvips

from glassine.masters import opening

Pixels = npt.NDArray[np.uint8]

# From this quality on chroma is kept at full resolution; below, a viewer does not see the loss.
FULL_CHROMA_QUALITY = 90
# Payload of one APP2 segment after its 14 bytes of label and numbers (ICC.1:2010, B.4).
_ICC_CHUNK = 65_519
_ICC_LABEL = b"ICC_PROFILE\0"


def jpeg(
    pixels: Pixels,
    quality: int,
    *,
    ppi: float | None = None,
    icc: bytes | None = None,
    progressive: bool = False,
) -> bytes:
    """Return a JFIF 1.01 file (ITU-T T.871) of (h, w, 1|3) pixels (BGR), with no other metadata.

    quality: 1 to 100. ppi: written as the density where given (1 to 65535, rounded).
    icc: embedded in APP2 segments. The same input gives the same bytes.
    """
    chroma = (
        cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444
        if quality >= FULL_CHROMA_QUALITY
        else cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420
    )
    options = [
        *(cv2.IMWRITE_JPEG_QUALITY, quality),
        *(cv2.IMWRITE_JPEG_SAMPLING_FACTOR, chroma),
        *(cv2.IMWRITE_JPEG_PROGRESSIVE, int(progressive)),
    ]
    done, encoded = cv2.imencode(".jpg", pixels, options)
    if not done:
        raise ValueError(f"a picture of {pixels.shape} cannot be encoded as JPEG")
    return with_profile(_with_density(encoded.tobytes(), ppi), icc)


def _with_density(encoded: bytes, ppi: float | None) -> bytes:
    if encoded[:4] != b"\xff\xd8\xff\xe0" or encoded[6:11] != b"JFIF\0":
        raise ValueError("the encoder wrote no JFIF header")
    unit, density = (1, min(65535, max(1, round(ppi)))) if ppi else (0, 1)
    return encoded[:13] + struct.pack(">BHH", unit, density, density) + encoded[18:]


def with_profile(encoded: bytes, icc: bytes | None) -> bytes:
    """Return a JFIF file with the profile `icc` put in behind its header (ICC.1:2010, B.4)."""
    if not icc:
        return encoded
    chunks = [icc[start : start + _ICC_CHUNK] for start in range(0, len(icc), _ICC_CHUNK)]
    segments = b"".join(
        b"\xff\xe2"
        + struct.pack(">H", len(chunk) + 16)
        + _ICC_LABEL
        + bytes([number, len(chunks)])
        + chunk
        for number, chunk in enumerate(chunks, 1)
    )
    header_end = 4 + struct.unpack(">H", encoded[4:6])[0]
    return encoded[:header_end] + segments + encoded[header_end:]


def swapped(pixels: Pixels) -> Pixels:
    """Return RGB pixels as BGR, or BGR as RGB; one band as it is."""
    return np.ascontiguousarray(pixels[:, :, ::-1])


def fitted(width: int, height: int, long_edge: int | None) -> tuple[int, int]:
    """Return the size with `long_edge` as its longer side, never larger than it is."""
    longest = max(width, height)
    if long_edge is None or long_edge >= longest:
        return width, height
    scale = long_edge / longest
    return max(1, round(width * scale)), max(1, round(height * scale))


def smaller(pixels: Pixels, width: int, height: int) -> Pixels:
    """Return `pixels` reduced to the size, each pixel the mean of the area it covers.

    Means have no overshoot: nothing is sharpened, no value clips that did not before.
    """
    if (width, height) == (pixels.shape[1], pixels.shape[0]):
        return pixels
    resized = cv2.resize(pixels, (width, height), interpolation=cv2.INTER_AREA)
    reduced = np.asarray(resized, np.uint8)
    return reduced[:, :, np.newaxis] if reduced.ndim == 2 else reduced


def sharpened(pixels: Pixels, amount: float) -> Pixels:
    """Return `pixels` with `amount` times what a blur of 0.7 px takes away put on top."""
    if amount == 0:
        return pixels
    blurred = cv2.GaussianBlur(pixels, (0, 0), 0.7)
    result = np.asarray(cv2.addWeighted(pixels, 1 + amount, blurred, -amount, 0), np.uint8)
    return result[:, :, np.newaxis] if result.ndim == 2 else result


def _as_vips(pixels: Pixels, icc: bytes | None, ppi: float | None) -> Any:
    """Return the picture as a pyvips image in RGB order, tagged; nothing is copied."""
    opening.prepare_vips()
    height, width, bands = pixels.shape
    flat = np.ascontiguousarray(pixels)
    image = pyvips.Image.new_from_memory(flat.data, width, height, bands, "uchar")
    if bands == 3:
        image = image[2].bandjoin([image[1], image[0]])
    per_mm = ppi / 25.4 if ppi else 1.0
    image = image.copy(interpretation="srgb" if bands == 3 else "b-w", xres=per_mm, yres=per_mm)
    if icc:
        image.set_type(pyvips.GValue.blob_type, "icc-profile-data", icc)
    return image


def alternate(
    pixels: Pixels, kind: str, quality: int, *, icc: bytes | None, effort: int = 4
) -> bytes:
    """Return the picture (BGR) as "webp", "avif" or "jp2", with the profile and no other metadata.

    effort: 0 to 6 (WebP) or 9 (AVIF); less is faster. One thread encodes: the bytes of an AVIF
    depend on how many do.
    """
    image = _as_vips(pixels, icc, None)
    if kind == "webp":
        return bytes(image.webpsave_buffer(Q=quality, effort=effort, keep="icc"))
    if kind == "avif":
        return bytes(image.heifsave_buffer(Q=quality, compression="av1", effort=effort, keep="icc"))
    if kind == "jp2":
        return bytes(image.jp2ksave_buffer(Q=quality, keep="icc"))
    raise ValueError(f"no encoder for {kind!r}")


def can_write(suffix: str) -> bool:
    """Return whether the library that pictures are encoded with writes files of that ending."""
    opening.prepare_vips()
    return bool(pyvips.vips_lib.vips_foreign_find_save(f"x.{suffix}".encode()))


def save_pyramid(
    path: Path, pixels: Pixels, *, tile_px: int, quality: int, icc: bytes | None, ppi: float | None
) -> None:
    """Write the picture (BGR) as one tiled TIFF with every half size in it, JPEG-compressed.

    The layout that image servers read: each level a directory of its own, down to one tile.
    """
    _as_vips(pixels, icc, ppi).tiffsave(
        str(path),
        tile=True,
        tile_width=tile_px,
        tile_height=tile_px,
        pyramid=True,
        depth="onetile",
        region_shrink="mean",
        compression="jpeg",
        Q=quality,
        resunit="inch",
        keep="icc",
        bigtiff=pixels.size > 2**31,
    )


def save_crop(
    path: Path,
    bands: Iterator[npt.NDArray[Any]],
    shape: tuple[int, int, int],
    *,
    rows: int,
    icc: bytes | None,
    ppi: float | None,
    in_runs: bool = False,
) -> None:
    """Write a 16-bit (or 8-bit) TIFF from bands of `rows` rows each, deflated, one band a strip.

    bands: RGB or grey, (rows, width, samples), the last one as high as is left. in_runs: see
    `_deflated`.
    """
    import tifffile  # only where a crop is asked for

    first = next(bands)

    def strips() -> Iterator[bytes]:
        for band in itertools.chain([first], bands):
            yield _deflated(band, in_runs)

    grey = shape[2] == 1
    big = math.prod(shape) * first.itemsize > 2**31
    with tifffile.TiffWriter(path, bigtiff=big, byteorder="<") as writer:
        writer.write(
            strips(),
            shape=shape[:2] if grey else shape,
            dtype=first.dtype,
            photometric="minisblack" if grey else "rgb",
            rowsperstrip=rows,
            compression="zlib",
            predictor=2,
            software=False,
            metadata=None,
            iccprofile=icc,
            resolution=(ppi, ppi) if ppi else None,
            resolutionunit=2 if ppi else None,
        )


def _deflated(band: npt.NDArray[Any], in_runs: bool) -> bytes:
    """Return rows as a deflate strip with horizontal differencing (TIFF 6.0 section 14).

    in_runs: whether only runs of one value are looked for (RFC 1951 allows any). Differences of
    film grain repeat by chance alone: the search for it is most of the time, and gains nothing.
    """
    differences = band.copy()
    differences[:, 1:] -= band[:, :-1]
    plain = differences.astype(differences.dtype.newbyteorder("<")).tobytes()
    if not in_runs:
        return zlib.compress(plain, 6)
    packer = zlib.compressobj(1, zlib.DEFLATED, zlib.MAX_WBITS, zlib.DEF_MEM_LEVEL, zlib.Z_RLE)
    return packer.compress(plain) + packer.flush()
