"""Looks at one master by one scale and another, and what is to be made of their difference."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, cast

import numpy as np
import numpy.typing as npt

from glassine.base.model import Facts, Frame, MasterGeometry, MasterPiece
from glassine.locate import scale, weights
from glassine.locate.candidate import Candidate
from glassine.locate.encoding import linear_table
from glassine.locate.finder import Finder
from glassine.locate.judge import corners_of, frame_of, judge, reading_order
from glassine.locate.kinds import against, characters
from glassine.locate.refine import Region
from glassine.locate.scale import Doubt, Scale
from glassine.locate.unexplained import beside_words, examine
from glassine.locate.view import Floats


@dataclass
class Look:
    """What one look found: `rough` in the reduced copy, `found` at full resolution, then judged."""

    finder: Finder
    rough: list[Candidate]
    found: list[Candidate] | None = None
    kind: str = "auto"
    judged: bool = False

    @property
    def scale(self) -> Scale | None:
        """Return the scale that was looked by."""
        finder = self.finder
        if finder.ppi is None or finder.ppi_source is None:
            return None
        return Scale(finder.ppi, cast(Any, finder.ppi_source))

    def edges(self) -> list[Candidate]:
        """Return the frames with their edges measured, which is done once."""
        if self.found is None:
            self.found, self.kind = self.finder.exactly(self.rough)
        return self.found

    def judge(self) -> list[Candidate]:
        """Return the frames in reading order, with character, confidence and reasons."""
        if self.judged:
            return self.edges()
        found = self.edges()
        for candidate, made in zip(found, characters(self.finder, found, self.kind), strict=True):
            candidate.character = made
            judge(self.finder, candidate)
        self.found, self.judged = reading_order(found), True
        return self.found

    def seen(self) -> Scale | None:
        """Return the scale by what was measured, or by a size that a person stated."""
        finder = self.finder
        if finder.seen is not None:
            return finder.seen
        kind = finder.kind
        by_size = scale.by_stated_size(finder.facts, self.rough)
        mounted = self.like_a_mount() if kind == "mounted_slide" else None
        return by_size or mounted or scale.by_stated_kind(self.rough, kind)

    def like_a_mount(self) -> Scale | None:
        """Return the scale if this is a mounted slide, as its shape says: some lantern slides
        have the same shape.
        """
        return scale.by_mount(self.rough, self.finder.kind)

    def frames(self) -> tuple[Frame, ...]:
        return tuple(frame_of(self.finder, c, k + 1) for k, c in enumerate(self.judge()))

    def trust(self) -> float:
        return min((weights.confidence(c.evidence) for c in self.judge()), default=0.0)


def _look(base: Finder, by: Scale | None) -> Look:
    finder = base.at(by)
    return Look(finder, finder.roughly())


def settled(base: Finder, tag: float | None) -> tuple[Look, list[Doubt]]:
    """Return the look that holds, and what is in doubt about it."""
    long_px = float(max(base.width, base.height))
    said: list[Scale] = []
    doubts: list[Doubt] = []
    for each in scale.hints_of(base.facts, tag):
        if scale.plausible(each, long_px):
            said.append(each)
        elif each.source == "batch":
            doubts.append(Doubt(scale.implausible(each, long_px)))
        else:
            doubts.append(Doubt(note=scale.implausible(each, long_px)))
    look, more = _weighed(base, said)
    if not said and look.finder.ppi is None:
        # A number that cannot be, and nothing in its place: a person states the right one.
        doubts = [each if each.reason else Doubt(each.note, "scale unusable") for each in doubts]
    return look, doubts + more


def _weighed(base: Finder, said: list[Scale]) -> tuple[Look, list[Doubt]]:
    first = said[0] if said else None
    look = _look(base, first)
    seen = look.seen()
    if seen is not None:
        return _measured(base, look, seen, said)
    if first is None:
        return look, [Doubt(note=UNKNOWN if look.like_a_mount() is None else UNKNOWN_MOUNT)]
    if _confirmed(look):
        return look, _beside(first, said)
    bare = _look(base, None)
    seen = bare.seen() or bare.like_a_mount()
    if seen is not None:
        return _measured(base, look, seen, said)
    return _unconfirmed(base, look, bare, said)


UNKNOWN = "nothing states or shows the resolution: sizes in mm are not known"
GUESSED = (
    "taken for roll film by its shape alone, as nothing states or shows the resolution: it may be "
    "one picture that a band parts (state the kind, frames or nominal_ppi in batch.yaml)"
)
UNKNOWN_MOUNT = f"{UNKNOWN}, nor whether this is a mounted or a lantern slide"


def _measured(base: Finder, look: Look, seen: Scale, said: list[Scale]) -> tuple[Look, list[Doubt]]:
    """Return the look by a scale that was measured; what is said against it is for review."""
    if not said or not scale.agree(said[0], seen):
        look = _look(base, seen)
        again = look.finder.seen
        if again is not None and again.source == "perforations":
            seen = again
    look.finder.sure = True
    if not said:
        # By its shape alone any piece with a band across it may be film of that width.
        guessed = seen.source == "film width" and base.kind == "auto"
        return look, [Doubt(GUESSED, "roll film by its shape")] if guessed else []
    if not scale.agree(said[0], seen):
        return look, [Doubt(scale.contradicts(said[0], seen))]
    return look, _beside(said[0], said)


def _confirmed(look: Look) -> bool:
    found = look.edges()
    by, finder = look.scale, look.finder
    if by is None:
        return False
    held = np.array(finder.opening) * finder.reduction
    finder.sure = scale.confirmed(by, found, look.kind, held)
    return finder.sure


def _beside(used: Scale, said: list[Scale]) -> list[Doubt]:
    """Return notes of what is said otherwise than the scale that is used."""
    return [
        Doubt(note=f"{used.words()}; {each.words()} is not used")
        for each in said[1:]
        if scale.apart(each, used) > scale.SAID_TWICE
    ]


def _unconfirmed(
    base: Finder, look: Look, bare: Look, said: list[Scale]
) -> tuple[Look, list[Doubt]]:
    """Return which look to keep where nothing measured stands behind the scale."""
    first = said[0]
    for other in said[1:]:
        if scale.apart(other, first) > scale.SAID_TWICE and _confirmed(_look(base, other)):
            reason = (
                f"{first.words()} gives no size that such pieces have, "
                f"{other.words()} does: one of both is wrong"
            )
            return look, [Doubt(reason)]
    doubts = [Doubt(note=scale.unconfirmed(first)), *_beside(first, said)]
    if not scale.same_frames(look.frames(), bare.frames()):
        better = max(look, bare, key=Look.trust)
        reason = f"the frames rest on {first.words()}, which nothing on the master confirms"
        return better, [*doubts, Doubt(reason)]
    if look.kind != bare.kind and first.source == "tag":
        reason = (
            f"the kind ({look.kind}) rests on {first.words()}, which nothing on the master confirms"
        )
        return look, [*doubts, Doubt(reason, "kind by an unsure scale")]
    return look, doubts


def _doubted(look: Look, doubts: list[Doubt]) -> None:
    """Lower the confidence of all frames by what is in doubt of the whole master, and say why."""
    for candidate in look.judge():
        for doubt in doubts:
            if doubt.reason is not None:
                candidate.against(doubt.feature, doubt.reason)


def explained(
    base: Finder, ppi_hint: float | None
) -> tuple[Look, list[Doubt], tuple[MasterPiece, ...]]:
    """Return the look that holds, its frames with all that speaks against them; what is in doubt
    of the whole master; and all that lies on it.
    """
    look, doubts = settled(base, ppi_hint)
    look.edges()
    kind_doubt = against(base, look.found or [], look.finder)
    if kind_doubt is not None:
        doubts.append(Doubt(kind_doubt, "kind in doubt"))
    _doubted(look, doubts)
    return look, doubts, examine(look.finder, look.judge())


def locate_array(
    reduced: npt.NDArray[np.generic],
    reduction: float,
    region: Region,
    facts: Facts,
    ppi_hint: float | None,
    settings: dict[str, Any] | None = None,
    *,
    size: tuple[int, int] | None = None,
    table: Floats | None = None,
    path: str = "",
) -> MasterGeometry:
    """Return the frames of one master.

    reduced: (h, w) or (h, w, 3) uint8/uint16, the master shrunk by `reduction` (master px per
    px; each value the mean of its block). region(left, top, width, height): master pixels, same
    type and encoding. ppi_hint: pixels per inch as the file says, or None. table: linear light
    of 16-bit codes (default: from facts.encoding). size: (width, height) of the master, default
    reduced size x reduction.
    """
    width, height = size or (
        round(reduced.shape[1] * reduction),
        round(reduced.shape[0] * reduction),
    )
    if table is None:
        table = linear_table(facts.encoding)
    base = Finder(reduced, reduction, region, facts, settings or {}, width, height, table)
    look, doubts, pieces = explained(base, ppi_hint)
    finder, frames = look.finder, look.frames()
    notes = tuple(doubt.note for doubt in doubts if doubt.note)
    notes += beside_words(pieces) + (() if frames else ("no frame found",))
    return MasterGeometry(
        path=path,
        width=width,
        height=height,
        ppi=finder.ppi,
        ppi_source=cast(Any, finder.ppi_source),
        frames=frames,
        kind=look.kind,
        base_regions=tuple(corners_of(q) for q in finder.base_regions),
        object_corners=corners_of(finder.object_corners)
        if finder.object_corners is not None
        else None,
        notes=notes,
        pieces=pieces,
    )
