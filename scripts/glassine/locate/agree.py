"""Frames of one strip agree: one camera's gate gave them height and width."""

from __future__ import annotations

import numpy as np

from glassine.locate import sides
from glassine.locate.candidate import Candidate
from glassine.locate.shapes import Doubles, steady
from glassine.locate.view import Patch

Boxes = dict[int, Doubles]


def agree(found: list[Candidate], patch: Patch, reduction: float, mm: float | None) -> None:
    """Put sides that disagree with the strip's others where those say.

    A long edge off the line that the others share, and an end that makes a frame longer or
    shorter than the others, are moved and marked as `modelled`. patch: the strip turned level;
    reduction: master px per px of the view; mm: px of the view per millimetre, where known.
    """
    seen = [c for c in found if not c.blank]
    if len(seen) < 3:
        return
    a = patch.to_view
    back = np.linalg.inv(a[:, :2])
    boxes = {id(c): np.asarray((c.corners / reduction - a[:, 2]) @ back.T) for c in seen}
    first = boxes[id(seen[0])]
    # Without a scale it is 120 film: its pictures are 56 mm high.
    unit = mm or float(np.hypot(*(first[3] - first[0]))) / 56
    _heights(seen, boxes, unit)
    _widths(seen, boxes, unit)
    for c in seen:
        if any(c.modelled):
            c.corners = patch.points(boxes[id(c)]) * reduction


def _heights(seen: list[Candidate], boxes: Boxes, mm: float) -> None:
    for first, second, side in ((0, 1, sides.TOP), (3, 2, sides.BOTTOM)):
        middles = np.array([(boxes[id(c)][first] + boxes[id(c)][second]) / 2 for c in seen])
        weight = np.array([0.0 if (e := c.edges[side]) is None else e.share for c in seen])
        good = weight > 0.4
        if good.sum() < 2:
            continue
        line = steady(middles[good])
        for c in seen:
            box = boxes[id(c)]
            middle = (box[first] + box[second]) / 2
            off = middle[1] - np.polyval(line, middle[0])
            e = c.edges[side]
            # Film wanders a little in the gate: what is plainly seen stands.
            free = 0.5 if e is not None and e.share > 0.6 else 0.1
            if abs(off) > free * mm or e is None or e.share < 0.3:
                for k in (first, second):
                    box[k][1] = np.polyval(line, box[k][0])
                c.modelled[side] = True


def _widths(seen: list[Candidate], boxes: Boxes, mm: float) -> None:
    width = {}
    for c in seen:
        box = boxes[id(c)]
        width[id(c)] = float((box[1] + box[2])[0] - (box[0] + box[3])[0]) / 2
    trust = {id(c): (c.trust_of(sides.LEFT), c.trust_of(sides.RIGHT)) for c in seen}
    known = [width[id(c)] for c in seen if min(trust[id(c)]) > 0.4]
    if len(known) < 2:
        return
    usual = float(np.median(known))
    for c in seen:
        left, right = trust[id(c)]
        own = width[id(c)]
        free = 0.5 if min(left, right) > 0.6 else 0.12
        if abs(own - usual) <= free * mm and min(left, right) > 0.1:
            continue
        # The end that is seen less well gives way.
        pairs, side = (((1, 0), (2, 3)), 2) if left >= right else (((0, 1), (3, 2)), 0)
        box = boxes[id(c)]
        for k, other in pairs:
            box[k] = box[other] + (box[k] - box[other]) * (usual / own)
        c.modelled[side] = True
