"""Pictures that lie in drawn frames: photographs, textures, drawn views, plain portraits.

Photographs and textures come from the wheel of scikit-image (skimage.data); what each docstring
there says of its rights: `astronaut` (NASA, public domain), `camera` (CC0, Lav Varshney),
`coffee` (CC0, Rachel Michetti), `chelsea` (CC0, Stefan van der Walt), `rocket` (public domain),
`clock` (public domain, Stefan van der Walt), `coins` (Brooklyn Museum, no known copyright
restrictions), `retina` (CC0), `immunohistochemistry` (no known copyright restrictions),
`brick`, `grass`, `gravel` (CC0). All else is drawn here.

A picture is linear light of the positive, float32 (height, width, 3), 0 to 1.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt
import skimage.data

Picture = npt.NDArray[np.float32]

PHOTOGRAPHS = (
    "astronaut", "camera", "coffee", "chelsea", "rocket", "clock", "coins", "retina",
    "immunohistochemistry",
)  # fmt: skip
TEXTURES = ("brick", "grass", "gravel")
LONG_EDGE = 1100


@lru_cache(maxsize=16)
def source(name: str) -> Picture:
    """Return a picture of scikit-image as linear light (a power of 2.2 stands for its curve)."""
    pixels = getattr(skimage.data, name)()
    if pixels.ndim == 2:
        pixels = np.repeat(pixels[:, :, None], 3, axis=2)
    if name == "retina":  # the round field alone, without the black around it
        pixels = pixels[300:1100, 300:1100]
    return ((pixels.astype(np.float32) + 1) / 256) ** np.float32(2.2)


def size_for(aspect: float, long_edge: int = LONG_EDGE) -> tuple[int, int]:
    """Return (width, height) for width / height."""
    if aspect >= 1:
        return long_edge, max(8, round(long_edge / aspect))
    return max(8, round(long_edge * aspect)), long_edge


def cropped(rng: np.random.Generator, whole: Picture, aspect: float) -> Picture:
    """Return a random part of the given aspect, at most as large as it fits, enlarged."""
    height, width = whole.shape[:2]
    share = rng.uniform(0.55, 1.0)
    w, h = min(width, height * aspect) * share, min(height, width / aspect) * share
    left, top = int(rng.uniform(0, width - w)), int(rng.uniform(0, height - h))
    part = whole[top : top + max(4, int(h)), left : left + max(4, int(w))]
    if rng.random() < 0.5:
        part = part[:, ::-1]
    part = cv2.resize(np.ascontiguousarray(part), size_for(aspect), interpolation=cv2.INTER_CUBIC)
    return np.clip(part, 0.003, 1)


def smooth_noise(rng: np.random.Generator, width: int, height: int, cells: float) -> Picture:
    """Return noise of `cells` across the longer side, (height, width), about -1 to 1."""
    scale = max(width, height) / cells
    small = rng.standard_normal((max(2, int(height / scale) + 2), max(2, int(width / scale) + 2)))
    return cv2.resize(small.astype(np.float32), (width, height), interpolation=cv2.INTER_CUBIC)


def photograph(rng: np.random.Generator, aspect: float) -> Picture:
    picture = cropped(rng, source(str(rng.choice(PHOTOGRAPHS))), aspect)
    return toned(rng, picture)


def toned(rng: np.random.Generator, picture: Picture) -> Picture:
    """Return it exposed and developed otherwise."""
    low, high = np.percentile(picture, (2, 98))
    picture = np.clip((picture - 0.7 * low) / max(high - 0.7 * low, 0.05), 0.002, 1)
    picture = picture ** np.float32(rng.uniform(0.75, 1.3))
    cast = rng.uniform(0.85, 1.0, 3).astype(np.float32)
    return np.clip(picture * cast * np.float32(rng.uniform(0.5, 1.0)), 0.002, 1)


def texture(rng: np.random.Generator, aspect: float) -> Picture:
    picture = cropped(rng, source(str(rng.choice(TEXTURES))), aspect)
    return toned(rng, picture * rng.uniform(0.6, 1.0, 3).astype(np.float32))


def colour(
    rng: np.random.Generator, low: float = 0.02, high: float = 0.9
) -> npt.NDArray[np.float32]:
    """Return a colour of random lightness, most of them dull."""
    grey = np.exp(rng.uniform(np.log(low), np.log(high)))
    tint = rng.uniform(0.6, 1.0, 3) if rng.random() < 0.6 else rng.uniform(0.2, 1.0, 3)
    return np.clip(grey * tint / tint.mean(), 0.004, 1).astype(np.float32)


def harbour(rng: np.random.Generator, aspect: float) -> Picture:
    """Draw quays, houses, masts and water: many straight lines along and across the picture."""
    width, height = size_for(aspect)
    picture = np.empty((height, width, 3), np.float32)
    horizon = int(height * rng.uniform(0.3, 0.75))
    down = np.linspace(0, 1, height, dtype=np.float32)[:, None, None]
    sky, ground = colour(rng, 0.15, 0.95), colour(rng, 0.02, 0.6)
    picture[:] = sky * (1 - 0.5 * down * rng.uniform(-0.3, 1))
    clouds = smooth_noise(rng, width, height, rng.uniform(4, 12))[:, :, None]
    picture *= 1 + 0.12 * clouds
    picture[horizon:] = ground
    ripples = smooth_noise(rng, width, 4 * height, 40)[::4][: height - horizon]
    picture[horizon:] *= 1 + 0.2 * ripples[:, :, None]
    for _ in range(rng.integers(2, 9)):
        _house(rng, picture, horizon)
    for _ in range(rng.integers(0, 8)):
        x, top = int(rng.uniform(0, width)), int(horizon * rng.uniform(0, 0.8))
        lean = int(rng.normal(0, 0.01 * width))
        shade = colour(rng, 0.01, 0.3).tolist()
        cv2.line(picture, (x, horizon + 20), (x + lean, top), shade, int(rng.integers(1, 9)), 16)
    if rng.random() < 0.3:
        centre = (int(rng.uniform(0, width)), int(rng.uniform(0, horizon)))
        cv2.circle(picture, centre, int(rng.uniform(0.02, 0.08) * width), (1.0, 1.0, 0.9), -1, 16)
    grain = rng.standard_normal((height, width, 1)).astype(np.float32)
    return np.clip(cv2.GaussianBlur(picture, (0, 0), 0.8) * (1 + 0.05 * grain), 0.003, 1)


def _house(rng: np.random.Generator, picture: Picture, horizon: int) -> None:
    height, width = picture.shape[:2]
    w, h = int(width * rng.uniform(0.05, 0.45)), int(height * rng.uniform(0.05, 0.55))
    left = int(rng.uniform(-0.3 * w, width - 0.4 * w))
    bottom = horizon + int(height * rng.uniform(0, 0.1))
    wall, window = colour(rng, 0.03, 0.8), colour(rng, 0.005, 0.4)
    cv2.rectangle(picture, (left, bottom - h), (left + w, bottom), wall.tolist(), -1)
    across, up = int(rng.integers(1, 7)), int(rng.integers(1, 5))
    for i in range(across):
        for j in range(up):
            x, y = left + w * (i + 0.3) / across, bottom - h * (j + 0.7) / up
            at, to = (int(x), int(y)), (int(x + 0.4 * w / across), int(y + 0.45 * h / up))
            cv2.rectangle(picture, at, to, window.tolist(), -1)


def forms(rng: np.random.Generator, aspect: float) -> Picture:
    """Draw discs, bars and patches of any tone over a soft ground."""
    width, height = size_for(aspect)
    picture = np.ones((height, width, 3), np.float32) * colour(rng)
    picture *= 1 + 0.3 * smooth_noise(rng, width, height, rng.uniform(2, 8))[:, :, None]
    for _ in range(rng.integers(3, 30)):
        shade = colour(rng).tolist()
        x, y = int(rng.uniform(0, width)), int(rng.uniform(0, height))
        r = int(max(width, height) * rng.uniform(0.01, 0.2))
        if rng.random() < 0.5:
            axes = (r, int(r * rng.uniform(0.3, 1)))
            cv2.ellipse(picture, (x, y), axes, rng.uniform(0, 180), 0, 360, shade, -1, 16)
        else:
            box = cv2.boxPoints(((x, y), (r, r * rng.uniform(0.1, 1)), rng.uniform(0, 180)))
            cv2.fillPoly(picture, [box.astype(np.int32)], shade, 16)
    return np.clip(cv2.GaussianBlur(picture, (0, 0), rng.uniform(0.8, 4)), 0.003, 1)


def portrait(rng: np.random.Generator, aspect: float, dark: bool) -> Picture:
    """Draw head and shoulders before a plain wall, dark or light."""
    width, height = size_for(aspect)
    wall = colour(rng, 0.008, 0.05) if dark else colour(rng, 0.15, 0.8)
    picture = np.ones((height, width, 3), np.float32) * wall
    fall = smooth_noise(rng, width, height, 1.5)[:, :, None]
    picture *= 1 + np.float32(rng.uniform(0, 0.25)) * fall
    size = 0.5 * min(width, height) * rng.uniform(0.5, 1.0)
    x, y = width * rng.uniform(0.35, 0.65), height * rng.uniform(0.35, 0.5)
    coat = colour(rng, 0.006, 0.04 if dark else 0.4).tolist()
    shoulders = (int(x), int(y + 1.9 * size))
    cv2.ellipse(picture, shoulders, (int(1.1 * size), int(1.2 * size)), 0, 0, 360, coat, -1, 16)
    skin = np.array([0.45, 0.3, 0.22], np.float32) * np.float32(rng.uniform(0.3, 1.3))
    head = (int(x), int(y))
    cv2.ellipse(
        picture, head, (int(0.38 * size), int(0.5 * size)), 0, 0, 360, skin.tolist(), -1, 16
    )
    for side in (-1, 1):
        eye = (int(x + side * 0.15 * size), int(y - 0.08 * size))
        cv2.ellipse(
            picture, eye, (int(0.05 * size), int(0.03 * size)), 0, 0, 360, [0.02] * 3, -1, 16
        )
    hair = colour(rng, 0.005, 0.2).tolist()
    crown = (int(x), int(y - 0.2 * size))
    cv2.ellipse(picture, crown, (int(0.4 * size), int(0.38 * size)), 0, 180, 360, hair, -1, 16)
    picture = cv2.GaussianBlur(picture, (0, 0), rng.uniform(1, 5))
    grain = rng.standard_normal((height, width, 1)).astype(np.float32)
    return np.clip(picture * (1 + 0.03 * grain), 0.003, 1)


def any_picture(rng: np.random.Generator, aspect: float) -> Picture:
    """Return one of them: photographs half of the time."""
    sort = rng.random()
    if sort < 0.5:
        return photograph(rng, aspect)
    if sort < 0.58:
        return texture(rng, aspect)
    if sort < 0.8:
        return harbour(rng, aspect)
    if sort < 0.9:
        return forms(rng, aspect)
    return portrait(rng, aspect, dark=rng.random() < 0.5)
