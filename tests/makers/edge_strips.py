"""Strips of 35 mm film with bar codes and numbers in their rebate, and the truth about them.

Shares nothing with what reads them. The code is drawn from its published description: US patent
4,965,628 (two parallel tracks of exposed bars, repeated each half frame) and the encyclopedia
article on DX numbers: the clock track towards the perforations, the data track along the edge of
the film; six start bits 101010, product 7 bits, one unassigned, generation 4 bits, frame and half
frame 7 bits, one unassigned, parity, four stop bits 0101. Length of a module 0.455 mm: measured on
a photograph of a real code (14.1 mm for 31 modules). Film and perforations: see `film/things.py`.

Film lies with its base toward the viewer as it is drawn first: writing reads right, numbers grow to
the right, the codes are at the lower edge. u runs along the film, v across it, mm from its middle.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

MM_PER_INCH = 25.4
WIDTH, PITCH, HOLE, MARGIN = 34.976, 4.75, (1.981, 2.794), 2.01
ADVANCE, HALF = 38.0, 19.0
DRAWN = 24  # px per mm of the film as it is drawn
REDUCED_LONG_EDGE = 2000


@dataclass(frozen=True)
class Strip:
    """A strip of film. first: half frame numbers (2 n, and one more for n A) from 0 at the centre of
    its first frame; off_mm: how far the first frame's centre lies beyond its code's; step: density
    of the code above (reversal film: below) the base; clear: whether it is reversal film.
    lead_mm: film before the first frame and behind the last. lost: half frames whose code is gone.
    wrong: (half frame, bit of its data track that is drawn the other way). copied: a strip whose
    codes were copied onto this one with its pictures: its first, off_mm, product and step count,
    less than 0 where they are clear in a margin that the copying darkened by as much.
    """

    frames: int = 4
    first: int = 24
    off_mm: float = 0.0
    product: int = 79
    generation: int = 7
    numbered: bool = True
    module: float = 0.455
    step: float = 0.9
    base: tuple[float, float, float] = (0.25, 0.6, 0.85)
    gain: tuple[float, float, float] = (1.0, 1.0, 0.6)
    clear: bool = False
    lead_mm: tuple[float, float] = (3.0, 3.0)
    fog: float = 0.0
    specks: int = 0
    lost: tuple[int, ...] = ()
    wrong: tuple[tuple[int, int], ...] = ()
    coded: bool = True
    half_frames: bool = False
    seed: int = 0
    copied: Strip | None = None

    @property
    def advance(self) -> float:
        return HALF if self.half_frames else ADVANCE

    @property
    def length(self) -> float:
        picture = 18.0 if self.half_frames else 36.0
        return sum(self.lead_mm) + (self.frames - 1) * self.advance + picture

    def centres(self) -> list[float]:
        """Return u of each frame's centre."""
        picture = 18.0 if self.half_frames else 36.0
        start = -self.length / 2 + self.lead_mm[0] + picture / 2
        return [start + k * self.advance for k in range(self.frames)]

    def code_at(self, half: int) -> float:
        """Return u of the centre of a half frame's code."""
        return self.centres()[0] - self.off_mm + (half - self.first) * HALF

    def numbers(self) -> list[str]:
        """Return the number of each frame: that of the code next to its centre."""
        found = []
        for u in self.centres():
            half = min(range(-4, 130), key=lambda h: abs(self.code_at(h) - u))
            found.append(f"{half // 2}{'A' if half % 2 else ''}" if half >= 0 else "")
        return found


def bits_of(strip: Strip, half: int) -> str:
    """Return the data track of a half frame's code, 1 for a dark module."""
    body = f"{strip.product:07b}" + "0" + f"{strip.generation:04b}"
    if strip.numbered:
        body += f"{half // 2:06b}" + str(half % 2) + "0"
    parity = str(body.count("1") % 2)
    return "101010" + body + parity + "0101"


def clock_of(strip: Strip) -> str:
    """Return the clock track: five dark modules, single ones in turn, three dark ones."""
    between = 23 if strip.numbered else 15
    return "11111" + "".join("01"[k % 2] for k in range(between)) + "111"


