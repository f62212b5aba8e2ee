"""Fit the weights of what speaks against a frame (`glassine.locate.weights`) on drawn scenes.

    PYTHONPATH=scripts:tests python -m benchmarks.locate.fit_weights --cases FILE --minutes 20
    PYTHONPATH=scripts:tests python -m benchmarks.locate.fit_weights --cases FILE --minutes 0 --write

Scenes come from `scenes`, `layouts` and `random_scenes`, which the finder was made on; `scenes_other`
and `layouts_other` are left to judge it (`--judge`). A frame counts as right where its corners lie
within 1 % of its diagonal; a picture that no frame covers is the fault of the nearest frame. Each weight is drawn
from the one set by hand (its prior) as far as scenes speak for another, and never below nothing:
evidence against a frame does not make it surer. What answers other evidence keeps its weight, and
what is answered teaches nothing. The table goes to scripts/glassine/locate/fitted.py.

FILE grows from run to run, a JSON line for each frame and one for a scene without any; scenes that
it has are not drawn again. Lines of another version of the step are left out of the fit. What the
fit is worth is told by scenes that it has not seen: a tenth of them at a time is left out.
`--write` writes nothing where more frames would be wrong and unmarked so.
"""

from __future__ import annotations

import argparse
import itertools
import json
import time
import zlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from scipy.optimize import minimize

from benchmarks.locate import score
from benchmarks.locate.run import kinds_of, reduced_of, scene_of
from glassine.base.errors import GlassineError
from glassine.base.model import Facts
from glassine.locate import step, weights
from glassine.locate.encoding import linear_table
from glassine.locate.looks import explained
from glassine.locate.nearby import distance
from glassine.locate.scene import Master, Scene, Settings

MAKERS = ("scenes", "layouts", "random_scenes")
# Never fitted on.
JUDGES = ("scenes_other", "layouts_other")
FOLDS = 10
REVIEW_BELOW = Settings().review_below
# How far (bits, standard deviation) a weight may stray from the one set by hand.
PRIOR_BITS = 1.5
# What says nothing of where a frame lies is not fitted, nor what a person is always asked: drawn
# scenes have as many pictures that were missed as their maker left out.
NOT_FITTED = (
    "picture outside",
    "piece unexplained",
    "step without a frame",
    "polarity unclear",
    "process unclear",
    "process other than stated",
    "polarity other than stated",
    "not the stated size",
    "another number than stated",
)
TABLE = Path(__file__).resolve().parents[3] / "scripts/glassine/locate/fitted.py"


@dataclass(frozen=True)
class Case:
    """One frame: what speaks against it (amounts by feature), and whether it is right (None: the
    scene has no frame to be judged). version: of the step.
    """

    maker: str
    kind: str
    seed: int
    against: dict[str, float]
    right: bool | None
    version: str = step.VERSION

    @property
    def scene(self) -> tuple[str, str, int]:
        return self.maker, self.kind, self.seed


def cases_of(scene: dict[str, Any]) -> list[tuple[dict[str, float], bool]]:
    """Return of the frames found on a scene what speaks against each, and whether it is right."""
    pixels = scene["pixels"]
    reduced, reduction = reduced_of(pixels)
    master = Master(
        reduced,
        reduction,
        lambda left, top, width, height: pixels[top : top + height, left : left + width],
        pixels.shape[1],
        pixels.shape[0],
        linear_table(scene["encoding"]),
    )
    scene_seen = Scene.of(master, Facts(encoding=scene["encoding"]), Settings())
    look, _, _ = explained(scene_seen, scene.get("tag_ppi", scene["ppi"]))
    found = look.frames
    either = [frame for frame in scene["frames"] if frame.get("optional")]
    needed = [frame for frame in scene["frames"] if not frame.get("optional")]
    # A picture that a wrong frame covers is that frame's fault, one that none covers the nearest's.
    missed = [
        np.asarray(frame["corners"], float)
        for frame in needed
        if not frame["blank"]
        and not any(_covers(c.corners, np.asarray(frame["corners"])) for c in found)
    ]
    at_fault = [min(found, key=lambda c: distance(c.corners, each)) for each in missed if found]
    out = []
    for c in found:
        if c.blank or any(score.best_outline(each, c.corners)[0] > 0.5 for each in either):
            continue  # there is no picture edge to be right or wrong about
        near = [(*score.best_outline(each, c.corners), each["blank"]) for each in needed]
        iou, outline, empty = max(near, key=lambda each: each[0], default=(0.0, np.empty(0), False))
        if empty and iou > 0.5:
            continue
        right = iou >= 0.5 and _error(c.corners, outline) <= 1.0
        right = right and not any(c is each for each in at_fault)
        amounts: Counter[str] = Counter()
        for each in c.evidence:
            amounts[each.feature] += each.amount
        out.append((dict(amounts), right))
    return out


