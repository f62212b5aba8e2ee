"""What the learned map holds against frames: evidence beside what was measured, never the judge.

Measured alone (tests/benchmarks/locate/MAP.md): of frames made wrong 83 to 100 % are doubted by
kind of fault, of true ones about one master in seventeen, most of these by a side along which the
network sees no edge. So that sign alone sends nothing to review.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from glassine.locate import learned
from glassine.locate.candidate import Candidate
from glassine.locate.nearby import beside, is_next_picture
from glassine.locate.shapes import Doubles
from glassine.locate.view import View

# A line nearer than this share to the middle of a frame may be where two halves meet.
MIDDLE = 0.06
# An area smaller than this share of a usual frame, of which the network is no surer than this, is
# fog, printing or a shadow: pictures that were missed were as large as a frame (0.97 and more) and
# plain (0.96), what was none a tenth of one (0.12 at the most) and not (0.83), in 172 drawn scenes.
PART, PLAIN = 0.2, 0.9
# A side is plain along this share of it, straight within so much (px), with this step (density) to
# what bounds it; tones of a picture vary by more than this (density; see `measures.spread_of`); and
# what costs more bits than this is a doubt.
BOUNDED_SHARE, BOUNDED_PX, BOUNDED_STEP, VARIED, SAID_BITS = 0.6, 1.5, 0.4, 0.12, 1.0


def examine(view: View, found: Sequence[Candidate], reduction: float) -> None:
    """Note on the candidates where the map and they disagree. reduction: master px per view px."""
    size = view.light.shape[1] * reduction, view.light.shape[0] * reduction
    map_ = learned.seen(view)
    pictures = [one for one in found if not one.blank and not one.oval]
    for one in pictures:
        _alone(one, learned.signs([one.corners], map_, reduction))
    if not found:
        return
    frames = [one.corners for one in found]
    usual = float(np.median([cv2.contourArea(each.astype(np.float32)) for each in frames]))
    usual /= map_.picture.size * (reduction / map_.scale[0]) * (reduction / map_.scale[1])
    areas = learned.unexplained(frames, map_, reduction)
    areas = [each for each in areas if each.likely > PLAIN or each.share > PART * usual]
    areas = [each for each in areas if not is_next_picture(found, each.corners, size)]
    if not areas:
        return
    for one, numbers in beside(found, [area.corners for area in areas]):
        if not any(each.feature == "picture outside" for each in one.evidence):
            place = _place(areas[numbers[0]].corners, view, reduction)
            one.against(
                "map: picture outside",
                f"something like a picture is seen {place}, where no frame is",
            )


def _alone(one: Candidate, shown: learned.Signs) -> None:
    if shown.empty > learned.EMPTY:
        one.against(
            "map: no picture inside",
            f"{shown.empty:.0%} of the frame does not look like a picture",
            min(1.0, shown.empty / (2 * learned.EMPTY)),
        )
        if _plainly_bounded(one):
            one.against("four plain sides in black")
    if shown.parted > learned.PARTED and not _said_to_be_several(one):
        one.against(
            "map: edge inside",
            "the edge of a picture seems to run through the frame: it may be several",
        )
        # Two half frames that touch are as long as one whole; other parts are of no format.
        if one.format_seen and abs(shown.parted_at - 0.5) > MIDDLE:
            one.against("of the size of its strip")
    if shown.unseen > learned.UNSEEN:
        one.against("map: side without an edge")


def _plainly_bounded(one: Candidate) -> bool:
    """Whether a frame is bounded by black on four plain, straight sides, its tones vary, and
    nothing else that was measured speaks against it: a wall or water in it looks to the network
    like card or film, which would show in some of that.
    """
    plain = one.level_dark and all(
        got is not None
        and got.share > BOUNDED_SHARE
        and got.residual < BOUNDED_PX
        and got.contrast > BOUNDED_STEP
        and not moved
        for got, moved in zip(one.edges, one.modelled, strict=True)
    )
    others = [each for each in one.evidence if each.feature != "map: no picture inside"]
    return plain and one.varied > VARIED and all(each.bits < SAID_BITS for each in others)


def _said_to_be_several(one: Candidate) -> bool:
    said = {"bar inside", "seam inside", "repeats itself"}
    return any(each.feature in said for each in one.evidence)


def _place(corners: Doubles, view: View, reduction: float) -> str:
    """Return where on the master an area lies, in words."""
    h, w = view.light.shape[:2]
    x, y = corners.mean(0) / reduction / (w, h)
    across = "left" if x < 1 / 3 else "right" if x > 2 / 3 else ""
    down = "top" if y < 1 / 3 else "bottom" if y > 2 / 3 else ""
    if not across and not down:
        return "in the middle of the master"
    return f"at the {' '.join(part for part in (down, across) if part)} of the master"
