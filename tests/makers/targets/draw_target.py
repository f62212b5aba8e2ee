"""Draw captures of targets from their description, with exactly known truth.

Every shape is drawn by its closed form: the light at a pixel's centre is that of the shape
blurred by a Gaussian (error functions along the shape's own axes), at the place to which the
chosen perspective and lens distortion carry that pixel. So the truth (sharpness, scale, shift
between channels, fall-off, noise) is what was put in, not what some resampling made of it.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pyvips
from scipy.special import ndtr

from glassine.masters import colour as light_colour
from glassine.targets import colour
from glassine.targets.description import Description, Patch

# The primaries of Adobe RGB (1998), adapted to D50 by the Bradford transform (computed with
# colour-science 0.4.7 from its dataset of that space).
WIDE_TO_XYZ = np.array(
    [[0.60974, 0.20527, 0.14919], [0.31111, 0.62567, 0.06321], [0.01946, 0.06088, 0.74456]]
)
GAMMA = 563 / 256  # 2.19921875, as that space defines it


def neutrals(described: Description) -> list[Patch]:
    """Return the grey scale, lightest first."""
    steps = [patch for patch in described.patches if "neutral" in patch.roles]
    return sorted(steps, key=lambda patch: -patch.xyz[1])


@dataclass(frozen=True)
class Rig:
    """What a capture is made of; the defaults are a clean rig.

    ppi: px per inch at the centre of the picture. rotate_deg: clockwise. mirror: left-right.
    tilt: perspective terms (1/mm) in x and y. k1: radial distortion per half diagonal squared.
    sigma_px: Gaussian blur by channel; corner_sigma_px: added in quadrature at the corners.
    shift_px: (x, y) by channel. falloff: loss of light at the corner (quadratic in the radius).
    gain: by channel. flare: even light added, share of full scale. noise: rms in linear light
    at full scale; it is `noise_read` in the dark and grows with the square root of the light.
    tone_power: exponent put upon the light. halo: strength of sharpening (unsharp, sigma 1.5 px).
    banding: amplitude (peak, share of the light) and period_px; by rows.
    bits: true depth of the data within 16. exposure: factor on all light.
    """

    ppi: float = 1000.0
    nominal_ppi: float | None = None
    rotate_deg: float = 0.3
    mirror: bool = False
    tilt: tuple[float, float] = (0.0, 0.0)
    offset_px: tuple[float, float] = (0.0, 0.0)
    k1: float = 0.0
    sigma_px: tuple[float, float, float] = (0.65, 0.65, 0.65)
    corner_sigma_px: float = 0.0
    shift_px: tuple[tuple[float, float], ...] = ((0.0, 0.0), (0.0, 0.0), (0.0, 0.0))
    falloff: float = 0.004
    gain: tuple[float, float, float] = (1.0, 1.0, 1.0)
    exposure: float = 0.9
    flare: float = 0.0
    noise: float = 0.0015
    noise_read: float = 0.00002
    tone_power: float = 1.0
    halo: float = 0.0
    banding: tuple[float, float] = (0.0, 12.0)
    bits: int = 16
    grey: bool = False
    linear: bool = False
    margin_mm: float = 1.5
    lab_shift: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    seed: int = 1
    surround: float = 1.0
    size_px: tuple[int, int] | None = None


@dataclass(frozen=True)
class Drawn:
    """codes: (height, width, 3 or 1) uint16. truth: what went in."""

    codes: np.ndarray
    profile: bytes
    ppi: float


def profile_bytes(rig: Rig) -> bytes:
    """Return the ICC profile the rig's codes are in: gamma as a one-point curve, or linear."""
    exponent = 1.0 if rig.linear else GAMMA
    curve = b"curv\0\0\0\0" + struct.pack(">IHH", 1, round(exponent * 256), 0)[:6]
    tags = light_colour._text_tags("Generated wide space" if not rig.grey else "Generated grey")
    if rig.grey:
        return light_colour._profile_bytes(b"GRAY", tags | {"kTRC": curve})
    for number, letter in enumerate("rgb"):
        column = (round(value * 65536) for value in WIDE_TO_XYZ[:, number])
        tags[f"{letter}XYZ"] = b"XYZ \0\0\0\0" + struct.pack(">3i", *column)
        tags[f"{letter}TRC"] = curve
    return light_colour._profile_bytes(b"RGB ", tags)


