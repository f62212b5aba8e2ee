"""How far a found frame can be trusted, in a number and in words; the record of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal, cast

import cv2
import numpy as np

from glassine.base import film
from glassine.base.model import Corners, Frame, Side
from glassine.locate import sides
from glassine.locate.candidate import Candidate
from glassine.locate.shapes import Doubles, angle_of, keystone_of, order, rectangle_of

# Kinds whose polarity is taken from the kind, not from the picture.
_BY_KIND = ("print", "lantern", "mounted_slide")
# Trust in a polarity that a film's mask or its own border shows (see `character`).
_PLAIN = 0.95

if TYPE_CHECKING:
    from glassine.locate.finder import Finder

# A sheet of 6 x 9 cm is 88.5 mm long: a piece of that height that is longer is roll film.
LONGER_THAN_ONE = 95.0


def judge(finder: Finder, candidate: Candidate) -> None:
    """Set the candidate's confidence, reasons and character."""
    facts = finder.facts
    assert candidate.character is not None
    names = sides.NAMES
    confidence = 0.99
    if not candidate.blank and not candidate.oval:
        for side, got in enumerate(candidate.edges):
            if candidate.modelled[side]:
                if candidate.trust_of((side + 2) % 4) < 0.4 or candidate.modelled[(side + 2) % 4]:
                    confidence *= 0.7
                    candidate.reasons.append(
                        f"{names[side]} edge not seen: placed as on the other frames of the strip"
                    )
                else:
                    confidence *= 0.95
                continue
            if candidate.strip and side in (0, 2) and candidate.seen[side] < 0.12:
                confidence *= 0.75
                candidate.reasons.append(f"{names[side]} edge hardly differs from the border")
            if got is None or got.share < 0.12:
                confidence *= 0.4
                candidate.reasons.append(
                    f"{names[side]} edge not found: picture as {'dark' if candidate.level_dark else 'clear'} as the border"  # noqa: E501
                )
            elif got.residual > max(1.5, 0.001 * float(np.hypot(*(got.q - got.p)))):
                confidence *= 0.65
                candidate.reasons.append(f"{names[side]} edge is not straight")
            elif got.share < 0.3:
                confidence *= 0.75
                candidate.reasons.append(
                    f"{names[side]} edge seen along {got.share:.0%} of its length only"
                )
            plain = 0.8 if candidate.level_dark else 0.1
            if got is not None and got.contrast > plain and finder.border_inside(candidate, side):
                confidence *= 0.5
                candidate.reasons.append(
                    f"{names[side]} edge may be that of the film: border is seen inside it"
                )
    confidence *= _shape(finder, candidate)
    if candidate.oval:
        u, v = finder.size_mm(candidate.corners)
        if candidate.levels == 1 and u < 1.1 * v:
            confidence *= 0.6
            candidate.reasons.append("round opening: nothing shows how the slide lies")
        if candidate.oval_seen < 0.5:
            confidence *= 0.6
            candidate.reasons.append(
                f"edge of the oval seen along {candidate.oval_seen:.0%} of its length only"
            )
    if keystone_of(candidate.corners) > 0.9:
        confidence *= 0.6
        candidate.reasons.append("opposite sides are not parallel")
    area = float(cv2.contourArea(candidate.corners.astype(np.float32)))
    if not candidate.strip and area < 0.1 * finder.width * finder.height and finder.alone:
        confidence *= 0.5
        candidate.reasons.append("covers little of the master: there may be more picture around it")
    if finder.ppi and not candidate.strip:
        long, short = finder.size_mm(candidate.corners)
        if abs(short - film.FILM_120.picture_height_mm) < 2.5 and long > LONGER_THAN_ONE:
            confidence *= 0.6
            candidate.reasons.append("as high as frames on 120 film: may be several side by side")
    if candidate.hollow:
        confidence *= 0.4
        candidate.reasons.append("even all round: a mask or mount with no picture found in it")
    if _cut_off(finder, candidate):
        confidence *= 0.5
        candidate.reasons.append("cut off by the master's edge")
    low, high = candidate.corners.min(0), candidate.corners.max(0)
    if low.min() < -1 or (high > np.array([finder.width, finder.height]) + 1).any():
        confidence *= 0.5
        candidate.reasons.append("runs out of the master")
    if candidate.trust < 1:
        confidence *= candidate.trust
        candidate.reasons.append("far smaller than any known picture")
    if any(r.startswith("overlaps") for r in candidate.reasons):
        confidence *= 0.75
    if (
        facts.polarity == "auto"
        and candidate.character.polarity_trust < 0.8
        and not candidate.blank
    ):
        confidence *= 0.78
        candidate.reasons.append("negative or positive: not clear from the picture")
    if facts.process == "auto" and candidate.character.process_trust < 0.8 and not candidate.blank:
        confidence *= 0.78
        candidate.reasons.append("colour or monochrome: not clear from the picture")
    if _not_monochrome(finder, candidate):
        confidence *= 0.78
        candidate.reasons.append("stated to be monochrome, but the negative shows colours")
    if _other_polarity(finder, candidate):
        confidence *= 0.78
        stated = facts.polarity
        other = "positive" if stated == "negative" else "negative"
        candidate.reasons.append(f"stated to be {stated}, but it looks like a {other}")
    candidate.confidence = confidence


