"""How large things are: what the file and the batch say of it, against what the master shows.

A resolution in a file's header is a hint: much software writes 72, 96 or 300 without knowing. What
is measured decides: the pitch of perforations, the width of film, the size of a mount. Where
nothing is measured, a hint counts as confirmed when the piece then has a size that such pieces
have (film.py); what rests on a hint alone is said to do so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from glassine.base import film
from glassine.base.model import Facts, Frame, PpiSource
from glassine.locate.candidate import Candidate
from glassine.locate.shapes import Doubles, lengths_of, order

# A camera's master shows a picture (half frames are 18 mm long) and no more than a large table.
SHORTEST_MM, LONGEST_MM = 15.0, 1000.0
# How far two statements of a scale may differ: film shrinks by one or two per cent (common
# practice, no source), a nominal resolution is round; a mount and film in a mask vary more.
AGREE = {
    "perforations": 0.05,
    "film width": 0.08,
    "mount": 0.08,
    "picture size": 0.06,
    "stated kind": 0.08,
}
# Shares of a mount's side that its opening takes: (34.3, 22.5), (36, 24), (39.1, 37.5) mm of 50.
OPENINGS = ((0.686, 0.45), (0.72, 0.48), (0.782, 0.75))
ROLLS = ("strip_135", "strip_120")
# What is said twice of a scale is the same within this share.
SAID_TWICE = 0.06
# Corners of two looks that lie this near (share of the diagonal, or px) are the same.
SAME_SHARE, SAME_PX = 0.001, 2.0
# A frame is wrong from this share of its diagonal on: looks as far apart cannot both be right.
WRONG = 0.01


@dataclass(frozen=True)
class Scale:
    """Pixels of the master per inch, in the plane of the film, and where that comes from."""

    ppi: float
    source: PpiSource

    def words(self) -> str:
        """Return it as a person reads it."""
        told = {
            "batch": "as batch.yaml states (nominal_ppi)",
            "tag": "as the file's header says",
            "perforations": "by its perforations",
            "film width": "by the width of the film",
            "mount": "by the size of the mount",
            "picture size": "by the size of the picture that batch.yaml states",
            "stated kind": "by the size of the kind that batch.yaml states",
            "catalogue": "by the size that the catalogue states",
        }
        return f"{self.ppi:.0f} ppi {told[self.source]}"


@dataclass(frozen=True)
class Doubt:
    """What is in doubt about the whole master. reason: for every frame's reasons, and the feature
    of `weights` that it is; note: for the master's notes.
    """

    reason: str | None = None
    feature: str = "scale in doubt"
    note: str | None = None


def hints_of(facts: Facts, tag: float | None) -> tuple[Scale, ...]:
    """Return what is said of the scale, the strongest first."""
    said = []
    if facts.nominal_ppi:
        said.append(Scale(facts.nominal_ppi, "batch"))
    if tag:
        said.append(Scale(tag, "tag"))
    return tuple(said)


def plausible(scale: Scale, long_px: float) -> bool:
    """Whether a master of this long edge may be of this scale at all."""
    return SHORTEST_MM <= long_px / film.px_per_mm(scale.ppi) <= LONGEST_MM


def implausible(scale: Scale, long_px: float) -> str:
    """Return what to tell a person of a scale that cannot be."""
    long_mm = long_px / film.px_per_mm(scale.ppi)
    size = f"{long_mm:.0f} mm" if long_mm < 1000 else f"{long_mm / 1000:.1f} m"
    return f"{scale.words()} would make the whole master {size} long; that is not used"


def apart(a: Scale, b: Scale) -> float:
    """Return by how much two scales differ, as a share (the logarithm of their ratio)."""
    return abs(math.log(a.ppi / b.ppi))


def agree(said: Scale, seen: Scale) -> bool:
    """Whether what is said and what is seen are one scale."""
    return apart(said, seen) <= AGREE[seen.source]


def contradicts(said: Scale, seen: Scale) -> str:
    """Return the words for two scales that differ."""
    other = "nominal_ppi in batch.yaml" if said.source == "batch" else "the header's resolution"
    remedy = "correct nominal_ppi" if said.source == "batch" else "state nominal_ppi in batch.yaml"
    return f"{said.words()}, but {seen.words()}: {other} may be wrong ({remedy})"


def by_stated_size(facts: Facts, found: Sequence[Candidate]) -> Scale | None:
    """Return the scale by the picture's size that the batch states, where the shape agrees."""
    plain = [c for c in found if not c.blank]
    if facts.size_mm is None or not plain:
        return None
    long, short = np.median([lengths_of(c.corners) for c in plain], axis=0)
    long_mm, short_mm = max(facts.size_mm), min(facts.size_mm)
    if short <= 0 or short_mm <= 0 or abs(np.log(long / short * short_mm / long_mm)) > 0.04:
        return None
    return Scale(float(long / long_mm * film.MM_PER_INCH), "picture size")


