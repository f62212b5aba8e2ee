"""Tones of frames, as render.json keeps them."""

from __future__ import annotations

from typing import Any

import msgspec

from glassine.base.tone import Clipped, MonochromeNegative, PositiveAsIs, StatedEncoding

POSITIVE = PositiveAsIs(
    version="5",
    process="colour",
    bits=16,
    master_bands=3,
    bands=3,
    channels=(0, 1, 2),
    encoding=StatedEncoding(by="profile", name="Capture RGB", kind="matrix", sha256="0" * 64),
    black=0.001,
    intent="relative colorimetric",
    black_point_compensation=True,
    matrix=((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
    shoulder=None,
    review=(),
    clipped_percent=Clipped(0.0, 0.0, 0.0, 0.0),
)
MONOCHROME_NEGATIVE = MonochromeNegative(
    version="5",
    process="monochrome",
    bits=16,
    master_bands=3,
    bands=1,
    channels=(1,),
    encoding=StatedEncoding(by="assumption", name="srgb", assumed=True),
    dmin=(0.21,),
    dmin_source="film base, 2 region(s)",
    slopes=(0.6,),
    slopes_source="default of the process",
    balance=(0.0,),
    exposure=-2.1,
    toe=0.5,
    matrix=None,
    shoulder=None,
    review=(),
    clipped_percent=Clipped(0.0, 0.0, 0.01, 0.0),
)


def positive() -> dict[str, Any]:
    return dict(msgspec.to_builtins(POSITIVE))


def monochrome_negative() -> dict[str, Any]:
    return dict(msgspec.to_builtins(MONOCHROME_NEGATIVE))