def _other_polarity(finder: Finder, candidate: Candidate) -> bool:
    """Whether the film itself (its mask or its border) plainly says other than batch.yaml."""
    found, stated = candidate.character, finder.facts.polarity
    if found is None or candidate.blank or stated == "auto" or finder.facts.kind in _BY_KIND:
        return False
    return found.polarity != stated and found.polarity_trust >= _PLAIN


def _not_monochrome(finder: Finder, candidate: Candidate) -> bool:
    """Whether a negative that is stated to be monochrome is plainly none; positives are looked at
    when their tone is set."""
    found = candidate.character
    if found is None or candidate.blank or finder.facts.process != "monochrome":
        return False
    polarity = finder.facts.polarity if finder.facts.polarity != "auto" else found.polarity
    return polarity == "negative" and found.process == "colour" and found.process_trust >= 0.9


def _cut_off(finder: Finder, candidate: Candidate) -> bool:
    """Whether a frame of a strip has a side along the master's own edge."""
    if not candidate.strip:
        return False
    near = 0.4 * (finder.ppi or 0) / film.MM_PER_INCH + 2
    far = np.array([finder.width, finder.height]) - near
    c = candidate.corners
    sides_of = [c[[k, (k + 1) % 4]] for k in range(4)]
    return any(((side < near).all(0) | (side > far).all(0)).any() for side in sides_of)


def _shape(finder: Finder, candidate: Candidate) -> float:
    """Return a factor for how like a picture's the shape is: square corners, a known size."""
    if candidate.blank or candidate.oval:
        return 1.0
    c = candidate.corners
    factor = 1.0
    turns = []
    for k in range(4):
        a, b = c[(k + 1) % 4] - c[k], c[k - 1] - c[k]
        turns.append(
            abs(90 - np.degrees(np.arccos(np.clip(a @ b / np.hypot(*a) / np.hypot(*b), -1, 1))))
        )
    if max(turns) > 0.75:
        factor *= 0.7
        candidate.reasons.append(f"corners are up to {max(turns):.1f} degrees off square")
    if candidate.gauge == "135" and finder.ppi_source == "perforations":
        long, short = finder.size_mm(c)
        whole = abs(long - 36) < 0.55 and abs(short - 24) < 0.55
        half = abs(long - 24) < 0.55 and abs(short - 18) < 0.6
        if not whole and not half:
            factor *= 0.7
            candidate.reasons.append(
                f"{long:.1f} x {short:.1f} mm is no usual size of a picture on 35 mm film"
            )
    return factor


def corners_of(c: Doubles) -> Corners:
    return cast(Corners, tuple((float(x), float(y)) for x, y in c))


def frame_of(finder: Finder, candidate: Candidate, index: int) -> Frame:
    facts = finder.facts
    corners = order(candidate.corners)
    shift = int(np.argmin(np.hypot(*(candidate.corners - corners[0]).T)))
    keystone = keystone_of(corners)
    if finder.settings["fit"] == "rectangle":
        corners = rectangle_of(corners)
    made = []
    for k, name in enumerate(sides.NAMES):
        got = candidate.edges[(k + shift) % 4] if candidate.edges else None
        made.append(
            Side(name, got is not None, got.residual if got else 0.0, got.contrast if got else 0.0)
        )
    assert candidate.character is not None
    state: Literal["ok", "review"] = (
        "ok" if candidate.confidence >= finder.settings["review_below"] else "review"
    )
    return Frame(
        index=index,
        corners=corners_of(corners),
        angle_deg=angle_of(corners),
        polarity=cast(
            Any, candidate.character.polarity if facts.polarity == "auto" else facts.polarity
        ),
        process=cast(
            Any, candidate.character.process if facts.process == "auto" else facts.process
        ),
        process_stated=facts.process != "auto",
        blank=candidate.blank,
        confidence=round(candidate.confidence, 3),
        state=state,
        reasons=tuple(candidate.reasons) if state == "review" else (),
        sides=tuple(made),
        keystone_deg=keystone,
    )


def reading_order(candidates: list[Candidate]) -> list[Candidate]:
    """Sort by rows from top to bottom, then left to right."""
    rest = sorted(candidates, key=lambda c: float(c.corners[:, 1].mean()))
    out: list[Candidate] = []
    while rest:
        first = rest[0]
        height = float(np.ptp(first.corners[:, 1]))
        level = float(first.corners[:, 1].mean())
        row = [c for c in rest if abs(float(c.corners[:, 1].mean()) - level) < 0.5 * height]
        out.extend(sorted(row, key=lambda c: float(c.corners[:, 0].mean())))
        rest = [c for c in rest if all(c is not r for r in row)]
    return out