def _covers(corners: np.ndarray, true: np.ndarray) -> bool:
    area, _ = cv2.intersectConvexConvex(corners.astype(np.float32), true.astype(np.float32))
    return bool(area >= 0.5 * cv2.contourArea(true.astype(np.float32)))


def _error(corners: np.ndarray, true: np.ndarray) -> float:
    """Return the farthest corner's distance from its truth, % of the diagonal."""
    offs = [np.hypot(*(np.roll(corners, k, 0) - true).T).max() for k in range(4)]
    return float(100 * min(offs) / np.hypot(*(true[2] - true[0])))


def lying(makers: tuple[str, ...], drawn: Path | None) -> Iterator[tuple[str, str, int]]:
    """Yield maker, kind and seed of each scene that lies drawn, seed by seed."""
    names = [path.stem.split("-") for path in drawn.glob("*-*-*.npz")] if drawn else []
    for maker, kind, seed in sorted(names, key=lambda name: (int(name[2]) % 1000, name)):
        if maker in makers:
            yield maker, kind, int(seed)


def turns(makers: tuple[str, ...], first: int, count: int) -> Iterator[tuple[str, str, int]]:
    """Yield maker, kind and seed of each scene, so that kinds of all makers come in turn."""
    for seed in range(first, first + count):
        for maker in makers:
            for kind in kinds_of(maker):
                yield maker, kind, seed


def measured(maker: str, kind: str, seed: int, drawn: Path | None) -> list[Case]:
    """Draw a scene and return its frames; one case without an answer where it has none."""
    try:
        found = cases_of(scene_of(maker, kind, seed, drawn))
    except GlassineError:
        found = []
    cases = [Case(maker, kind, seed, against, right) for against, right in found]
    return cases or [Case(maker, kind, seed, {}, None)]


def read(path: Path | None) -> list[Case]:
    """Return the cases of this version of the step."""
    if path is None or not path.exists():
        return []
    lines = path.read_text("utf-8").splitlines()
    cases = [Case(**json.loads(line)) for line in lines]
    return [case for case in cases if case.version == step.VERSION]


def collected(options: argparse.Namespace, makers: tuple[str, ...]) -> list[Case]:
    """Return the cases of the file and those of further scenes, which are added to it."""
    cases = [case for case in read(options.cases) if case.maker in makers]
    known = {case.scene for case in cases}
    begun = time.monotonic()
    further = turns(makers, options.first, options.count)
    for scene in itertools.chain(lying(makers, options.drawn), further):
        if time.monotonic() - begun > 60 * options.minutes:
            print(f"stopped by the clock before seed {scene[2]} of {scene[0]}, {scene[1]}")
            break
        if scene in known:
            continue
        known.add(scene)
        new = measured(*scene, options.drawn)
        cases += new
        if options.cases:
            with options.cases.open("a", encoding="utf-8") as stream:
                stream.writelines(json.dumps(vars(case)) + "\n" for case in new)
    return [case for case in cases if case.right is not None]


def fit(cases: list[Case]) -> dict[str, float]:
    """Return bits per unit of each feature: most likely by the cases and the prior."""
    names = [n for n, w in weights.BY_HAND.items() if n not in NOT_FITTED and not w.answers]
    answers = {name for name, weight in weights.BY_HAND.items() if weight.answers}
    cases = [case for case in cases if not answers & set(case.against)]
    prior = np.array([weights.BY_HAND[name].bits for name in names])
    fixed = np.array(
        [
            sum(weights.BY_HAND[n].bits * case.against.get(n, 0.0) for n in NOT_FITTED)
            for case in cases
        ]
    )
    amounts = np.array([[case.against.get(name, 0.0) for name in names] for case in cases])
    right = np.array([bool(case.right) for case in cases], float)
    known = fixed == 0  # what costs for another reason teaches nothing here

    def loss(bits: np.ndarray) -> tuple[float, np.ndarray]:
        odds = np.log(2) * (weights.START_BITS - amounts[known] @ bits)
        p = 1 / (1 + np.exp(-odds))
        y = right[known]
        value = -np.sum(y * np.log(p + 1e-12) + (1 - y) * np.log(1 - p + 1e-12))
        slope = np.log(2) * amounts[known].T @ (y - p)
        off = (bits - prior) / PRIOR_BITS
        return float(value + 0.5 * off @ off), slope + off / PRIOR_BITS

    best = minimize(loss, prior, jac=True, method="L-BFGS-B", bounds=[(0.0, None)] * len(names))
    return dict(zip(names, (float(each) for each in best.x), strict=True))


