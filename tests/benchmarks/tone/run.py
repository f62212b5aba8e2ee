"""How near automatic tone comes to the truth: `python tests/benchmarks/tone/run.py` in the project.

40 known positives become negatives of random films; their rendering is compared with the
positive by mean CIEDE2000 (scikit-image). Beside it, the rendering that a short script gives:
values inverted, each channel stretched between its 0.1 and 99.9 percentile.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from makers import icc_profiles

PROJECT = Path(__file__).resolve().parents[3]
sys.path[:0] = [str(PROJECT / "scripts"), str(PROJECT / "tests")]

from skimage.color import deltaE_ciede2000, rgb2lab  # noqa: E402

from benchmarks.tone import negatives, positives  # noqa: E402
from glassine.base import settings  # noqa: E402
from glassine.base.model import Facts, Frame, MasterGeometry  # noqa: E402
from glassine.masters import colour  # noqa: E402
from glassine.render import tone  # noqa: E402
from glassine.render.settings import ToneSettings  # noqa: E402


class ArraySource:
    """A master held in memory."""

    def __init__(self, pixels: np.ndarray) -> None:
        self.pixels = pixels
        self.height, self.width, self.bands = pixels.shape
        self.bits = 16 if pixels.dtype == np.uint16 else 8
        self.reduced = pixels
        self.reduction = 1.0

    def region(self, left: int, top: int, width: int, height: int) -> np.ndarray:
        return self.pixels[top : top + height, left : left + width]


def geometry(
    source: ArraySource, box: tuple[int, int, int, int], process: str, polarity: str = "negative"
) -> MasterGeometry:
    """Return what locate would hand on: one frame, and its borders as film base."""
    left, top, width, height = box
    right, bottom = left + width, top + height
    frame = Frame(
        1,
        ((left, top), (right, top), (right, bottom), (left, bottom)),
        0.0,
        polarity,  # type: ignore[arg-type]
        process,  # type: ignore[arg-type]
    )
    strip = ((2, 2), (source.width - 2, 2), (source.width - 2, top - 2), (2, top - 2))
    return MasterGeometry(
        "a.tif",
        source.width,
        source.height,
        4000.0,
        "tag",
        (frame,),
        base_regions=(strip,) if top > 8 else (),
    )


def linear_profile() -> bytes:
    return icc_profiles.matrix_profile("Linear", colour.srgb_matrix(), np.array([0.0, 1.0]))


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
    rng = np.random.default_rng(number)
    film = negatives.colour_film(rng, number)
    codes, box = negatives.master(film, positive, rng, base)
    source, icc = ArraySource(codes), linear_profile()
    facts = Facts(slopes=tuple(film.slopes)) if given else Facts()
    section = ToneSettings.of(settings.load({})["tone"])
    plan = tone.plan(source, geometry(source, box, "colour"), facts, icc, section)[0]
    left, top, width, height = box
    part = codes[top : top + height, left : left + width]
    rendered = tone.apply(part, plan, icc)
    all_mean, neutral = difference(rendered, positive)
    plain, plain_neutral = difference(stretched(part), positive)
    if show:
        print(f"{name:22} {all_mean:6.2f} {neutral:6.2f}   plain {plain:6.2f}", plan.way.slopes)
    return {"mean": all_mean, "neutral": neutral, "plain": plain, "plain_neutral": plain_neutral}


def one_monochrome(
    name: str, positive: np.ndarray, number: int, base: bool, given: bool, show: bool
) -> float:
    """Return the mean difference of L* for a monochrome negative of the picture."""
    rng = np.random.default_rng(number)
    film = negatives.monochrome_film(rng, number)
    luma = (negatives.linear(positive) @ np.array([0.2126, 0.7152, 0.0722]))[..., None]
    grey = np.round(colour.linear_to_srgb(np.repeat(luma, 3, axis=2)) * 255).astype(np.uint8)
    codes, box = negatives.master(film, grey, rng, base)
    source, icc = ArraySource(codes), linear_profile()
    facts = Facts(slopes=tuple(film.slopes)) if given else Facts()
    section = ToneSettings.of(settings.load({})["tone"])
    plan = tone.plan(source, geometry(source, box, "monochrome"), facts, icc, section)[0]
    left, top, width, height = box
    rendered = tone.apply(codes[top : top + height, left : left + width], plan, icc)
    got = rgb2lab(np.repeat(rendered, 3, axis=2))[..., 0]
    error = float(np.abs(got - rgb2lab(grey)[..., 0]).mean())
    if show:
        print(f"{name:22} L* {error:6.2f}", film.slopes[0], plan.way.slopes)
    return error


def strip(shown: list[np.ndarray], number: int, base: bool) -> list[tuple[float, float]]:
    """Return (mean CIEDE2000, that of neutrals) of pictures that lie side by side on one film."""
    rng = np.random.default_rng(number)
    film = negatives.colour_film(rng, number)
    parts = [negatives.master(film, positive, rng, base) for positive in shown]
    source, icc = (
        ArraySource(np.concatenate([codes for codes, _ in parts], axis=1)),
        linear_profile(),
    )
    wide = parts[0][0].shape[1]
    frames, regions = [], []
    for place, (codes, (left, top, width, height)) in enumerate(parts):
        alone = geometry(ArraySource(codes), (left, top, width, height), "colour")
        along = place * wide
        corners = tuple((x + along, y) for x, y in alone.frames[0].corners)
        frames.append(replace(alone.frames[0], index=place + 1, corners=corners))  # type: ignore[arg-type]
        regions += [tuple((x + along, y) for x, y in region) for region in alone.base_regions]
    shape = replace(
        geometry(source, parts[0][1], "colour"),
        frames=tuple(frames),
        base_regions=tuple(regions),  # type: ignore[arg-type]
    )
    plans = tone.plan(source, shape, Facts(), icc, ToneSettings.of(settings.load({})["tone"]))
    found = []
    for plan, positive, (codes, (left, top, width, height)) in zip(
        plans, shown, parts, strict=True
    ):
        part = np.ascontiguousarray(codes[top : top + height, left : left + width])
        found.append(difference(tone.apply(part, plan, icc), positive))
    return found


CASES = {
    "nothing known, no base seen": (False, False),
    "nothing known, base seen": (True, False),
    "base seen, slopes stated": (True, True),
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--held-out", action="store_true", help="pictures and films not tuned on")
    parser.add_argument("--pictures", type=Path, help="folder of own pictures among the held out")
    parser.add_argument("--show", action="store_true", help="a line for each picture")
    options = parser.parse_args()
    shown = positives.pictures(options.count)
    first = 0
    if options.held_out:
        shown, first = positives.held_out(options.pictures, options.count), 200
    for title, (base, given) in CASES.items():
        rows = [
            one(name, picture, number, base, given, options.show)
            for number, (name, picture) in enumerate(shown.items(), first)
        ]
        median = {key: np.nanmedian([row[key] for row in rows]) for key in rows[0]}
        print(
            f"{title:28} mean dE2000: median {median['mean']:.2f}, neutrals"
            f" {median['neutral']:.2f}; plain inversion {median['plain']:.2f},"
            f" neutrals {median['plain_neutral']:.2f}"
        )
        groups = [positives.group(name) for name in shown]
        for kind in sorted(set(groups)):
            mine = [row["mean"] for row, own in zip(rows, groups, strict=True) if own == kind]
            print(f"    {kind:10} {len(mine)}: median {np.median(mine):.2f}", flush=True)
    pictures = list(shown.values())
    # Every tenth picture of the list: the kinds are mixed, as on a real film.
    strips = [pictures[start::10] for start in range(10)]
    for base in (False, True):
        found = [row for n, each in enumerate(strips, first + 300) for row in strip(each, n, base)]
        mean, neutral = np.nanmedian(found, axis=0)
        print(f"strips of four, base seen {base!s:5} median {mean:.2f}, neutrals {neutral:.2f}")
    for title, (base, given) in CASES.items():
        errors = [
            one_monochrome(name, picture, number, base, given, options.show)
            for number, (name, picture) in enumerate(shown.items(), first)
        ]
        print(f"monochrome, {title:28} mean |dL*|: median {np.median(errors):.2f}", flush=True)


if __name__ == "__main__":
    main()