def _drawn(strip: Strip) -> np.ndarray:
    """Return (rows, columns, 2) of the film: exposure (density), and 1 where nothing is."""
    rows, columns = round(WIDTH * DRAWN), round(strip.length * DRAWN)
    rng = np.random.default_rng([strip.seed, 1])
    film = np.zeros((rows, columns, 2), np.float32)
    u = (np.arange(columns) + 0.5) / DRAWN - strip.length / 2
    v = (np.arange(rows) + 0.5) / DRAWN - WIDTH / 2
    _fog(film, strip, u, v)
    width = 18.0 if strip.half_frames else 36.0
    for centre in strip.centres():
        x = slice(*np.searchsorted(u, (centre - width / 2, centre + width / 2)))
        y = slice(*np.searchsorted(v, (-12.0, 12.0)))
        rough = rng.uniform(0.5, 1.7, (9, 13)).astype(np.float32)
        size = film[y, x, 0].shape
        film[y, x, 0] = cv2.resize(rough, (size[1], size[0]), interpolation=cv2.INTER_CUBIC)
        film[y, x, 0] = np.maximum(film[y, x, 0], 0.25)
    halves = range(0, 128)
    shown = [h for h in halves if abs(strip.code_at(h)) < strip.length / 2 + 20]
    for half in shown if strip.coded else ():
        if half not in strip.lost:
            _code(film, strip, half, u, v)
    if strip.copied is not None:
        _copied(film, strip, strip.copied, u, v)
    for half in shown:
        _number(film, strip, half, u)
    phase = rng.uniform(0, PITCH)
    for at in np.arange(-strip.length / 2 - PITCH + phase, strip.length / 2 + PITCH, PITCH):
        x = np.abs(u - at) < HOLE[0] / 2
        for side in (-1, 1):
            middle = side * (WIDTH / 2 - MARGIN - HOLE[1] / 2)
            film[np.ix_(np.abs(v - middle) < HOLE[1] / 2, x)] = (0, 1)
    for _ in range(strip.specks):
        x, y = int(rng.integers(columns)), int(rng.integers(rows))
        edge = int(rng.integers(2)) * (rows - 5 * DRAWN) if rng.random() < 0.7 else 0
        y = edge + y % (5 * DRAWN) if rng.random() < 0.7 else y
        radius = max(1, round(rng.uniform(0.03, 0.25) * DRAWN))
        dark = float(rng.uniform(0.2, 1.5))
        _spot(film, x, y, radius, dark)
    return film


def _spot(film: np.ndarray, x: int, y: int, radius: int, dark: float) -> None:
    rows, columns = film.shape[:2]
    y0, y1, x0, x1 = max(y - radius, 0), y + radius + 1, max(x - radius, 0), x + radius + 1
    part = film[y0 : min(y1, rows), x0 : min(x1, columns), 0]
    yy, xx = np.mgrid[y0 : y0 + part.shape[0], x0 : x0 + part.shape[1]]
    part[(yy - y) ** 2 + (xx - x) ** 2 <= radius**2] = dark


def _fog(film: np.ndarray, strip: Strip, u: np.ndarray, v: np.ndarray) -> None:
    if strip.fog:
        rng = np.random.default_rng([strip.seed, 2])
        middle, wide = rng.uniform(-0.5, 0.5) * strip.length, rng.uniform(8, 40)
        film[..., 0] += strip.fog * np.exp(-(((u - middle) / wide) ** 2))[None].astype(np.float32)


def _covered(dark: str, start: float, module: float, u: np.ndarray) -> np.ndarray:
    """Return the share of each column that lies under dark modules."""
    edges = start + module * np.arange(len(dark) + 1)
    total = np.concatenate([[0.0], np.cumsum([module * int(bit) for bit in dark])])
    half = 0.5 / DRAWN
    share = np.interp(u + half, edges, total) - np.interp(u - half, edges, total)
    return (share * DRAWN).astype(np.float32)


def _code(film: np.ndarray, strip: Strip, half: int, u: np.ndarray, v: np.ndarray) -> None:
    data, clock = bits_of(strip, half), clock_of(strip)
    for _, place in (each for each in strip.wrong if each[0] == half):
        data = data[:place] + "10"[int(data[place])] + data[place + 1 :]
    start = strip.code_at(half) - len(data) * strip.module / 2
    for bits, low, high in ((clock, 1.03, 1.9), (data, 0.1, 1.0)):
        rows = (v > WIDTH / 2 - high) & (v < WIDTH / 2 - low)
        film[rows, :, 0] += strip.step * _covered(bits, start, strip.module, u)[None]


