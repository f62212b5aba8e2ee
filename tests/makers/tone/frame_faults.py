"""Masters of photographs and drawn views on film, clean and each with one fault, weak or strong.

Nothing here is shared with captures.py: other pictures, three sizes of grain, other recipes. The
photographs come with scikit-image (`skimage.data`: astronaut, camera, coffee, chelsea, rocket,
brick, grass, gravel, coins, motorcycle; their terms stand in its README.txt). They are reduced, so
that they are as sharp as a master, and laid side by side, never enlarged.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import skimage.data
import skimage.io

from glassine.base.model import Frame, MasterGeometry
from makers.film import pictures
from makers.tone import negatives

WIDTH, HEIGHT, EDGE = 960, 704, 56
STRENGTHS = ("weak", "strong")
# Radius (px) of the grain's Gaussian.
GRAINS = {"fine": 0.5, "medium": 0.9, "coarse": 1.5}
FULL_WELL = 40_000.0
PHOTOGRAPHS = (
    "astronaut",
    "camera",
    "coffee",
    "chelsea",
    "rocket",
    "brick",
    "grass",
    "gravel",
    "coins",
    "motorcycle",
)


def _photograph(name: str) -> np.ndarray:
    """Return linear light (h, w, 3) of a photograph, reduced to seven tenths."""
    if name == "motorcycle":
        folder = Path(skimage.data.__file__).parent
        whole = skimage.io.imread(folder / "motorcycle_left.png")
    else:
        whole = getattr(skimage.data, name)()
    whole = np.repeat(whole[..., None], 3, axis=2) if whole.ndim == 2 else whole[..., :3]
    light = negatives.linear(whole).astype(np.float32)
    small = cv2.resize(light, None, fx=0.7, fy=0.7, interpolation=cv2.INTER_AREA)
    return _laid_out(small)


def _laid_out(small: np.ndarray) -> np.ndarray:
    """Fill a frame with a picture, side by side, turned over and staggered.

    Staggered by parts of its height, so that no row or column shows the same thing twice.
    """
    high, wide = small.shape[:2]
    whole = np.empty((HEIGHT, WIDTH, 3), np.float32)
    for number, left in enumerate(range(0, WIDTH, wide)):
        start = number * 131 % high
        for row, top in enumerate(range(-start, HEIGHT, high)):
            piece = small[:: (-1) ** row, :: (-1) ** (number + row)]
            first, last = max(top, 0), min(top + high, HEIGHT)
            shift = row * 89 % wide
            piece = np.roll(piece, shift, axis=1)[first - top : last - top, : WIDTH - left]
            whole[first:last, left : left + wide] = piece
    return whole


def _fence(rng: np.random.Generator) -> np.ndarray:
    x = np.mgrid[0:HEIGHT, 0:WIDTH][1] + rng.uniform(-8, 8, (HEIGHT, 1)) * 0.05
    pale = (x % rng.uniform(22, 40)) > 11
    sky = np.linspace(0.8, 0.4, HEIGHT)[:, None]
    light = np.where(pale, 0.6 + 0.1 * np.sin(x / 90), 0.12)
    top = rng.uniform(0.1, 0.4) * HEIGHT
    light[: int(top)] = np.broadcast_to(sky, light.shape)[: int(top)]
    light[int(0.6 * HEIGHT) : int(0.6 * HEIGHT) + 30] = 0.5
    light[int(0.93 * HEIGHT) :] = 0.2
    return light


def _masts(rng: np.random.Generator) -> np.ndarray:
    light = np.repeat(np.linspace(0.75, 0.35, HEIGHT)[:, None], WIDTH, axis=1).astype(np.float32)
    for _ in range(9):
        x, wide = rng.uniform(40, WIDTH - 40), int(rng.integers(1, 4))
        top, lean = rng.uniform(20, 250), rng.uniform(-12, 12)
        ends = (int(x), int(rng.uniform(0.7, 0.95) * HEIGHT)), (int(x + lean), int(top))
        cv2.line(light, *ends, float(rng.uniform(0.03, 0.1)), wide, cv2.LINE_AA)
        for _ in range(3):
            far = (int(x + rng.uniform(-250, 250)), int(0.8 * HEIGHT))
            cv2.line(light, ends[1], far, 0.08, 1, cv2.LINE_AA)
    light[int(0.8 * HEIGHT) :] = 0.15
    return light


def _fog(rng: np.random.Generator) -> np.ndarray:
    field = cv2.GaussianBlur(rng.standard_normal((HEIGHT, WIDTH)), (0, 0), 70)
    return 0.5 + 0.06 * field / field.std()


def _sky(rng: np.random.Generator) -> np.ndarray:
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    light = 0.3 + 0.55 * y / HEIGHT + 0.1 * x / WIDTH * rng.uniform(-1, 1)
    hill = 0.75 * HEIGHT + 40 * np.sin(x / rng.uniform(60, 200)) + 6 * np.sin(x / 7.0)
    return np.where(y > hill, 0.07, light)


def _fabric(rng: np.random.Generator) -> np.ndarray:
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    pitch = rng.uniform(5, 11)
    weave = np.sin(2 * np.pi * x / pitch) * np.sin(2 * np.pi * (y + 0.1 * x) / (pitch * 1.1))
    fold = np.sin(x / 150.0 + np.sin(y / 200.0) * 2)
    return 0.35 + 0.1 * weave + 0.15 * fold


def _portrait(rng: np.random.Generator) -> np.ndarray:
    light = _photograph("astronaut")[..., 1]
    soft = cv2.GaussianBlur(light, (0, 0), rng.uniform(1.5, 2.0))
    return np.roll(soft, int(rng.integers(0, 200)), axis=1)


def _windows(rng: np.random.Generator) -> np.ndarray:
    light = np.full((HEIGHT, WIDTH), 0.45) * np.linspace(1.1, 0.8, HEIGHT)[:, None]
    wide, high = int(rng.integers(60, 110)), int(rng.integers(80, 140))
    for top in range(40, HEIGHT - high, high + 40):
        for left in range(30, WIDTH - wide, wide + 35):
            light[top : top + high, left : left + wide] = rng.uniform(0.05, 0.2)
            light[top : top + high, left + wide // 2 - 2 : left + wide // 2 + 2] = 0.6
            light[top + high // 2 - 2 : top + high // 2 + 2, left : left + wide] = 0.6
    return light


DRAWN: dict[str, Callable[[np.random.Generator], np.ndarray]] = {
    "fence": _fence,
    "masts": _masts,
    "fog": _fog,
    "sky": _sky,
    "fabric": _fabric,
    "portrait": _portrait,
    "windows": _windows,
}
VIEWS = ("basin", "quay", "night", "cranes", "men")
SUBJECTS = (*PHOTOGRAPHS, *DRAWN, *(f"view-{name}" for name in VIEWS))


@lru_cache(maxsize=64)
def _light(subject: str, variant: int) -> np.ndarray:
    rng = np.random.default_rng([variant, len(subject)])
    if subject.startswith("view-"):
        light = pictures.draw(subject.removeprefix("view-"), WIDTH, HEIGHT, 40 + variant)
    elif subject in DRAWN:
        light = np.repeat(DRAWN[subject](rng)[..., None], 3, axis=2)
    else:
        light = _photograph(subject)
        light = light[:, ::-1] if variant % 2 else light
    return np.clip(light, 0.002, 1.0).astype(np.float32)


# ------------------------------------------------------------------ faults of light and film


def _scratched(d: np.ndarray, rng: np.random.Generator, strong: bool) -> np.ndarray:
    """Draw one to three scratches along the film or across, on the film and its margin."""
    long_way = rng.random() < 0.5
    plane = np.zeros(d.shape[:2] if long_way else d.shape[1::-1], np.float32)
    high, wide = plane.shape
    for _ in range(int(rng.integers(1, 4))):
        start, tilt, bow = rng.uniform(0.12, 0.88) * wide, rng.uniform(-0.02, 0.02), 0.0
        bow = rng.uniform(-4, 4)
        length = rng.uniform(0.6, 1.0) * high
        first = rng.uniform(0, high - length)
        y = np.arange(int(first), int(first + length))
        t = (y - first) / length
        x = start + tilt * (y - first) + bow * 4 * t * (1 - t)
        width = rng.uniform(2.0, 3.5) if strong else rng.uniform(1.0, 1.8)
        depth = rng.uniform(0.12, 0.3) if strong else rng.uniform(0.04, 0.08)
        depth *= rng.choice([-1, 1])
        columns = np.arange(wide)
        plane[y] += depth * np.clip(width / 2 + 0.5 - np.abs(columns - x[:, None]), 0, 1)
    return d + (plane if long_way else plane.T)[..., None]


def _moved(t: np.ndarray, rng: np.random.Generator, strong: bool) -> np.ndarray:
    length = rng.uniform(9, 18) if strong else rng.uniform(4, 6)
    angle, reach = rng.uniform(0, np.pi), 12
    kernel = np.zeros((8 * reach, 8 * reach), np.float32)
    middle = np.array([4 * reach, 4 * reach])
    half = np.array([np.cos(angle), np.sin(angle)]) * length * 4 / 2
    ends = [tuple(int(v) for v in np.round(middle + sign * half)) for sign in (-1, 1)]
    cv2.line(kernel, *ends, 1.0, 3, cv2.LINE_AA)
    kernel = cv2.resize(kernel, (2 * reach + 1,) * 2, interpolation=cv2.INTER_AREA)
    return cv2.filter2D(t, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REFLECT)


def _out_of_focus(t: np.ndarray, rng: np.random.Generator, strong: bool) -> np.ndarray:
    """Blur by an evenly lit disc, as a lens does; its sigma is half its radius."""
    radius = rng.uniform(7, 12) if strong else rng.uniform(4.0, 5.0)
    side = int(radius) + 2
    y, x = np.mgrid[-side : side + 1, -side : side + 1]
    kernel = np.clip(radius + 0.5 - np.hypot(x, y), 0, 1).astype(np.float32)
    return cv2.filter2D(t, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REFLECT)


def _banded(t: np.ndarray, rng: np.random.Generator, strong: bool) -> np.ndarray:
    down = rng.random() < 0.5
    count = t.shape[0] if down else t.shape[1]
    line = np.arange(count)
    kind = rng.integers(3)
    if kind == 0:
        wave = np.sin(2 * np.pi * line / rng.uniform(5, 60) + rng.uniform(0, 6)) * np.sqrt(2)
    elif kind == 1:
        wave = rng.standard_normal(count)
    else:
        wave = np.repeat(rng.standard_normal(count // 8 + 1), 8)[:count]
    rms = rng.uniform(0.015, 0.04) if strong else rng.uniform(0.004, 0.008)
    gain = (1 + rms * wave / max(wave.std(), 1e-6)).astype(np.float32)
    return t * (gain[:, None, None] if down else gain[None, :, None])


def _unevenly_lit(t: np.ndarray, rng: np.random.Generator, strong: bool) -> np.ndarray:
    high, wide = t.shape[:2]
    y, x = np.mgrid[0:high, 0:wide].astype(np.float32)
    fall = rng.uniform(0.14, 0.3) if strong else rng.uniform(0.055, 0.09)
    cx, cy = rng.uniform([0.42 * wide, 0.42 * high], [0.58 * wide, 0.58 * high])
    r2 = ((x - cx) ** 2 + (y - cy) ** 2) / (wide**2 + high**2) * 4
    if rng.random() < 0.3:
        angle = rng.uniform(0, 2 * np.pi)
        ramp = (x / wide - 0.5) * np.cos(angle) + (y / high - 0.5) * np.sin(angle)
        field = (ramp - ramp.min()) / np.ptp(ramp)
    else:
        field = 1 - 1 / (1 + 0.5 * r2) ** 2
        field = (field - field.min()) / np.ptp(field)
    return t * (1 - fall * field)[..., None]


def _ringed(t: np.ndarray, rng: np.random.Generator, strong: bool) -> np.ndarray:
    high, wide = t.shape[:2]
    y, x = np.mgrid[0:high, 0:wide].astype(np.float64)
    cx, cy = rng.uniform([0.15 * wide, 0.15 * high], [0.85 * wide, 0.85 * high])
    r2 = (x - cx) ** 2 + rng.uniform(0.85, 1.15) * (y - cy) ** 2
    first, reach = rng.uniform(50, 130), rng.uniform(250, 500)
    strength = rng.uniform(0.04, 0.08) if strong else rng.uniform(0.018, 0.03)
    light = strength * np.exp(-r2 / (2 * reach**2))
    waves = [np.cos(2 * np.pi * r2 / (first**2 * ratio)) for ratio in (1.15, 1.0, 0.85)]
    return (t * (1 + light[..., None] * np.stack(waves, axis=-1))).astype(np.float32)


def _out_of_register(t: np.ndarray, rng: np.random.Generator, strong: bool) -> np.ndarray:
    shift, angle = (rng.uniform(1.5, 3) if strong else rng.uniform(0.75, 1.1)), rng.uniform(0, 6.28)
    matrix = np.array([[1, 0, shift * np.cos(angle)], [0, 1, shift * np.sin(angle)]])
    moved = t.copy()
    band = int(rng.choice([0, 2]))
    size = t.shape[1::-1]
    moved[..., band] = cv2.warpAffine(
        t[..., band], matrix, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT
    )
    return moved


def _enlarged(codes: np.ndarray, rng: np.random.Generator, strong: bool) -> np.ndarray:
    """Reduce, enlarge again; then half of them sharpened, half through a JPEG."""
    scale = rng.uniform(1.7, 2.6) if strong else rng.uniform(1.25, 1.5)
    how = (cv2.INTER_CUBIC, cv2.INTER_LINEAR, cv2.INTER_LANCZOS4)[rng.integers(3)]
    size = codes.shape[1::-1]
    small = cv2.resize(codes, None, fx=1 / scale, fy=1 / scale, interpolation=cv2.INTER_AREA)
    t = cv2.resize(small, size, interpolation=how).astype(np.float32) / 65535
    if rng.random() < 0.5:
        t = t + rng.uniform(0.5, 1.2) * (t - cv2.GaussianBlur(t, (0, 0), rng.uniform(0.8, 1.6)))
    t = np.clip(t, 0, 1)
    if rng.random() < 0.5:
        coded = np.round(t ** (1 / 2.2) * 255).astype(np.uint8)
        quality = [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(88, 97))]
        read = cv2.imdecode(cv2.imencode(".jpg", coded, quality)[1], cv2.IMREAD_COLOR)
        t = (read.reshape(t.shape) / 255.0) ** 2.2
    return np.round(t * 65535).astype(np.uint16)


FILM = {"scratches": _scratched}
LIGHT = {
    "motion": _moved,
    "defocus": _out_of_focus,
    "banding": _banded,
    "falloff": _unevenly_lit,
    "rings": _ringed,
    "misregistration": _out_of_register,
}
FAULTS = (*FILM, *LIGHT, "enlarged", "noise")
# What tells each fault. A master enlarged and then saved as JPEG shows the blocks of that first.
MEASURES_OF = {
    "scratches": ("scratches",),
    "motion": ("motion_blur",),
    "defocus": ("edge_blur",),
    "banding": ("banding",),
    "falloff": ("light_falloff",),
    "rings": ("newton_rings",),
    "misregistration": ("misregistration",),
    "enlarged": ("sampling_used", "compression_blocks"),
    "noise": ("fine_noise",),
}


def geometry(width: int, height: int, monochrome: bool) -> MasterGeometry:
    """Return what locate would hand on: one frame, and film base on its four sides."""
    e, m, w, h = EDGE, EDGE - 6, width, height
    frame = Frame(
        1,
        ((e, e), (w - e, e), (w - e, h - e), (e, h - e)),
        0.0,
        "negative",
        "monochrome" if monochrome else "colour",
    )
    base = (
        ((4, 4), (w - 4, 4), (w - 4, m), (4, m)),
        ((4, h - m), (w - 4, h - m), (w - 4, h - 4), (4, h - 4)),
        ((4, m), (m, m), (m, h - m), (4, h - m)),
        ((w - m, m), (w - 4, m), (w - 4, h - m), (w - m, h - m)),
    )
    return MasterGeometry("a.tif", w, h, 4000.0, "tag", (frame,), base_regions=base)


def subject_of(number: int, fault: str | None) -> str:
    """Return what the picture is of. Fog shows no fault of sharpness, and is never given one."""
    offset = FAULTS.index(fault) * 5 if fault else 0
    subject = SUBJECTS[(number + offset) % len(SUBJECTS)]
    blurs = ("motion", "defocus", "misregistration")
    return "gravel" if fault in blurs and subject in {"fog", "portrait", "sky"} else subject


def master(number: int, fault: str | None, strength: str = "weak") -> tuple[np.ndarray, bool]:
    """Return master `number` (uint16, h, w, 3; linear) and whether its film is monochrome."""
    place = FAULTS.index(fault) + 1 if fault else 0
    strong = strength == "strong"
    rng = np.random.default_rng([number, place, strong, 31])
    monochrome = number % 2 == 0 and fault != "misregistration"
    light = _light(subject_of(number, fault), number % 3)
    film = (negatives.monochrome_film if monochrome else negatives.colour_film)(rng, number)
    if monochrome:
        light = np.repeat((light @ np.array([0.21, 0.72, 0.07], np.float32))[..., None], 3, axis=2)
    shape = (HEIGHT + 2 * EDGE, WIDTH + 2 * EDGE, 3)
    d = np.broadcast_to(film.dmin, shape).astype(np.float32)
    d[EDGE:-EDGE, EDGE:-EDGE] = film.density(light)
    d += _grain(rng, shape, number, monochrome)
    if fault in FILM:
        d = FILM[fault](d, rng, strong)
    t = cv2.GaussianBlur(10.0**-d, (0, 0), rng.uniform(0.4, 0.7)).astype(np.float32)
    if fault in LIGHT:
        t = LIGHT[fault](t, rng, strong)
    t *= rng.uniform(0.8, 0.92) / np.percentile(t, 99.9)
    electrons = FULL_WELL
    if fault == "noise":
        electrons = rng.uniform(150, 500) if strong else rng.uniform(900, 2000)
    noise = np.sqrt(np.maximum(t, 1e-4) / electrons)
    t = np.clip(t + noise * rng.standard_normal(shape, np.float32), 0, 1)
    codes = np.round(np.round(t * 16383) * (65535 / 16383)).astype(np.uint16)
    return (_enlarged(codes, rng, strong) if fault == "enlarged" else codes), monochrome


def _grain(
    rng: np.random.Generator, shape: tuple[int, ...], number: int, monochrome: bool
) -> np.ndarray:
    """Return density of grain; of one layer on monochrome film, of three on colour film."""
    size = list(GRAINS.values())[number % 3]
    layers = 1 if monochrome else 3
    grain = rng.standard_normal((*shape[:2], layers), np.float32)
    grain = cv2.GaussianBlur(grain, (0, 0), size).reshape(*shape[:2], layers)
    return grain / grain.std() * rng.uniform(0.008, 0.03)
