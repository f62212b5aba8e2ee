"""Writing that is read: characters of numbers and words drawn on margins and labels.

    tests/benchmarks/run seen-text                  300 lines in five typefaces, as of 2,400 ppi
    tests/benchmarks/run seen-text --lines 60 --first 900

Half of the lines stand in the margin of 35 mm film, 1.0 to 1.5 mm high, exposed 0.15 to 1.2 above
the base, and half on labels, 2 to 4 mm high; in four turns, film of every fourth picture mirrored.
Grain, blur and tilt as of `makers.edge_strips`. The margin is given straightened but for its tilt, as
`rebate.fine` gives it of a capture at the resolution named; labels as the reduced copy shows them
(13 px per mm). Spaces are left out of both texts, as the reader drops many. A character is right
where the least number of changes leaves it (Levenshtein); a line that was not seen, or whose turn was
not told, has none right.

Needs the packages of requirements-text.lock and the fonts of `makers.written`.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np

from benchmarks.result import Outcome, Row
from glassine.base import text_packages
from glassine.base.model import SeenText
from glassine.locate import seen_text
from glassine.locate.rebate import INNER_MM, OUTER_MM, PX_PER_MM, Band, Piece
from glassine.locate.scene import Master
from glassine.locate.view import look
from makers import edge_pieces, written
from makers.written import TYPEFACES, Written

_EACH = 10  # lines of a picture
_LABEL_PX_PER_MM = 13.0


@dataclass
class Count:
    """Characters of a kind of line: wanted, right; lines: drawn, seen whole and right; wrong_side:
    lines whose turn or side was told wrong; confused: pairs of characters."""

    wanted: int = 0
    right: int = 0
    lines: int = 0
    whole: int = 0
    unseen: int = 0
    wrong_side: int = 0
    confused: Counter[str] = field(default_factory=Counter)


def changes(wanted: str, said: str) -> tuple[int, list[tuple[str, str]]]:
    """Return how many characters of `wanted` are wrong or missing or one too many, and the pairs
    that were exchanged."""
    rows, columns = len(wanted) + 1, len(said) + 1
    cost = np.zeros((rows, columns), int)
    cost[:, 0], cost[0] = np.arange(rows), np.arange(columns)
    for i in range(1, rows):
        for j in range(1, columns):
            same = wanted[i - 1] == said[j - 1]
            cost[i, j] = min(
                cost[i - 1, j] + 1, cost[i, j - 1] + 1, cost[i - 1, j - 1] + (not same)
            )
    pairs, i, j = [], rows - 1, columns - 1
    while i and j:
        if cost[i, j] == cost[i - 1, j - 1] + (wanted[i - 1] != said[j - 1]):
            if wanted[i - 1] != said[j - 1]:
                pairs.append((wanted[i - 1], said[j - 1]))
            i, j = i - 1, j - 1
        elif cost[i, j] == cost[i - 1, j] + 1:
            i -= 1
        else:
            j -= 1
    return int(cost[-1, -1]), pairs


def margin(seed: int, ppi: float) -> tuple[list[Written], Band, Piece]:
    """Return a drawn margin of film, its lines in places of its own axis (mm, mm out)."""
    rng = np.random.default_rng([seed, 3])
    columns, rows = round(230 * PX_PER_MM), round((OUTER_MM - INNER_MM) * PX_PER_MM)
    light = np.ones((rows, columns), np.float32)
    turn, mirrored = int(rng.choice([0, 180])), bool(seed % 4 == 3)
    lines = []
    for k in range(_EACH):
        high = float(rng.uniform(1.0, 1.5))
        at = (12 + 22.0 * k + rng.uniform(-3, 3), 16.55 + rng.uniform(-0.1, 0.1))
        text = written.any_text(rng, label=False)
        face = str(rng.choice(list(TYPEFACES)))
        px = (at[0] * PX_PER_MM, (at[1] - INNER_MM) * PX_PER_MM)
        one = Written(text, face, px, turn + float(rng.uniform(-0.5, 0.5)), mirrored)
        shown = np.ones_like(light)
        written.write(shown, one, high * PX_PER_MM, 1.0)
        light *= np.power(np.float32(10), -np.float32(rng.uniform(0.15, 1.2)) * (1 - shown))
        lines.append(Written(text, face, at, turn, mirrored))
    # What a capture of so many px per inch, reduced to the band, has of blur and of grain.
    light = cv2.GaussianBlur(light, (0, 0), max(0.3, rng.uniform(8, 70) / 1000 * PX_PER_MM))
    fine = ppi / 25.4
    if fine < PX_PER_MM:
        small = cv2.resize(
            light, None, fx=fine / PX_PER_MM, fy=fine / PX_PER_MM, interpolation=cv2.INTER_AREA
        )
        light = cv2.resize(small, (columns, rows), interpolation=cv2.INTER_LINEAR)
    density = -np.log10(light) + 0.25
    density += rng.normal(0, rng.uniform(0.01, 0.05) * PX_PER_MM / (2400 / 25.4), light.shape)
    density += 0.2 * np.sin(np.arange(columns) / columns * rng.uniform(1, 6))[None]
    edge = round((17.488 - INNER_MM) * PX_PER_MM)
    density[edge:] = 0.02
    holes = round((15.478 - INNER_MM) * PX_PER_MM)
    for x in np.arange(rng.uniform(0, 4.75), 230, 4.75):
        density[:holes, round(x * PX_PER_MM) : round((x + 1.98) * PX_PER_MM)] = 0.02
    piece = Piece(np.zeros(2), np.array([1.0, 0.0]), 1.0, 0.0, 230.0, (), ())
    return lines, Band(1, 0.0, density[..., None].astype(np.float32)), piece


def labels(seed: int) -> tuple[list[Written], Master]:
    """Return a drawn picture of labels, its lines in px."""
    rng = np.random.default_rng([seed, 4])
    size = 1100
    light = np.full((size, size), 0.95, np.float32)
    lines = []
    for k in range(_EACH):
        middle = 300.0 + 500 * (k % 2), 130.0 + 205 * (k // 2)
        paper = float(rng.uniform(0.5, 0.85))
        light[round(middle[1]) - 75 :][:150, round(middle[0]) - 215 :][:, :430] = paper
        lines.append(
            Written(
                written.any_text(rng, label=True),
                str(rng.choice(list(TYPEFACES))),
                (middle[0] + rng.uniform(-20, 20), middle[1] + rng.uniform(-15, 15)),
                float(rng.uniform(-3, 3)),
                False,
            )
        )
        high = float(rng.uniform(2.0, 3.2)) * _LABEL_PX_PER_MM
        high = min(high, 400 / max(1, 0.75 * len(lines[-1].text)))
        written.write(light, lines[-1], high, float(rng.uniform(0.5, 0.9)))
    turns = seed % 4
    light = cv2.GaussianBlur(light, (0, 0), float(rng.uniform(0.4, 1.0)))
    light *= 1 + rng.normal(0, 0.02, light.shape).astype(np.float32)
    light = np.ascontiguousarray(np.rot90(light, -turns))
    turned = []
    for one in lines:
        x, y = one.at
        for _ in range(turns):
            x, y = size - y, x
        turned.append(Written(one.text, one.typeface, (x, y), 90.0 * turns + one.angle_deg, False))
    pixels = np.clip(65535 * light, 0, 65535).astype(np.uint16)
    empty: Any = None
    return turned, Master(pixels, 1, empty, size, size, edge_pieces.TABLE)


def add(count: Count, lines: list[Written], found: list[SeenText], near: float) -> None:
    """Count what was read of drawn lines, each put to the texts next to it."""
    for one in lines:
        beside = [
            each for each in found if np.hypot(*(np.mean(each.place, axis=0) - one.at)) < near
        ]
        count.lines += 1
        wanted = one.text.replace(" ", "")
        count.wanted += len(wanted)
        told = [each for each in beside if each.turned_degrees is not None]
        count.unseen += not told
        if not told:
            continue
        whole = "".join(
            each.text for each in sorted(told, key=lambda each: float(np.hypot(*each.place[0])))
        )
        said = max(
            [*(each.text for each in told), whole],
            key=lambda each: -changes(wanted, each.replace(" ", ""))[0],
        )
        wrong, pairs = changes(wanted, said.replace(" ", ""))
        count.right += max(0, len(wanted) - wrong)
        count.whole += wrong == 0
        count.confused.update(f"{a} as {b}" for a, b in pairs)
        off = [
            abs((each.turned_degrees - one.angle_deg + 180) % 360 - 180)
            for each in told
            if each.turned_degrees is not None
        ]
        count.wrong_side += max(off) > 30 or any(each.mirrored != one.mirrored for each in told)


def row(what: str, ppi: float | None, count: Count, seconds: float, pictures: int) -> Row:
    confused = ", ".join(f"{pair} {n}" for pair, n in count.confused.most_common(6))
    zero = sum(
        n for pair, n in count.confused.items() if {*pair.upper().split(" AS ")} == {"0", "O"}
    )
    six = sum(n for pair, n in count.confused.items() if {*pair.split(" as ")} == {"6", "9"})
    return {
        "what": what,
        "ppi": ppi,
        "lines": count.lines,
        "characters": count.wanted,
        "right %": round(100 * count.right / max(count.wanted, 1), 2),
        "whole lines": count.whole,
        "not told": count.unseen,
        "turn or side wrong": count.wrong_side,
        "0 and O": zero,
        "6 and 9": six,
        "most confused": confused,
        "s a picture": round(seconds / max(pictures, 1), 2),
    }


def on_film(first: int, pictures: int, ppi: float) -> Row:
    count, seconds = Count(), 0.0
    for seed in range(first, first + pictures):
        lines, band, piece = margin(seed, ppi)
        begun = time.process_time()
        boxes = seen_text._on_band(seen_text._shown(band, 1), band, piece, None)
        found = seen_text.seen(seen_text._lines(boxes))
        seconds += time.process_time() - begun
        add(count, lines, found, 8.0)
    return row("margins of film", ppi, count, seconds, pictures)


def on_labels(first: int, pictures: int) -> Row:
    count, seconds = Count(), 0.0
    for seed in range(first, first + pictures):
        lines, master = labels(seed)
        begun = time.process_time()
        view = look(master.reduced, edge_pieces.TABLE, 1)
        found = seen_text.of_master(master, view, (), (), ())
        seconds += time.process_time() - begun
        add(count, lines, found, 100.0)
    return row("labels", None, count, seconds, pictures)


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--lines", type=int, default=300, help="lines, half of each (default 300)")
    parser.add_argument("--first", type=int, default=0, help="seed of the first picture")
    parser.add_argument("--ppi", type=float, default=2400.0, help="of the captures of film")
    options = parser.parse_args(arguments)
    if not text_packages.are_installed() or written.missing():
        print(
            "SKIPPED: needs the packages of requirements-text.lock and the fonts of makers.written"
        )
        return Outcome([], good=False)
    pictures = max(1, options.lines // 2 // _EACH)
    rows = [on_film(options.first, pictures, options.ppi), on_labels(options.first, pictures)]
    for each in rows:
        print(", ".join(f"{name} {value}" for name, value in each.items()))
    return Outcome(rows, good=all(float(str(each["right %"])) >= 97 for each in rows))
