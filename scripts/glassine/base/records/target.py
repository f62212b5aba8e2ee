"""Result of one target capture: what was measured on it, and how tables of limits judge that.

Positions are master px, origin at the outer corner of the top-left pixel. Floats are rounded to
1e-6. Figures that the scale or the light cannot give are None, and `note` says why.
"""

from __future__ import annotations

from typing import Literal

import msgspec
from msgspec import UNSET, UnsetType

from glassine.base.model import BatchId
from glassine.base.records import Record
from glassine.base.records.developed import CalibrationFile
from glassine.base.records.parts import Count, Digests, Event, FindingNote, Text
from glassine.base.tone import StatedEncoding

TargetKind = Literal["transmissive", "reflective"]
TargetState = Literal["measured", "not found", "unreadable"]
Lab = tuple[float, float, float]


class PlacedValue(Record, frozen=True, kw_only=True):
    """A measure at one place: a patch, an edge, a mark. period_px: of a band."""

    where: str
    value: float
    period_px: float | UnsetType = UNSET


class Detail(Record, frozen=True, kw_only=True):
    """What stands behind a measure; each key belongs to one or two of them.

    x, y: ppi along the target's axes. nominal_ppi, nominal_by: what the capture claims, and who
    says so. mirrored: left and right. signed: % of distortion, positive outwards; k1: its radial
    term. by: what the light was measured on; darkest_at: place of its least, map: light over the
    field, brightest = 1. where: the step of a ratio; patch: of the largest difference. file: bits
    a sample of the file. captures: their number. beyond_target: whether the grey scale ends
    before the range does; darkest_step_d, darkest_step_snr: density, and signal over noise, of
    its last step.
    """

    x: float | UnsetType = UNSET
    y: float | UnsetType = UNSET
    nominal_ppi: float | UnsetType | None = UNSET
    nominal_by: str | UnsetType = UNSET
    mirrored: bool | UnsetType = UNSET
    signed: float | UnsetType | None = UNSET
    k1: float | UnsetType = UNSET
    by: str | UnsetType = UNSET
    darkest_at: tuple[float, float] | UnsetType = UNSET
    map: list[list[float]] | UnsetType = UNSET
    where: str | UnsetType = UNSET
    patch: str | UnsetType = UNSET
    file: Count | UnsetType = UNSET
    captures: Count | UnsetType = UNSET
    beyond_target: bool | UnsetType = UNSET
    darkest_step_d: float | UnsetType = UNSET
    darkest_step_snr: float | UnsetType = UNSET


class Measure(Record, frozen=True, kw_only=True):
    """A measure of a capture.

    values: the same measure by place, where there are several. note: why there is no value, or
    what limits it. applies: False where the capture cannot have it, say colour of a grey one.
    """

    name: Text
    value: float | None
    unit: str
    values: list[PlacedValue] = msgspec.field(default_factory=list)
    note: str = ""
    applies: bool = True
    detail: Detail = Detail()


class Miss(Record, frozen=True, kw_only=True):
    """A level that is not met, and by how much, in the unit of its criterion."""

    level: str
    by: float
    limit: str


class Criterion(Record, frozen=True, kw_only=True):
    """A row of a table as it was judged.

    value, where: the worst. level: the highest that is met with all below it, None for none;
    level_index: its place in the table's levels, -1 for none. limits: by level, in words.
    """

    criterion: Text
    measure: Text
    value: float
    where: str
    unit: str
    level: str | None
    level_index: int
    limits: dict[str, str]
    fails: list[Miss]
    source: str
    edition: str
    read_in_original: bool
    from_memory: bool
    note: str


class NotJudged(Record, frozen=True, kw_only=True):
    """A row of a table by which nothing was judged."""

    criterion: Text
    reason: Literal["no measure of a rig", "not measured", "does not apply"]
    why: str


class Judgement(Record, frozen=True, kw_only=True):
    """What one table of limits says of a capture.

    overall: lowest level of the judged criteria, None where none is reached or nothing was judged;
    overall_index: its place in `levels`. complete: whether every row that can be judged was.
    """

    table: Text
    family: Text
    title: str
    level_word: str
    levels: list[str]
    criteria: list[Criterion]
    not_judged: list[NotJudged]
    silent_on: list[str]
    print_notes: list[str]
    overall: str | None
    overall_index: int | None
    complete: bool
    read_in_original: bool
    from_memory: bool
    statement: str


