"""Negatives of films that nobody drew: curves, coupled dyes, light, fading, camera and profile.

A picture (linear sRGB light, white 1) is taken with an exposure (EV) and a light; three layers see
it, with a toe and a shoulder; each layer's development holds the others back (couplers); dyes,
faded or not, stand over a base. Two ways lead to the master:

- `bands`: three bands see the dyes through a matrix (side absorptions of dyes and filters);
- `spectral`: the dyes' spectra are seen by a camera's sensitivities, a matrix fitted to the
  colorimetric observer brings them to XYZ, and from there to the primaries of a profile.

Nothing here is taken from the package: what it knows of films is not what these films are made of.
Ranges are values from memory of data sheets of usual films unless a source is named.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from glassine.base.model import Frame, MasterGeometry
from makers import icc_profiles
from makers.tone import sources
from makers.tone.negatives import linear

DMIN = np.array([0.25, 0.60, 0.85])
WAVES = np.arange(400.0, 701.0, 10.0)
BORDER = 16

# Columns are red, green, blue in XYZ. Adobe RGB (1998) and ProPhoto (ISO 22028-2) adapted to D50,
# as their profiles hold them (values from memory, 4 digits).
PRIMARIES = {
    "srgb": np.array(
        [[0.4361, 0.3851, 0.1431], [0.2225, 0.7169, 0.0606], [0.0139, 0.0971, 0.7141]]
    ),
    "adobe": np.array(
        [[0.6097, 0.2053, 0.1492], [0.3111, 0.6257, 0.0632], [0.0195, 0.0609, 0.7446]]
    ),
    "prophoto": np.array([[0.7977, 0.1352, 0.0313], [0.2880, 0.7119, 0.0001], [0.0, 0.0, 0.8249]]),
}
D50 = np.array([0.9642, 1.0, 0.8249])


def planck(kelvin: float) -> np.ndarray:
    """Return log10 of a black body's light at 640, 545, 445 nm against 5500 K, green at 0."""
    nm = np.array([640.0, 545.0, 445.0])

    def light(t: float) -> np.ndarray:
        return nm**-5 / np.expm1(1.4388e7 / (nm * t))  # Planck's law, c2 = 1.4388e-2 m K

    ratio = np.log10(light(kelvin) / light(5500.0))
    return np.asarray(ratio - ratio[1])


@dataclass(frozen=True)
class FilmModel:
    """slopes: density per log10 of exposure; toe: log10 E where it sets in (white = 0), and how
    softly; shoulder: density where it ends, above base; couplers, cross: 3 x 3; losses: share of
    each dye that has faded; camera: index of a spectral camera, None for bands; profile: what the
    master is in, a key of PRIMARIES or `camera`."""

    slopes: np.ndarray
    dmin: np.ndarray
    toe: float
    softness: float
    shoulder: float
    couplers: np.ndarray
    cross: np.ndarray
    speeds: np.ndarray
    losses: np.ndarray
    grain: float
    camera: int | None = None
    profile: str = "srgb"
    monochrome: bool = False
    seed: int = 0
    stain: np.ndarray = field(default_factory=lambda: np.zeros(3))

    def developed(self, light: np.ndarray) -> np.ndarray:
        """Return the amounts of dye (..., 3) for linear light (..., 3)."""
        x = np.log10(np.maximum(light, 1e-6)) + self.speeds - self.toe
        p = self.softness
        above = np.logaddexp(0, p * np.log(10.0) * x) / (p * np.log(10.0))
        amount = self.slopes * above
        # A shoulder: a smooth least of the line and of where it ends.
        amount = amount - np.logaddexp(0, 8.0 * (amount - self.shoulder)) / 8.0
        amount = np.maximum(amount @ self.couplers.T, 0.0)
        return amount * (1 - self.losses)

    def seen(self, amount: np.ndarray) -> np.ndarray:
        """Return linear light (..., 3) of the master's channels; bare table 0.95."""
        if self.camera is None:
            return np.asarray(0.95 * 10.0 ** -(self.dmin + self.stain + amount @ self.cross.T))
        red, green, blue = self.dmin + self.stain
        at = [430.0, 480.0, 545.0, 600.0, 660.0]
        base = np.interp(WAVES, at, [blue, blue * 0.93, green, (red + green) / 2, red])
        density = amount.astype(np.float32) @ spectra(self.seed).astype(np.float32)
        light = np.exp((density + base.astype(np.float32)) * np.float32(-np.log(10.0)))
        sens, matrix = camera_of(self.camera)
        if self.profile != "camera":
            sens = np.linalg.inv(PRIMARIES[self.profile]) @ matrix @ sens
        return np.asarray(0.95 * (light @ sens.T.astype(np.float32)), np.float64)


def _bell(middle: float, left: float, right: float) -> np.ndarray:
    sigma = np.where(middle > WAVES, left, right)
    return np.asarray(np.exp(-((WAVES - middle) ** 2) / (2 * sigma**2)))