def chances(cases: list[Case], bits: dict[str, float]) -> np.ndarray:
    """Return the confidence of each case by these weights, those not in them as set by hand."""
    table = {**{name: each.bits for name, each in weights.BY_HAND.items()}, **bits}
    against = [weights.bits_against(case.against, table) for case in cases]
    return np.array([weights.chance(each) for each in against])


def unseen_chances(cases: list[Case]) -> np.ndarray:
    """Return the confidence of each case by weights fitted without its scene."""
    fold = np.array([zlib.crc32(repr(case.scene).encode()) % FOLDS for case in cases])
    out = np.zeros(len(cases))
    for k in range(FOLDS):
        rest = [case for case, own in zip(cases, fold, strict=True) if own != k]
        own = [case for case, own in zip(cases, fold, strict=True) if own == k]
        if own:
            out[fold == k] = chances(own, fit(rest))
    return out


def wrong_unmarked(cases: list[Case], p: np.ndarray) -> int:
    """Return how many wrong frames are not for review."""
    right = np.array([bool(case.right) for case in cases])
    return int((~right & (p >= REVIEW_BELOW)).sum())


def reliability(cases: list[Case], p: np.ndarray) -> str:
    """Return a table of confidence against the share that is right, and what review costs."""
    right = np.array([bool(case.right) for case in cases])
    lines = []
    for low, high in ((0, 0.05), (0.05, 0.3), (0.3, 0.8), (0.8, 0.95), (0.95, 1.01)):
        chosen = (p >= low) & (p < high)
        if chosen.any():
            share = 100 * right[chosen].mean()
            lines.append(
                f"{low:.2f} to {min(high, 1):.2f}: mean {p[chosen].mean():.3f}, "
                f"{chosen.sum()} frames, {share:.1f} % right"
            )
    marked = int((right & (p < REVIEW_BELOW)).sum())
    q = np.clip(p, 1e-6, 1 - 1e-6)
    loss = -np.mean(np.where(right, np.log2(q), np.log2(1 - q)))
    lines.append(
        f"review below {REVIEW_BELOW}: {marked} of {right.sum()} right ones marked, "
        f"{wrong_unmarked(cases, p)} of {(~right).sum()} wrong ones unmarked; "
        f"log loss {loss:.3f} bits a frame"
    )
    return "\n".join(lines)


def table_of(cases: list[Case], bits: dict[str, float]) -> str:
    """Return the module that holds the fitted weights."""
    lines = [
        '"""Bits per unit of each feature, made by tests/benchmarks/locate/fit_weights.py.',
        "",
        f"Fitted on {len(cases)} frames of drawn scenes ({', '.join(MAKERS)}). Beside each: on how many",
        "frames it was seen, and how many of those were right.",
        '"""',
        "",
        "FITTED: dict[str, tuple[float, int, int]] = {",
    ]
    for name, value in bits.items():
        seen = [case for case in cases if case.against.get(name, 0.0) > 0]
        if seen:
            right = sum(bool(case.right) for case in seen)
            lines.append(f'    "{name}": ({value:.2f}, {len(seen)}, {right}),')
    return "\n".join([*lines, "}", ""])


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--count", type=int, default=1000, help="seeds")
    parser.add_argument("--first", type=int, default=101, help="the first seed")
    parser.add_argument("--minutes", type=float, default=20.0, help="draw no further after these")
    parser.add_argument("--drawn", type=Path, help="folder of drawn scenes: those in it come first")
    parser.add_argument("--cases", type=Path, help="file of measured frames, which grows")
    parser.add_argument("--judge", action="store_true", help="hold the weights in use against "
                        "scenes of the makers that are never fitted on")  # fmt: skip
    parser.add_argument("--write", action="store_true", help="write the table")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    cases = collected(options, JUDGES if options.judge else MAKERS)
    in_use = {name: each.bits for name, each in weights.WEIGHTS.items()}
    print(f"{len(cases)} frames of {len({case.scene for case in cases})} scenes")
    before = chances(cases, in_use)
    print("in use\n" + reliability(cases, before))
    print("by hand\n" + reliability(cases, chances(cases, {})))
    if options.judge:
        fitted = fit([case for case in read(options.cases) if _fitted_on(case)])
        print("as would be fitted now\n" + reliability(cases, chances(cases, fitted)))
        return
    bits = fit(cases)
    after = unseen_chances(cases)
    print(table_of(cases, bits))
    print("fitted without the scene itself\n" + reliability(cases, after))
    if options.write and wrong_unmarked(cases, after) > wrong_unmarked(cases, before):
        raise SystemExit("Not written: more frames would be wrong and unmarked.")
    if options.write:
        TABLE.write_text(table_of(cases, bits), encoding="utf-8")


def _fitted_on(case: Case) -> bool:
    return case.maker in MAKERS and case.right is not None


if __name__ == "__main__":
    main()
