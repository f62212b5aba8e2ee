"""Random scenes out of no maker's kinds: photographs among anything else, on any ground.

    tests/benchmarks/run locate-random --count 300

Right frames are the photographs' rectangles, with their paper border or without; a bare patch of
texture may be taken for a photograph or not, as a careful archivist might, and counts neither way.
A plain patch, a line, a disc or a shadow is no picture. Photographs lie free of one another, by at
least 1.5 % of the longer side, and are each at least a fifth of it wide and high. A photograph is
at no side as light as the ground (or its border is not), so that its edge can be seen.

Reported: the share of right frames (IoU >= 0.9 and each corner within 1 % of the diagonal) among
those with confidence of 0.9 and more; photographs missed without any mark (no frame of the master
is for review, and no outline holds nine tenths of it); both by kind of scene.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from benchmarks.locate import run as locate_run
from benchmarks.locate import score
from benchmarks.locate import table_pictures as pictures
from benchmarks.locate.layouts_other import texture_of_board
from benchmarks.locate.table_camera import (
    Box,
    Camera,
    Content,
    Floats,
    Place,
    Table,
    ellipse,
    rectangle,
    write,
)
from benchmarks.result import Outcome, Row, figure
from glassine.base.errors import GlassineError

KINDS = (
    "one",  # a photograph on a plain ground
    "several",  # two to six of them
    "bordered",  # with borders of paper
    "texture",  # on a ground of texture
    "negative",  # as negatives on a light ground
    "among",  # among plain patches, discs, text
    "lines",  # shadows, threads and lines across all
    "none",  # no photograph
)
SURE = 0.9
AIM_PERCENT = 99.5
# Of the ground's tone; the least difference of a photograph's edge from it, in linear light.
LEAST_CONTRAST = 0.12


@dataclass
class Chance:
    """Chance, and what has been laid so far: the centres and reaches of objects that lie apart."""

    rng: np.random.Generator
    table: Table
    taken: list[tuple[float, float, float, float]] = field(default_factory=list)
    frames: list[dict[str, Any]] = field(default_factory=list)

    def u(self, low: float, high: float) -> float:
        return float(self.rng.uniform(low, high))

    def one_of(self, values: Any) -> Any:
        return values[int(self.rng.integers(len(values)))]

    def room(self, w: float, h: float, degrees: float) -> Place | None:
        """Return where a box of that size lies free of the others, turned; None: nowhere."""
        c, s = abs(np.cos(np.radians(degrees))), abs(np.sin(np.radians(degrees)))
        a, b = (w * c + h * s) / 2, (w * s + h * c) / 2
        gap = 0.015 * max(self.table.size)
        for _ in range(60):
            x = self.u(a + gap, max(a + gap, self.table.width - a - gap))
            y = self.u(b + gap, max(b + gap, self.table.height - b - gap))
            inside = x + a + gap <= self.table.width and y + b + gap <= self.table.height
            apart = all(
                abs(x - u) > a + p + gap or abs(y - v) > b + q + gap for u, v, p, q in self.taken
            )
            if inside and apart:
                self.taken.append((x, y, a, b))
                return Place(x, y, degrees)
        return None

    def turn(self) -> float:
        """Return a turn in degrees: most pieces lie nearly straight."""
        return (
            float(np.clip(self.rng.normal(0, 1.2), -3, 3))
            if self.rng.random() < 0.85
            else self.u(-10, 10)
        )


def negative_of(picture: Floats, rng: np.random.Generator) -> Floats:
    """Return a negative's light: grey, or on an orange base."""
    if rng.random() < 0.5:
        picture = np.repeat((picture @ np.array([0.21, 0.72, 0.07], np.float32))[:, :, None], 3, 2)
        base = np.full(3, rng.uniform(0.2, 0.4), np.float32)
    else:
        base = np.array([0.25, 0.6, 0.9], np.float32) * np.float32(rng.uniform(0.85, 1.15))
    density = 0.1 + rng.uniform(0.8, 1.6) * (np.log10(np.maximum(picture, 0.01)) + 2) / 2
    return np.asarray(10 ** -(base + density), np.float32)