def homography(described: Description, rig: Rig, width: int, height: int) -> np.ndarray:
    """Return mm to ideal px: the target's centre in the middle of the picture."""
    scale = rig.ppi / 25.4
    turn = np.radians(rig.rotate_deg)
    sign = -1.0 if rig.mirror else 1.0
    rotation = np.array([[np.cos(turn) * sign, -np.sin(turn)], [np.sin(turn) * sign, np.cos(turn)]])
    centre = np.array(described.size_mm) / 2
    about = np.array([[1, 0, -centre[0]], [0, 1, -centre[1]], [0, 0, 1]])
    tilt = np.array([[1, 0, 0], [0, 1, 0], [rig.tilt[0], rig.tilt[1], 1]])
    place = np.eye(3)
    place[:2, :2] = rotation * scale
    place[:2, 2] = [width / 2 + rig.offset_px[0], height / 2 + rig.offset_px[1]]
    return place @ tilt @ about


class _Plane:
    """Light on the target's plane for one channel, evaluated at blocks of pixels."""

    def __init__(self, described: Description, rig: Rig, width: int, height: int) -> None:
        self.matrix = homography(described, rig, width, height)
        self.inverse = np.linalg.inv(self.matrix)
        self.rig, self.width, self.height = rig, width, height
        self.centre = np.array([width / 2, height / 2])
        self.half = float(np.hypot(width, height) / 2)

    def to_px(self, mm: np.ndarray) -> np.ndarray:
        flat = np.concatenate([mm, np.ones((len(mm), 1))], 1) @ self.matrix.T
        away = flat[:, :2] / flat[:, 2:] - self.centre
        radius = (away**2).sum(1, keepdims=True) / self.half**2
        return self.centre + away * (1 + self.rig.k1 * radius)

    def to_mm(self, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        dx, dy = x - self.centre[0], y - self.centre[1]
        ux, uy = dx, dy
        for _ in range(6 if self.rig.k1 else 0):
            grow = 1 + self.rig.k1 * (ux**2 + uy**2) / self.half**2
            ux, uy = dx / grow, dy / grow
        ux, uy = ux + self.centre[0], uy + self.centre[1]
        m = self.inverse
        depth = m[2, 0] * ux + m[2, 1] * uy + m[2, 2]
        return (
            (m[0, 0] * ux + m[0, 1] * uy + m[0, 2]) / depth,
            (m[1, 0] * ux + m[1, 1] * uy + m[1, 2]) / depth,
        )


def _blurred_box(u: np.ndarray, v: np.ndarray, size, sigma: float) -> np.ndarray:
    half_w, half_h = size[0] / 2, size[1] / 2
    return (ndtr((u + half_w) / sigma) - ndtr((u - half_w) / sigma)) * (
        ndtr((v + half_h) / sigma) - ndtr((v - half_h) / sigma)
    )


def shapes(described: Description, rig: Rig) -> list[tuple]:
    """Return (kind, centre, size or diameter, turn_deg, linear RGB at exposure 1) of all shapes.

    Patches are upright boxes. Each edge region holds the nearest side of a square turned by
    5 degrees, drawn by `edge_squares`.
    """
    to_rgb = np.linalg.inv(WIDE_TO_XYZ)
    found: list[tuple] = []
    for patch in described.patches:
        lab = patch.lab + np.array(rig.lab_shift.get(patch.name, (0, 0, 0)))
        found.append(("box", patch.at, patch.size, 0.0, to_rgb @ colour.xyz_from_lab(lab)))
    dark, bright = (0.02, 0.9) if described.kind == "reflective" else (0.003, 1.0)
    for at in described.marks:
        value = dark if described.mark_tone == "dark" else bright
        found.append(("disc", at, described.mark_diameter_mm, 0.0, np.full(3, value)))
    return found


def background(described: Description) -> float:
    """Light of the target's ground, between the shapes."""
    lit = 0.75 if described.kind == "reflective" else 0.8
    return lit if described.mark_tone == "dark" else 0.05


def edge_shapes(described: Description, angle_deg: float = 5.0, squares=()) -> list[tuple]:
    """Return the dark squares, turned by `angle_deg`, whose sides the edge regions hold."""
    dark = 0.08
    return [("box", at, size, angle_deg, np.full(3, dark)) for at, size in squares]


def draw(
    described: Description,
    rig: Rig,
    squares: tuple[tuple[tuple[float, float], tuple[float, float]], ...] = (),
    angle_deg: float = 5.0,
) -> Drawn:
    """Return the capture of the target by the rig; squares: (centre, size) in mm, slanted."""
    scale = rig.ppi / 25.4
    if rig.size_px is None:
        extent = np.array(described.size_mm) + 2 * rig.margin_mm
        if round(rig.rotate_deg / 90) % 2:
            extent = extent[::-1]
        width, height = (int(np.ceil(value * scale)) for value in extent)
    else:
        width, height = rig.size_px
    image = _light(described, rig, squares, angle_deg, width, height)
    if rig.grey:
        image = (image @ WIDE_TO_XYZ[1][:, None]).astype(np.float32)
    codes = _encoded(image, rig)
    return Drawn(codes, profile_bytes(rig), rig.ppi)


def draw_flat(rig: Rig, width: int, height: int, level: float = 1.0) -> Drawn:
    """Return an even field seen by the rig."""
    image = np.full((height, width, 3), level, np.float32)
    image = _lit(image, rig)
    if rig.grey:
        image = (image @ WIDE_TO_XYZ[1][:, None]).astype(np.float32)
    return Drawn(_encoded(image, rig), profile_bytes(rig), rig.ppi)


def _light(described, rig, squares, angle_deg, width, height) -> np.ndarray:
    plane = _Plane(described, rig, width, height)
    scale = rig.ppi / 25.4
    ground = background(described)
    image = np.full((height, width, 3), rig.surround, np.float32)
    outline = (
        "box",
        tuple(np.array(described.size_mm) / 2),
        described.size_mm,
        0.0,
        np.full(3, ground),
    )
    everything = [outline, *shapes(described, rig), *edge_shapes(described, angle_deg, squares)]
    beneath = np.full(3, rig.surround)
    for number, shape in enumerate(everything):
        _paint(image, plane, rig, shape, beneath if number == 0 else np.full(3, ground), scale)
    return _lit(image, rig)


def _paint(image, plane, rig, shape, beneath, scale) -> None:
    kind, at, size, turn_deg, _ = shape
    height, width = image.shape[:2]
    extent = (size, size) if kind == "disc" else size
    turn = np.radians(turn_deg)
    reach = np.hypot(*extent) / 2 if turn_deg else None
    half = (reach, reach) if reach else (extent[0] / 2, extent[1] / 2)
    corners = np.array(
        [[at[0] + a * half[0], at[1] + b * half[1]] for a in (-1, 1) for b in (-1, 1)]
    )
    pad = 6 * max(rig.sigma_px) + 6 * rig.corner_sigma_px + 4 + abs(np.array(rig.shift_px)).max()
    px = plane.to_px(corners)
    left, top = (max(0, int(np.floor(value - pad))) for value in px.min(0))
    right = min(width, int(np.ceil(px[:, 0].max() + pad)))
    bottom = min(height, int(np.ceil(px[:, 1].max() + pad)))
    if right <= left or bottom <= top:
        return
    for start in range(top, bottom, 512):
        stop = min(bottom, start + 512)
        _paint_rows(image, plane, rig, shape, beneath, scale, (left, start, right, stop), turn)


def _paint_rows(image, plane, rig, shape, beneath, scale, box, turn) -> None:
    kind, at, size, _, value = shape
    left, top, right, bottom = box
    y, x = np.mgrid[top:bottom, left:right].astype(float) + 0.5
    cache: dict[tuple, np.ndarray] = {}
    for band in range(3):
        shift, sigma_px = rig.shift_px[band], rig.sigma_px[band]
        if rig.corner_sigma_px:
            middle = plane.to_px(np.array([at]))[0] - plane.centre
            share = np.hypot(*middle) / plane.half
            sigma_px = float(np.hypot(sigma_px, rig.corner_sigma_px * share))
        key = (shift, sigma_px)
        if key not in cache:
            u, v = plane.to_mm(x - shift[0], y - shift[1])
            u, v = u - at[0], v - at[1]
            cache[key] = _cover(kind, size, u, v, turn, sigma_px / scale)
        mask = cache[key]
        region = image[top:bottom, left:right, band]
        region += ((value[band] - beneath[band]) * mask).astype(np.float32)


def _cover(kind, size, u, v, turn, sigma) -> np.ndarray:
    if kind == "disc":
        return ndtr((size / 2 - np.hypot(u, v)) / sigma)
    if turn:
        u, v = u * np.cos(turn) + v * np.sin(turn), -u * np.sin(turn) + v * np.cos(turn)
    return _blurred_box(u, v, size, sigma)


def _lit(image: np.ndarray, rig: Rig) -> np.ndarray:
    """Return light after illumination, exposure, flare, tone, sharpening, banding and noise."""
    height, width = image.shape[:2]
    y = ((np.arange(height) + 0.5 - height / 2) ** 2)[:, None]
    x = ((np.arange(width) + 0.5 - width / 2) ** 2)[None, :]
    radius = ((x + y) / (width**2 / 4 + height**2 / 4)).astype(np.float32)
    image = image * (1 - rig.falloff * radius)[..., None]
    image = image * (np.array(rig.gain, np.float32) * rig.exposure) + np.float32(rig.flare)
    if rig.tone_power != 1.0:
        image = _power(np.clip(image, 0, None), rig.tone_power)
    if rig.halo:
        from scipy.ndimage import gaussian_filter

        soft = np.stack([gaussian_filter(image[..., band], 1.5) for band in range(3)], -1)
        image = image + np.float32(rig.halo) * (image - soft)
    amplitude, period = rig.banding
    if amplitude:
        wave = amplitude * np.sin(2 * np.pi * (np.arange(height) + 0.5) / period)
        image = image * (1 + wave[:, None, None].astype(np.float32))
    rng = np.random.default_rng(rig.seed)
    if rig.noise or rig.noise_read:
        deviation = np.sqrt(rig.noise_read**2 + rig.noise**2 * np.clip(image, 0, None))
        image = image + rng.standard_normal(image.shape, dtype=np.float32) * deviation
    return image.astype(np.float32)


def _power(value: np.ndarray, exponent: float) -> np.ndarray:
    """Return float32 `value` (height, width, bands) to the float32 `exponent`, rounded correctly.

    A processor's own float32 power may be wrong in the last bit, each with its width of vectors
    in its own way; of a power in double precision nothing of that is left after rounding.
    """
    made = np.empty_like(value, np.float32)
    for top in range(0, len(value), 256):
        rows = value[top : top + 256].astype(np.float64)
        made[top : top + 256] = rows ** float(np.float32(exponent))
    return made


def _encoded(image: np.ndarray, rig: Rig) -> np.ndarray:
    value = np.clip(image, 0, 1)
    if not rig.linear:
        value = _power(value, 1 / GAMMA)
    top = 2**rig.bits - 1
    coarse = np.round(value.astype(np.float64 if value.size < 4e7 else np.float32) * top)
    if rig.bits == 16:
        return coarse.astype(np.uint16)
    return np.round(coarse * (65535 / top)).astype(np.uint16)


def save(path: Path, drawn: Drawn, compression: str = "none") -> None:
    """Write a 16-bit TIFF with the profile and the nominal resolution."""
    array = np.ascontiguousarray(drawn.codes)
    image = pyvips.Image.new_from_array(array)
    image = image.copy(
        interpretation="grey16" if array.shape[2] == 1 else "rgb16",
        xres=drawn.ppi / 25.4,
        yres=drawn.ppi / 25.4,
    )
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", drawn.profile)
    image.tiffsave(str(path), compression=compression, predictor="horizontal", resunit="inch")


def changed(rig: Rig, **values) -> Rig:
    return replace(rig, **values)
