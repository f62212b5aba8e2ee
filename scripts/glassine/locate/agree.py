"""Frames of one strip agree: one camera's gate gave them height and width."""

from __future__ import annotations

import numpy as np

from glassine.base import film
from glassine.locate import sides
from glassine.locate.candidate import Candidate
from glassine.locate.shapes import Doubles, steady
from glassine.locate.view import Patch

# What has no source was set on the scenes that `tests/benchmarks/locate` draws.
# Frames that a strip must have before its sides are held against each other.
LEAST_FRAMES = 3
# A side speaks for the others' line where it shows along this share; it stands by itself where it
# shows along the second and is off by less than FREE_MM, else by less than HELD_MM; along less than
# the third it was not seen.
SPEAKS, STANDS, UNSEEN = 0.4, 0.6, 0.3
FREE_MM, HELD_MM = 0.5, 0.1
# The same for the ends and a frame's length; an end seen along less than this share gives way.
HELD_LONG_MM, END_UNSEEN = 0.12, 0.1

Boxes = dict[int, Doubles]


def agree(found: list[Candidate], patch: Patch, reduction: float, mm: float | None) -> None:
    """Put sides that disagree with the strip's others where those say.

    A long edge off the line that the others share, and an end that makes a frame longer or
    shorter than the others, are moved and marked as `modelled`. patch: the strip turned level;
    reduction: master px per px of the view; mm: px of the view per millimetre, where known.
    """
    seen = [c for c in found if not c.blank]
    if len(seen) < LEAST_FRAMES:
        return
    a = patch.to_view
    back = np.linalg.inv(a[:, :2])
    boxes = {id(c): np.asarray((c.corners / reduction - a[:, 2]) @ back.T) for c in seen}
    first = boxes[id(seen[0])]
    # Without a scale it is 120 film.
    unit = mm or float(np.hypot(*(first[3] - first[0]))) / film.FILM_120.picture_height_mm
    _heights(seen, boxes, unit)
    _widths(seen, boxes, unit)
    for c in seen:
        if any(c.modelled):
            c.corners = patch.points(boxes[id(c)]) * reduction


def _heights(seen: list[Candidate], boxes: Boxes, mm: float) -> None:
    for first, second, side in ((0, 1, sides.TOP), (3, 2, sides.BOTTOM)):
        middles = np.array([(boxes[id(c)][first] + boxes[id(c)][second]) / 2 for c in seen])
        weight = np.array([0.0 if (e := c.edges[side]) is None else e.share for c in seen])
        good = weight > SPEAKS
        if good.sum() < 2:
            continue
        line = steady(middles[good])
        for c in seen:
            box = boxes[id(c)]
            middle = (box[first] + box[second]) / 2
            off = middle[1] - np.polyval(line, middle[0])
            e = c.edges[side]
            # Film wanders a little in the gate: what is plainly seen stands.
            free = FREE_MM if e is not None and e.share > STANDS else HELD_MM
            if abs(off) > free * mm or e is None or e.share < UNSEEN:
                for k in (first, second):
                    box[k][1] = np.polyval(line, box[k][0])
                c.modelled[side] = True


def _widths(seen: list[Candidate], boxes: Boxes, mm: float) -> None:
    width = {}
    for c in seen:
        box = boxes[id(c)]
        width[id(c)] = float((box[1] + box[2])[0] - (box[0] + box[3])[0]) / 2
    trust = {id(c): (c.trust_of(sides.LEFT), c.trust_of(sides.RIGHT)) for c in seen}
    known = [width[id(c)] for c in seen if min(trust[id(c)]) > SPEAKS]
    if len(known) < 2:
        return
    usual = float(np.median(known))
    for c in seen:
        left, right = trust[id(c)]
        own = width[id(c)]
        free = FREE_MM if min(left, right) > STANDS else HELD_LONG_MM
        if abs(own - usual) <= free * mm and min(left, right) > END_UNSEEN:
            continue
        # The end that is seen less well gives way.
        pairs, side = (((1, 0), (2, 3)), 2) if left >= right else (((0, 1), (3, 2)), 0)
        box = boxes[id(c)]
        for k, other in pairs:
            box[k] = box[other] + (box[k] - box[other]) * (usual / own)
        c.modelled[side] = True