class GreyStep(Record, frozen=True, kw_only=True):
    """A step of the grey scale: density and L* as known and as captured.

    chroma_error: of a* and b*. neutrality: spread of the channels in %. noise: of linear light, 1
    at full scale; noise_lightness: of L*. codes: by channel. luminance: linear, 1 at full scale.
    """

    name: str
    density_reference: float
    density: float
    lightness_reference: float
    lightness: float
    chroma_error: float
    neutrality: float
    noise: float
    noise_lightness: float
    signal_to_noise: float
    codes: tuple[float, ...]
    luminance: float


class ColourPatch(Record, frozen=True, kw_only=True):
    """A patch: Lab as captured, and the differences from its known values."""

    name: str
    lab: Lab
    delta_e_2000: float
    delta_e_2000_sl1: float
    delta_e_76: float


class ChannelFigures(Record, frozen=True, kw_only=True):
    """SFR of an edge in one channel.

    sfr50, sfr10: cycles per pixel at which it falls through 0.5 and 0.1. half_sampling, peak:
    modulation. rise_px: 10 to 90 % distance.
    """

    sfr50: float | None
    sfr10: float | None
    half_sampling: float
    peak: float
    rise_px: float


class Curve(Record, frozen=True, kw_only=True):
    """SFR of an edge (luminance), and figures by channel.

    across: direction in the master. region: left, top, width, height in px. frequency: cycles per
    pixel. shift_px: position of red, green and blue against green.
    """

    edge: str
    place: str
    across: str
    region: tuple[int, int, int, int]
    frequency: list[float]
    modulation: list[float]
    angle_deg: float
    contrast: float
    shift_px: tuple[float, float, float]
    channels: dict[str, ChannelFigures]


class TargetPlace(Record, frozen=True, kw_only=True):
    """Where the target lies.

    by: marks or outline. seen, wanted: their number. residual_px, residual_mm: rms and largest
    distance. homography: 3 x 3, mm to px. k1: radial distortion.
    """

    by: str
    seen: Count
    wanted: Count
    residual_px: tuple[float, float]
    residual_mm: tuple[float, float]
    homography: list[list[float]]
    k1: float
    tone_agreement: float | None
    mirrored: bool


class DevelopedCapture(Record, frozen=True, kw_only=True):
    """How a raw capture became the picture that was measured.

    path: of the raw file, in the batch folder; digests: of it. picture_sha256: of the picture,
    which is not kept. method, gains, table, output, matrix_from, target, over, at_white: as in
    `developed.DevelopedMaster`. filled: pixels that do not work. calibration: the session's
    captures that it was developed with. libraw, version: of the library, and of the step.
    """

    path: Text
    digests: Digests
    picture_sha256: Text
    method: str
    gains: tuple[float, float, float]
    table: float | None
    output: str
    matrix_from: Literal["file", "target"]
    target: str
    filled: Count
    over: float
    at_white: float
    calibration: list[CalibrationFile]
    libraw: str
    version: str


class TargetResult(Record, frozen=True, kw_only=True):
    """Result of one target capture of a batch.

    path: the capture, relative to the batch folder. file: name of this very record in its folder.
    target: name of the piece, from its description. described_by: path and sha256 of that, maker,
    number, media and measured_on where it names them. taken: when it was captured, empty where
    unknown. encoding: how its codes became linear light, absent where it could not be opened.
    developed: its raw captures, absent where none is raw. found: None where it was not. steps: grey
    scale, lightest first. plots, preview: file names.
    """

    batch: BatchId
    path: str
    file: Text
    target: str
    title: str = ""
    kind: TargetKind
    state: TargetState = "measured"
    described_by: dict[str, str] = msgspec.field(default_factory=dict)
    taken: str = ""
    encoding: StatedEncoding | UnsetType = UNSET
    developed: list[DevelopedCapture] | UnsetType = UNSET
    found: TargetPlace | None = None
    measures: list[Measure] = msgspec.field(default_factory=list)
    judgements: list[Judgement] = msgspec.field(default_factory=list)
    steps: list[GreyStep] = msgspec.field(default_factory=list)
    patches: list[ColourPatch] = msgspec.field(default_factory=list)
    curves: list[Curve] = msgspec.field(default_factory=list)
    plots: dict[str, str] = msgspec.field(default_factory=dict)
    preview: str | None = None
    notes: list[str] = msgspec.field(default_factory=list)
    findings: list[FindingNote] = msgspec.field(default_factory=list)
    statement: str
    event: Event
