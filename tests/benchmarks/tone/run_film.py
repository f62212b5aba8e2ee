"""How near automatic tone comes to the truth on films that nobody drew.

    tests/benchmarks/run tone-film [--count 12] [--pictures FOLDER]

Films of tests/makers/tone/film_model.py: curves with toe and shoulder, coupled dyes, spectral dyes
seen by cameras in several profiles, fading, lamplight, exposures of -2 to +3 EV. One frame alone, or
six frames of a film side by side. Each rendering is compared with its picture by mean CIEDE2000
(grey pictures: mean difference of L*), and what is for review with what is wrong.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass
from pathlib import Path

import msgspec
import numpy as np
from skimage.color import deltaE_ciede2000, rgb2lab

from benchmarks.result import Outcome, Row, figure
from glassine.base import settings
from glassine.base.model import Facts
from glassine.base.tone import Negative
from glassine.render import tone, toning
from glassine.render.given import ToneSection
from makers.tone import film_model as model
from makers.tone import positives

# Mean CIEDE2000 over which a frame should be for review, and under which it should not.
WRONG, RIGHT = 12.0, 6.0


@dataclass(frozen=True)
class Case:
    """kind, profile: see film_model; frames: of a film; evs: whether exposures differ by -2 to +3
    EV (else by 0.3, one standard deviation); lights: Kelvins of which each frame has one; plain:
    each so many-th frame is filled by one colour, 0 for none."""

    kind: str
    frames: int = 1
    base: bool = True
    profile: str = "srgb"
    evs: bool = False
    lights: tuple[float, ...] = ()
    plain: int = 0


CASES = {
    "clean, one frame": Case("clean"),
    "usual, one frame": Case("usual"),
    "usual, one frame, no base": Case("usual", base=False),
    "usual, six": Case("usual", 6),
    "usual, six, no base": Case("usual", 6, base=False),
    "-2 to +3 EV, six": Case("usual", 6, evs=True),
    "lamps, one frame": Case("usual", lights=(2700.0, 3000.0, 3400.0)),
    "lamps, six": Case("usual", 6, lights=(2700.0, 3000.0, 3400.0)),
    "mixed lights, six": Case("usual", 6, lights=(5500.0, 5500.0, 3000.0, 7500.0)),
    "faded, one frame": Case("faded"),
    "faded, six": Case("faded", 6),
    "spectral, sRGB, six": Case("spectral", 6),
    "spectral, Adobe RGB, six": Case("spectral", 6, profile="adobe"),
    "spectral, ProPhoto, six": Case("spectral", 6, profile="prophoto"),
    "spectral, camera, one frame": Case("spectral", profile="camera"),
    "spectral, camera, six": Case("spectral", 6, profile="camera"),
    "one colour, one frame": Case("usual", plain=1),
    "one colour, one frame, no base": Case("usual", base=False, plain=1),
    "half one colour, six": Case("usual", 6, plain=2),
    "monochrome, one frame": Case("monochrome"),
    "monochrome, six": Case("monochrome", 6),
}


@dataclass(frozen=True)
class Seen:
    """One frame: its error, the a*b* of its greys that is left, and whether it is for review."""

    name: str
    error: float
    cast: float
    marked: bool


def film_frames(case: Case, shown: dict[str, np.ndarray], number: int) -> list[Seen]:
    """Return what was made of pictures on one film."""
    rng = np.random.default_rng(number)
    grey = case.kind == "monochrome"
    film = model.monochrome_film(number) if grey else model.film_of(case.kind, number, case.profile)
    pictures = [model.grey_of(each) if grey else each for each in shown.values()]
    count = len(pictures)
    evs = list(rng.uniform(-2, 3, count) if case.evs else rng.normal(0, 0.3, count))
    lights = [model.planck(rng.choice(case.lights)) for _ in pictures] if case.lights else None
    strip = model.strip(film, pictures, number, base=case.base, evs=evs, lights=lights)
    section = msgspec.convert(settings.load({})["tone"], ToneSection)
    ways = tone.plan(strip.source, strip.geometry, Facts(), strip.icc, section)
    found = []
    for n, (name, way) in enumerate(zip(shown, ways, strict=True)):
        assert isinstance(way, Negative)
        got = toning.apply(strip.part(n), way, strip.icc)[::2, ::2]
        wanted = rgb2lab(pictures[n][::2, ::2])
        made = rgb2lab(np.repeat(got, 3, axis=2) if grey else got)
        error = np.abs(wanted - made)[..., 0] if grey else deltaE_ciede2000(wanted, made)
        light = wanted[..., 0] > 20
        cast = np.median((made - wanted)[light], axis=0)[1:] if light.any() else np.zeros(2)
        found.append(Seen(name, float(error.mean()), float(np.hypot(*cast)), bool(way.review)))
    return found


def with_plain(shown: dict[str, np.ndarray], each: int, number: int) -> dict[str, np.ndarray]:
    """Return the pictures with each so many-th of them filled by one colour instead."""
    filled = positives.plain(len(shown), 3000 + number)
    pairs = zip(shown.items(), filled.items(), strict=True)
    return dict(usual if n % each else one for n, (usual, one) in enumerate(pairs))


def row_of(title: str, seen: list[Seen]) -> Row:
    errors = np.array([each.error for each in seen])
    casts = np.array([each.cast for each in seen])
    marked = np.array([each.marked for each in seen])
    return {
        "case": title,
        "frames": len(seen),
        "median": figure(np.median(errors), 2),
        "p95": figure(np.percentile(errors, 95), 1),
        "cast_p95": figure(np.percentile(casts, 95), 1),
        "wrong_unmarked_percent": figure(100 * np.mean((errors > WRONG) & ~marked), 1),
        "right_marked_percent": figure(100 * np.mean((errors < RIGHT) & marked), 1),
    }


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=12, help="frames of each case")
    parser.add_argument("--first", type=int, default=0, help="number of the first film")
    parser.add_argument("--pictures", type=Path, help="folder of own pictures, sRGB")
    parser.add_argument("--case", help="only cases with this in their name")
    parser.add_argument("--show", action="store_true", help="the worst frames of each case")
    options = parser.parse_args(arguments)
    shown = positives.photographs()
    if options.pictures:
        shown |= positives.own(options.pictures)
    order = np.random.default_rng(5).permutation(len(shown))
    names = [list(shown)[place] for place in order]
    rows, started = [], time.perf_counter()
    for title, case in CASES.items():
        if options.case and options.case not in title:
            continue
        seen: list[Seen] = []
        while len(seen) < options.count:
            mine = [names[(len(seen) + n) % len(names)] for n in range(case.frames)]
            pictures = {name: shown[name] for name in mine}
            if case.plain:
                pictures = with_plain(pictures, case.plain, options.first + len(seen))
            seen += film_frames(case, pictures, options.first + 1000 * case.frames + len(seen))
        rows.append(row_of(title, seen))
        print(*(f"{value}" for value in rows[-1].values()), sep="  ", flush=True)
        if options.show:
            for each in sorted(seen, key=lambda each: -each.error)[:5]:
                print(f"    {each.name:22} {each.error:5.1f} {'review' if each.marked else ''}")
    print(f"{time.perf_counter() - started:.0f} s")
    return Outcome(rows)
