"""How near automatic tone comes to honest prints of film that was made from physics.

    tests/benchmarks/run tone-judge                              every case; two minutes
    tests/benchmarks/run tone-judge --cases "film: usual" "b&w, base" --count 8
    tests/benchmarks/run tone-judge --cases film --show FOLDER   all whose name begins so; pictures

Per case over its frames: median and 95th percentile of the frames' mean CIEDE2000 (black and white:
mean difference of L*) of the project's access picture; `plain`: the median of a short script's
(densities inverted, channels stretched alike, grey world; of a slide, the master as it is).
`wrong`: share of frames with an error over 12 that ask nobody to look; `asked`: share of frames
that ask for a look although their error is below 6. `cast`: how far surfaces without colour are
from grey (a*, b*), median of the frames; `cast apart`: the same about the mean of their film. The
measures are of every other pixel. What the figures mean: README.md.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from skimage.color import deltaE_ciede2000, rgb2lab

from benchmarks.result import Outcome, Row, figure
from makers.tone_judge import capture, cases, rendered, scenes
from makers.tone_judge.cases import CASES, Case, Shot

WRONG, RIGHT = 12.0, 6.0


@dataclass(frozen=True)
class Judged:
    """A frame's errors; cast: mean a*, b* that its grey surfaces have too much, None: none."""

    error: float
    plain: float
    asked: bool
    cast: np.ndarray | None


def plain(shot: Shot) -> np.ndarray:
    """Return sRGB 0..1 as a short script inverts a master, without its profile."""
    left, top, right, bottom = shot.box
    codes = shot.codes[top:bottom, left:right] / 65535
    density = -np.log10(np.clip(codes, 1e-4, None))
    low, high = np.percentile(density, [0.5, 99.5], axis=(0, 1))
    light = 10 ** (2.0 * ((density - low) / np.maximum(high - low, 0.05) - 1))
    light = light / light.mean(axis=(0, 1)) * light.mean()
    return scenes.coded(light / np.percentile(light, 99.5))


def error(case: Case, truth: np.ndarray, shown: np.ndarray) -> float:
    """Return the mean difference of two pictures, both CIE L*a*b*."""
    if case.process == "monochrome":
        return float(np.abs(truth[..., 0] - shown[..., 0]).mean())
    return float(deltaE_ciede2000(truth, shown).mean())


def _cast(truth: np.ndarray, shown: np.ndarray) -> np.ndarray | None:
    grey = (np.hypot(truth[..., 1], truth[..., 2]) < 4) & (truth[..., 0] > 25)
    if grey.mean() < 0.02:
        return None
    return np.asarray((shown - truth)[grey][:, 1:].mean(axis=0))


def judged(case: Case, shot: Shot, answer: rendered.Answer) -> Judged:
    """Compare the answer, and the plain script's, with the truth of a shot."""
    truth = rgb2lab(shot.truth)[::2, ::2]
    if answer.picture.shape != shot.truth.shape:
        raise ValueError(f"picture of {answer.picture.shape}, expected {shot.truth.shape}")
    shown = rgb2lab(answer.picture)[::2, ::2]
    simple = plain(shot)
    if case.process == "monochrome":
        simple = np.repeat(simple.mean(axis=2, keepdims=True), 3, axis=2)
    elif case.process == "slide":
        simple = capture.read(shot.rig, shot.codes)
    return Judged(
        error(case, truth, shown),
        error(case, truth, rgb2lab(simple)[::2, ::2]),
        bool(answer.review),
        None if case.process == "monochrome" else _cast(truth, shown),
    )


def _mean_of(values: list[float]) -> float | None:
    return figure(float(np.median(values)), 1) if values else None


def row(name: str, films: list[list[Judged]]) -> Row:
    """Return what is said of a case: `films` of frames."""
    frames = [frame for film in films for frame in film]
    errors = np.array([frame.error for frame in frames])
    asked = np.array([frame.asked for frame in frames])
    casts, apart = [], []
    for film in films:
        grey = [frame.cast for frame in film if frame.cast is not None]
        casts += [float(np.hypot(*cast)) for cast in grey]
        if len(grey) > 1:
            apart += [float(np.hypot(*(cast - np.mean(grey, axis=0)))) for cast in grey]
    return {
        "case": name,
        "frames": len(frames),
        "median": figure(float(np.median(errors)), 1),
        "p95": figure(float(np.percentile(errors, 95)), 1),
        "plain": figure(float(np.median([frame.plain for frame in frames])), 1),
        "wrong %": figure(100 * float(((errors > WRONG) & ~asked).mean()), 0),
        "asked %": figure(100 * float(((errors < RIGHT) & asked).mean()), 0),
        "cast": _mean_of(casts),
        "cast apart": _mean_of(apart),
    }


def _show(folder: Path, name: str, film: cases.Film, answers: list[rendered.Answer]) -> None:
    """Write master, truth and answer side by side, a row for each frame."""
    import pyvips

    rows = []
    for shot, answer in zip(film.shots, answers, strict=True):
        left, top, right, bottom = shot.box
        codes = shot.codes[top:bottom, left:right] / 257.0
        rows.append(np.hstack([codes, shot.truth * 255, answer.picture]).astype(np.uint8))
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name.replace(': ', '-').replace(', ', '-').replace(' ', '_')}.png"
    pyvips.Image.new_from_array(np.vstack(rows)).pngsave(str(path))


def wanted(names: list[str]) -> list[Case]:
    """Return cases whose names begin with one of these (none: all). SystemExit: no such case."""
    for name in names:
        if not any(case.startswith(name) for case in CASES):
            raise SystemExit(f"{name} is no case. There are: {', '.join(CASES)}")
    return [case for case in CASES.values() if not names or case.name.startswith(tuple(names))]


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--cases", nargs="+", default=[], help="their names, or how these begin")
    parser.add_argument("--count", type=int, help="films of a case (two; with six frames, one)")
    parser.add_argument("--first", type=int, default=0, help="number of the first film")
    parser.add_argument("--pictures", type=Path, help="folder of photographs, in place of ours")
    parser.add_argument("--show", type=Path, help="folder for master, truth and answer of each")
    parser.add_argument("--restore", action="store_true", help="with tone.restore: faded")
    options = parser.parse_args(arguments)
    changed = {"tone": {"restore": "faded"}} if options.restore else {}
    rows: list[Row] = []
    for case in wanted(options.cases):
        count = options.count or (2 if case.frames == 1 else 1)
        films = []
        for number in range(options.first, options.first + count):
            film = cases.film(case, number, options.pictures)
            answers = rendered.of_film(film, changed)
            pairs = zip(film.shots, answers, strict=True)
            films.append([judged(case, shot, answer) for shot, answer in pairs])
            if options.show:
                _show(options.show, f"{case.name} {number}", film, answers)
        rows.append(row(case.name, films))
        print("  ".join(f"{key} {value}" for key, value in rows[-1].items()), flush=True)
    return Outcome(rows)
