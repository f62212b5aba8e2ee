"""Writing drawn on labels and film, and the truth about it: lines in fonts of Debian's packages."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

_FOLDER = Path("/usr/share/fonts/truetype")
# Five typefaces of the Debian packages fonts-dejavu and fonts-liberation.
TYPEFACES = {
    "sans": _FOLDER / "liberation/LiberationSans-Regular.ttf",
    "narrow": _FOLDER / "liberation/LiberationSansNarrow-Regular.ttf",
    "serif": _FOLDER / "liberation/LiberationSerif-Regular.ttf",
    "typed": _FOLDER / "liberation/LiberationMono-Regular.ttf",
    "slab": _FOLDER / "dejavu/DejaVuSerif.ttf",
}
WORDS = (
    "HARBOUR", "Pier 9 west", "Box 3", "SAFETY FILM", "Sheet 6", "Lighthouse", "Slipway", "Dry dock",
    "Sleeve 12", "Port Ellery", "Regatta", "Chandlery", "Fish market", "Crane 4", "Ferry 1906",
)  # fmt: skip


def missing() -> bool:
    """Return whether a typeface is not on this machine."""
    return not all(path.exists() for path in TYPEFACES.values())


def any_text(rng: np.random.Generator, label: bool) -> str:
    """Return a number as film is marked with, or what stands on a label."""
    if not label:
        kinds = [
            f"{rng.integers(0, 45)}{'A' * int(rng.integers(2))}",
            str(rng.integers(1000, 9999)),
        ]
        return str(rng.choice([*kinds, "SAFETY FILM"], p=[0.7, 0.15, 0.15]))
    number = f"PEH-{rng.integers(0, 10_000):04d}"
    year = f"{rng.integers(1890, 1990)}"
    return str(rng.choice([number, year, f"No. {rng.integers(100)}", str(rng.choice(WORDS))]))


@dataclass(frozen=True)
class Written:
    """A line of writing. at: its centre, px; angle_deg: clockwise."""

    text: str
    typeface: str
    at: tuple[float, float]
    angle_deg: float
    mirrored: bool


def write(grey: np.ndarray, one: Written, high_px: float, dark: float, noise: float = 0.0) -> None:
    """Write a line into a float picture of light, in place. high_px: of the capitals; dark: share
    of light that the writing takes."""
    face = ImageFont.truetype(str(TYPEFACES[one.typeface]), round(4 * high_px / 0.7))
    left, top, right, bottom = face.getbbox(one.text)
    tile = Image.new("L", (int(right - left) + 16, int(bottom - top) + 16), 0)
    ImageDraw.Draw(tile).text((8 - left, 8 - top), one.text, font=face, fill=255)
    ink = np.asarray(tile, np.float32) / 255
    ink = cv2.GaussianBlur(ink, (0, 0), 2.0)
    a = np.deg2rad(one.angle_deg)
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]]) / 4
    if one.mirrored:
        turn = turn @ np.diag([-1.0, 1.0])
    middle = np.array([ink.shape[1], ink.shape[0]]) / 2
    matrix = np.c_[turn, np.array(one.at) - turn @ middle]
    size = grey.shape[1], grey.shape[0]
    laid = cv2.warpAffine(ink, matrix, size, flags=cv2.INTER_AREA)
    grey *= 1 - np.float32(dark) * laid
