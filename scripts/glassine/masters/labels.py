"""Machine-readable labels beside the film: Code 128, Code 39, QR Code, Data Matrix."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import zxingcpp

_FORMATS: Any = (
    zxingcpp.BarcodeFormat.Code128,
    zxingcpp.BarcodeFormat.Code39,
    zxingcpp.BarcodeFormat.QRCode,
    zxingcpp.BarcodeFormat.DataMatrix,
)
_MAX_TEXT = 200
_LONG_EDGE_PX = 4000


def read(gray: npt.NDArray[np.uint8]) -> list[dict[str, Any]]:
    """Return the labels seen in a grey image, top to bottom, then left to right.

    gray: (h, w) uint8. Each label is {"text", "format", "corners"}: corners in px of `gray`,
    clockwise from the label's own top-left. Text is cut at 200 characters. A QR Code that reads
    mirrored has {"mirrored": True} besides, and its corners with rows and columns exchanged.
    """
    labels: list[dict[str, Any]] = []
    for code in zxingcpp.read_barcodes(np.ascontiguousarray(gray), formats=_FORMATS):
        place = code.position
        corners = [
            [float(point.x), float(point.y)]
            for point in (place.top_left, place.top_right, place.bottom_right, place.bottom_left)
        ]
        labels.append(
            {"text": code.text[:_MAX_TEXT], "format": str(code.format), "corners": corners}
        )
        if code.format == zxingcpp.BarcodeFormat.QRCode and _is_mirrored(gray, corners, code.extra):
            labels[-1]["mirrored"] = True
    return sorted(labels, key=lambda label: (label["corners"][0][::-1], label["text"]))


# ISO/IEC 18004, format information: 15 bits of a BCH code with this generator, under this mask,
# along the finder pattern at the top left; values from memory.
_FORMAT_GENERATOR, _FORMAT_MASK = 0x537, 0x5412
_FORMAT_PLACES = (
    *((x, 8) for x in (0, 1, 2, 3, 4, 5, 7, 8)),
    (8, 7),
    *((8, y) for y in (5, 4, 3, 2, 1, 0)),
)


def _format_words() -> list[int]:
    words = []
    for data in range(32):
        rest = data << 10
        for bit in range(14, 9, -1):
            if rest >> bit & 1:
                rest ^= _FORMAT_GENERATOR << (bit - 10)
        words.append((data << 10 | rest) ^ _FORMAT_MASK)
    return words


def _is_mirrored(gray: npt.NDArray[np.uint8], corners: list[list[float]], extra: Any) -> bool:
    """Return whether a QR Code's format information reads right only mirrored.

    The reader takes mirrored symbols without saying so. corners: as it gives them.
    """
    try:
        modules = 17 + 4 * int((extra or {})["Version"])
    except (KeyError, TypeError, ValueError):
        return False
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32) * modules
    # The reader names the outer pixels of a symbol; its edge lies beyond their middles.
    corner = np.array(corners, np.float32) + 0.5
    to_px = cv2.getPerspectiveTransform(square, corner)
    places = np.array([_FORMAT_PLACES, [place[::-1] for place in _FORMAT_PLACES]], np.float32) + 0.5
    points = cv2.perspectiveTransform(places.reshape(1, -1, 2), to_px)[0]
    height, width = gray.shape
    columns = np.clip(points[:, 0].astype(int), 0, width - 1)
    rows = np.clip(points[:, 1].astype(int), 0, height - 1)
    values = gray[rows, columns].astype(float)
    dark = (values < (values.min() + values.max()) / 2).reshape(2, -1)
    straight, mirrored = (_distance(bits) for bits in dark)
    return mirrored <= 1 and straight > mirrored + 1


def _distance(bits: npt.NDArray[np.bool_]) -> int:
    """Return by how many bits the nearest format information differs."""
    word = int("".join("1" if bit else "0" for bit in bits), 2)
    return min((word ^ format_word).bit_count() for format_word in _format_words())


def grey_of(image: Any) -> npt.NDArray[np.uint8]:
    """Return a master (pyvips image, 8 or 16 bits, 1 or 3 bands) as grey for reading labels.

    The long edge is at most 4000 px; darkest and lightest 0.5 % are clipped, and a square
    root stands in for the eye's response, so that linear masters are legible too.
    """
    scale = min(1.0, _LONG_EDGE_PX / max(image.width, image.height))
    small = image.resize(scale) if scale < 1 else image
    grey = small.numpy().astype(np.float32)
    grey = grey.mean(axis=2) if grey.ndim == 3 else grey
    low, high = np.percentile(grey, (0.5, 99.5))
    spread = np.clip((grey - low) / max(high - low, 1.0), 0, 1)
    return np.asarray(np.sqrt(spread) * 255, np.uint8)


def read_master(path: Path | str, max_pixels: str) -> list[dict[str, Any]]:
    """Return the labels seen in a master, as `read` does; corners in px of its reduced copy.

    max_pixels: a whole number, as text (`apart` passes texts); a master with more is refused.

    Raises GlassineError for a file that is no sound master.
    """
    from glassine.masters import opening

    path = Path(path)
    opening.read_header(path, int(max_pixels))
    image = opening.open_image(path)
    with opening.decoding(path):
        grey = grey_of(image)
    return read(grey)
