"""What the measures say of the masters that captures.py makes."""

from __future__ import annotations

import msgspec
import numpy as np

from glassine.base import settings
from glassine.base.model import Facts, Frame, MasterGeometry
from glassine.base.records.quality import Measure
from glassine.render import quality, tone, toning
from glassine.render.given import Settings
from makers.tone import captures, sources

MEASURE_OF = {
    "clipped": "clipped_base",
    "upsampled": "sampling_used",
    "eight_bits": "bits_used",
    "defocused": "edge_blur",
    "uneven": "light_falloff",
    "rings": "newton_rings",
}


def geometry(source: sources.ArraySource, monochrome: bool) -> MasterGeometry:
    e, w, h = captures.EDGE, source.width, source.height
    frame = Frame(
        1,
        ((e, e), (w - e, e), (w - e, h - e), (e, h - e)),
        0.0,
        "negative",
        "monochrome" if monochrome else "colour",
    )
    m = e - 6
    base = (
        ((4, 4), (w - 4, 4), (w - 4, m), (4, m)),
        ((4, h - m), (w - 4, h - m), (w - 4, h - 4), (4, h - 4)),
        ((4, m), (m, m), (m, h - m), (4, h - m)),
        ((w - m, m), (w - 4, m), (w - 4, h - m), (w - m, h - m)),
    )
    return MasterGeometry("a.tif", w, h, 4000.0, "tag", (frame,), base_regions=base)


def measured(
    codes: np.ndarray, monochrome: bool, found: MasterGeometry | None = None
) -> dict[str, Measure]:
    """Return the measures of a master by name; found: its geometry, else that of captures.py."""
    source, icc = sources.ArraySource(codes), sources.linear_profile()
    loaded = msgspec.convert(settings.load({}), Settings)
    found = found or geometry(source, monochrome)
    plan = tone.plan(source, found, Facts(), icc, loaded.tone)[0]
    e = int(found.frames[0].corners[0][0])
    rendered = toning.apply(np.ascontiguousarray(codes[e:-e, e:-e]), plan, icc)
    values = quality.measure(
        quality.Sight(source, found, found.frames[0], plan, Facts(), rendered, icc), loaded.quality
    )
    return {value.name: value for value in values}
