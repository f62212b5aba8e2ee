"""What speaks against a frame by itself, named and in words (see `weights`); the record of it."""

from __future__ import annotations

from typing import Any, Literal, cast

import cv2
import numpy as np

from glassine.base import film
from glassine.base.model import Corners, Frame, Side
from glassine.locate import sides, weights
from glassine.locate.candidate import Candidate
from glassine.locate.known import Known
from glassine.locate.measures import ALONG, band_inside, border_inside, spread_of
from glassine.locate.scene import Scene
from glassine.locate.shapes import (
    ENDS,
    Doubles,
    angle_of,
    keystone_of,
    lengths_of,
    met,
    order,
    rectangle_of,
)
from glassine.locate.view import Floats

# Kinds whose polarity is taken from the kind, not from the picture.
_BY_KIND = ("print", "lantern", "mounted_slide")
# Trust in a polarity that a film's mask or its own border shows (see `character`).
_PLAIN = 0.95

# What has no source was set on the scenes that `tests/benchmarks/locate` draws.
# Spread of an edge about its line, as a share of its length: that from which it counts, and that
# which costs a whole unit.
STRAIGHT, UNEVEN = 0.001, 0.0025
# The least spread that counts, px, and the most units that it costs.
UNEVEN_PX, UNEVEN_MOST = 1.5, 1.5
# An edge whose step of tone is less than this (density) is faint.
FAINT = 0.05
# Shares of a side's length: seen along less it was not found, along less than the second it was
# seen in part only. A side that was put where the strip's others say rests on the one across from
# it, which must show along the third.
NOT_FOUND, IN_PART, HELD_BY_OTHER = 0.12, 0.3, 0.4
# A step of tone (density) this plain, dark or clear border, may be that of the film's own edge.
PLAIN_DARK, PLAIN_CLEAR = 0.8, 0.1
# A single frame that covers less than this share of the master.
LITTLE = 0.1
# How far (share, and mm at the least) a picture may be off the size that is stated: masks and worn
# edges, nominal sizes. Common practice, no source.
SIZE_SHARE, SIZE_MM = 0.06, 1.5
# A sheet of 6 x 9 cm is 88.5 mm long: a piece of that height that is longer is roll film.
LONGER_THAN_ONE = 95.0
# How far (mm) frames on 120 film may be off their height.
OFF_120_MM = 2.5
# Pictures on 35 mm film (mm): whole frames, half ones and wide views (58 to 66 mm long, value from
# memory), and how far either side may be off.
ON_135_MM = ((36, 24, 0.55, 0.55), (24, 18, 0.55, 0.6), (61, 24, 5.6, 0.55))
# How far (share) pictures may be off these where they tell a scale and no more.
ABOUT = 0.03
# Opposite sides that part by more (degrees), corners that are off square by more: no camera's.
KEYSTONE_DEG, OFF_SQUARE_DEG = 0.9, 0.75
# Sides that show along more than this share are plain; opposite ones that part by less (degrees)
# are parallel.
PLAIN_SHARE, PARALLEL_DEG = 0.6, 0.25
# An oval that is less than so many times as long as wide may lie anyhow; seen along less than this
# share it was seen in part.
ROUND, OVAL_IN_PART = 1.1, 0.5
# Corners that lie off where the edges meet by more than this share of the diagonal count; from the
# second one on the frame is wrong.
NOT_MET, WRONG = 0.003, 0.01
# Trust from which on a process or a polarity is clear; from which on colours are plainly seen.
CLEAR, PLAIN_COLOUR = 0.8, 0.9
# A side nearer (mm, and px) to the master's edge than this lies along it; where the scale is not
# known, a millimetre is taken for this share of the frame's long side.
CUT_OFF_MM, CUT_OFF_PX, CUT_OFF_SHARE = 0.4, 2, 0.02
# A side of a piece nearer than this (view px) to the master's edge is cut off by it. Beyond a
# picture's side there, nearer than this share of its short side to the edge (what is wider is seen
# as a picture of its own, `outside.THICK`), picture goes on where
# less than the third (share) is alike (density) to border or table and it is so varied (density).
EDGE_VIEW_PX, BEYOND_SHARE, LEFT_BARE, ALIKE, VARIED_BEYOND = 2.0, 0.16, 0.3, 0.1, 0.12
# Tones of a picture lie further apart than this (density; 0.044 at the least in 361 drawn ones,
# 0.028 at the most in openings and patches without one).
PLAIN_AREA = 0.035
# The same without an even fall-off of light and without grain (`measures.structure_of`): 0.012 at
# the least in 818 drawn pictures, 0.006 in a bare patch on which light falls off.
PLAIN_STRUCTURE = 0.009
# A frame whose middle is off by less than this share of another's height is in the same row.
SAME_ROW = 0.5


