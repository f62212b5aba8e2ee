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
    "torn": (flat.torn, "plate"),
    "retouched": (flat.retouched, "sheet"),
    "portrait_carrier": (flat.portrait_carrier, "sheet"),
    "clip_carrier": (flat.clip_carrier, "sheet"),
    "glass_carrier": (flat.glass_carrier, "sheet"),
    "small_aperture": (roll.small_aperture, "auto"),
    "empty_opening": (flat.empty_opening, "auto"),
    "several_prints": (flat.several_prints, "print"),
    "print_ruler": (flat.print_ruler, "print"),
    "print_shadow": (flat.print_shadow, "print"),
    "board": (flat.board, "print"),
    "several_slides": (flat.several_slides, "mounted_slide"),
    "sleeve_page": (roll.sleeve_page, "auto"),
    "several_strips": (roll.several_strips, "auto"),
    "neighbour_strip": (roll.neighbour_strip, "auto"),
    "half_frames": (roll.half_frames, "strip_135"),
    "panorama": (roll.panorama, "auto"),
    "dense_120": (roll.dense_120, "strip_120"),
    "leader": (roll.leader, "auto"),
    "reversal": (roll.reversal, "auto"),
    "overlapped": (roll.overlapped, "auto"),
    "curled": (roll.curled, "auto"),
    "portraits": (roll.portraits, "auto"),
    "cartridge": (roll.cartridge, "auto"),
    "single_perforations": (roll.single_perforations, "frame_135"),
    "unstated_linear": (flat.stereo, "auto"),
}
# Linear masters that nobody says so of: read as sRGB, they look far too dark.
UNSTATED = (
    flat.stereo,
    flat.several_prints,
    roll.several_strips,
    roll.portraits,
    flat.clip_carrier,
)
KINDS = list(LAYOUTS)


def make(kind: str, seed: int) -> Scene:
    """Return the scene of this layout and seed; the same pixels every time."""
    r = np.random.default_rng([seed, zlib.crc32(kind.encode())])
    maker, stated = LAYOUTS[kind]
    unstated = kind == "unstated_linear"
    if unstated:
        maker = UNSTATED[r.integers(len(UNSTATED))]
    table, truth = maker(r)
    grey = bool(r.random() < 0.3) and all(frame.process == "monochrome" for frame in truth)
    pixels, encoding = finish(table, r, "linear" if unstated else None, grey=grey)
    encoding = None if unstated else encoding
    ppi = float(table.scale * 25.4) if r.random() < 0.5 else None
    if kind == "exposures" and r.random() < 0.3:  # published copies show negatives as positives
        pixels = np.iinfo(pixels.dtype).max - pixels
        for frame in truth:
            frame.polarity = "positive"
    for frame in truth:
        frame.corners = reading_corners(frame.corners)
    return Scene(stated, f"{kind}-{seed}", pixels, encoding, ppi, truth)  # type: ignore[arg-type]
