"""Scenes: linear sRGB of what stands before the lens (h, w, 3), white 1, in neutral light."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy.ndimage import gaussian_filter, zoom
from skimage import data, io

HEIGHT, WIDTH = 216, 324
Picture = np.ndarray


def linear(code: Picture) -> Picture:
    """Return linear light of sRGB codes 0..1 (IEC 61966-2-1:1999, section 5.2)."""
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def coded(light: Picture) -> Picture:
    """Return sRGB codes 0..1 of linear light, clipped."""
    light = np.clip(light, 0, 1)
    return np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)


def from_hex(word: str) -> Picture:
    return linear(np.array([int(word[k : k + 2], 16) for k in (0, 2, 4)]) / 255)


# ------------------------------------------------------------------ photographs


def _cut(picture: Picture, number: int) -> Picture:
    """Return a part of a photograph as a scene; which, by the number."""
    rng = np.random.default_rng(number)
    height, width = picture.shape[:2]
    share = rng.uniform(0.75, 1.0)
    high = int(min(height, width / 1.5) * share)
    wide = int(high * 1.5)
    top, left = rng.integers(0, height - high + 1), rng.integers(0, width - wide + 1)
    part = linear(picture[top : top + high, left : left + wide, :3] / 255.0)
    scale = high / HEIGHT
    if scale > 1:
        part = gaussian_filter(part, (scale / 2.5, scale / 2.5, 0))
    sized = zoom(part, (HEIGHT / high, WIDTH / wide, 1), order=1)
    return np.clip(sized, 0, 1)


def photographs(folder: Path | None = None) -> list[tuple[str, Picture]]:
    """Return named photographs, uint8 sRGB: scikit-image's, or the JPEGs of a folder.

    Of other packages' pictures china.jpg and flower.jpg (scikit-learn, CC BY 2.0) and
    grace_hopper.jpg (matplotlib, public domain) can be laid there.
    """
    if folder is not None:
        return [(path.stem, io.imread(path)) for path in sorted(folder.glob("*.jpg"))]
    left = io.imread(Path(data.__file__).parent / "motorcycle_left.png")
    return [
        ("astronaut", data.astronaut()),
        ("coffee", data.coffee()),
        ("chelsea", data.chelsea()),
        ("rocket", data.rocket()),
        ("motorcycle", left),
    ]


# ------------------------------------------------------------------ drawn


def _cloud(rng: np.random.Generator, size: float, strength: float) -> Picture:
    """Return noise about 1, (h, w, 1), with lumps of `size` pixels and finer ones."""
    total = np.zeros((HEIGHT, WIDTH))
    for part in (1.0, 0.4, 0.15):
        lump = gaussian_filter(rng.normal(size=(HEIGHT, WIDTH)), max(size * part, 0.5))
        total += part * lump / lump.std()
    return np.exp(strength * total / 1.2)[..., None]


def _box(picture: Picture, at: tuple[float, ...], colour: Picture | np.ndarray) -> None:
    """Fill left, top, right, bottom (shares of the picture)."""
    left, top, right, bottom = at
    rows = slice(int(top * HEIGHT), int(bottom * HEIGHT))
    picture[rows, int(left * WIDTH) : int(right * WIDTH)] = colour


def _sky(rng: np.random.Generator, deep: str, low: str) -> Picture:
    down = np.linspace(0, 1, HEIGHT)[:, None, None]
    return (from_hex(deep) * (1 - down) + from_hex(low) * down) * np.ones((1, WIDTH, 1))


def harbour(rng: np.random.Generator) -> Picture:
    """Sky, water, quay, houses and boats of mixed colours."""
    scene = _sky(rng, "6f9bd1", "d5e3ee") * _cloud(rng, 30, 0.06)
    water = int(HEIGHT * 0.6)
    scene[water:] = (from_hex("3c5a68") * _cloud(rng, 6, 0.25))[water:]
    walls = ["d9d2c0", "b5533c", "e8e4da", "8a8f93", "c9a25e", "6d7f5c", "f0eee8"]
    left = 0.0
    while left < 1:
        wide, high = rng.uniform(0.06, 0.16), rng.uniform(0.15, 0.4)
        paint = from_hex(walls[rng.integers(len(walls))])
        _box(scene, (left, 0.6 - high, min(left + wide, 1), 0.6), paint)
        for row in np.arange(0.62 - high, 0.55, 0.08):
            _box(
                scene, (left + wide * 0.3, row, left + wide * 0.45, row + 0.04), from_hex("20262b")
            )
        left += wide
    _box(scene, (0, 0.57, 1, 0.63), from_hex("77736c"))
    for _ in range(4):
        x, y = rng.uniform(0, 0.85), rng.uniform(0.68, 0.9)
        hull = from_hex(str(rng.choice(["f4f4f0", "1d3d7a", "c22b20", "206040", "141414"])))
        _box(scene, (x, y, x + 0.14, y + 0.06), hull)
        _box(scene, (x + 0.04, y - 0.05, x + 0.09, y), from_hex("f2f0ea"))
    return gaussian_filter(scene * _cloud(rng, 2, 0.04), (0.6, 0.6, 0))


def room(rng: np.random.Generator) -> Picture:
    """A room: a grey wall in falling light, furniture, a white cloth, deep shadow."""
    fall = np.linspace(1.0, rng.uniform(0.15, 0.4), WIDTH)[None, :, None]
    scene = from_hex("b9b6ae") * fall * _cloud(rng, 40, 0.03)
    _box(scene, (0, 0.72, 1, 1), from_hex("6b4a30"))
    _box(scene, (0.1, 0.45, 0.45, 0.75), from_hex("f3f2ee"))
    _box(scene, (0.15, 0.3, 0.25, 0.45), from_hex(str(rng.choice(["9c2f2f", "2f4f9c", "d6a920"]))))
    _box(scene, (0.55, 0.3, 0.7, 0.8), from_hex("33291f"))
    _box(scene, (0.76, 0.15, 0.96, 0.5), from_hex("e2e6ea"))
    _box(scene, (0.58, 0.1, 0.67, 0.28), from_hex("c99a80"))
    return gaussian_filter(scene * _cloud(rng, 2, 0.05), (0.8, 0.8, 0))


def patches(rng: np.random.Generator) -> Picture:
    """Things of many colours on a grey table."""
    scene = from_hex("8d8d8b") * _cloud(rng, 50, 0.06)
    for _ in range(26):
        x, y = rng.uniform(0, 0.9), rng.uniform(0, 0.85)
        hue, full = rng.uniform(0, 6.28), rng.uniform(0, 0.4)
        tint = 1 + full * np.cos(hue + np.array([0, 2.1, 4.2]))
        paint = np.clip(rng.uniform(0.03, 0.8) * tint, 0.005, 0.95)
        _box(scene, (x, y, x + rng.uniform(0.05, 0.2), y + rng.uniform(0.06, 0.25)), paint)
    _box(scene, (0.05, 0.05, 0.15, 0.2), from_hex("f4f4f2"))
    return gaussian_filter(scene * _cloud(rng, 3, 0.05), (0.5, 0.5, 0))


def night(rng: np.random.Generator) -> Picture:
    """A street by night: little light, a few lamps and windows."""
    scene = from_hex("15161c") * _cloud(rng, 30, 0.3)
    for _ in range(14):
        x, y = rng.uniform(0, 0.95), rng.uniform(0.1, 0.8)
        _box(scene, (x, y, x + 0.03, y + 0.05), from_hex("e8c070") * rng.uniform(0.3, 1.0))
    _box(scene, (0, 0.8, 1, 1), from_hex("2b2a28"))
    return gaussian_filter(scene, (0.8, 0.8, 0)) + 0.25 * gaussian_filter(scene, (12, 12, 0))


def grass(rng: np.random.Generator) -> Picture:
    scene = from_hex(str(rng.choice(["5c7a35", "6d8540", "48652e"]))) * _cloud(rng, 3, 0.35)
    return scene * (1 + 0.2 * (_cloud(rng, 20, 0.3) - 1) * np.array([1.2, 1.0, 0.6]))


def sky(rng: np.random.Generator) -> Picture:
    scene = _sky(rng, str(rng.choice(["4f86c6", "5b8fd0", "3f76b8"])), "a9c8e6")
    haze = np.clip(_cloud(rng, 25, 0.5) - 1.2, 0, 0.6) * rng.choice([0.0, 0.8])
    return np.clip(scene * (1 - haze) + haze * 0.9, 0, 1)


def snow(rng: np.random.Generator) -> Picture:
    scene = from_hex("eef1f4") * np.minimum(_cloud(rng, 25, 0.08), 1.06)
    shade = np.clip(_cloud(rng, 40, 0.8) - 1.3, 0, 1)
    return scene * (1 - shade * np.array([0.55, 0.5, 0.4]))


def sunset(rng: np.random.Generator) -> Picture:
    scene = _sky(rng, str(rng.choice(["7a4a5e", "a35a3a"])), "f5a03c")
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    sun = np.exp(-((x - WIDTH * 0.6) ** 2 + (y - HEIGHT * 0.65) ** 2) / 900.0)[..., None]
    scene = scene + sun * from_hex("fff0b0")
    scene[int(HEIGHT * 0.8) :] = (from_hex("1c120e") * _cloud(rng, 8, 0.3))[int(HEIGHT * 0.8) :]
    return np.clip(scene * _cloud(rng, 20, 0.05), 0, 1)


def skin(rng: np.random.Generator) -> Picture:
    tone = from_hex(str(rng.choice(["e0ac8c", "c98f6c", "8d5a3c", "f0c8ae"])))
    scene = tone * _cloud(rng, 35, 0.25)
    _box(scene, (0.3, 0.6, 0.5, 0.66), from_hex("a85048"))
    return gaussian_filter(np.clip(scene, 0, 1), (1.5, 1.5, 0))


def red_wall(rng: np.random.Generator) -> Picture:
    scene = from_hex(str(rng.choice(["9a3a2c", "b04030", "8a2c28"]))) * _cloud(rng, 4, 0.15)
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    joint = (y % 18 < 2) | ((x + 18 * (y // 18 % 2)) % 36 < 2)
    scene[joint] = from_hex("a06a58")
    return scene


ONE_COLOUR: dict[str, Callable[[np.random.Generator], Picture]] = {
    "grass": grass, "sky": sky, "snow": snow, "sunset": sunset, "skin": skin, "red wall": red_wall,
}  # fmt: skip
DRAWN = (harbour, room, patches)


def usual(number: int, folder: Path | None = None) -> tuple[str, Picture]:
    """Return a usual scene by number: three of five are photographs, two are drawn."""
    if number % 5 < 3:
        shown = photographs(folder)
        name, picture = shown[(number // 5 * 3 + number % 5) % len(shown)]
        return name, _cut(picture, number)
    turn = number // 5 * 2 + number % 5 - 3
    draw = night if number % 20 == 19 else DRAWN[turn % 3]
    return draw.__name__, np.clip(draw(np.random.default_rng(number)), 0.002, 1)


def one_colour(kind: str, number: int) -> tuple[str, Picture]:
    """Return a frame that shows hardly more than one colour."""
    return kind, np.clip(ONE_COLOUR[kind](np.random.default_rng(1000 + number)), 0.002, 1)