def judge(
    scene: Scene, known: Known, candidate: Candidate, alone: bool, on_paper: bool = False
) -> None:
    """Note all that speaks against a candidate by itself. alone: whether it is the only one;
    on_paper: whether it is a print in light from above, and so no film.
    """
    if not candidate.blank and not candidate.oval:
        for side in range(4):
            _side(scene, candidate, side)
    _shape(known, candidate)
    _size(scene, known, candidate, alone, on_paper)
    if candidate.hollow:
        candidate.against(
            "mask without a picture", "even all round: a mask or mount with no picture found in it"
        )
    plain = candidate.varied < PLAIN_AREA or candidate.structure < PLAIN_STRUCTURE
    if plain and not candidate.blank:
        candidate.against("one tone all over", "one tone all over: no picture is seen in it")
    if _cut_off(scene, known, candidate) or _goes_on(scene, candidate):
        candidate.against("cut off", "cut off by the master's edge")
    low, high = candidate.corners.min(0), candidate.corners.max(0)
    if low.min() < -1 or (high > np.array([scene.width, scene.height]) + 1).any():
        candidate.against("runs out of the master", "runs out of the master")
    _statements(scene, candidate)


def _side(scene: Scene, candidate: Candidate, side: int) -> None:
    """Note what speaks against one side."""
    name, got = sides.NAMES[side], candidate.edges[side]
    if candidate.modelled[side]:
        other = (side + 2) % 4
        if candidate.trust_of(other) < HELD_BY_OTHER or candidate.modelled[other]:
            candidate.against(
                "side unseen, as on the strip",
                f"{name} edge not seen: placed as on the other frames of the strip",
            )
        else:
            candidate.against(
                "side as on the strip", f"{name} edge placed as on the other frames of the strip"
            )
        return
    if candidate.strip and side in (0, 2) and candidate.seen[side] < NOT_FOUND:
        candidate.against("side like its border", f"{name} edge hardly differs from the border")
    if got is None or got.share < NOT_FOUND:
        like = "dark" if candidate.level_dark else "clear"
        candidate.against(
            "side not found", f"{name} edge not found: picture as {like} as the border"
        )
    elif got.residual > max(UNEVEN_PX, STRAIGHT * float(np.hypot(*(got.q - got.p)))):
        uneven = got.residual / float(np.hypot(*(got.q - got.p)))
        # What hardly steps and does not lie on a line is a chance row of dots.
        amount = min(UNEVEN_MOST, max(uneven / UNEVEN, float(got.contrast < FAINT)))
        candidate.against("side not straight", f"{name} edge is not straight", amount)
    elif got.share < IN_PART:
        candidate.against(
            "side seen in part", f"{name} edge seen along {got.share:.0%} of its length only"
        )
    plain = PLAIN_DARK if candidate.level_dark else PLAIN_CLEAR
    if got is not None and got.contrast > plain and border_inside(scene.view, candidate, side):
        candidate.against(
            "side of the film",
            f"{name} edge may be that of the film: border is seen inside it",
        )
    elif band_inside(scene.view, candidate, side):
        candidate.against(
            "band like the border inside",
            f"{name} edge may be that of the piece or of a shadow: a band like the border runs "
            "along inside it",
        )


