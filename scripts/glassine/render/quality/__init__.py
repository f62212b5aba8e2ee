"""Quality of each frame, measured while it is rendered; the batch as a whole, afterwards.

`measure` looks at a few tiles at full resolution and at the reduced master, so that its cost
does not grow with the master. Limits: config/quality_limits.yaml.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from glassine.base.model import Facts, Frame, MasterGeometry, Measure
from glassine.base.tone import Inversion, Tone
from glassine.masters import colour
from glassine.render.quality import area, detail, limits, tiles
from glassine.render.settings import QualitySettings

if TYPE_CHECKING:
    from glassine.masters.pixels import Source

VERSION = "3"
ORDER = {"pass": 0, "review": 1, "fail": 2}


def measure(
    source: Source,
    geometry: MasterGeometry,
    frame_index: int,
    tone: Tone,
    facts: Facts,
    rendered: npt.NDArray[np.uint8],
    settings: QualitySettings,
    icc: bytes | None = None,
) -> list[Measure]:
    """Return the measures of the frame whose `Frame.index` is `frame_index`.

    tone: the frame's plan; rendered: the frame as uint8 (h, w, bands), long edge about 1000 px;
    icc: the master's profile (else the encoding that the tone records).
    Raises KeyError for an index that the geometry does not have.
    """
    frame = _frame(geometry, frame_index)
    encoding = _encoding(source, tone, icc)
    column = limits.material(geometry, facts)
    values = _values(source, geometry, frame, tone, facts, rendered, encoding)
    agreed = {"effective_ppi": facts.required_ppi}
    return [
        limits.judged(name, value, unit, column, settings, agreed.get(name))
        for name, value, unit in values
    ]


def _frame(geometry: MasterGeometry, index: int) -> Frame:
    for frame in geometry.frames:
        if frame.index == index:
            return frame
    raise KeyError(index)


def _encoding(source: Source, tone: Tone, icc: bytes | None) -> colour.Encoding:
    return colour.encoding_of(icc, tone.encoding.stated, source.bits, source.bands)


Value = tuple[str, float | int | None, str]


def _values(
    source: Source,
    geometry: MasterGeometry,
    frame: Frame,
    tone: Tone,
    facts: Facts,
    rendered: npt.NDArray[np.uint8],
    encoding: colour.Encoding,
) -> list[Value]:
    busy, flat = tiles.pick(source, frame, encoding)
    mask = tiles.inside(source.reduced.shape, frame, source.reduction, 0.03)
    if not mask.any():
        mask[:] = True
    band = tone.channels[len(tone.channels) // 2]
    codes = _sampled(source, mask, busy + flat)
    high, low = area.clipped(codes, source.bits)
    base_high = area.base_clipped(source, geometry)
    dmin, dmax = area.density_range(source, mask, encoding)
    blur, points = detail.edge_blur(busy, band)
    spectrum = detail.power_spectrum(busy + flat, band)
    used = np.percentile(codes[:: max(1, len(codes) // 300_000)], [0.05, 99.95])
    return [
        ("clipped_highlights", high, "%"),
        ("clipped_shadows", low, "%"),
        ("clipped_base", base_high, "%"),
        ("used_range", float((used[1] - used[0]) / (2**source.bits - 1) * 100), "%"),
        ("bits_used", detail.bits_used(busy + flat, source.bits), "bit"),
        ("base_density", _base_density(tone), "D"),
        ("dmin", dmin, "D"),
        ("dmax", dmax, "D"),
        ("density_range", dmax - dmin, "D"),
        ("edge_blur", blur, "px"),
        ("edge_points", points, "count"),
        ("sampling_used", detail.sampling_used(spectrum, blur), "%"),
        ("noise", detail.noise(flat + busy, band), "D"),
        ("misregistration", detail.misregistration(busy), "px"),
        ("light_falloff", area.light_falloff(source, geometry, encoding), "%"),
        ("effective_ppi", _effective_ppi(geometry, frame, facts), "ppi"),
        ("dust", area.dust(rendered), "count"),
        ("newton_rings", area.newton_rings(rendered), "likelihood"),
        ("skew_left", area.skew_left(frame), "deg"),
        ("rendered_highlights", tone.clipped.rendered_high if tone.clipped else None, "%"),
        ("rendered_shadows", tone.clipped.rendered_low if tone.clipped else None, "%"),
    ]


def _sampled(
    source: Source, mask: npt.NDArray[np.bool_], read: list[tiles.Tile]
) -> npt.NDArray[Any]:
    """Return codes (n, bands): those of the tiles, or of the reduced master without any."""
    if not read:
        return source.reduced[mask]
    return np.concatenate([tile.codes.reshape(-1, source.bands) for tile in read])


def _base_density(tone: Tone) -> float | None:
    way = tone.way
    if not isinstance(way, Inversion) or not way.dmin_source.startswith("film base"):
        return None
    return float(np.mean(way.dmin))


def _effective_ppi(geometry: MasterGeometry, frame: Frame, facts: Facts) -> float | None:
    """Return pixels per inch from the picture's size in mm, else as locate found it."""
    if facts.size_mm is None:
        return geometry.ppi
    corners = np.array(frame.corners, float)
    across = np.linalg.norm(corners[1] - corners[0]) + np.linalg.norm(corners[2] - corners[3])
    down = np.linalg.norm(corners[3] - corners[0]) + np.linalg.norm(corners[2] - corners[1])
    long_px, long_mm = max(across, down) / 2, max(facts.size_mm)
    return float(long_px / (long_mm / 25.4))


def verdict(measures: list[Measure]) -> str:
    """Return the worst verdict of a frame's measures."""
    return max((found.verdict for found in measures), key=ORDER.__getitem__, default="pass")
