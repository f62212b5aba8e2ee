"""A third maker: ways in which film, plates and prints lie on a table, beyond one kind at a time.

    tests/benchmarks/run locate --maker layouts --count 2

It uses the table, film and optics of `scenes`; what lies there, and how, is drawn in `layouts_film`
and `layouts_flat`. About half of the scenes say no resolution, as copies and stitched masters do.
These scenes are there to improve the finder on: figures that are to be believed come from others.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable

import numpy as np

from benchmarks.locate import layouts_film as roll
from benchmarks.locate import layouts_flat as flat
from benchmarks.locate.scenes import Scene, Table, Truth, finish, reading_corners

Maker = Callable[[np.random.Generator], tuple[Table, list[Truth]]]

# The maker, and the kind that a studio would state of such masters.
LAYOUTS: dict[str, tuple[Maker, str]] = {
    "exposures": (flat.exposures, "plate"),
    "stereo": (flat.stereo, "plate"),
    "several_prints": (flat.several_prints, "print"),
    "several_slides": (flat.several_slides, "mounted_slide"),
    "print_ruler": (flat.print_ruler, "print"),
    "portrait_carrier": (flat.portrait_carrier, "sheet"),
    "sleeve_page": (roll.sleeve_page, "auto"),
    "several_strips": (roll.several_strips, "auto"),
    "neighbour_strip": (roll.neighbour_strip, "auto"),
}
KINDS = list(LAYOUTS)


def make(kind: str, seed: int) -> Scene:
    """Return the scene of this layout and seed; the same pixels every time."""
    r = np.random.default_rng([seed, zlib.crc32(kind.encode())])
    maker, stated = LAYOUTS[kind]
    table, truth = maker(r)
    grey = bool(r.random() < 0.3) and all(frame.process == "monochrome" for frame in truth)
    pixels, encoding = finish(table, r, grey=grey)
    ppi = float(table.scale * 25.4) if r.random() < 0.5 else None
    if kind == "exposures" and r.random() < 0.3:  # published copies show negatives as positives
        pixels = np.iinfo(pixels.dtype).max - pixels
        for frame in truth:
            frame.polarity = "positive"
    for frame in truth:
        frame.corners = reading_corners(frame.corners)
    return Scene(stated, f"{kind}-{seed}", pixels, encoding, ppi, truth)