def _size(scene: Scene, known: Known, candidate: Candidate, alone: bool, on_paper: bool) -> None:
    """Note what speaks against the size of a candidate."""
    area = float(cv2.contourArea(candidate.corners.astype(np.float32)))
    if not candidate.strip and area < LITTLE * scene.width * scene.height and alone:
        candidate.against(
            "little of the master",
            "covers little of the master: there may be more picture around it",
        )
    if known.ppi and not candidate.strip and not on_paper:
        long, short = known.size_mm(candidate.corners)
        if abs(short - film.FILM_120.picture_height_mm) < OFF_120_MM and long > LONGER_THAN_ONE:
            candidate.against(
                "size of several on 120 film",
                "as high as frames on 120 film: may be several side by side",
            )
    other = _other_size(scene, known, candidate)
    if other is not None:
        candidate.against("not the stated size", other)
    if candidate.small:
        candidate.against("smaller than pictures are", "far smaller than any known picture")


def _other_size(scene: Scene, known: Known, candidate: Candidate) -> str | None:
    """Return what to say of a picture of another size than batch.yaml states, or None.

    Where the scale itself comes from the stated size, the proportions tell (see `stated`).
    """
    stated = scene.facts.size_mm
    if stated is None or not known.ppi or candidate.blank or min(stated) <= 0:
        return None
    found = np.array(known.size_mm(candidate.corners))
    wanted = np.array([max(stated), min(stated)])
    if (np.abs(found - wanted) <= np.maximum(SIZE_SHARE * wanted, SIZE_MM)).all():
        return None
    return (
        f"{found[0]:.1f} x {found[1]:.1f} mm, but batch.yaml states {wanted[0]:g} x "
        f"{wanted[1]:g} mm (size_mm)"
    )


def _statements(scene: Scene, candidate: Candidate) -> None:
    """Note what of polarity and process is unclear, or other than batch.yaml states."""
    facts, character = scene.facts, candidate.character
    assert character is not None
    if facts.polarity == "auto" and character.polarity_trust < CLEAR and not candidate.blank:
        candidate.against("polarity unclear", "negative or positive: not clear from the picture")
    if facts.process == "auto" and character.process_trust < CLEAR and not candidate.blank:
        candidate.against("process unclear", "colour or monochrome: not clear from the picture")
    if _not_monochrome(scene, candidate):
        candidate.against(
            "process other than stated",
            "stated to be monochrome, but the negative shows colours",
        )
    if _other_polarity(scene, candidate):
        stated = facts.polarity
        other = "positive" if stated == "negative" else "negative"
        candidate.against(
            "polarity other than stated",
            f"stated to be {stated}, but it looks like a {other}",
        )


def _other_polarity(scene: Scene, candidate: Candidate) -> bool:
    """Whether the film itself (its mask or its border) plainly says other than batch.yaml."""
    found, stated = candidate.character, scene.facts.polarity
    if found is None or candidate.blank or stated == "auto" or scene.facts.kind in _BY_KIND:
        return False
    return found.polarity != stated and found.polarity_trust >= _PLAIN


def _not_monochrome(scene: Scene, candidate: Candidate) -> bool:
    """Whether a negative that is stated to be monochrome is plainly none; positives are looked at
    when their tone is set."""
    found = candidate.character
    if found is None or candidate.blank or scene.facts.process != "monochrome":
        return False
    polarity = scene.facts.polarity if scene.facts.polarity != "auto" else found.polarity
    return (
        polarity == "negative" and found.process == "colour" and found.process_trust >= PLAIN_COLOUR
    )


