"""What the learned map is worth as a witness against frames, beside plain measures of the picture.

    tests/benchmarks/run locate-map --count 20 --first 61000            scenes of `scenes`
    tests/benchmarks/run locate-map --maker training --count 200        scenes as it was trained with,
                                                                        of pictures kept apart

True frames, and the same ones made wrong on purpose (`spoilt`), are told apart by the four signs of
`learned.signs`, by four plain ones of the same view, and by all eight. A logistic regression weighs
the signs of each set; it is made on the masters of even seeds and tried on those of odd ones, and
the other way round.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import astuple, dataclass
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from benchmarks.locate import spoilt
from benchmarks.locate.run import KINDS, reduced_of, scene_of
from benchmarks.result import Outcome, Row, figure
from glassine.locate import learned
from glassine.locate.encoding import linear_table
from glassine.locate.view import look

Floats = npt.NDArray[np.float64]


# (layout, seed, way, learned signs, plain signs)
Measured = tuple[str, int, str, tuple[float, ...], tuple[float, ...]]


@dataclass
class Master:
    """tones: as the map takes them; frames: true ones, px of the map."""

    layout: str
    seed: int
    tones: npt.NDArray[np.uint16]
    frames: spoilt.Quads


def of_scenes(first: int, count: int, drawn: Path | None) -> Iterator[Master]:
    for seed in range(first, first + count):
        for kind in KINDS:
            scene = scene_of("scenes", kind, seed, drawn)
            reduced, reduction = reduced_of(scene["pixels"])
            tones = learned.tones_of(look(reduced, linear_table(scene["encoding"]), reduction))
            k = tones.shape[1] / scene["pixels"].shape[1], tones.shape[0] / scene["pixels"].shape[0]
            frames = [np.array(f["corners"]) * k for f in scene["frames"] if not f["blank"]]
            if not runs_out(tones):
                yield Master(kind, seed, tones, frames)


def runs_out(tones: npt.NDArray[np.uint16]) -> bool:
    """Whether film runs out of the master at the left: the maker counts no picture that is cut
    off there, so that its truth is not all that is to be seen.
    """
    dark = float((tones[:, :2].max(2) > 0.05 * learned.STEPS).mean())
    return 0.3 < dark < 0.97


def of_training(first: int, count: int) -> Iterator[Master]:
    from training import scenes, views

    pool = views.Pool(first, apart=True)
    for seed in range(first, first + count):
        size = scenes.SIZES[seed % len(scenes.SIZES)]
        made = scenes.scene(np.random.default_rng(seed), pool, size)
        yield Master(made.layout, seed // 4, made.tone, _quads(made.which))


def _quads(which: npt.NDArray[np.int32]) -> spoilt.Quads:
    """Return the rectangles around the pictures; none where one is partly covered by something or
    hardly in the master, so that its frame is no matter of right and wrong.
    """
    found = []
    for k in np.unique(which[which > 0]):
        mask = (which == k).astype(np.uint8)
        contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        box = cv2.boxPoints(cv2.minAreaRect(np.concatenate(contours).astype(np.float32))) + 0.5
        if mask.sum() < 120 or cv2.contourArea(box) > 1.35 * mask.sum():
            return []
        found.append(np.roll(box, -int(np.argmin(box.sum(1))), 0).astype(np.float64))
    return found


# ---- plain measures of the same view --------------------------------------------------------
def plain_signs(frames: spoilt.Quads, tones: npt.NDArray[np.uint16]) -> tuple[float, ...]:
    """Return the same four as `learned.signs`, by tone and texture: what is textured and unlike the
    ground outside of frames; what is like the ground inside; sides without a step of tone; straight
    steps of tone across a frame.
    """
    v = tones.astype(np.float32) / learned.STEPS
    grey = v.mean(2)
    second = grey[:, 2:] - 2 * grey[:, 1:-1] + grey[:, :-2]
    step = max(0.02, 4 * max(0.6 * float(np.median(np.abs(second))), 0.002))
    mean = cv2.blur(grey, (7, 7))
    spread = np.sqrt(np.maximum(cv2.blur(grey * grey, (7, 7)) - mean**2, 0))
    rim = np.concatenate(
        [
            v[:3].reshape(-1, 3),
            v[-3:].reshape(-1, 3),
            v[:, :3].reshape(-1, 3),
            v[:, -3:].reshape(-1, 3),
        ]
    )
    off = np.abs(v - np.median(rim, axis=0)).max(2)
    textured = ((off > 0.06) & (spread > step)).astype(np.float32)
    empty = ((off < 0.04) & (spread < step)).astype(np.float32)
    slope = np.hypot(
        cv2.Sobel(grey, cv2.CV_32F, 1, 0, scale=0.25), cv2.Sobel(grey, cv2.CV_32F, 0, 1, scale=0.25)
    )
    kind = np.zeros(grey.shape, np.uint8)
    ones = 1.0, 1.0
    outside = learned.Seen(textured, (slope > step).astype(np.float32), kind, ones)
    inside = learned.Seen(1 - empty, outside.edge, kind, ones)
    a, b = learned.signs(frames, outside, 1), learned.signs(frames, inside, 1)
    return (
        a.missed,
        b.empty,
        a.unseen,
        max((_step_across(c, grey, step) for c in frames), default=0.0),
    )


def _step_across(c: spoilt.Quad, grey: npt.NDArray[np.float32], step: float) -> float:
    """Return along what share of its width or height one step of tone, of one sign, crosses."""
    w, h = (max(8, round(float(np.hypot(*(c[k] - c[0]))))) for k in (1, 3))
    box = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32) - np.float32(0.5)
    m = cv2.getPerspectiveTransform(box, (c - 0.5).astype(np.float32))
    upright = cv2.warpPerspective(
        grey,
        m,
        (w, h),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    most = 0.0
    for axis, size in ((0, w), (1, h)):
        d = cv2.Sobel(upright, cv2.CV_32F, 1 - axis, axis, scale=0.25)
        rim = max(4, round(learned.INSIDE * size))
        if size > 2 * rim + 1:
            across = np.maximum((d > step).mean(axis), (d < -step).mean(axis))
            most = max(most, float(across[rim : size - rim].max()))
    return most


# ---- telling right from wrong ----------------------------------------------------------------
def regression(x: Floats, wrong: npt.NDArray[np.bool_]) -> Floats:
    """Return (mean, spread, weights) of a logistic regression; both sides count alike."""
    mean, spread = x.mean(0), x.std(0) + 1e-6
    z = np.c_[(x - mean) / spread, np.ones(len(x))]
    counts = np.where(wrong, 0.5 / max(wrong.mean(), 1e-3), 0.5 / max(1 - wrong.mean(), 1e-3))
    w = np.zeros(z.shape[1])
    for _ in range(500):
        p = 1 / (1 + np.exp(-z @ w))
        w += z.T @ (counts * (wrong - p)) / len(z) - 1e-3 * w
    return np.array([np.r_[mean, 0], np.r_[spread, 1], w])


def scored(model: Floats, x: Floats) -> Floats:
    mean, spread, w = model
    return np.asarray(np.c_[(x - mean[:-1]) / spread[:-1], np.ones(len(x))] @ w)


def terms(x: Floats) -> Floats:
    """Return signs and their squares; shares of missed area are drawn together."""
    return np.c_[np.sqrt(np.minimum(x[:, 0], 4)), x[:, 1:], x[:, 1:] ** 2]


def area_under(good: Floats, wrong: Floats) -> float:
    """Return the share of pairs of which the wrong one has the higher score (AUC)."""
    if not len(good) or not len(wrong):
        return float("nan")
    return float(np.mean([(w > good).mean() + 0.5 * (w == good).mean() for w in wrong]))


def measured(masters: Iterator[Master]) -> list[Measured]:
    """Return (layout, seed, way, learned signs, plain signs) of true frames and of spoilt ones."""
    rows = []
    for master in masters:
        if not master.frames:
            continue
        scores = learned.seen_in(learned.scores_of(master.tones), (1.0, 1.0))
        shape = master.tones.shape[:2]
        rng = np.random.default_rng(master.seed)
        tries = {"true": spoilt.jittered(rng, master.frames)}
        for name, way in spoilt.WAYS.items():
            spoiled = way(rng, master.frames, shape)
            if spoiled is not None:
                tries[name] = spoiled
        for name, frames in tries.items():
            ours = astuple(learned.signs(frames, scores, 1))
            rows.append((master.layout, master.seed, name, ours, plain_signs(frames, master.tones)))
    return rows


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--maker", default="scenes", choices=["scenes", "training"])
    parser.add_argument("--count", type=int, default=20, help="scenes (of each kind)")
    parser.add_argument("--first", type=int, default=61_000, help="the first seed")
    parser.add_argument("--drawn", type=Path, help="folder of drawn scenes, for another run")
    o = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    made = (
        of_scenes(o.first, o.count, o.drawn)
        if o.maker == "scenes"
        else of_training(o.first, o.count)
    )
    rows = measured(made)
    layout, seed, way = (np.array([row[k] for row in rows]) for k in range(3))
    ours, plain = (terms(np.array([row[k] for row in rows], float)) for k in (3, 4))
    odd, wrong = seed % 2 == 1, way != "true"
    results: list[Row] = []
    for name, x in (("map", ours), ("plain", plain), ("both", np.c_[ours, plain])):
        score = np.empty(len(x))
        for half in (odd, ~odd):
            score[half] = scored(regression(x[~half], wrong[~half]), x[half])
        limits = np.quantile(score[~wrong], (0.99, 0.95))
        for what in [*spoilt.WAYS, "all", *sorted(set(layout.tolist()))]:
            of_layout = layout == what
            chosen = wrong & ((way == what) | of_layout | (what == "all"))
            against = score[~wrong & of_layout] if of_layout.any() else score[~wrong]
            flagged = [100 * float((score[chosen] > limit).mean()) for limit in limits]
            results.append(
                {
                    "signs": name, "of": what, "wrong": int(chosen.sum()), "true": len(against),
                    "auc": figure(area_under(against, score[chosen]), 3),
                    "flagged_percent_at_1": figure(flagged[0], 1),
                    "flagged_percent_at_5": figure(flagged[1], 1),
                }
            )  # fmt: skip
            print(*results[-1].values(), flush=True)
    results += doubted(rows)
    return Outcome(results)


def doubted(rows: list[Measured]) -> list[Row]:
    """Return what share of true frames and of spoilt ones the map doubts by its own limits."""
    way = np.array([row[2] for row in rows])
    doubts = np.array([bool(learned.doubts(learned.Signs(*row[3]))) for row in rows])
    results: list[Row] = []
    for what in ("true", *spoilt.WAYS):
        chosen = way == what
        share = 100 * float(doubts[chosen].mean()) if chosen.any() else float("nan")
        results.append(
            {
                "signs": "doubts",
                "of": what,
                "n": int(chosen.sum()),
                "doubted_percent": figure(share, 1),
            }
        )
        print(*results[-1].values(), flush=True)
    return results
