"""Real glass plates with three exposures each, and their frames as marked by hand (README.md)."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

HERE = Path(__file__).resolve().parent


@dataclass(frozen=True)
class Plate:
    """A published copy of a plate.

    pixels: (h, w) uint8, sRGB grey, the picture as a positive (`negative`: as it lies on a table).
    frames: corners (4, 2) in px each, in reading order.
    """

    name: str
    pixels: npt.NDArray[np.uint8]
    frames: tuple[npt.NDArray[np.float64], ...]

    @property
    def negative(self) -> npt.NDArray[np.uint8]:
        return 255 - self.pixels


def plates() -> list[Plate]:
    marked = json.loads((HERE / "frames.json").read_text("utf-8"))
    found = []
    for name, frames in marked.items():
        pixels = cv2.imread(str(HERE / name), cv2.IMREAD_GRAYSCALE)
        corners = tuple(np.array(frame, np.float64) for frame in frames)
        found.append(Plate(name.removesuffix(".jpg"), pixels.astype(np.uint8), corners))
    return found
