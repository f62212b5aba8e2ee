"""Machine-readable labels beside the film: Code 128, Code 39, QR Code, Data Matrix."""

from __future__ import annotations

from pathlib import Path
from typing import Any

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
    clockwise from the label's own top-left. Text is cut at 200 characters.
    """
    found = []
    for code in zxingcpp.read_barcodes(np.ascontiguousarray(gray), formats=_FORMATS):
        place = code.position
        corners = [
            [float(point.x), float(point.y)]
            for point in (place.top_left, place.top_right, place.bottom_right, place.bottom_left)
        ]
        found.append(
            {"text": code.text[:_MAX_TEXT], "format": str(code.format), "corners": corners}
        )
    return sorted(found, key=lambda label: (label["corners"][0][::-1], label["text"]))


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
