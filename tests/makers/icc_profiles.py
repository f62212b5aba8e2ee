"""ICC profiles that masters of the tests carry."""

from __future__ import annotations

import struct

import numpy as np

from glassine.masters import colour


def matrix_profile(name: str, matrix: np.ndarray, curve: np.ndarray) -> bytes:
    """Return an RGB profile: `matrix` linear RGB to XYZ (D50), one sampled curve for all."""
    tags = colour._text_tags(name)
    for number, letter in enumerate("rgb"):
        column = (round(value * 65536) for value in matrix[:, number])
        tags[f"{letter}XYZ"] = b"XYZ \0\0\0\0" + struct.pack(">3i", *column)
        tags[f"{letter}TRC"] = colour._tag_bytes_curve(curve)
    return colour._profile_bytes(b"RGB ", tags)
