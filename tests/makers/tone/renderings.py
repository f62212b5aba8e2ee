"""How far renderings of negatives lie from the pictures that they were made of (CIEDE2000)."""

from __future__ import annotations

from typing import Any

import msgspec
import numpy as np
from skimage.color import deltaE_ciede2000, rgb2lab

from glassine.base import settings
from glassine.base.model import Facts
from glassine.masters import colour
from glassine.render import tone, toning
from glassine.render.given import ToneSection
from makers.tone import negatives, sources


def stretched(codes: np.ndarray) -> np.ndarray:
    """Return the short script's rendering: sRGB codes inverted, each channel stretched."""
    code = 1.0 - colour.linear_to_srgb(codes / 65535.0)
    low, high = np.percentile(code.reshape(-1, 3), [0.1, 99.9], axis=0)
    return np.round(np.clip((code - low) / (high - low), 0, 1) * 255).astype(np.uint8)


_LAB: dict[bytes, np.ndarray] = {}


def _lab(picture: np.ndarray) -> np.ndarray:
    key = picture.tobytes()
    if key not in _LAB:
        _LAB[key] = rgb2lab(picture)
    return _LAB[key]


def difference(rendered: np.ndarray, truth: np.ndarray) -> tuple[float, float]:
    """Return mean CIEDE2000 of all pixels, and of the truth's neutral ones (chroma below 5)."""
    wanted, got = _lab(truth), rgb2lab(rendered)
    delta = deltaE_ciede2000(wanted, got)
    neutral = (np.hypot(wanted[..., 1], wanted[..., 2]) < 5) & (wanted[..., 0] > 15)
    return float(delta.mean()), float(delta[neutral].mean()) if neutral.sum() > 200 else np.nan


def one(
    name: str, positive: np.ndarray, number: int, base: bool, given: bool, show: bool
) -> dict[str, Any]:
    """Return the differences of a negative's rendering, and of plain inversion, from the picture."""
    rng = np.random.default_rng(number)
    film = negatives.colour_film(rng, number)
    codes, box = negatives.master(film, positive, rng, base)
    source, icc = sources.ArraySource(codes), sources.linear_profile()
    facts = Facts(slopes=tuple(film.slopes)) if given else Facts()
    section = msgspec.convert(settings.load({})["tone"], ToneSection)
    plan = tone.plan(source, sources.geometry(source, box, "colour"), facts, icc, section)[0]
    left, top, width, height = box
    part = codes[top : top + height, left : left + width]
    rendered = toning.apply(part, plan, icc)
    all_mean, neutral = difference(rendered, positive)
    plain, plain_neutral = difference(stretched(part), positive)
    if show:
        print(f"{name:22} {all_mean:6.2f} {neutral:6.2f}   plain {plain:6.2f}", plan.slopes)
    return {"mean": all_mean, "neutral": neutral, "plain": plain, "plain_neutral": plain_neutral}
