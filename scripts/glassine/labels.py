"""Machine-readable labels beside the film: Code 128, Code 39, QR Code, Data Matrix."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import zxingcpp

_FORMATS = (
    zxingcpp.BarcodeFormat.Code128,
    zxingcpp.BarcodeFormat.Code39,
    zxingcpp.BarcodeFormat.QRCode,
    zxingcpp.BarcodeFormat.DataMatrix,
)
_MAX_TEXT = 200


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
