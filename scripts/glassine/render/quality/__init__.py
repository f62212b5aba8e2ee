"""Quality of each frame, measured while it is rendered; the batch as a whole, afterwards.

`measure` looks at a few patches at full resolution and at the reduced master, so that its cost
does not grow with the master. Limits: config/quality_limits.yaml.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import msgspec
import numpy as np
import numpy.typing as npt
from msgspec import UNSET, UnsetType

from glassine.base.model import Facts, Frame, MasterGeometry
from glassine.base.records.quality import BaseLight, Measure, Verdict
from glassine.base.tone import AnyTone, Negative
from glassine.masters import colour, ranks
from glassine.render.given import QualitySection
from glassine.render.quality import (
    area,
    bands,
    detail,
    edges,
    limits,
    lines,
    motion,
    patches,
    planes,
    registration,
    rings,
    spectra,
)

if TYPE_CHECKING:
    from glassine.masters.pixels import Source

VERSION = "6"
ORDER: dict[Verdict, int] = {"pass": 0, "not measured": 1, "review": 2, "fail": 3}


@dataclass(frozen=True)
class Sight:
    """A frame as it is measured.

    tone: of the frame; shown: the frame as rendered, uint8 (h, w, bands), long edge about
    1000 px; icc: the master's profile (else the encoding that the tone records).
    """

    source: Source
    geometry: MasterGeometry
    frame: Frame
    tone: AnyTone
    facts: Facts
    shown: npt.NDArray[np.uint8]
    icc: bytes | None = None

    def encoding(self) -> colour.Encoding:
        encoding_stated = self.tone.encoding.stated
        return colour.encoding_of(self.icc, encoding_stated, self.source.bits, self.source.bands)


def prepare() -> None:
    """Read the project's own limits, once a process."""
    limits.prepare()


def measure(sight: Sight, settings: QualitySection) -> list[Measure]:
    """Return the measures of a frame, judged by the table of limits."""
    column = limits.material(sight.geometry, sight.facts)
    agreed = {"effective_ppi": sight.facts.required_ppi}
    return [
        _excused(limits.judged(name, value, unit, column, settings, agreed.get(name)), why)
        for name, value, unit, why in _values(sight, sight.encoding())
    ]


def base_light(sight: Sight) -> BaseLight | UnsetType:
    """Return the light of a master's film base, for its course over the batch; UNSET: no base."""
    pieces = area.base_light(sight.source, sight.geometry, sight.encoding())
    if not pieces:
        return UNSET
    return BaseLight(sight.geometry.width, sight.geometry.height, pieces)


# Name, value, unit, and why a value beyond its limit is no fault of the capture ("" : it is one).
Value = tuple[str, float | int | None, str, str]
SOFT_PICTURE = "the picture is soft and its grain is sharp: the capture is in focus"


def _excused(measure: Measure, why: str) -> Measure:
    if not why or measure.verdict == "not measured":
        return measure
    return msgspec.structs.replace(measure, verdict="pass", source=why)


