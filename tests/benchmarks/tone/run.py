"""How near automatic tone comes to the truth.

    tests/benchmarks/run tone

40 known positives become negatives of random films; their rendering is compared with the
positive by mean CIEDE2000 (scikit-image). Beside it, the rendering that a short script gives:
values inverted, each channel stretched between its 0.1 and 99.9 percentile.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

import msgspec
import numpy as np
from skimage.color import rgb2lab

from benchmarks.result import Outcome, Row, figure
from glassine.base import settings
from glassine.base.model import Facts
from glassine.masters import colour
from glassine.render import tone, toning
from glassine.render.given import ToneSection
from makers.tone import negatives, positives, renderings, sources


def one_monochrome(
    name: str, positive: np.ndarray, number: int, base: bool, given: bool, show: bool
) -> float:
    """Return the mean difference of L* for a monochrome negative of the picture."""
    rng = np.random.default_rng(number)
    film = negatives.monochrome_film(rng, number)
    luma = (negatives.linear(positive) @ np.array([0.2126, 0.7152, 0.0722]))[..., None]
    grey = np.round(colour.linear_to_srgb(np.repeat(luma, 3, axis=2)) * 255).astype(np.uint8)
    codes, box = negatives.master(film, grey, rng, base)
    source, icc = sources.ArraySource(codes), sources.linear_profile()
    facts = Facts(slopes=tuple(film.slopes)) if given else Facts()
    section = msgspec.convert(settings.load({})["tone"], ToneSection)
    plan = tone.plan(source, sources.geometry(source, box, "monochrome"), facts, icc, section)[0]
    left, top, width, height = box
    rendered = toning.apply(codes[top : top + height, left : left + width], plan, icc)
    got = rgb2lab(np.repeat(rendered, 3, axis=2))[..., 0]
    error = float(np.abs(got - rgb2lab(grey)[..., 0]).mean())
    if show:
        print(f"{name:22} L* {error:6.2f}", film.slopes[0], plan.slopes)
    return error


def strip(shown: list[np.ndarray], number: int, base: bool) -> list[tuple[float, float]]:
    """Return (mean CIEDE2000, that of neutrals) of pictures that lie side by side on one film."""
    rng = np.random.default_rng(number)
    film = negatives.colour_film(rng, number)
    parts = [negatives.master(film, positive, rng, base) for positive in shown]
    source, icc = (
        sources.ArraySource(np.concatenate([codes for codes, _ in parts], axis=1)),
        sources.linear_profile(),
    )
    wide = parts[0][0].shape[1]
    frames, regions = [], []
    for place, (codes, (left, top, width, height)) in enumerate(parts):
        alone = sources.geometry(sources.ArraySource(codes), (left, top, width, height), "colour")
        along = place * wide
        corners = tuple((x + along, y) for x, y in alone.frames[0].corners)
        frames.append(replace(alone.frames[0], index=place + 1, corners=corners))  # type: ignore[arg-type]
        regions += [tuple((x + along, y) for x, y in region) for region in alone.base_regions]
    shape = replace(
        sources.geometry(source, parts[0][1], "colour"),
        frames=tuple(frames),
        base_regions=tuple(regions),  # type: ignore[arg-type]
    )
    plans = tone.plan(
        source, shape, Facts(), icc, msgspec.convert(settings.load({})["tone"], ToneSection)
    )
    found = []
    for plan, positive, (codes, (left, top, width, height)) in zip(
        plans, shown, parts, strict=True
    ):
        part = np.ascontiguousarray(codes[top : top + height, left : left + width])
        found.append(renderings.difference(toning.apply(part, plan, icc), positive))
    return found


CASES = {
    "nothing known, no base seen": (False, False),
    "nothing known, base seen": (True, False),
    "base seen, slopes stated": (True, True),
}


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=40)
    parser.add_argument("--held-out", action="store_true", help="pictures and films not tuned on")
    parser.add_argument("--pictures", type=Path, help="folder of own pictures among the held out")
    parser.add_argument("--show", action="store_true", help="a line for each picture")
    options = parser.parse_args(arguments)
    shown = positives.pictures(options.count)
    first = 0
    kept: list[Row] = []
    if options.held_out:
        shown, first = positives.held_out(options.pictures, options.count), 200
    for title, (base, given) in CASES.items():
        rows = [
            renderings.one(name, picture, number, base, given, options.show)
            for number, (name, picture) in enumerate(shown.items(), first)
        ]
        median = {key: np.nanmedian([row[key] for row in rows]) for key in rows[0]}
        print(
            f"{title:28} mean dE2000: median {median['mean']:.2f}, neutrals"
            f" {median['neutral']:.2f}; plain inversion {median['plain']:.2f},"
            f" neutrals {median['plain_neutral']:.2f}"
        )
        kept.append(
            {"case": title, "pictures": len(rows)}
            | {key: figure(value, 2) for key, value in median.items()}
        )
        groups = [positives.group(name) for name in shown]
        for kind in sorted(set(groups)):
            mine = [row["mean"] for row, own in zip(rows, groups, strict=True) if own == kind]
            kept.append(
                {
                    "case": f"{title}, {kind}",
                    "pictures": len(mine),
                    "mean": figure(np.median(mine), 2),
                }
            )
            print(f"    {kind:10} {len(mine)}: median {np.median(mine):.2f}", flush=True)
    pictures = list(shown.values())
    # Every tenth picture of the list: the kinds are mixed, as on a real film.
    strips = [pictures[start::10] for start in range(10)]
    for base in (False, True):
        found = [row for n, each in enumerate(strips, first + 300) for row in strip(each, n, base)]
        mean, neutral = np.nanmedian(found, axis=0)
        kept.append(
            {
                "case": f"strips of four, {'base seen' if base else 'no base seen'}",
                "pictures": len(found),
                "mean": figure(mean, 2),
                "neutral": figure(neutral, 2),
            }
        )
        print(f"strips of four, base seen {base!s:5} median {mean:.2f}, neutrals {neutral:.2f}")
    for title, (base, given) in CASES.items():
        errors = [
            one_monochrome(name, picture, number, base, given, options.show)
            for number, (name, picture) in enumerate(shown.items(), first)
        ]
        kept.append(
            {
                "case": f"monochrome, {title}",
                "pictures": len(errors),
                "lightness": figure(np.median(errors), 2),
            }
        )
        print(f"monochrome, {title:28} mean |dL*|: median {np.median(errors):.2f}", flush=True)
    return Outcome(kept)