@lru_cache(maxsize=64)
def spectra(seed: int) -> np.ndarray:
    """Return densities (3, waves), peak 1, of dyes like those of masked negative film."""
    rng = np.random.default_rng(50_000 + seed)
    u = rng.uniform
    cyan = _bell(u(672, 700), u(48, 62), u(55, 75)) + u(0.0, 0.08) * _bell(430, 40, 40)
    magenta = _bell(u(540, 556), u(30, 40), u(28, 38)) + u(-0.02, 0.06) * _bell(430, 35, 35)
    yellow = _bell(u(440, 452), u(38, 50), u(30, 40))
    return np.stack([cyan, magenta, yellow])


@lru_cache(maxsize=32)
def observer() -> np.ndarray:
    """Return the CIE 1931 observer (3, waves), from the data of colour-science."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # colour-science tells of plots that it cannot draw
        import colour

    cmfs = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    at = np.searchsorted(cmfs.wavelengths, WAVES)
    return np.asarray(cmfs.values[at].T)


@lru_cache(maxsize=16)
def camera_of(number: int) -> tuple[np.ndarray, np.ndarray]:
    """Return (sensitivities times light (3, waves) summing to 1, matrix to XYZ D50 (3, 3))."""
    rng = np.random.default_rng(60_000 + number)
    u = rng.uniform
    sens = np.stack(
        [
            _bell(u(595, 612), u(26, 38), u(28, 40)) + u(0, 0.05) * _bell(540, 30, 30),
            _bell(u(528, 542), u(32, 42), u(32, 42)),
            _bell(u(450, 464), u(22, 28), u(26, 34)) + u(0, 0.03) * _bell(540, 30, 30),
        ]
    )
    if number % 2:  # light of white diodes: a peak in blue, a broad hill
        table = _bell(452, 10, 12) * u(0.6, 1.1) + _bell(u(555, 575), 50, 62)
    else:
        table = np.interp(WAVES, [400, 450, 560, 700], [0.5, 0.95, 1.0, 0.95])
    sens = sens * table
    sens /= sens.sum(axis=1, keepdims=True)
    eye = observer() * table
    eye = eye / eye.sum(axis=1, keepdims=True) * D50[:, None]
    # Least squares on smooth random transmittances, the bare table exact.
    steps = np.cumsum(rng.normal(0, 0.55, (400, len(WAVES))), axis=1)
    smooth = 1 / (
        1 + np.exp(steps - steps.mean(axis=1, keepdims=True) + rng.normal(0, 1, (400, 1)))
    )
    smooth = np.concatenate([smooth, np.ones((4000, len(WAVES)))])
    matrix = np.linalg.lstsq(smooth @ sens.T, smooth @ eye.T, rcond=None)[0].T
    return sens, matrix


def primaries(film: FilmModel) -> np.ndarray:
    if film.camera is None or film.profile != "camera":
        return PRIMARIES[film.profile]
    return camera_of(film.camera)[1]


# What may be said of a film: see `film_of`.
KINDS = ("clean", "usual", "faded", "spectral")


def film_of(kind: str, number: int, profile: str = "srgb") -> FilmModel:
    """Return film `number` of a kind: clean (no couplers, little crosstalk), usual, faded,
    spectral (in `profile`)."""
    rng = np.random.default_rng(70_000 + number)
    u = rng.uniform
    mean = u(0.52, 0.70)
    slopes = mean * 10.0 ** rng.normal(0, 0.022, 3)
    couplers, cross = np.eye(3), np.eye(3)
    off = 1 - np.eye(3)
    if kind != "clean":
        couplers = np.eye(3) - off * u(0.0, 0.12, (3, 3))
        cross = np.eye(3) + off * u(0.0, 0.22, (3, 3))
    if kind == "spectral":
        cross = np.eye(3)
    losses = u(0.05, 0.45, 3) if kind == "faded" else np.zeros(3)
    film = FilmModel(
        slopes,
        DMIN + u(-0.15, 0.15, 3),
        u(-2.6, -1.7),
        u(1.0, 3.0),
        u(1.8, 2.6),
        couplers,
        cross,
        rng.normal(0, 0.02, 3),
        losses,
        u(0.003, 0.010),
        camera=number % 7 if kind == "spectral" else None,
        profile=profile if kind == "spectral" else "srgb",
        seed=number % 11,
        stain=u(0, [0.03, 0.06, 0.15]) if kind == "faded" else np.zeros(3),
    )
    return film if kind != "spectral" else _by_narrow_bands(film, slopes)


def _by_narrow_bands(film: FilmModel, slopes: np.ndarray) -> FilmModel:
    """Return a film whose greys have `slopes` in bands of 20 nm about 640, 545 and 445 nm, near
    those of ISO 5-3 status M; what a camera sees of it is another matter."""
    dyes = spectra(film.seed)
    bands = np.stack([_bell(middle, 10, 10) for middle in (640.0, 545.0, 445.0)])
    bands /= bands.sum(axis=1, keepdims=True)
    steps = np.array([0.3, 1.0])[:, None] * np.ones(3)
    amounts = np.ones(3)
    for _ in range(5):
        d = -np.log10(10.0 ** -((steps * amounts) @ dyes) @ bands.T)
        amounts = amounts * 0.7 / (d[1] - d[0])
    return replace(film, slopes=slopes * amounts, shoulder=film.shoulder * 1.2)


def monochrome_film(number: int) -> FilmModel:
    """Return a monochrome film; contrast 0.45 to 0.80 (development times of usual films)."""
    rng = np.random.default_rng(80_000 + number)
    u = rng.uniform
    return FilmModel(
        np.full(3, u(0.45, 0.80)), np.full(3, u(0.05, 0.35)), u(-2.6, -1.7), u(1.0, 3.0),
        u(1.8, 2.6), np.eye(3), np.eye(3), np.zeros(3), np.zeros(3), u(0.004, 0.012),
        monochrome=True,
    )  # fmt: skip


def grey_of(picture: np.ndarray) -> np.ndarray:
    """Return the picture (sRGB, uint8) in grey, by luminance."""
    luma = linear(picture) @ np.array([0.2126, 0.7152, 0.0722])
    code = np.where(luma <= 0.0031308, luma * 12.92, 1.055 * luma ** (1 / 2.4) - 0.055)
    return np.repeat(np.round(code * 255).astype(np.uint8)[..., None], 3, axis=2)


def master(
    film: FilmModel,
    picture: np.ndarray,
    number: int,
    *,
    base: bool = True,
    ev: float = 0.0,
    light: np.ndarray | None = None,
) -> np.ndarray:
    """Return the 16-bit linear master (h, w, 3) of a picture, in a border of base where `base`.

    ev: exposure, stops from the usual; light: log10 of the light's colour per layer.
    """
    rng = np.random.default_rng(90_000 + number)
    cast = np.zeros(3) if light is None else light
    scene = linear(picture) * 10.0 ** (cast + ev * np.log10(2.0))
    amount = film.developed(scene)
    if base:
        amount = np.pad(amount, ((BORDER, BORDER), (BORDER, BORDER), (0, 0)))
    noise = rng.normal(0, 1, amount.shape) * film.grain * np.sqrt(0.15 + amount)
    if film.monochrome:
        noise = np.repeat(noise[..., :1], 3, axis=2)
    seen = film.seen(amount + noise)
    shot = np.sqrt(np.maximum(seen, 0) / 40_000) * rng.normal(0, 1, seen.shape)
    return np.round(np.clip(seen + shot, 0, 1) * 65535).astype(np.uint16)


def profile_of(film: FilmModel) -> bytes:
    return icc_profiles.matrix_profile("Linear", primaries(film), np.array([0.0, 1.0]))


@dataclass(frozen=True)
class Strip:
    """Frames side by side on one master."""

    source: sources.ArraySource
    geometry: MasterGeometry
    icc: bytes
    boxes: list[tuple[int, int, int, int]]

    def part(self, index: int) -> np.ndarray:
        left, top, width, height = self.boxes[index]
        return np.ascontiguousarray(self.source.pixels[top : top + height, left : left + width])


def strip(
    film: FilmModel,
    shown: list[np.ndarray],
    number: int,
    *,
    base: bool,
    evs: list[float] | None = None,
    lights: list[np.ndarray] | None = None,
) -> Strip:
    """Return pictures side by side on one film; base between them is seen where `base`."""
    evs = evs or [0.0] * len(shown)
    lights = lights or [np.zeros(3)] * len(shown)
    parts = [
        master(film, picture, number * 100 + n, base=base, ev=ev, light=light)
        for n, (picture, ev, light) in enumerate(zip(shown, evs, lights, strict=True))
    ]
    edge = BORDER if base else 0
    source = sources.ArraySource(np.concatenate(parts, axis=1))
    frames, regions, boxes = [], [], []
    left = 0
    for n, picture in enumerate(shown):
        height, width = picture.shape[:2]
        x0, y0, x1, y1 = left + edge, edge, left + edge + width, edge + height
        boxes.append((x0, y0, width, height))
        process = "monochrome" if film.monochrome else "colour"
        corners = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
        frames.append(Frame(n + 1, corners, 0.0, "negative", process))  # type: ignore[arg-type]
        if base:
            end = left + width + 2 * edge
            regions.append(((left + 2, 2), (end - 2, 2), (end - 2, edge - 2), (left + 2, edge - 2)))
        left += width + 2 * edge
    geometry = MasterGeometry(
        "a.tif", source.width, source.height, 4000.0, "tag", tuple(frames),
        base_regions=tuple(regions),
    )  # fmt: skip
    return Strip(source, geometry, profile_of(film), boxes)
