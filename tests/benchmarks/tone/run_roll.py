"""How near the frames of a roll come to the truth, captured one by one: apart, and pooled.

    tests/benchmarks/run tone-roll

Rolls of drawn films (as in `tone`), `--frames` pictures each, every one a master of its own. Their
renderings are compared with the positives by mean CIEDE2000: each by what it shows itself, and all
by what the roll shows (`glassine.films`). Beside it, how far apart the frames of one roll are shown
in colour: the spread of the balance that they were given.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import cv2
import msgspec
import numpy as np

from benchmarks.result import Outcome, Row, figure
from glassine.base.model import Facts
from glassine.base.records.films import MasterFilm
from glassine.films import record
from glassine.render import tone, toning
from glassine.render.given import ToneSection
from makers import rolls
from makers.tone import negatives, positives, renderings, sources

NAMED = Facts(film="roll", film_from="batch.yaml")


def rendered(
    stock: negatives.Film, positive: np.ndarray, item: str, base: bool, film: MasterFilm | None
) -> np.ndarray:
    """Return the rendering of a master as `rolls.look_at` draws it."""
    rng = np.random.default_rng(sum(item.encode()))
    codes, box = negatives.master(stock, positive, rng, base)
    source, icc = sources.ArraySource(codes), sources.linear_profile()
    section = msgspec.convert(rolls.settings_of()["tone"], ToneSection)
    pooled = {"colour": film} if film else {}
    geometry = sources.geometry(source, box, "colour")
    plan = tone.plan(source, geometry, NAMED, icc, section, pooled)[0]
    left, top, width, height = box
    part = np.ascontiguousarray(codes[top : top + height, left : left + width])
    return toning.apply(part, plan, icc)


def roll(
    number: int, shown: list[np.ndarray], base: bool, pictures: Path | None
) -> list[list[float]]:
    """Return (apart, pooled, neutrals apart, neutrals pooled) of each frame of a roll."""
    stock = rolls.film(number)
    with tempfile.TemporaryDirectory() as folder:
        results = Path(folder) / "b1"
        items = [f"PEH-{place:02d}" for place in range(len(shown))]
        for item, positive in zip(items, shown, strict=True):
            rolls.look_at(results / "items", item, stock, [positive], base=base, facts=NAMED)
        films = record.by_item(rolls.pooled(results))
    rows = []
    both = []
    for item, positive in zip(items, shown, strict=True):
        (film,) = films[item]
        pair = [rendered(stock, positive, item, base, each) for each in (None, film)]
        both.append([*pair, positive])
        (alone, alone_grey), (pooled, pooled_grey) = (
            renderings.difference(each, positive) for each in pair
        )
        rows.append([alone, pooled, alone_grey, pooled_grey])
    if pictures is not None:
        sheet = np.concatenate([np.concatenate(column, axis=0) for column in both], axis=1)
        cv2.imwrite(
            str(pictures / f"roll-{number}{'' if base else '-no-base'}.png"), sheet[..., ::-1]
        )
    return rows


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rolls", type=int, default=6)
    parser.add_argument("--frames", type=int, default=6)
    parser.add_argument("--pictures", type=Path, help="folder for sheets: apart, pooled, truth")
    options = parser.parse_args(arguments)
    every = list(positives.pictures(40).values())
    kept: list[Row] = []
    for base in (True, False):
        found = []
        for number in range(options.rolls):
            shown = every[number :: options.rolls][: options.frames]
            rows = roll(number, shown, base, options.pictures)
            found += rows
            means = np.nanmean(rows, axis=0)
            print(f"roll {number} base {base}: apart {means[0]:.2f}, pooled {means[1]:.2f}")
        median, mean = np.nanmedian(found, axis=0), np.nanmean(found, axis=0)
        title = "base seen" if base else "no base seen"
        print(
            f"{title}: median apart {median[0]:.2f}, pooled {median[1]:.2f}; mean {mean[0]:.2f}, "
            f"{mean[1]:.2f}; neutrals {median[2]:.2f}, {median[3]:.2f}",
            flush=True,
        )
        kept.append(
            {
                "case": title,
                "frames": len(found),
                "apart": figure(median[0], 2),
                "pooled": figure(median[1], 2),
                "neutrals apart": figure(median[2], 2),
                "neutrals pooled": figure(median[3], 2),
            }
        )
    return Outcome(kept)