def _cut_off(scene: Scene, known: Known, candidate: Candidate) -> bool:
    """Whether one of several on a piece of film has a side along the master's own edge."""
    if not candidate.strip and candidate.whole is None:
        return False
    mm = (
        known.ppi / film.MM_PER_INCH
        if known.ppi
        else CUT_OFF_SHARE * lengths_of(candidate.corners)[0]
    )
    near = CUT_OFF_MM * mm + CUT_OFF_PX
    far = np.array([scene.width, scene.height]) - near
    c = candidate.corners
    sides_of = [c[[k, (k + 1) % 4]] for k in range(4)]
    return any(((side < near).all(0) | (side > far).all(0)).any() for side in sides_of)


def _goes_on(scene: Scene, candidate: Candidate) -> bool:
    """Whether picture goes on beyond a side, up to the master's edge that cuts its piece off: what
    lies there is varied, and neither the border that shows at other sides nor the table.
    """
    outer = candidate.object_corners
    if outer is None or candidate.border is None or candidate.oval:
        return False
    size = np.array([scene.width, scene.height], float)
    near = EDGE_VIEW_PX * scene.reduction
    short = lengths_of(candidate.corners)[1]
    level = np.float32(scene.layout.tone)
    for side in range(4):
        ends = list(ENDS[side])
        axis = int(np.abs(outer[ends[1]] - outer[ends[0]]).argmin())
        cut, off = (
            float(np.minimum(c[ends], size - c[ends])[:, axis].max())
            for c in (outer, candidate.corners)
        )
        if cut > near or not near < off < BEYOND_SHARE * short:
            continue
        tones = _between(scene, candidate.corners[ends], outer[ends])
        like = [np.abs(tones - tone).max(-1) < ALIKE for tone in (candidate.border, level)]
        if np.any(like, axis=0).mean() < LEFT_BARE and spread_of(tones.mean(0)) > VARIED_BEYOND:
            return True
    return False


def _between(scene: Scene, inner: Doubles, outer: Doubles) -> Floats:
    """Return (5, 80, c) tones between two lines that lie beside one another (master px)."""
    depth = np.linspace(0.3, 0.8, 5)[:, None, None]
    along = np.linspace(*ALONG, 80)[None, :, None]
    p, q = ((1 - depth) * a + depth * b for a, b in zip(inner, outer, strict=True))
    at = ((1 - along) * p + along * q) / scene.view.reduction
    height, width = scene.view.v.shape[:2]
    x = np.clip(at[..., 0].astype(int), 0, width - 1)
    y = np.clip(at[..., 1].astype(int), 0, height - 1)
    return np.asarray(scene.view.v[y, x], np.float32)


def _shape(known: Known, candidate: Candidate) -> None:
    """Note what speaks against the shape: sides, corners, a size that no camera gives."""
    if candidate.oval:
        _oval(known, candidate)
    if keystone_of(candidate.corners) > KEYSTONE_DEG:
        candidate.against("sides not parallel", "opposite sides are not parallel")
    if candidate.blank or candidate.oval:
        return
    c = candidate.corners
    off = _off_its_edges(candidate)
    if off > NOT_MET:
        candidate.against(
            "corners off its edges",
            f"the edges that were found meet {off:.1%} of its diagonal away from its corners",
            min(1.0, off / WRONG),
        )
    turns = []
    for k in range(4):
        a, b = c[(k + 1) % 4] - c[k], c[k - 1] - c[k]
        turns.append(
            abs(90 - np.degrees(np.arccos(np.clip(a @ b / np.hypot(*a) / np.hypot(*b), -1, 1))))
        )
    if max(turns) > OFF_SQUARE_DEG:
        candidate.against(
            "corners not square", f"corners are up to {max(turns):.1f} degrees off square"
        )
        if _sheared(candidate, off):
            candidate.against("four plain sides, sheared")
    on_135 = candidate.gauge == "135" and known.by_perforations
    if on_135 and not usual_on_135(known, candidate):
        long, short = known.size_mm(c)
        candidate.against(
            "no size on 35 mm film",
            f"{long:.1f} x {short:.1f} mm is no usual size of a picture on 35 mm film",
        )


