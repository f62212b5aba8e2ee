"""What tone and measures make of the masters of frame_judge, as render does it."""

from __future__ import annotations

import math

import cv2
import msgspec
import numpy as np

from glassine.base import settings
from glassine.base.records.quality import Measure
from glassine.masters.pixels import REDUCED_LONG_EDGE
from glassine.render import quality, tone, toning
from glassine.render.given import Settings
from glassine.render.step import MEASURED_LONG_EDGE
from makers import frame_judge
from makers.tone import sources

# What tells each fault. A master enlarged and then saved as JPEG shows the blocks of that first.
MEASURES_OF = {
    "scratches": ("scratches",),
    "motion": ("motion_blur",),
    "defocus": ("edge_blur",),
    "banding": ("banding", "banding_in_picture"),
    "falloff": ("light_falloff",),
    "rings": ("newton_rings",),
    "misregistration": ("misregistration",),
    "enlarged": ("sampling_used", "compression_blocks"),
    "noise": ("fine_noise",),
}
ALL = tuple(name for names in MEASURES_OF.values() for name in names)


class ReducedSource(sources.ArraySource):
    """A master in memory whose reduced copy is made of squares, as that of a file is."""

    def __init__(self, pixels: np.ndarray) -> None:
        super().__init__(pixels)
        by = max(1, math.ceil(max(self.width, self.height) / REDUCED_LONG_EDGE))
        self.reduction = by
        if by > 1:
            size = (self.width // by, self.height // by)
            part = pixels[: size[1] * by, : size[0] * by]
            self.reduced = cv2.resize(part, size, interpolation=cv2.INTER_AREA)


def sight_of(drawn: frame_judge.Drawn) -> quality.Sight:
    """Return a drawn master as it is measured: with its tone, and rendered at 1000 px."""
    source, icc = ReducedSource(drawn.codes), sources.linear_profile()
    loaded = msgspec.convert(settings.load({}), Settings)
    frame = drawn.geometry.frames[0]
    plan = tone.plan(source, drawn.geometry, drawn.facts, icc, loaded.tone)[0]
    corners = np.array(frame.corners, np.float32)
    wide = float(np.linalg.norm(corners[1] - corners[0]))
    high = float(np.linalg.norm(corners[3] - corners[0]))
    scale = MEASURED_LONG_EDGE / max(wide, high)
    size = (round(wide * scale), round(high * scale))
    box = np.array([(0, 0), (wide, 0), (wide, high)], np.float32) - 0.5
    turn = cv2.getAffineTransform(box, corners[:3] - 0.5)
    upright = cv2.warpAffine(
        drawn.codes,
        turn,
        (round(wide), round(high)),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    toned = toning.apply(upright, plan, icc)
    shown = cv2.resize(toned, size, interpolation=cv2.INTER_AREA)
    shown = shown.reshape(*shown.shape[:2], toned.shape[2])
    return quality.Sight(source, drawn.geometry, frame, plan, drawn.facts, shown, icc)


def of_sight(sight: quality.Sight) -> dict[str, Measure]:
    """Return the measures of a frame by name."""
    loaded = msgspec.convert(settings.load({}), Settings)
    return {each.name: each for each in quality.measure(sight, loaded.quality)}


def alarms(values: dict[str, Measure]) -> list[str]:
    """Return which measures of these faults ask for a look."""
    return [n for n in ALL if n in values and values[n].verdict in {"review", "fail"}]