def _copied(film: np.ndarray, strip: Strip, other: Strip, u: np.ndarray, v: np.ndarray) -> None:
    film[np.abs(v) > WIDTH / 2 - 2.0, :, 0] += max(-other.step, 0.0)
    laid = replace(strip, first=other.first, off_mm=other.off_mm, product=other.product)
    for half in range(0, 128):
        if abs(laid.code_at(half)) < strip.length / 2 + 20:
            _code(film, replace(laid, step=other.step), half, u, v)


def _number(film: np.ndarray, strip: Strip, half: int, u: np.ndarray) -> None:
    """Write the number at the upper edge, and small between the codes at the lower one."""
    text = f"{half // 2}{'A' if half % 2 else ''}"
    at = strip.code_at(half)
    for middle, v, size in ((at, 0.35, 0.052), (at - 9.4, WIDTH - 1.75, 0.028)):
        face, scale = cv2.FONT_HERSHEY_SIMPLEX, size * DRAWN
        (w, h), _ = cv2.getTextSize(text, face, scale, 2)
        x = round((middle + strip.length / 2) * DRAWN) - w // 2
        y = round(v * DRAWN) + h
        tile = np.zeros((h + 8, w + 8), np.uint8)
        cv2.putText(tile, text, (4, h + 3), face, scale, 255, 2, cv2.LINE_AA)
        x0, y0 = x - 4, y - h - 4
        x1, y1 = x0 + tile.shape[1], y0 + tile.shape[0]
        cut = tile[max(-y0, 0) :, max(-x0, 0) :]
        part = film[max(y0, 0) : max(y1, 0), max(x0, 0) : max(x1, 0), 0]
        cut = cut[: part.shape[0], : part.shape[1]]
        part += strip.step * (cut / np.float32(255))


# ------------------------------------------------------------------ on the table


@dataclass(frozen=True)
class Laid:
    """A strip on the table. at_mm: its centre from the middle of the capture; angle_deg: clockwise;
    mirrored: whether its emulsion lies toward the camera."""

    strip: Strip
    at_mm: tuple[float, float] = (0.0, 0.0)
    angle_deg: float = 0.0
    mirrored: bool = False


@dataclass(frozen=True)
class Look:
    """How it is captured. blur_um: sigma; grain: of density, of a px at 2,400 ppi."""

    ppi: float = 2400.0
    blur_um: float = 20.0
    grain: float = 0.03
    seed: int = 0