def _sheared(candidate: Candidate, off: float) -> bool:
    """Whether four plain sides make a frame that leans as a whole, as on film that curls: one side
    on a wrong edge would leave opposite sides apart. off: of the corners from where the edges meet.
    """
    plain = all(
        got is not None and got.share > PLAIN_SHARE and got.residual < UNEVEN_PX and not moved
        for got, moved in zip(candidate.edges, candidate.modelled, strict=True)
    )
    return plain and off < NOT_MET and keystone_of(candidate.corners) < PARALLEL_DEG


def _off_its_edges(candidate: Candidate) -> float:
    """Return how far the corners lie from where the edges meet that were found, as a share of the
    diagonal. Sides that were not found, or were put where others say, count as they are.
    """
    c = candidate.corners
    lines = [
        (c[i], c[j]) if got is None or moved or got.share < IN_PART else (got.p, got.q)
        for got, moved, (i, j) in zip(candidate.edges, candidate.modelled, ENDS, strict=True)
    ]
    return float(np.hypot(*(met(lines) - c).T).max() / max(np.hypot(*(c[2] - c[0])), 1.0))


def usual_on_135(known: Known, candidate: Candidate) -> bool:
    """Whether a picture is of a size that cameras for 35 mm film give."""
    long, short = known.size_mm(candidate.corners)
    return any(
        abs(long - length) < off_long and abs(short - width) < off_short
        for length, width, off_long, off_short in ON_135_MM
    )


def about_usual_on_135(known: Known, candidate: Candidate) -> bool:
    """Whether a picture is about of a size that cameras for 35 mm film give: so near that the scale
    it was measured by is none of another kind of film.
    """
    long, short = known.size_mm(candidate.corners)
    return any(
        abs(long / length - 1) < ABOUT + off_long / length and abs(short / width - 1) < ABOUT
        for length, width, off_long, _ in ON_135_MM
    )


def _oval(known: Known, candidate: Candidate) -> None:
    u, v = known.size_mm(candidate.corners)
    if candidate.levels == 1 and u < ROUND * v:
        candidate.against("oval lies anyhow", "round opening: nothing shows how the slide lies")
    if candidate.oval_seen < OVAL_IN_PART:
        candidate.against(
            "oval seen in part",
            f"edge of the oval seen along {candidate.oval_seen:.0%} of its length only",
        )


def corners_of(c: Doubles) -> Corners:
    return cast(Corners, tuple((float(x), float(y)) for x, y in c))


def frame_of(scene: Scene, candidate: Candidate, index: int) -> Frame:
    facts = scene.facts
    corners = order(candidate.corners)
    shift = int(np.argmin(np.hypot(*(candidate.corners - corners[0]).T)))
    keystone = keystone_of(corners)
    if scene.settings.fit == "rectangle":
        corners = rectangle_of(corners)
    made = []
    for k, name in enumerate(sides.NAMES):
        got = candidate.edges[(k + shift) % 4] if candidate.edges else None
        made.append(
            Side(name, got is not None, got.residual if got else 0.0, got.contrast if got else 0.0)
        )
    assert candidate.character is not None
    confidence = weights.confidence(candidate.evidence)
    state: Literal["ok", "review"] = "ok" if confidence >= scene.settings.review_below else "review"
    reasons = tuple(dict.fromkeys(e.words for e in candidate.evidence if e.words))
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
        confidence=round(confidence, 3),
        state=state,
        reasons=reasons if state == "review" else (),
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
        row = [c for c in rest if abs(float(c.corners[:, 1].mean()) - level) < SAME_ROW * height]
        out.extend(sorted(row, key=lambda c: float(c.corners[:, 0].mean())))
        rest = [c for c in rest if all(c is not r for r in row)]
    return out
