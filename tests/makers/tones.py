"""Tones of frames, as render.json keeps them."""

from __future__ import annotations

from typing import Any

from glassine.base.tone import Clipped, Conversion, Inversion, StatedEncoding, Tone

POSITIVE = Tone(
    version="5",
    rendering="positive",
    process="colour",
    bits=16,
    master_bands=3,
    bands=3,
    channels=(0, 1, 2),
    encoding=StatedEncoding("profile", "Capture RGB", kind="matrix", sha256="0" * 64),
    way=Conversion(black=0.001),
    matrix=((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
    shoulder=None,
    clipped=Clipped(0.0, 0.0, 0.0, 0.0),
)
MONOCHROME_NEGATIVE = Tone(
    version="5",
    rendering="negative, monochrome",
    process="monochrome",
    bits=16,
    master_bands=3,
    bands=1,
    channels=(1,),
    encoding=StatedEncoding("assumption", "srgb", assumed=True),
    way=Inversion(
        dmin=(0.21,),
        dmin_source="film base, 2 region(s)",
        slopes=(0.6,),
        slopes_source="default of the process",
        balance=(0.0,),
        exposure=-2.1,
        toe=0.5,
    ),
    matrix=None,
    shoulder=None,
    clipped=Clipped(0.0, 0.0, 0.01, 0.0),
)


def positive() -> dict[str, Any]:
    return POSITIVE.as_record()


def monochrome_negative() -> dict[str, Any]:
    return MONOCHROME_NEGATIVE.as_record()
