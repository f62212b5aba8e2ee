"""What of the evidence on a master its frames do not explain, named and in words.

A frame may have been missed, or two taken for one, while every edge that was found is plain: only
what is left over shows it. The frames that lie beside it get the reason, or the nearest one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import cv2
import numpy as np

from glassine.base import film
from glassine.base.model import Corners, MasterPiece
from glassine.locate import formats, several, sides, witness
from glassine.locate.candidate import Candidate
from glassine.locate.character import mask_of
from glassine.locate.inside import Line, banded, look_inside, upright_grey
from glassine.locate.known import Known
from glassine.locate.measures import pixels
from glassine.locate.nearby import beside, is_next_picture
from glassine.locate.outside import (
    Seen,
    Small,
    as_film_runs,
    ground_inside,
    outline_of,
    seen_outside,
)
from glassine.locate.polarity import orange_film
from glassine.locate.scene import Scene
from glassine.locate.shapes import Doubles, lengths_of, order
from glassine.locate.view import Floats

# A bar is seen along this share of its length at the least.
BAR = 0.45
# Parts that bars leave of a picture are no pictures where they are narrower than this, one side to
# the other: such bars are bricks, boards, railings.
SLIMMEST = 0.25
# Nor are parts that a seam leaves which are less than this share of the picture.
LEAST_PART = 0.12
# A picture is like itself moved by this (correlation): of single ones the most seen was 0.53.
REPEATS = 0.62
# Film without a frame, for the length of one: between frames, and at the film's ends.
STEP, END = 0.75, 1.04
# Share of a frame in which the table may show: worn corners.
BARE = 0.005
# Where an even border is looked for inside an outline, shares of the shorter side: that of a board,
# and the narrow rebate of a sheet.
RIMS = ((0.01, 0.03), (0.004, 0.012))
# Tones all round an outline that differ by less (density) are one even border.
EVEN = 0.05
# A black rebate is denser than all that it encloses, but for what noise makes of other blacks;
# flare makes it vary by more.
BLACK, EVEN_BLACK, AS_BLACK = 1.5, 0.35, 0.2
# Share of a picture left out at its ends, where its colours are told.
INSET = 0.04
# What speaks for another number of pictures, and is settled where their number is stated.
OF_THE_NUMBER = (
    "bar inside",
    "seam inside",
    "map: edge inside",
    "parted by a band",
    "roll film by its shape",
    "repeats itself",
    "long for its width",
    "size of several on 120 film",
    "step without a frame",
)
# Frames of one camera are alike within this (mm), and of 36 mm within that. One is enough, within
# the third, where its ends show along this share, straight within so much (px).
SAME_GATE, ANY_GATE, PLAIN_GATE = 0.12, 1.0, 0.9
PLAIN_END, PLAIN_END_PX = 0.8, 1.0
LEANS = ("sides not parallel", "corners not square", "corners off its edges")
# Frames of one camera lie at the same place between perforations within this (mm; common practice,
# no source); so many of them, both of whose ends were seen, show where.
IN_STEP, SHOW_STEP = 0.35, 2
# What lies beside pictures, or over them, and is none.
BESIDE = ("label", "ruler", "target", "mask")
# Pictures longer than this for their width are wide views, or several.
LONGEST = 1.85


def examine(scene: Scene, known: Known, found: list[Candidate]) -> tuple[MasterPiece, ...]:
    """Note on the candidates what they do not explain; return all that lies on the master."""
    small = Small.of(scene.view, scene.layout)
    for one in found:
        if not one.blank:
            _inside(scene, one)
            _one_view(scene, known, one)
            _rim(scene, small, one)
            _parted(one)
    for number in sorted({one.strip for one in found} - {0}):
        others = [one for one in found if one.strip != number]
        own = [one for one in found if one.strip == number]
        _steps(scene, own, others)
        _one_gate(known, own)
        _out_of_step(known, own)
    formats.examine(known, found)
    size = float(scene.width), float(scene.height)
    seen = [
        replace(each, taken_for="strip")
        if each.is_area and is_next_picture(found, each.corners, size)
        else each
        for each in _outside(scene, small, found)
    ]
    _missed(scene, seen, found)
    witness.examine(scene.whole, found, scene.reduction)
    _count(scene, found)
    return tuple(
        MasterPiece(corners=_corners(each.corners), taken_for=each.taken_for) for each in seen
    )


def beside_words(pieces: Sequence[MasterPiece]) -> tuple[str, ...]:
    """Return a note of what lies on the master and was taken for something else than a picture."""
    others = [each.taken_for for each in pieces if each.taken_for in BESIDE]
    if not others:
        return ()
    named = ", ".join(f"{others.count(name)} {name}" for name in sorted(set(others)))
    return (f"also on the master, taken for no picture: {named}",)


def _count(scene: Scene, found: list[Candidate]) -> None:
    """Hold the number of frames against the one that batch.yaml states."""
    stated = scene.facts.frames
    if stated is None:
        return
    pictures = sum(not one.blank for one in found)
    for one in found:
        if stated in (pictures, len(found)):
            one.evidence = [each for each in one.evidence if each.feature not in OF_THE_NUMBER]
        else:
            one.against(
                "another number than stated",
                f"batch.yaml states {stated} picture{'s' if stated > 1 else ''} on the master "
                f"(frames), {pictures} found",
            )


def _corners(c: Doubles) -> Corners:
    a, b, d, e = ((float(x), float(y)) for x, y in c)
    return a, b, d, e


# ------------------------------------------------------------------ inside a frame


def _inside(scene: Scene, one: Candidate) -> None:
    corners = order(one.corners) / scene.reduction
    seen = look_inside(scene.view, corners, _around(scene, one), scene.layout.tone)
    for line in _parting(seen.bars, corners):
        one.against(
            "bar inside",
            f"an even band runs {_way(line)} at {line.at:.0%} of its {_side(line)}: "
            "there may be more than one picture",
            min(1.0, 0.5 + line.strength),
        )
    for line in seen.seams:
        if not LEAST_PART < line.at < 1 - LEAST_PART:
            continue  # a quay's edge or a shore near the picture's own; no part of another picture
        one.against(
            "seam inside",
            f"two pictures seem to meet {_way(line)} at {line.at:.0%} of its {_side(line)}",
        )
    if seen.holes:
        one.against(
            "holes inside",
            f"{seen.holes} holes like perforations in a row are seen inside its outline",
        )
    like, share = seen.repeat
    if like > REPEATS:
        one.against(
            "repeats itself",
            f"the picture repeats itself after {share:.0%} of its length: "
            "there may be more than one exposure",
        )
    long, short = lengths_of(one.corners)
    said = any(each.feature == "size of several on 120 film" for each in one.evidence)
    if long > LONGEST * short and not one.strip and not said:
        one.against(
            "long for its width",
            f"{long / short:.1f} times as long as wide: there may be more than one picture",
        )


def _one_view(scene: Scene, known: Known, one: Candidate) -> None:
    """Answer that a picture is as high as those on 120 film, where it is not several of them."""
    if not known.ppi or all(e.feature != "size of several on 120 film" for e in one.evidence):
        return
    mm = film.px_per_mm(known.ppi) / scene.reduction
    if several.is_one_view(scene.view, order(one.corners) / scene.reduction, mm):
        one.against("of one view by its length")


def _parted(one: Candidate) -> None:
    """Note that a band alone makes a picture one of several: a beam or a rail right across a single
    view looks the same. A view that comes again shows that it was exposed again.
    """
    if one.whole is not None and not one.repeated:
        one.against(
            "parted by a band",
            "one of several pictures on its piece by a band alone, none of which shows the same "
            "view again: it may be part of a single picture",
        )


def _rim(scene: Scene, small: Small, one: Candidate) -> None:
    """Note what just inside an outline belongs to no picture: the table, or an even border."""
    corners = one.corners / scene.reduction
    # In the opening of a mask paper stands for the ground, and a picture has whites of its own.
    bare = 0.0 if scene.opening is not None else ground_inside(small, scene.layout, corners)
    if bare > BARE and not one.oval:
        one.against(
            "table inside",
            f"the table is seen inside its outline, in {bare:.0%} of it",
            min(1.2, bare / (4 * BARE)),
        )
    if one.strip or one.oval:
        return
    grey = upright_grey(scene.view, corners)
    # Within a border of its own a picture ends where that does, and casts no shadow.
    bands = banded(grey) if one.border is None else [False] * 4
    for name, seen in zip(sides.NAMES, bands, strict=True):
        if seen:
            one.against(
                "even band along a side",
                f"an even band runs along inside its {name} edge, a shadow or a border: the "
                "picture may end further in",
            )
    if any(_even_rim(grey, *rim) for rim in RIMS):
        one.against(
            "even all round",
            "even all round its edge: a board or border, the picture may lie further in",
        )
        # What is denser inside of that was exposed: it is neither board nor paper.
        if orange_film(one, mask_of(pixels(scene.view, one, INSET))):
            one.against("orange film around it")


def _even_rim(grey: Floats, start: float, end: float) -> bool:
    """Whether the rim of a picture between two shares of its shorter side is of one tone, and an
    area of the picture is not. Writing on a sleeve is no area.
    """
    short = min(grey.shape)
    deep, first = max(2, round(end * short)), max(1, round(start * short))
    size = max(3, deep // 2) | 1
    soft = cv2.blur(grey, (size, size))
    edge = np.ones(soft.shape, bool)
    edge[deep:-deep, deep:-deep] = False
    edge[:first] = edge[-first:] = edge[:, :first] = edge[:, -first:] = False
    tone = float(np.median(soft[edge]))
    if tone > BLACK and float(np.percentile(soft, 99)) < tone + AS_BLACK:
        spread = np.ptp(np.percentile(soft[edge], (12, 88))) - (EVEN_BLACK - EVEN)
    else:
        spread = np.ptp(np.percentile(soft[edge], (4, 96)))
    if spread >= EVEN:
        return False
    off = (np.abs(soft - tone) > 3 * EVEN).astype(np.uint8)
    n = max(3, round(0.2 * short))
    return bool(cv2.morphologyEx(off, cv2.MORPH_OPEN, np.ones((n, n), np.uint8)).mean() > 0.15)


def _around(scene: Scene, one: Candidate) -> tuple[float, ...]:
    """Return the tones of what lies around a picture."""
    tones = []
    if one.border is not None:
        tones.append(float(np.mean(one.border)))
    else:
        inner = _shrunk(one.corners / scene.reduction, 0.97)
        tones += [float(each) for each in np.percentile(_tones(scene, inner), (1, 99))]
    return tuple(tones)


def _shrunk(c: Doubles, share: float) -> Doubles:
    middle = c.mean(0)
    return np.asarray(middle + (c - middle) * share)


def _tones(scene: Scene, c: Doubles) -> Floats:
    """Return tones at a grid of places inside four corners (view px)."""
    u = np.linspace(0, 1, 60)
    a, b = (each.ravel()[:, None] for each in np.meshgrid(u, u))
    p = (1 - a) * (1 - b) * c[0] + a * (1 - b) * c[1] + a * b * c[2] + (1 - a) * b * c[3]
    h, w = scene.view.grey.shape
    x = np.clip(p[:, 0].astype(int), 0, w - 1)
    y = np.clip(p[:, 1].astype(int), 0, h - 1)
    return np.asarray(scene.view.grey[y, x])


def _parting(bars: Sequence[Line], corners: Doubles) -> list[Line]:
    """Return the bars that leave parts which may be pictures."""
    width = float(np.hypot(*(corners[1] - corners[0])))
    height = float(np.hypot(*(corners[3] - corners[0])))
    out = []
    for across in (True, False):
        lines = [bar for bar in bars if bar.across == across and bar.strength >= BAR]
        # What shows the table is no brick's joint.
        out += [bar for bar in lines if bar.ground]
        lines = [bar for bar in lines if not bar.ground]
        length, side = (height, width) if across else (width, height)
        cuts = [0.0, *sorted(bar.at for bar in lines), 1.0]
        slim = min(b - a for a, b in pairwise(cuts)) * length
        if slim > SLIMMEST * side:
            out += lines
    return out


def _way(line: Line) -> str:
    return "from side to side" if line.across else "from top to bottom"


def _side(line: Line) -> str:
    return "height" if line.across else "width"


# ------------------------------------------------------------------ along a strip


def _steps(scene: Scene, frames: list[Candidate], others: list[Candidate]) -> None:
    """Note on the frames of one strip beside which film as long as a frame shows none."""
    c = [as_film_runs(each, frames) / scene.reduction for each in frames]
    along = np.mean([each[1] - each[0] + each[2] - each[3] for each in c], axis=0)
    long = float(np.median([np.hypot(*(each[1] - each[0])) for each in c]))
    along = along / max(float(np.hypot(*along)), 1e-6)
    spans = [(float((each @ along).min()), float((each @ along).max())) for each in c]
    turn = sorted(range(len(spans)), key=lambda k: spans[k])
    ends = _ends(scene, c, along, [each.corners / scene.reduction for each in others])
    missing: list[tuple[int, str]] = []
    for a, b in pairwise(turn):
        if spans[b][0] - spans[a][1] > STEP * long:
            missing += [(a, "between its frames"), (b, "between its frames")]
    if spans[turn[0]][0] - ends[0] > END * long:
        missing.append((turn[0], "before its first frame"))
    if ends[1] - spans[turn[-1]][1] > END * long:
        missing.append((turn[-1], "after its last frame"))
    for k, place in missing:
        frames[k].against(
            "step without a frame",
            f"film as long as a frame without one, {place}: a frame may have been missed",
        )


def _one_gate(known: Known, frames: list[Candidate]) -> None:
    """Take back what was said of the length of frames that others of their strip share, or both of
    whose ends are plain: cameras' gates differ by as much, and a false end is not as far off in one
    frame as in the next, nor as plain as the true one.
    """
    sizes = [known.size_mm(one.corners) for one in frames]
    for one, (long, short) in zip(frames, sizes, strict=True):
        alike = [
            each
            for each in sizes
            if abs(each[0] - long) < SAME_GATE and abs(each[1] - short) < SAME_GATE
        ]
        plain = _plain_ends(one) and abs(long - 36) < PLAIN_GATE
        if (len(alike) > 2 or plain) and abs(long - 36) < ANY_GATE and abs(short - 24) < 0.55:
            one.evidence = [e for e in one.evidence if e.feature != "no size on 35 mm film"]


def _plain_ends(one: Candidate) -> bool:
    """Whether both ends of a frame show along most of their length, straight, and as its sides lie:
    an end that leans is another edge at times, however plain.
    """
    leans = any(each.feature in LEANS for each in one.evidence)
    return not leans and all(
        got is not None
        and got.share > PLAIN_END
        and got.residual < PLAIN_END_PX
        and not one.modelled[side]
        for side, got in enumerate(one.edges)
        if side in (sides.LEFT, sides.RIGHT)
    )


def _out_of_step(known: Known, frames: list[Candidate]) -> None:
    """Note on frames that rest on one end alone that they lie elsewhere between the perforations
    than the strip's others: what was taken for their end may be a line of the picture.
    """
    if not known.by_perforations or not known.ppi:
        return
    plain = [one for one in frames if not one.blank]
    ends = [one.modelled[sides.LEFT] or one.modelled[sides.RIGHT] for one in plain]
    if sum(not each for each in ends) < SHOW_STEP or not any(ends):
        return
    pitch = film.PERFORATION_PITCH_MM * film.px_per_mm(known.ppi)
    c = [as_film_runs(one, plain) for one in plain]
    along = np.mean([each[1] - each[0] + each[2] - each[3] for each in c], axis=0)
    along = along / max(float(np.hypot(*along)), 1e-6)
    turns = np.array([each.mean(0) @ along for each in c]) / pitch * 2 * np.pi
    usual = np.angle(np.exp(1j * turns[~np.array(ends)]).sum())
    off = np.abs(np.angle(np.exp(1j * (turns - usual)))) / (2 * np.pi) * film.PERFORATION_PITCH_MM
    for one, by_one_end, far in zip(plain, ends, off.tolist(), strict=True):
        if by_one_end and far > IN_STEP:
            one.against(
                "side unseen, as on the strip",
                f"placed by one end alone, and {far:.1f} mm out of step with the strip's others",
            )


def _ends(
    scene: Scene, c: list[Doubles], along: Doubles, others: list[Doubles]
) -> tuple[float, float]:
    """Return where the film of a strip begins and ends, along it (view px).

    Where other frames lie in the same piece, it says nothing of this strip.
    """
    middle = np.mean(c, axis=(0, 1))
    for piece in scene.layout.pieces:
        box = outline_of(piece)
        if _holds(box, middle) and not any(_holds(box, each.mean(0)) for each in others):
            places = box @ along
            return float(places.min()), float(places.max())
    spans = np.array(c) @ along
    return float(spans.min()), float(spans.max())


def _holds(box: Doubles, at: Doubles) -> bool:
    place = (float(at[0]), float(at[1]))
    return cv2.pointPolygonTest(box.astype(np.float32), place, False) > 0


# ------------------------------------------------------------------ outside of all frames


def _outside(scene: Scene, small: Small, found: list[Candidate]) -> list[Seen]:
    def label_places() -> list[Doubles]:
        return [np.mean(each["corners"], axis=0) for each in scene.labels]

    return seen_outside(small, scene.view, scene.layout, found, label_places)


def _missed(scene: Scene, seen: Sequence[Seen], found: Sequence[Candidate]) -> None:
    """Note pictures outside of all frames, and pieces taken for nothing, on the frames beside."""
    rest = [each for each in seen if each.taken_for == "unexplained"]
    for one, numbers in beside(found, [each.corners for each in rest]):
        areas = [rest[k] for k in numbers if rest[k].is_area]
        pieces = [rest[k] for k in numbers if not rest[k].is_area]
        if areas:
            words = f"picture seen outside every frame, {_places(scene, areas)}"
            one.against("picture outside", f"{words}: a frame may have been missed")
        if pieces:
            words = f"taken for no frame: what lies {_places(scene, pieces)}"
            one.against("piece unexplained", f"{words}; look whether it holds a picture")


def _places(scene: Scene, seen: list[Seen]) -> str:
    """Return where the largest of several lies, and how many more there are."""
    most = max(seen, key=lambda each: each.share)
    size = np.array([scene.width, scene.height], float)
    low = np.clip(most.corners.min(0) / size, 0, 1)
    high = np.clip(most.corners.max(0) / size, 0, 1)
    where = (
        f"{low[0]:.0%} to {high[0]:.0%} across and {low[1]:.0%} to {high[1]:.0%} down the master"
    )
    more = len(seen) - 1
    return where + (f", and in {more} more place{'s' if more > 1 else ''}" if more else "")
