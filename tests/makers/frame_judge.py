"""Masters of film and prints with faults drawn from physics, as the judge of quality measures.

Nothing here is shared with makers.tone.frame_faults or makers.tone.captures: own pictures, sizes,
film, camera and faults. A fault is what causes it: a path that the camera moves along while the
shutter is open, a groove with a profile, the gap between film and glass, a lamp that is pulsed
while rows are read, the angle of light at the sensor, the pupil of a lens out of focus.

Pictures: photographs of scikit-image's data (its README.txt tells their terms), cut anywhere and
as soft as film and lens leave them; dead leaves (discs of power-law sizes that hide one another: A.
Lee, D. Mumford, J. Huang, "Occlusion models for natural images", 2001); drawn subjects that look
like faults: ripples, blinds, rigging, corrugated roofs, wheels, printed pages, snow, fog.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import skimage.data
import skimage.io

from glassine.base.model import Facts, Frame, MasterGeometry

Plane = np.ndarray
PHOTOGRAPHS = (
    "astronaut.png",
    "camera.png",
    "cell.png",
    "chelsea.png",
    "coffee.png",
    "coins.png",
    "hubble_deep_field.jpg",
    "moon.png",
    "motorcycle_right.png",
    "page.png",
    "retina.jpg",
    "rocket.jpg",
    "gravel.png",
    "brick.png",
    "grass.png",
)
STRENGTHS = ("weak", "strong")
KINDS = ("colour negative", "monochrome negative", "slide", "print")


@dataclass(frozen=True)
class Drawn:
    """A master: codes (h, w, 3) uint16, linear light; what locate would hand on; what is stated."""

    codes: np.ndarray
    geometry: MasterGeometry
    facts: Facts
    subject: str
    kind: str


# ------------------------------------------------------------------ pictures: linear light, 0 to 1


# Where photographs lie, and which are taken; `use_photographs` takes others.
_photographs = (Path(skimage.data.__file__).parent, PHOTOGRAPHS)


def use_photographs(folder: Path) -> None:
    """Take the photographs of a folder in place of those of scikit-image, in this process."""
    global _photographs
    names = tuple(sorted(p.name for p in folder.iterdir() if p.suffix in {".jpg", ".png"}))
    if not names:
        raise ValueError(f"{folder} holds no .jpg and no .png")
    _photographs = (folder, names)
    _stored.cache_clear()


@lru_cache(maxsize=32)
def _stored(name: str) -> Plane:
    whole = skimage.io.imread(_photographs[0] / name)
    whole = np.repeat(whole[..., None], 3, axis=2) if whole.ndim == 2 else whole[..., :3]
    return ((whole.astype(np.float32) / 255) ** 2.2).astype(np.float32)


def _photograph(rng: np.random.Generator, high: int, wide: int, name: str) -> Plane:
    """Cut a photograph anywhere; enlarged, as a lens and film that are softer than the scan."""
    whole = _stored(name)
    if rng.random() < 0.5:
        whole = whole[:, ::-1]
    share = rng.uniform(0.6, 1.0) * min(whole.shape[0] / high, whole.shape[1] / wide)
    h, w = int(high * share), int(wide * share)
    y, x = rng.integers(0, whole.shape[0] - h + 1), rng.integers(0, whole.shape[1] - w + 1)
    part = np.ascontiguousarray(whole[y : y + h, x : x + w])
    large = cv2.resize(part, (wide, high), interpolation=cv2.INTER_CUBIC)
    # A lens knows nothing of the pixels that the photograph came with: their period is taken away.
    return np.clip(cv2.GaussianBlur(large, (0, 0), 0.5 / share), 0.002, 1)


def _leaves(rng: np.random.Generator, high: int, wide: int) -> Plane:
    """Dead leaves: radii by a power law of exponent 3 between 3 px and a quarter of the width."""
    picture = np.full((high, wide, 3), 0.3, np.float32)
    least, most = 4.0, wide / 5
    for _ in range(2500):
        u = rng.random()
        radius = (least**-2 * (1 - u) + most**-2 * u) ** -0.5
        tone = np.clip(np.exp(rng.normal(-1.4, 0.8)) * rng.uniform(0.7, 1.3, 3), 0.003, 1)
        centre = (int(rng.uniform(0, wide) * 16), int(rng.uniform(0, high) * 16))
        cv2.circle(picture, centre, int(radius * 16), tone.tolist(), -1, cv2.LINE_AA, 4)
    return picture


def _grid(high: int, wide: int) -> tuple[Plane, Plane]:
    y, x = np.mgrid[0:high, 0:wide].astype(np.float32)
    return y, x


def _ripples(rng: np.random.Generator, high: int, wide: int) -> Plane:
    """Waves of a stone thrown into water: circles at even distances."""
    y, x = _grid(high, wide)
    light = 0.3 + 0.1 * y / high
    for _ in range(2):
        r = np.hypot(x - rng.uniform(0, wide), (y - rng.uniform(0, high)) * rng.uniform(1.0, 2.5))
        wave = np.sin(2 * np.pi * r / rng.uniform(25, 70)) * np.exp(-r / (0.3 * wide))
        light = light + 0.12 * wave
    return light


def _blinds(rng: np.random.Generator, high: int, wide: int) -> Plane:
    y, x = _grid(high, wide)
    pitch, tilt = rng.uniform(24, 60), rng.uniform(-0.02, 0.02)
    slat = ((y + tilt * x) / pitch) % 1
    light = 0.12 + 0.5 * slat**0.7
    window = (x > 0.15 * wide) & (x < rng.uniform(0.6, 0.9) * wide) & (y > 0.1 * high)
    return np.where(window, light, 0.25 + 0.1 * x / wide)


def _rigging(rng: np.random.Generator, high: int, wide: int) -> Plane:
    y, _ = _grid(high, wide)
    light = np.ascontiguousarray(0.7 - 0.3 * y / high)
    for _ in range(14):
        x = rng.uniform(0, wide)
        ends = [(int(x), int(rng.uniform(0.75, 1) * high)), (int(x + rng.normal(0, 40)), 0)]
        if rng.random() < 0.5:
            ends[1] = (ends[1][0], int(rng.uniform(0, 0.3) * high))
        cv2.line(light, *ends, float(rng.uniform(0.02, 0.2)), int(rng.integers(1, 6)), cv2.LINE_AA)
    cv2.rectangle(light, (0, int(0.85 * high)), (wide, high), 0.08, -1)
    return light


def _roof(rng: np.random.Generator, high: int, wide: int) -> Plane:
    y, x = _grid(high, wide)
    pitch = rng.uniform(9, 30)
    bend = 1 + rng.uniform(0.0, 0.25) * y / high
    light = 0.35 + 0.15 * np.sin(2 * np.pi * x * bend / pitch) + 0.05 * np.sin(y / 83)
    light[: int(0.25 * high)] = 0.8
    return light


def _wheels(rng: np.random.Generator, high: int, wide: int) -> Plane:
    light = np.full((high, wide), 0.4, np.float32) * np.linspace(0.8, 1.2, wide, dtype=np.float32)
    for _ in range(4):
        centre = (int(rng.uniform(0, wide)), int(rng.uniform(0.3, 1) * high))
        radius = int(rng.uniform(0.1, 0.28) * high)
        for share in (1.0, 0.9, 0.55, 0.2):
            tone = float(rng.uniform(0.03, 0.8))
            cv2.circle(light, centre, int(radius * share), tone, -1, cv2.LINE_AA)
        for angle in np.linspace(0, 2 * np.pi, 17):
            far = (centre[0] + int(radius * np.cos(angle)), centre[1] + int(radius * np.sin(angle)))
            cv2.line(light, centre, far, 0.6, 3, cv2.LINE_AA)
    return light


def _page(rng: np.random.Generator, high: int, wide: int) -> Plane:
    sheet = np.full((high, wide), 190, np.uint8)
    size = rng.uniform(0.6, 1.4)
    letters = np.array(list("aeinrstlohdcum  pgbfvkw"))
    for y in range(60, high - 20, int(34 * size)):
        words = "".join(rng.choice(letters, int(wide / (11 * size))))
        cv2.putText(sheet, words, (40, y), cv2.FONT_HERSHEY_SIMPLEX, 0.55 * size, 15, 1, 16)
    return sheet.astype(np.float32) / 255


def _soft(rng: np.random.Generator, high: int, wide: int, spread: float, depth: float) -> Plane:
    small = rng.standard_normal((high // 16 + 2, wide // 16 + 2)).astype(np.float32)
    small = cv2.GaussianBlur(small, (0, 0), spread / 16)
    field = cv2.resize(small / small.std(), (wide, high), interpolation=cv2.INTER_CUBIC)
    return np.clip(0.4 + depth * field, 0.03, 0.95)


def _facade(rng: np.random.Generator, high: int, wide: int) -> Plane:
    light = np.full((high, wide), 0.5, np.float32)
    across, down = int(rng.integers(70, 160)), int(rng.integers(90, 200))
    for top in range(int(rng.integers(0, 60)), high, down):
        for left in range(int(rng.integers(0, 60)), wide, across):
            w, h = int(0.6 * across), int(0.65 * down)
            tone = float(rng.uniform(0.02, 0.3))
            cv2.rectangle(light, (left, top), (left + w, top + h), tone, -1)
            cv2.line(light, (left + w // 2, top), (left + w // 2, top + h), 0.7, 3)
            cv2.rectangle(light, (left - 4, top + h), (left + w + 4, top + h + 8), 0.8, -1)
    return light


def _railway(rng: np.random.Generator, high: int, wide: int) -> Plane:
    """Rails and sleepers from above, wires: straight lines from side to side."""
    light = cv2.GaussianBlur(rng.normal(0.3, 0.2, (high, wide)).astype(np.float32), (0, 0), 1.5)
    for y in range(0, high, int(rng.integers(40, 80))):
        light[y : y + 18, int(0.2 * wide) : int(0.8 * wide)] *= 0.5
    for x in (0.35, 0.65):
        lean = int(rng.uniform(-0.02, 0.02) * wide)
        cv2.line(light, (int(x * wide), 0), (int(x * wide) + lean, high), 0.75, 7, cv2.LINE_AA)
    return light


SUBJECTS: dict[str, Callable[[np.random.Generator, int, int], Plane]] = {
    "leaves": _leaves,
    "ripples": _ripples,
    "blinds": _blinds,
    "rigging": _rigging,
    "roof": _roof,
    "wheels": _wheels,
    "page": _page,
    "facade": _facade,
    "railway": _railway,
    "fog": lambda rng, h, w: _soft(rng, h, w, 260, 0.04),
    "snow": lambda rng, h, w: 0.45 + _soft(rng, h, w, 60, 0.06),
    "faces": lambda rng, h, w: _soft(rng, h, w, 40, 0.15),
}


def _picture(rng: np.random.Generator, number: int, high: int, wide: int) -> tuple[str, Plane]:
    """Two of three pictures are photographs."""
    if number % 3:
        names = _photographs[1]
        name = names[(number * 7) % len(names)]
        return name, _photograph(rng, high, wide, name)
    name = list(SUBJECTS)[(number // 3) % len(SUBJECTS)]
    light = SUBJECTS[name](rng, high, wide).astype(np.float32)
    if light.ndim == 2:
        light = light[..., None] * rng.uniform(0.85, 1.15, 3).astype(np.float32)
    # Texture of surfaces, at all sizes.
    texture = _soft(rng, high, wide, 24, 0.03) + _soft(rng, high, wide, 90, 0.03) - 0.8
    fine = cv2.GaussianBlur(rng.standard_normal((high, wide), np.float32), (0, 0), 1.2) * 0.03
    return name, np.clip(light * (1 + texture + fine)[..., None], 0.002, 1).astype(np.float32)


# ------------------------------------------------------------------ film and prints

# Least density of each layer and its slope; values from memory.
_BASE = {
    "colour negative": (np.array([0.26, 0.62, 0.88]), 0.6),
    "monochrome negative": (np.array([0.28, 0.28, 0.28]), 0.62),
    "slide": (np.array([0.14, 0.15, 0.17]), -1.5),
    "print": (np.array([0.07, 0.08, 0.09]), -1.2),
}


def _density(light: Plane, kind: str, rng: np.random.Generator) -> Plane:
    """Return the density (h, w, 3) of developed light, by a curve with toe and shoulder."""
    least, slope = _BASE[kind]
    light = light * 2.0 ** rng.uniform(-0.7, 0.7)
    if kind == "monochrome negative":
        light = np.repeat(light.mean(axis=2, keepdims=True), 3, axis=2)
    logs = np.log10(np.maximum(light, 1e-4)) + 2.0
    if slope < 0:
        logs = 2.2 - logs
    rise = np.log1p(np.exp(4 * logs)) / 4
    return (least + abs(slope) * np.minimum(rise, 2.0)).astype(np.float32)


def _grain(density: Plane, kind: str, rng: np.random.Generator) -> Plane:
    """Return density with grain, whose RMS goes as the root of density (Selwyn, Siedentopf)."""
    layers = 1 if kind == "monochrome negative" else 3
    noise = rng.standard_normal((*density.shape[:2], layers), np.float32)
    size = rng.uniform(0.45, 1.5)
    noise = cv2.GaussianBlur(noise, (0, 0), size).reshape(*density.shape[:2], layers)
    rms = rng.uniform(0.004, 0.012) if kind == "print" else rng.uniform(0.008, 0.028)
    return density + noise / noise.std() * rms * np.sqrt(np.maximum(density, 0.05))


# ------------------------------------------------------------------ faults


def _scratched(d: Plane, rng: np.random.Generator, strong: bool) -> Plane:
    """Grooves along the way of the film: in the base they turn light away, in emulsion let it by."""
    along_rows = rng.random() < 0.4
    plane = np.zeros(d.shape[1::-1] if along_rows else d.shape[:2], np.float32)
    high, wide = plane.shape
    columns = np.arange(wide, dtype=np.float32)
    for _ in range(int(rng.integers(1, 4))):
        share = rng.uniform(0.65, 1.0)
        first = int(rng.uniform(0, 1 - share) * high)
        y = np.arange(first, first + int(share * high))
        wander = cv2.GaussianBlur(
            np.cumsum(rng.normal(0, 0.05, len(y)))[:, None], (1, 0), 0, sigmaY=40
        )
        x = rng.uniform(0.08, 0.92) * wide + rng.normal(0, 0.006) * (y - first) + wander[:, 0]
        width = rng.uniform(1.2, 3.0) if strong else rng.uniform(0.5, 1.8)
        depth = (rng.uniform(0.12, 0.35) if strong else rng.uniform(0.05, 0.1)) * rng.choice(
            [-1, 1]
        )
        press = 1 + 0.15 * np.sin(y / rng.uniform(60, 300) + rng.uniform(0, 6))
        off = np.abs(columns - x[:, None].astype(np.float32))
        # Edges in steps of a pixel's share, a round bottom.
        profile = np.clip(width / 2 + 0.5 - off, 0, 1) * (1 - 0.5 * np.minimum(off / width, 1) ** 2)
        plane[y] += (depth * press)[:, None] * profile
    return d + (plane.T if along_rows else plane)[..., None]


def _moved(t: Plane, rng: np.random.Generator, strong: bool) -> Plane:
    """The shutter is open along a path: even, curved, or to and fro as a shaken table swings."""
    reach = rng.uniform(9, 16) if strong else rng.uniform(4, 6)
    time = np.linspace(0, 1, 400)
    angle = rng.uniform(0, np.pi)
    way = np.sin(2 * np.pi * rng.uniform(0.5, 2) * time + rng.uniform(0, 6))
    along = (time, way, time + 0.2 * way)[rng.integers(3)]
    along = (along - along.min()) / np.ptp(along) * reach
    aside = rng.normal(0, 0.12) * reach * (time - 0.5) ** 2 * 4
    x = along * np.cos(angle) - aside * np.sin(angle)
    y = along * np.sin(angle) + aside * np.cos(angle)
    side = 2 * int(np.ceil(reach)) + 3
    kernel = np.zeros((side, side), np.float32)
    for dx, dy in zip(x - x.mean() + side // 2, y - y.mean() + side // 2, strict=True):
        i, j = int(dy), int(dx)
        fy, fx = dy - i, dx - j
        kernel[i : i + 2, j : j + 2] += np.outer([1 - fy, fy], [1 - fx, fx]).astype(np.float32)
    return cv2.filter2D(t, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REFLECT)


def _out_of_focus(t: Plane, rng: np.random.Generator, strong: bool) -> Plane:
    """The image of a point is the lens' pupil: six blades, rounded."""
    radius = rng.uniform(6, 11) if strong else rng.uniform(4, 5)
    side = int(radius) + 3
    y, x = np.mgrid[-side : side + 1, -side : side + 1].astype(float)
    turn = rng.uniform(0, np.pi)
    blades = [np.abs(x * np.cos(turn + k) + y * np.sin(turn + k)) for k in np.pi / 3 * np.arange(3)]
    size = 0.6 * np.hypot(x, y) + 0.4 * np.max(blades, axis=0) * 1.05
    kernel = np.clip(radius + 0.5 - size, 0, 1).astype(np.float32)
    return cv2.filter2D(t, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REFLECT)