def by_mount(found: Sequence[Candidate], kind: str) -> Scale | None:
    """Return the scale by a mount's outline: square, its opening a known share of it.

    kind: as the batch states it. A slide that is stated to be mounted needs but a square outline.
    """
    if kind not in ("auto", "mounted_slide") or len(found) != 1 or found[0].oval:
        return None
    outline = found[0].object_corners
    if outline is None or found[0].levels < 2:
        return None
    long, short = lengths_of(order(outline))
    if short <= 0 or long / short > 1.04:
        return None
    side = (long + short) / 2
    shares = np.array(lengths_of(found[0].corners)) / side
    like = any(np.abs(shares - known).max() < 0.03 for known in OPENINGS)
    if not like and kind == "auto":
        return None
    return Scale(side / film.MOUNT.width_mm * film.MM_PER_INCH, "mount")


def by_stated_kind(found: Sequence[Candidate], kind: str) -> Scale | None:
    """Return the scale by a kind that a person states and that has one size: a frame of 35 mm
    film, 24 x 36 mm, and a square lantern slide, 82.55 mm (85 mm are within what is allowed).
    """
    plain = [c for c in found if not c.blank]
    if kind not in ("frame_135", "lantern") or len(plain) != 1 or plain[0].oval:
        return None
    one = plain[0]
    if kind == "frame_135":
        long, short = lengths_of(one.corners)
        like, size_mm = 1.44 * short < long < 1.58 * short, 36.0
    else:
        if one.object_corners is None or one.levels < 2:
            return None
        long, short = lengths_of(order(one.object_corners))
        like, size_mm = long < 1.04 * short, film.LANTERN[0].width_mm
    return Scale(long / size_mm * film.MM_PER_INCH, "stated kind") if like else None


def confirmed(scale: Scale, found: Sequence[Candidate], kind: str, held_px: Doubles) -> bool:
    """Whether pieces of a kind have sizes that such pieces have, by this scale.

    held_px: sides (master px) of the opening or mount that holds the piece, zeros where none does.
    """
    plain = [c for c in found if not c.blank]
    good = [_known_size(scale, c, kind, held_px) for c in plain]
    return bool(plain) and all(good)


def _known_size(scale: Scale, one: Candidate, kind: str, held_px: Doubles) -> bool:
    mm = film.px_per_mm(scale.ppi)
    picture = np.array(lengths_of(one.corners)) / mm
    outline = one.corners if one.object_corners is None else order(one.object_corners)
    outer = np.array(lengths_of(outline)) / mm
    whole_135 = bool(np.abs(picture - (36.0, 24.0)).max() < 1.3)
    if one.gauge == "120":
        return True  # only what is as wide as the film comes that far
    if kind == "frame_135":
        return whole_135
    if kind == "mounted_slide":
        mounts = (film.MOUNT,)
        opening = film.nearest(picture[0], picture[1], film.APERTURES) is not None
        return opening or any(
            film.nearest(each[0], each[1], mounts, 1.5) is not None
            for each in (outer, held_px / mm)
        )
    if kind == "lantern":
        return film.nearest(outer[0], outer[1], film.LANTERN) is not None
    if kind in ("cut_frames", "auto", *ROLLS):
        # Pieces of many sizes: with so many known ones, some would fit any scale.
        return whole_135
    return film.nearest(outer[0], outer[1], (*film.SHEETS, *film.PLATES)) is not None


def unconfirmed(scale: Scale) -> str:
    """Return the note that nothing measured stands behind a scale."""
    return (
        f"{scale.words()}: nothing on the master confirms it; margins, sizes in mm and the "
        "measure of sampling rest on it"
    )


def same_frames(a: Sequence[Frame], b: Sequence[Frame]) -> bool:
    """Whether two looks at one master found the same frames."""
    if len(a) != len(b):
        return False
    for one, other in zip(a, b, strict=True):
        first, second = np.array(one.corners), np.array(other.corners)
        near = max(SAME_PX, SAME_SHARE * float(np.hypot(*(first[2] - first[0]))))
        if np.hypot(*(first - second).T).max() > near or one.blank != other.blank:
            return False
    return True