def stands_out(picture: Floats, ground: Floats) -> bool:
    """Return whether most of each side's edge differs from the ground, in tone or colour."""
    rim = max(2, min(picture.shape[:2]) // 60)
    for part in (picture[:rim], picture[-rim:], picture[:, :rim], picture[:, -rim:]):
        far = np.abs(np.cbrt(part) - np.cbrt(ground)).max(axis=2)
        if np.percentile(far, 30) < LEAST_CONTRAST:
            return False
    return True


def photographed(rng: np.random.Generator, aspect: float) -> Floats:
    sort = rng.random()
    if sort < 0.6:
        return pictures.photograph(rng, aspect)
    if sort < 0.85:
        return pictures.harbour(rng, aspect)
    return pictures.portrait(rng, aspect, dark=rng.random() < 0.5)


def lay_photograph(c: Chance, kind: str, ground: Floats, w: float, h: float) -> None:
    place = c.room(w, h, c.turn())
    if place is None:
        return
    paper: Box = (-w / 2, -h / 2, w / 2, h / 2)
    bordered = kind == "bordered" or (kind in ("among", "lines") and c.rng.random() < 0.4)
    border = c.u(0.02, 0.1) * min(w, h) if bordered and kind != "negative" else 0.0
    box: Box = (paper[0] + border, paper[1] + border, paper[2] - border, paper[3] - border)
    around = ground
    if border:
        around = np.asarray(c.u(0.6, 0.9) * c.rng.uniform(0.85, 1, 3), np.float32)
    for _ in range(40):
        picture = photographed(c.rng, (box[2] - box[0]) / (box[3] - box[1]))
        if kind == "negative":
            picture = negative_of(picture, c.rng)
        if stands_out(picture, around):
            break
    else:  # nothing stands out there: nothing is laid
        c.taken.pop()
        return
    if border:
        c.table.over(place, rectangle(paper), around)
    c.table.over(place, rectangle(box), Content(picture, box), c.u(0, 0.03))
    # A paper hardly unlike the ground has no outline to cut by; the picture in it has.
    c.frames.append(
        {
            "corners": c.table.corners(place, box),
            "also": [c.table.corners(place, paper).tolist()] if border else [],
            "polarity": None,
            "process": None,
            "blank": False,
            "optional": False,
        }
    )


def lay_other(c: Chance) -> None:
    """Lay something that is no photograph: a plain patch, a disc, a text, a patch of texture."""
    long = max(c.table.size)
    w, h = long * c.u(0.04, 0.35), long * c.u(0.04, 0.3)
    place = c.room(w, h, c.turn())
    if place is None:
        return
    box: Box = (-w / 2, -h / 2, w / 2, h / 2)
    sort = c.one_of(["patch", "patch", "disc", "text", "texture"])
    tone = pictures.colour(c.rng, 0.01, 0.9)
    if sort == "patch":
        c.table.over(place, rectangle(box), tone, c.u(0, 0.03))
    elif sort == "disc":
        c.table.over(place, ellipse(box), tone, c.u(0, 0.03))
    elif sort == "text":
        write(c.table, place, (box[0], box[1]), min(h, 0.05 * long), "No 14 quay", tone, hides=True)
    else:
        c.table.over(place, rectangle(box), Content(pictures.texture(c.rng, w / h), box))
        c.frames.append(
            {
                "corners": c.table.corners(place, box), "also": [], "polarity": None,
                "process": None, "blank": False, "optional": True,
            }
        )  # fmt: skip


def lay_lines(c: Chance) -> None:
    """Draw threads, lines and soft shadows across all."""
    long = max(c.table.size)
    for _ in range(int(c.rng.integers(1, 7))):
        place = Place(c.u(0, c.table.width), c.u(0, c.table.height), c.one_of([0, 90, c.u(0, 180)]))
        thin = long * c.u(0.0005, 0.004)
        line = rectangle((-long * c.u(0.1, 1), -thin / 2, long * c.u(0.1, 1), thin / 2))
        c.table.over(place, line, pictures.colour(c.rng, 0.01, 0.9))
    for _ in range(int(c.rng.integers(0, 4))):
        place = Place(c.u(0, c.table.width), c.u(0, c.table.height), c.u(-20, 20))
        w, h = long * c.u(0.1, 0.5), long * c.u(0.1, 0.5)
        c.table.shadow(place, (-w, -h, w, h), long * c.u(0.01, 0.2), c.u(0.1, 0.5))


def ground_for(c: Chance, kind: str) -> Floats:
    """Lay the ground and return its tone."""
    if kind == "negative":
        tone = np.asarray(c.u(0.75, 1.0) * c.rng.uniform(0.9, 1, 3), np.float32)
    elif kind == "texture" or (kind in ("among", "none") and c.rng.random() < 0.3):
        whole: Box = (-9.0, -9.0, c.table.width + 9, c.table.height + 9)
        board = texture_of_board(c.rng).astype(np.float32)
        c.table.over(Place(), rectangle(whole), Content(board, whole))
        return np.asarray(board.mean(axis=(0, 1)), np.float32)
    else:
        tone = pictures.colour(c.rng, 0.004, 0.95)
    c.table.light[:] = tone
    return tone


def make(kind: str, seed: int) -> dict[str, Any]:
    """Return a scene as `run.found_by_glassine` takes it."""
    rng = np.random.default_rng([seed, KINDS.index(kind), 4711])
    long = int(rng.integers(1200, 1801))
    short = int(long * rng.uniform(0.6, 1.0))
    size = (long, short) if rng.random() < 0.7 else (short, long)
    lean = rng.normal(0, 0.004, 2) if rng.random() < 0.3 else (0.0, 0.0)
    table = Table(*size, 25.4, 3, 0.5, keystone=(float(lean[0]), float(lean[1])))
    c = Chance(rng, table)
    ground = ground_for(c, kind)
    number = {"one": 1, "none": 0, "several": int(rng.integers(2, 7))}.get(
        kind, int(rng.integers(1, 5))
    )
    most = {0: 0, 1: 0.8, 2: 0.45, 3: 0.42, 4: 0.4}.get(number, 0.36)
    for _ in range(number):
        w, h = (np.array(size) * rng.uniform(0.6, 1.0, 2) * most).tolist()
        lay_photograph(c, kind, ground, max(w, 0.2 * long), max(h, 0.2 * long))
    if kind in ("among", "none"):
        for _ in range(int(rng.integers(1, 8))):
            lay_other(c)
    if kind == "lines" or (kind == "none" and rng.random() < 0.4):
        lay_lines(c)
    camera = Camera(
        blur_px=rng.uniform(0.4, 1.3),
        exposure=rng.uniform(0.8, 0.98),
        vignette=rng.uniform(0, 0.2),
        slope=(rng.normal(0, 0.03), rng.normal(0, 0.03)),
        flare=rng.uniform(0, 0.015),
        noise=float(np.exp(rng.uniform(np.log(0.001), np.log(0.015)))),
        encoding=str(rng.choice(["linear", "gamma-2.2", "gamma-1.8", "srgb"])),
    )
    return {
        "kind": "auto",
        "name": f"{kind}-{seed}",
        "pixels": camera.master(table, rng),
        "encoding": camera.encoding,
        "ppi": None,
        "tag_ppi": [None, 300.0, 600.0][int(rng.integers(3))],
        "frames": c.frames,
    }


@dataclass
class Count:
    """Of the scenes of a kind: sure frames, those of them that are right, photographs, misses."""

    scenes: int = 0
    photographs: int = 0
    right: int = 0
    frames: int = 0
    sure: int = 0
    sure_right: int = 0
    missed_unsaid: int = 0
    missed_marked: int = 0
    crashed: int = 0


def is_right(true: dict[str, Any], corners: np.ndarray) -> bool:
    share, outline = score.best_outline(true, corners)
    far = np.hypot(*(corners - outline).T).max() / np.hypot(*(outline[2] - outline[0]))
    return bool(share >= 0.9 and far <= 0.01)


def counted(scene: dict[str, Any], count: Count) -> list[str]:
    """Look at one scene, add to the count, and return remarks."""
    count.scenes += 1
    needed = [frame for frame in scene["frames"] if not frame["optional"]]
    either = [frame for frame in scene["frames"] if frame["optional"]]
    count.photographs += len(needed)
    try:
        frames, _ = locate_run.found_by_glassine(scene, stated=False)
    except GlassineError as refusal:
        count.missed_marked += len(needed)
        return [f"held: {refusal}"]
    except Exception as problem:  # counted: no scene ends the run
        count.crashed += 1
        return [f"CRASHED: {type(problem).__name__}: {problem}"]
    remarks = []
    for frame in frames:
        corners = np.asarray(frame["corners"], float)
        if frame["blank"] or any(score.best_outline(each, corners)[0] >= 0.5 for each in either):
            continue
        right = any(is_right(each, corners) for each in needed)
        sure = frame["confidence"] >= SURE
        count.frames += 1
        count.sure += sure
        count.sure_right += sure and right
        if sure and not right:
            near = max((score.best_outline(each, corners)[0] for each in needed), default=0.0)
            remarks.append(f"wrong at {frame['confidence']:.2f} (iou {near:.2f}, {frame['state']})")
    marked = not frames or any(frame["state"] != "ok" for frame in frames)
    for each in needed:
        found = [np.asarray(frame["corners"], float) for frame in frames]
        count.right += any(is_right(each, corners) for corners in found)
        if not score.is_covered(np.asarray(each["corners"], float), frames):
            count.missed_marked += marked
            count.missed_unsaid += not marked
            if not marked:
                remarks.append("a photograph missed WITHOUT A WORD")
    return remarks


def row_of(kind: str, count: Count) -> Row:
    share = 100 * count.sure_right / count.sure if count.sure else float("nan")
    recall = 100 * count.right / count.photographs if count.photographs else float("nan")
    return {
        "kind": kind,
        "scenes": count.scenes,
        "photographs": count.photographs,
        "right_percent": figure(recall, 1),
        "frames": count.frames,
        "sure": count.sure,
        "sure_right_percent": figure(share, 2),
        "missed_unsaid": count.missed_unsaid,
        "missed_marked": count.missed_marked,
        "crashed": count.crashed,
    }


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--count", type=int, default=300, help="scenes in all, kinds in turn")
    parser.add_argument("--first", type=int, default=1, help="the first seed")
    parser.add_argument("--kinds", nargs="*", default=list(KINDS), choices=KINDS)
    parser.add_argument("--minutes", type=float, help="start no further scene after these")
    parser.add_argument("--show", type=Path, help="folder for a PNG of each scene with a remark")
    options = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    begun = time.monotonic()
    counts = {kind: Count() for kind in options.kinds}
    for number in range(options.count):
        if options.minutes and time.monotonic() - begun > 60 * options.minutes:
            print(f"stopped by the clock after {number} scenes")
            break
        kind = options.kinds[number % len(options.kinds)]
        scene = make(kind, options.first + number // len(options.kinds))
        remarks = counted(scene, counts[kind])
        for remark in remarks:
            print(f"{scene['name']}: {remark}", flush=True)
        if remarks and options.show:
            options.show.mkdir(parents=True, exist_ok=True)
            cv2.imwrite(str(options.show / f"{scene['name']}.png"), scene["pixels"][:, :, ::-1])
    total = Count()
    for count in counts.values():
        for name, value in vars(count).items():
            setattr(total, name, getattr(total, name) + value)
    rows = [*(row_of(kind, count) for kind, count in counts.items()), row_of("all", total)]
    print(score.table(rows))
    good = total.sure == 0 or 100 * total.sure_right / total.sure >= AIM_PERCENT
    return Outcome(
        rows, good=good and total.missed_unsaid == 0 and total.crashed == 0, summary=rows[-1]
    )