def _pulsed(t: Plane, rng: np.random.Generator, strong: bool) -> Plane:
    """Rows are read one after the other under a pulsed lamp, or columns of a line sensor differ."""
    rms = rng.uniform(0.015, 0.04) if strong else rng.uniform(0.005, 0.009)
    of_rows = rng.random() < 0.6
    count = t.shape[0] if of_rows else t.shape[1]
    if of_rows:
        period, open_share = rng.uniform(12, 160), rng.uniform(0.2, 0.8)
        on = ((np.arange(count * 8) / 8 / period + rng.random()) % 1) < open_share
        window = max(1, int(rng.uniform(0.2, 0.9) * period * 8))
        wave = np.convolve(on.astype(float), np.ones(window) / window, "same")[::8]
    else:
        wave = rng.standard_normal(count)
    gain = (1 + rms * (wave - wave.mean()) / max(wave.std(), 1e-6)).astype(np.float32)
    return t * (gain[:, None, None] if of_rows else gain[None, :, None])


def _unevenly_lit(t: Plane, rng: np.random.Generator, strong: bool) -> Plane:
    """Light falls by the fourth power of the cosine of its angle, and to one side of the lamp."""
    high, wide = t.shape[:2]
    y, x = _grid(high, wide)
    fall = rng.uniform(0.14, 0.3) if strong else rng.uniform(0.055, 0.09)
    off = rng.uniform(-0.08, 0.08, 2)
    r2 = ((x / wide - 0.5 - off[0]) * wide) ** 2 + ((y / high - 0.5 - off[1]) * high) ** 2
    field = 1 / (1 + r2 / (0.9 * wide) ** 2) ** 2
    slope, angle = rng.uniform(0, 0.3), rng.uniform(0, 6.28)
    ramp = np.cos(angle) * (x / wide - 0.5) + np.sin(angle) * (y / high - 0.5)
    field = (field - field.min()) / np.ptp(field) + slope * ramp
    field = (field - field.min()) / np.ptp(field)
    return t * (1 - fall * (1 - field))[..., None]


