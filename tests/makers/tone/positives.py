"""Pictures whose look is known, as sRGB (uint8): what a negative of them should be shown as.

Photographs come from the wheel of scikit-image (skimage.data), each free of restrictions as its
docstring there says: `astronaut` (NASA, public domain), `chelsea` (CC0, Stefan van der Walt),
`coffee` (CC0, Rachel Michetti), `rocket` (CC0, SpaceX), `retina` (public domain),
`hubble_deep_field` (NASA, public domain). The others are drawn: views of
the invented harbour (tests/makers/film), and scenes of random forms and strong colours made here.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import skimage.data

from makers.film import pictures as harbour

SIZE = (240, 320)

Box = tuple[float, float, float, float]

# Left, top, right, bottom as shares of the photograph.
CROPS: dict[str, list[Box]] = {
    "astronaut": [(0, 0, 1, 1), (0.1, 0, 0.7, 0.6), (0.5, 0.3, 1, 1), (0, 0.5, 0.8, 1)],
    "chelsea": [(0, 0, 1, 1), (0.2, 0.1, 0.8, 0.8), (0.5, 0, 1, 0.6)],
    "coffee": [(0, 0, 1, 1), (0, 0, 0.5, 0.6), (0.3, 0.2, 0.9, 1), (0.5, 0, 1, 0.5)],
    "rocket": [(0, 0, 1, 1), (0, 0.4, 0.6, 1), (0.3, 0, 1, 0.7)],
    "retina": [(0.05, 0.05, 0.95, 0.95), (0.3, 0.3, 0.8, 0.8)],
    "hubble_deep_field": [(0, 0, 1, 1)],
}
# Crops on which nothing was chosen.
HELD_OUT: dict[str, list[Box]] = {
    "astronaut": [(0.2, 0.2, 1, 0.9), (0.05, 0.3, 0.65, 1)],
    "chelsea": [(0, 0.1, 0.8, 1)],
    "coffee": [(0.2, 0, 0.9, 0.8), (0, 0.25, 0.75, 1)],
    "rocket": [(0, 0.15, 0.8, 0.95)],
}
OWN_BOXES: list[Box] = [(0, 0, 1, 1), (0.2, 0.1, 0.9, 0.9)]


def _crops(whole: np.ndarray, name: str, boxes: list[Box]) -> dict[str, np.ndarray]:
    height, width = whole.shape[:2]
    found = {}
    for number, (left, top, right, bottom) in enumerate(boxes):
        part = whole[int(top * height) : int(bottom * height), :]
        part = part[:, int(left * width) : int(right * width)]
        found[f"{name}-{number}"] = cv2.resize(
            np.ascontiguousarray(part), SIZE[::-1], interpolation=cv2.INTER_AREA
        )
    return found


def photographs(crops: dict[str, list[Box]] | None = None) -> dict[str, np.ndarray]:
    """Return the crops, about 320 x 240, by name."""
    found = {}
    for name, boxes in (crops or CROPS).items():
        found |= _crops(getattr(skimage.data, name)(), name, boxes)
    return found


def own(folder: Path) -> dict[str, np.ndarray]:
    """Return two crops of each sRGB picture (JPEG, PNG) in `folder`, by name."""
    found = {}
    for path in sorted(folder.iterdir()):
        whole = cv2.imread(str(path), cv2.IMREAD_COLOR)
        if whole is not None:
            found |= _crops(whole[..., ::-1], path.stem.replace("-", "_"), OWN_BOXES)
    return found


def _code(light: np.ndarray) -> np.ndarray:
    light = np.clip(light, 0, 1)
    code = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.round(code * 255).astype(np.uint8)


def _texture(rng: np.random.Generator, smooth: float) -> np.ndarray:
    field = cv2.GaussianBlur(rng.normal(size=SIZE).astype(np.float32), (0, 0), smooth)
    return field / field.std()


def _scene(
    rng: np.random.Generator, sky: tuple[float, ...], ground: tuple[float, ...], low: float
) -> np.ndarray:
    """Draw sky over ground with a dozen things of random colour; light in linear sRGB."""
    height, width = SIZE
    y, x = np.mgrid[0:height, 0:width] / height
    horizon = rng.uniform(0.3, 0.6) + 0.02 * _texture(rng, 20)
    fade = np.clip(y / 0.6, 0, 1)[..., None]
    light = np.where(
        (y < horizon)[..., None],
        np.array(sky) * (1 - 0.5 * fade) + low * fade,
        np.array(ground) * (1 + 0.25 * _texture(rng, 2)[..., None]),
    )
    for _ in range(12):
        colour = rng.dirichlet([1.2] * 3) * rng.uniform(0.05, 1.5)
        cx, cy, rx, ry = rng.uniform([0, 0.3, 0.03, 0.03], [1.33, 1, 0.18, 0.25])
        box = rng.random() < 0.5
        inside = (
            (abs(x - cx) < rx) & (abs(y - cy) < ry)
            if box
            else ((x - cx) / rx) ** 2 + ((y - cy) / ry) ** 2 < 1
        )
        shade = np.clip(0.5 + 0.5 * (cx - x) / rx, 0.08, 1)[..., None]
        light[inside] = (colour * shade)[inside]
    light *= np.exp(0.06 * _texture(rng, 1)[..., None])
    return cv2.GaussianBlur(light.astype(np.float32), (0, 0), 0.8)


KINDS: dict[str, Callable[[np.random.Generator], np.ndarray]] = {
    "day": lambda rng: _scene(rng, (0.35, 0.55, 0.95), (0.25, 0.22, 0.15), 0.8),
    "dull": lambda rng: _scene(rng, (0.7, 0.72, 0.74), (0.2, 0.2, 0.19), 0.75),
    "sunset": lambda rng: (
        _scene(rng, (0.25, 0.2, 0.45), (0.08, 0.05, 0.04), 0.2)
        + np.array([0.8, 0.3, 0.06])
        * np.exp(-(((np.mgrid[0:240, 0:320][0] - 110) / 50) ** 2))[..., None]
    ),
    "night": lambda rng: _scene(rng, (0.01, 0.012, 0.03), (0.02, 0.02, 0.02), 0.03) * 0.5,
    "snow": lambda rng: _scene(rng, (0.5, 0.65, 0.9), (0.85, 0.88, 0.93), 0.9),
    "woods": lambda rng: _scene(rng, (0.3, 0.4, 0.3), (0.07, 0.13, 0.04), 0.2),
}


def drawn(count: int, first: int = 1000) -> dict[str, np.ndarray]:
    """Return `count` drawn pictures, the kinds in turn; the same ones for the same `first`."""
    names = list(KINDS)
    found = {}
    for number in range(count):
        kind = names[number % len(names)]
        light = KINDS[kind](np.random.default_rng(first + number))
        # As a camera or printer would expose it: the brightest two per cent near white.
        white = np.percentile(light.max(axis=2), 98)
        goal = 0.35 if kind == "night" else 0.9
        found[f"{kind}-{number}"] = _code(light * goal / white)
    return found


def plain(count: int, first: int = 3000) -> dict[str, np.ndarray]:
    """Return `count` pictures filled by one colour: a surface of any hue in uneven light, some with
    stripes of another shade of it; the same ones for the same `first`."""
    found = {}
    for number in range(first, first + count):
        rng = np.random.default_rng(number)
        hue = rng.dirichlet([1.0] * 3) * 3
        paint = rng.uniform(0.1, 0.6) * (0.25 + 0.75 * hue)
        fall = np.exp(rng.uniform(0.1, 0.5) * _texture(rng, rng.uniform(15, 60)))
        grain = np.exp(rng.uniform(0.03, 0.3) * _texture(rng, rng.uniform(1, 5)))
        light = paint * (fall * grain)[..., None]
        if number % 3 == 0:
            width = int(rng.integers(8, 40))
            light[:, np.arange(SIZE[1]) % (2 * width) < width] *= rng.uniform(0.3, 0.8)
        found[f"plain-{number}"] = _code(cv2.GaussianBlur(light.astype(np.float32), (0, 0), 0.8))
    return found


def views(seed: int = 3) -> dict[str, np.ndarray]:
    """Return the ten drawn views of the sample masters, as sRGB."""
    height, width = SIZE
    return {
        f"view-{name}": _code(harbour.draw(name, width, height, seed) / 0.95)
        for name in harbour.VIEWS
    }


@lru_cache(maxsize=4)
def pictures(count: int = 40) -> dict[str, np.ndarray]:
    """Return `count` pictures: the photographs, the views, then drawn scenes."""
    found = photographs() | views()
    return dict(list((found | drawn(max(0, count - len(found)))).items())[:count])


def held_out(folder: Path | None, count: int = 40) -> dict[str, np.ndarray]:
    """Return `count` pictures that nothing was chosen on; those of `folder` among them."""
    found = photographs(HELD_OUT) | (own(folder) if folder else {}) | views(23)
    return found | drawn(max(0, count - len(found)), 7000)


def group(name: str) -> str:
    """Return what kind of picture `name` is: photograph, view or scene."""
    first = name.rsplit("-", 1)[0]
    if name.startswith("view-"):
        return "view"
    return "scene" if first in KINDS else "photograph"