class Capture:
    """A capture of strips. frames: of each strip, corners in its own order from its lowest number
    on, as `Frame.corners` (top-left first as seen in the master); numbers: theirs."""

    def __init__(self, laid: list[Laid], look: Look, size_mm: tuple[float, float]) -> None:
        self.laid, self.look = laid, look
        self.mm = look.ppi / MM_PER_INCH
        self.width, self.height = (round(side * self.mm) for side in size_mm)
        self.reduction = max(1, -(-max(self.width, self.height) // REDUCED_LONG_EDGE))
        self._films = [_drawn(each.strip) for each in laid]
        self.numbers = [each.strip.numbers() for each in laid]
        self.frames = [self._corners(each) for each in laid]

    def _matrix(self, each: Laid, mm: float) -> np.ndarray:
        """Return 2 x 3 from mm of the film (u, v) to px of the capture at `mm` px per mm."""
        a = np.deg2rad(each.angle_deg)
        turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        side = np.diag([-1.0 if each.mirrored else 1.0, 1.0])
        middle = np.array([self.width, self.height]) / 2 / self.mm + np.array(each.at_mm)
        return np.c_[turn @ side, middle] * mm

    def _corners(self, each: Laid) -> list[np.ndarray]:
        m = self._matrix(each, self.mm)
        half = 9.0 if each.strip.half_frames else 18.0
        found = []
        for u in each.strip.centres():
            box = np.array([[-half, -12.0], [half, -12.0], [half, 12.0], [-half, 12.0]])
            box[:, 0] += u
            c = box @ m[:, :2].T + m[:, 2]
            # As seen in the master: the top left one first, clockwise.
            middle = c.mean(0)
            c = c[np.argsort(np.arctan2(*(c - middle).T[::-1]))]
            found.append(np.roll(c, -int(np.argmin(c.sum(1))), axis=0))
        return found

    @property
    def reduced(self) -> np.ndarray:
        width, height = self.width // self.reduction, self.height // self.reduction
        return self._seen(0, 0, width, height, self.mm / self.reduction)

    def region(self, left: int, top: int, width: int, height: int) -> np.ndarray:
        return self._seen(left, top, width, height, self.mm)

    def _seen(self, left: int, top: int, width: int, height: int, mm: float) -> np.ndarray:
        density = np.zeros((height, width, 3), np.float32)
        coarse = mm < DRAWN
        for each, film in zip(self.laid, self._films, strict=True):
            if coarse:  # so that a px is the mean of what lies under it
                sigma = DRAWN / mm / 2.8
                film = cv2.GaussianBlur(film, (0, 0), sigma)
            m = self._matrix(each, mm)
            strip = each.strip
            # px of the drawn film to px of what is asked for
            own = np.array(
                [[1 / DRAWN, 0, -strip.length / 2], [0, 1 / DRAWN, -WIDTH / 2], [0, 0, 1]]
            )
            whole = np.vstack([m, [0, 0, 1]]) @ own
            whole = _shift(-left - 0.5, -top - 0.5) @ whole @ _shift(0.5, 0.5)
            shown = cv2.warpAffine(
                film, whole[:2], (width, height), flags=cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_CONSTANT, borderValue=(0, 2.0),
            )  # fmt: skip
            on_film = shown[..., 1] < 1.5
            hole = np.clip(shown[..., 1], 0, 1)[..., None]
            exposed = shown[..., :1] * np.array(strip.gain, np.float32)
            if strip.clear:
                own_density = np.maximum(2.7 - exposed, 0.12)
            else:
                own_density = np.array(strip.base, np.float32) + exposed
            density[on_film] = ((1 - hole) * own_density)[on_film]
        light = np.power(np.float32(10), -density)
        blur = self.look.blur_um / 1000 * mm
        if blur > 0.3:
            light = cv2.GaussianBlur(light, (0, 0), blur)
        rng = np.random.default_rng([self.look.seed, left, top, width, height])
        grain = self.look.grain * mm / (2400 / MM_PER_INCH)
        noise = rng.standard_normal((height, width, 1), np.float32) * np.float32(grain * 2.3)
        light *= 1 + noise
        light += np.float32(0.0008)
        return np.clip(light * np.float32(0.9 * 65535), 0, 65535).astype(np.uint16)


def _shift(x: float, y: float) -> np.ndarray:
    return np.array([[1.0, 0.0, x], [0.0, 1.0, y], [0.0, 0.0, 1.0]])


def alone(strip: Strip, look: Look, angle_deg: float = 0.0, mirrored: bool = False) -> Capture:
    """Return a capture of one strip, with a little of the table about it."""
    a = np.deg2rad(angle_deg)
    c, s = abs(np.cos(a)), abs(np.sin(a))
    size = strip.length * c + WIDTH * s + 6, strip.length * s + WIDTH * c + 6
    return Capture([Laid(strip, (0, 0), angle_deg, mirrored)], look, size)


def any_strip(seed: int, ppi: float = 2400.0, specks: int | None = None) -> tuple[Capture, Laid]:
    """Return a capture of a strip of anything that strips are like, by its seed. specks: how many
    lie on it, most of them on its margins; some or none where not said."""
    rng = np.random.default_rng([seed, 77])
    frames = int(rng.integers(2, 7))
    clear = bool(rng.random() < 0.25)
    step = float(rng.uniform(0.6, 1.8) if clear else np.exp(rng.uniform(np.log(0.1), np.log(1.5))))
    first = int(rng.integers(0, 74 - 2 * frames))
    colour = bool(rng.random() < 0.6)
    strip = Strip(
        frames=frames,
        first=first,
        off_mm=float(rng.uniform(-7, 7)),
        product=int(rng.integers(1, 128)),
        generation=int(rng.integers(0, 16)),
        module=float(rng.uniform(0.445, 0.465)),
        step=step,
        base=(0.25, 0.6, 0.85) if colour else (0.22, 0.22, 0.23),
        gain=(1.0, 1.0, 0.6) if colour else (1.0, 1.0, 1.0),
        clear=clear,
        lead_mm=(float(rng.uniform(0.7, 6)), float(rng.uniform(0.7, 6))),
        fog=float(rng.choice([0.0, 0.0, rng.uniform(0.1, 0.6)])),
        specks=int(rng.choice([0, 10, 40])) if specks is None else specks,
        seed=seed,
    )
    look = Look(ppi, float(rng.uniform(8, 70)), float(rng.uniform(0.01, 0.05)), seed)
    turn = int(rng.integers(4)) * 90
    tilt = float(rng.uniform(-3, 3))
    mirrored = bool(rng.random() < 0.3)
    capture = alone(strip, look, turn + tilt, mirrored)
    return capture, replace(capture.laid[0])