# Nanometres: where three channels see, and how broad a band of light each takes.
_WAVES_NM, _BAND_NM = (610.0, 540.0, 460.0), 45.0


def _ringed(t: Plane, rng: np.random.Generator, strong: bool) -> Plane:
    """Light that goes to and fro in the gap between film and glass interferes with itself.

    Phase 4 pi gap / wavelength; the contrast ends where the way is longer than light of a band's
    width hangs together (wavelength^2 / band).
    """
    high, wide = t.shape[:2]
    y, x = _grid(high, wide)
    contrast = rng.uniform(0.04, 0.09) if strong else rng.uniform(0.018, 0.03)
    turn, ratio = rng.uniform(0, np.pi), rng.uniform(1.0, 1.8)
    cx, cy = rng.uniform(0.15, 0.85) * wide, rng.uniform(0.15, 0.85) * high
    u = (x - cx) * np.cos(turn) + (y - cy) * np.sin(turn)
    v = (y - cy) * np.cos(turn) - (x - cx) * np.sin(turn)
    first = rng.uniform(0.05, 0.11) * wide  # radius of the first dark ring, green
    gap_nm = 270.0 * (u**2 + ratio * v**2) / first**2
    gap_nm = gap_nm * (1 + 0.4 * (_soft(rng, high, wide, 0.3 * wide, 0.15) - 0.4))
    waves = []
    for wave_nm in _WAVES_NM:
        seen = np.exp(-((2 * gap_nm / (wave_nm**2 / _BAND_NM)) ** 2))
        waves.append(contrast * seen * np.cos(4 * np.pi * gap_nm / wave_nm))
    return (t * (1 + np.stack(waves, axis=2))).astype(np.float32)