def _values(sight: Sight, encoding: colour.Encoding) -> list[Value]:
    source, geometry, frame, tone = sight.source, sight.geometry, sight.frame, sight.tone
    plane = planes.density(source, encoding)
    busy, flat = patches.pick(source, frame, encoding, plane)
    mask = patches.inside(source.reduced.shape, frame, source.reduction, 0.03)
    if not mask.any():
        mask[:] = True
    band = tone.channels[len(tone.channels) // 2]
    codes = _sampled(source, mask, busy + flat)
    high, low = area.clipped(codes, source.bits)
    base_high = area.base_clipped(source, geometry)
    dmin, dmax = area.density_range(source, mask, encoding)
    found = edges.of_patches(busy, band)
    power = spectra.powers(busy + flat, band)
    quiet = spectra.quiet(power)
    grain = spectra.grain_blur(quiet)
    whole = planes.upright(plane, geometry, frame, source.reduction)
    soft = SOFT_PICTURE if spectra.is_sharp(quiet, grain) else ""
    counts = np.bincount(codes[:: max(1, len(codes) // 300_000)].ravel())
    used = [ranks.of_codes(counts, per_cent) for per_cent in (0.05, 99.95)]
    values: list[tuple[str, float | int | None, str]] = [
        ("clipped_highlights", high, "%"),
        ("clipped_shadows", low, "%"),
        ("clipped_base", base_high, "%"),
        ("used_range", float((used[1] - used[0]) / (2**source.bits - 1) * 100), "%"),
        ("bits_used", detail.bits_used(busy + flat, source.bits), "bit"),
        ("base_density", _base_density(tone), "D"),
        ("dmin", dmin, "D"),
        ("dmax", dmax, "D"),
        ("density_range", dmax - dmin, "D"),
        ("edge_blur", spectra.capture_blur(edges.blur(found), grain), "px"),
        ("edge_points", len(found.variance), "count"),
        ("grain_blur", grain, "px"),
        ("motion_blur", motion.motion_blur(power, spectra.places(busy + flat)), "dB"),
        ("sampling_used", spectra.sampling_used(busy + flat, band, quiet), "%"),
        ("compression_blocks", spectra.compression_blocks(busy + flat, band), "%"),
        ("noise", detail.noise(flat + busy, band), "D"),
        ("fine_noise", spectra.fine_noise(quiet), "D"),
        *(
            [("misregistration", registration.misregistration(busy), "px")]
            if source.bands > 2
            else []
        ),
        ("light_falloff", area.light_falloff(source, geometry, encoding), "%"),
        ("effective_ppi", _effective_ppi(geometry, frame, sight.facts), "ppi"),
        ("dust", area.dust(sight.shown), "count"),
        ("scratches", lines.scratches(whole), "count"),
        *_banding(sight, encoding, plane),
        ("newton_rings", rings.newton_rings(source, frame, encoding), "likelihood"),
        ("skew_left", area.skew_left(frame), "deg"),
        ("rendered_highlights", tone.clipped_percent.rendered_high, "%"),
        ("rendered_shadows", tone.clipped_percent.rendered_low, "%"),
    ]
    why = {"edge_blur": soft}
    return [(name, value, unit, why.get(name, "")) for name, value, unit in values]


def _registration(
    source: Source, busy: list[patches.Patch]
) -> list[tuple[str, float | int | None, str]]:
    if source.bands < 3:
        return []
    return [("misregistration", registration.misregistration(busy), "px")]


def _banding(
    sight: Sight, encoding: colour.Encoding, plane: patches.Floats
) -> list[tuple[str, float | int | None, str]]:
    """Return banding as the film base tells it; what the base does not tell, by the picture."""
    source = sight.source
    of_base = bands.of_base(source.reduced, encoding, sight.geometry, source.reduction)
    told: list[tuple[str, float | int | None, str]] = []
    if of_base.larger() is not None:
        told.append(("banding", of_base.larger(), "%"))
    unseen = [
        columns
        for columns, value in ((False, of_base.rows), (True, of_base.columns))
        if value is None
    ]
    if unseen:
        seen = [_in_picture(sight, encoding, plane, columns=columns) for columns in unseen]
        known = [value for value in seen if value is not None]
        # One direction that is not known leaves the whole unknown, unless the other shows bands.
        whole = max(known, default=None)
        if len(known) < len(seen) and (whole or 0.0) <= bands.MUST_SEE_IN_PICTURE:
            whole = None
        told.append(("banding_in_picture", whole, "%"))
    return told


def _in_picture(
    sight: Sight, encoding: colour.Encoding, plane: patches.Floats, *, columns: bool
) -> float | None:
    """Return banding by the picture; None also where base beside it shows that it is the subject,
    behind whose lines weaker bands may hide."""
    source, frame = sight.source, sight.frame
    value = bands.of_picture(plane, frame, source.reduction, columns=columns)
    if value is None or value <= bands.MUST_SEE_IN_PICTURE:
        return value
    base = bands.base_varies(
        source.reduced, encoding, sight.geometry, frame, source.reduction, columns=columns
    )
    return None if base is not None and base < bands.DENIES * value else value


def _sampled(
    source: Source, mask: npt.NDArray[np.bool_], sampled_patches: list[patches.Patch]
) -> npt.NDArray[Any]:
    """Return codes (n, bands): every third row of patches; without any, the reduced master."""
    if not sampled_patches:
        return source.reduced[mask]
    rows = [patch.codes[::3].reshape(-1, source.bands) for patch in sampled_patches]
    return np.concatenate(rows)


def _base_density(tone: AnyTone) -> float | None:
    if not isinstance(tone, Negative) or not tone.dmin_source.startswith("film base"):
        return None
    return float(np.mean(tone.dmin))


def _effective_ppi(geometry: MasterGeometry, frame: Frame, facts: Facts) -> float | None:
    """Return pixels per inch from the picture's size in mm, else as locate found it."""
    if facts.size_mm is None:
        return geometry.ppi
    corners = np.array(frame.corners, float)
    across = np.linalg.norm(corners[1] - corners[0]) + np.linalg.norm(corners[2] - corners[3])
    down = np.linalg.norm(corners[3] - corners[0]) + np.linalg.norm(corners[2] - corners[1])
    long_px, long_mm = max(across, down) / 2, max(facts.size_mm)
    return float(long_px / (long_mm / 25.4))


def verdict(measures: list[Measure]) -> Verdict:
    """Return the worst verdict of a frame's measures."""
    return max((measure.verdict for measure in measures), key=ORDER.__getitem__, default="pass")