def _out_of_register(t: Plane, rng: np.random.Generator, strong: bool) -> Plane:
    """One channel lies beside the others, and is a little larger or smaller."""
    shift, angle = (rng.uniform(1.5, 3) if strong else rng.uniform(0.8, 1.2)), rng.uniform(0, 6.28)
    high, wide = t.shape[:2]
    scale = 1 + rng.uniform(-0.2, 0.2) / wide
    move = np.array([np.cos(angle), np.sin(angle)]) * shift
    middle = (1 - scale) * np.array([wide, high]) / 2
    matrix = np.array([[scale, 0, middle[0] + move[0]], [0, scale, middle[1] + move[1]]])
    moved = t.copy()
    band = int(rng.choice([0, 2]))
    moved[..., band] = cv2.warpAffine(
        t[..., band], matrix, (wide, high), flags=cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REFLECT
    )
    return moved


def _enlarged(codes: np.ndarray, rng: np.random.Generator, strong: bool) -> np.ndarray:
    scale = rng.uniform(1.7, 2.8) if strong else rng.uniform(1.3, 1.5)
    light = codes.astype(np.float32) / 65535
    size = codes.shape[1::-1]
    small = cv2.resize(light, None, fx=1 / scale, fy=1 / scale, interpolation=cv2.INTER_AREA)
    how = (cv2.INTER_CUBIC, cv2.INTER_LINEAR, cv2.INTER_LANCZOS4)[rng.integers(3)]
    large = cv2.resize(small, size, interpolation=how)
    if rng.random() < 0.4:
        large = large + rng.uniform(0.3, 0.9) * (large - cv2.GaussianBlur(large, (0, 0), 1.2))
    return np.round(np.clip(large, 0, 1) * 65535).astype(np.uint16)


ON_FILM = {"scratches": _scratched}
IN_LIGHT = {
    "motion": _moved,
    "defocus": _out_of_focus,
    "banding": _pulsed,
    "falloff": _unevenly_lit,
    "rings": _ringed,
    "misregistration": _out_of_register,
}
FAULTS = (*ON_FILM, *IN_LIGHT, "enlarged", "noise")
# Faults that a picture without detail or a print does not show.
_OF_DETAIL = ("motion", "defocus", "misregistration")
_OF_BASE = ("banding", "falloff", "rings")


# ------------------------------------------------------------------ masters


def master(number: int, fault: str | None, strength: str = "weak") -> Drawn:
    """Return master `number` with a fault of FAULTS, or clean."""
    strong = strength == "strong"
    rng = np.random.default_rng([77, number, FAULTS.index(fault) + 1 if fault else 0, strong])
    kind = _kind(number, fault)
    large = rng.random() < 0.15
    wide = int(rng.uniform(2050, 2400) if large else rng.uniform(960, 1500)) // 2 * 2
    high, edge = int(wide / rng.uniform(1.2, 1.5)) // 2 * 2, int(rng.uniform(60, 100))
    subject, light = _picture(rng, _number_of_picture(number, fault), high, wide)
    whole = np.empty((high + 2 * edge, wide + 2 * edge, 3), np.float32)
    whole[:] = _BASE[kind][0] if kind != "slide" else 2.6
    whole[edge:-edge, edge:-edge] = _density(light, kind, rng)
    d = _grain(whole, kind, rng)
    if fault in ON_FILM:
        d = ON_FILM[fault](d, rng, strong)
    angle = rng.uniform(-1.2, 1.2) if rng.random() < 0.4 else 0.0
    size = d.shape[1::-1]
    turn = cv2.getRotationMatrix2D((size[0] / 2 - 0.5, size[1] / 2 - 0.5), -angle, 1.0)
    if angle:
        d = cv2.warpAffine(d, turn, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
    codes = _captured(d, rng, fault, strong)
    return Drawn(codes, _located(size, edge, angle, kind), _stated(kind), subject, kind)


def _kind(number: int, fault: str | None) -> str:
    kind = KINDS[(0, 1, 0, 2, 1, 0, 3)[number % 7]]
    if fault == "misregistration" and kind.startswith("monochrome"):
        return "colour negative"
    return "colour negative" if fault in _OF_BASE and kind in {"slide", "print"} else kind


def _number_of_picture(number: int, fault: str | None) -> int:
    place = FAULTS.index(fault) * 4 if fault else 0
    picture = number + place
    soft = (9, 10, 11)
    if fault in _OF_DETAIL and picture % 3 == 0 and (picture // 3) % len(SUBJECTS) in soft:
        return picture + 1
    return picture


def _captured(d: Plane, rng: np.random.Generator, fault: str | None, strong: bool) -> np.ndarray:
    """Return 14-bit codes of a camera before a lamp: lens, its own slight fall-off, photons."""
    t = np.power(np.float32(10.0), -d)
    t = cv2.GaussianBlur(t, (0, 0), rng.uniform(0.4, 0.75))
    y, x = _grid(*t.shape[:2])
    r2 = ((x / t.shape[1] - 0.5) ** 2 + (y / t.shape[0] - 0.5) ** 2) * 2
    t = t * (1 - rng.uniform(0, 0.02) * r2)[..., None]
    if fault in IN_LIGHT:
        t = IN_LIGHT[fault](t, rng, strong)
    t = t * np.float32(rng.uniform(0.75, 0.92) / np.percentile(t[::4, ::4], 99.9))
    electrons = rng.uniform(25_000, 60_000)
    if fault == "noise":
        electrons = rng.uniform(150, 500) if strong else rng.uniform(900, 2000)
    deviation = np.sqrt(np.maximum(t, 1e-5) / electrons + (6.0 / 40_000) ** 2)
    t = np.clip(t + deviation * rng.standard_normal(t.shape, np.float32), 0, 1)
    codes = np.round(np.round(t * 16383) * (65535 / 16383)).astype(np.uint16)
    return _enlarged(codes, rng, strong) if fault == "enlarged" else codes


def _located(size: tuple[int, int], edge: int, angle: float, kind: str) -> MasterGeometry:
    """Return what locate would hand on: one frame, and film base about it where there is some."""
    w, h = size
    turn = np.radians(angle)
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])

    def quad(
        left: float, top: float, right: float, bottom: float
    ) -> tuple[tuple[float, float], ...]:
        corners = np.array([(left, top), (right, top), (right, bottom), (left, bottom)], float)
        turned = (corners - (w / 2, h / 2)) @ matrix.T + (w / 2, h / 2)
        return tuple((float(x), float(y)) for x, y in turned)

    e, m = edge, edge - 7
    lean = int(max(w, h) / 2 * abs(np.sin(turn))) + 6
    frame = Frame(
        1,
        quad(e, e, w - e, h - e),  # type: ignore[arg-type]
        angle,
        "positive" if kind in {"slide", "print"} else "negative",
        "monochrome" if kind.startswith("monochrome") else "colour",
    )
    base = (
        quad(lean, lean, w - lean, m),
        quad(lean, h - m, w - lean, h - lean),
        quad(lean, e, m, h - e),
        quad(w - m, e, w - lean, h - e),
    )
    regions = base if kind.endswith("negative") else ()
    return MasterGeometry("a.tif", w, h, 4000.0, "tag", (frame,), base_regions=regions)  # type: ignore[arg-type]


def _stated(kind: str) -> Facts:
    return Facts(kind="print") if kind == "print" else Facts()
