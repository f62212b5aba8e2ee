"""Looks at one master by one scale and another, and what is to be made of their difference."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from glassine.base.model import Facts, Frame, MasterGeometry, MasterPiece, SeenText
from glassine.locate import (
    film_edges,
    finder,
    formats,
    kinds,
    scale,
    seen_text,
    text_notes,
    weights,
)
from glassine.locate.candidate import Candidate
from glassine.locate.edge_numbers import Told
from glassine.locate.encoding import linear_table
from glassine.locate.finder import ExactLook, RoughLook
from glassine.locate.judge import (
    about_usual_on_135,
    corners_of,
    frame_of,
    judge,
    reading_order,
)
from glassine.locate.nearby import distance
from glassine.locate.polarity import is_in_colour_on_paper, lit_from_above
from glassine.locate.refine import Region
from glassine.locate.scale import Doubt, Scale
from glassine.locate.scene import Master, Scene, Settings
from glassine.locate.shapes import order
from glassine.locate.unexplained import beside_words, examine


@dataclass(frozen=True)
class JudgedLook(ExactLook):
    """The frames in reading order, with character and what speaks against each."""


def _judged(scene: Scene, look: ExactLook) -> JudgedLook:
    """Judge the frames of a look by themselves, once."""
    if isinstance(look, JudgedLook):
        return look
    made = kinds.characters(scene, look.known, look.frames, look.kind)
    alone = len(look.frames) == 1
    on_paper = look.kind == "print" and lit_from_above(scene.view, scene.layout)
    for candidate, character in zip(look.frames, made, strict=True):
        candidate.character = character
        paper = on_paper or (look.kind == "print" and is_in_colour_on_paper(candidate))
        judge(scene, look.known, candidate, alone, paper)
    return JudgedLook(reading_order(look.frames), look.known, look.kind)


def _frames_of(scene: Scene, look: JudgedLook) -> tuple[Frame, ...]:
    return tuple(frame_of(scene, c, k + 1) for k, c in enumerate(look.frames))


def _trust(look: JudgedLook) -> float:
    return min((weights.confidence(c.evidence) for c in look.frames), default=0.0)


def _seen(scene: Scene, look: RoughLook) -> Scale | None:
    """Return the scale by what was measured, or by a size that a person stated."""
    if look.known.seen is not None:
        return look.known.seen
    by_size = scale.by_stated_size(scene.facts, look.frames)
    mounted = _like_a_mount(scene, look) if scene.kind == "mounted_slide" else None
    return by_size or mounted or scale.by_stated_kind(look.frames, scene.kind)


def _like_a_mount(scene: Scene, look: RoughLook) -> Scale | None:
    """Return the scale if this is a mounted slide, as its shape says: some lantern slides have
    the same shape.
    """
    return scale.by_mount(look.frames, scene.kind)


def settled(scene: Scene, tag: float | None) -> tuple[ExactLook, list[Doubt]]:
    """Return the look that holds, and what is in doubt about it.

    tag: pixels per inch as the file says, or None.
    """
    long_px = float(max(scene.width, scene.height))
    said: list[Scale] = []
    doubts: list[Doubt] = []
    for each in scale.hints_of(scene.facts, tag):
        if scale.plausible(each, long_px):
            said.append(each)
        elif each.source == "batch":
            doubts.append(Doubt(scale.implausible(each, long_px)))
        else:
            doubts.append(Doubt(note=scale.implausible(each, long_px)))
    look, more = _weighed(scene, said)
    return look, doubts + more


def _weighed(scene: Scene, said: list[Scale]) -> tuple[ExactLook, list[Doubt]]:
    first = said[0] if said else None
    rough = finder.roughly(scene, first)
    seen = _seen(scene, rough)
    if seen is not None:
        return _measured(scene, rough, seen, said)
    if first is None:
        mount = _like_a_mount(scene, rough)
        doubt = Doubt(note=UNKNOWN if mount is None else UNKNOWN_MOUNT)
        return finder.exactly(scene, rough), [doubt]
    look = finder.exactly(scene, rough)
    if _is_confirmed(scene, look):
        return _sure(look), _beside(first, said)
    bare = finder.roughly(scene, None)
    seen = _seen(scene, bare) or _like_a_mount(scene, bare)
    if seen is None:
        return _unconfirmed(scene, look, bare, said)
    if seen.source == "film width" and scene.kind == "auto":
        # A piece with bands across it was taken for film of that width by its shape alone.
        exact = finder.exactly(scene, bare)
        if formats.of_no_gate(exact.known, exact.frames):
            return _unconfirmed(scene, look, exact, said)
    return _measured(scene, look, seen, said)


UNKNOWN = "nothing states or shows the resolution: sizes in mm are not known"
GUESSED = (
    "taken for roll film by its shape alone, as nothing states or shows the resolution: it may be "
    "one picture that a band parts (state the kind, frames or nominal_ppi in batch.yaml)"
)
UNKNOWN_MOUNT = f"{UNKNOWN}, nor whether this is a mounted or a lantern slide"


def _measured(
    scene: Scene, look: RoughLook, seen: Scale, said: list[Scale]
) -> tuple[ExactLook, list[Doubt]]:
    """Return the look by a scale that was measured; what is said against it is for review."""
    if not said or not scale.agree(said[0], seen):
        look = finder.roughly(scene, seen)
        again = look.known.seen
        if again is not None and again.source == "perforations":
            seen = again
    exact = _sure(look if isinstance(look, ExactLook) else finder.exactly(scene, look))
    if not said:
        # By its shape alone any piece with a band across it may be film of that width.
        guessed = seen.source == "film width" and scene.kind == "auto"
        return exact, [Doubt(GUESSED, "roll film by its shape")] if guessed else []
    if not scale.agree(said[0], seen):
        words = scale.contradicts(said[0], seen)
        if said[0].source == "batch":
            return exact, [Doubt(words)]
        if _pitch_is_sure(exact):
            return exact, [Doubt(note=words)]
        return exact, [Doubt(words, "header contradicted", words)]
    return exact, _beside(said[0], said)


def _pitch_is_sure(look: ExactLook) -> bool:
    """Whether perforations show a scale by which all pictures are of a usual size: what a header
    says otherwise is then wrong, and nothing rests on it.
    """
    plain = [one for one in look.frames if not one.blank]
    return look.known.by_perforations and all(about_usual_on_135(look.known, one) for one in plain)


def _sure(look: ExactLook) -> ExactLook:
    """Return the look with its scale as more than a hint."""
    return replace(look, known=replace(look.known, sure=True))


def _is_confirmed(scene: Scene, look: ExactLook) -> bool:
    """Whether the pieces have sizes that such pieces have, by the scale that was looked by."""
    by, opening = look.known.scale, scene.opening
    if by is None:
        return False
    held = (0.0, 0.0) if opening is None else (opening.width, opening.height)
    return scale.confirmed(by, look.frames, look.kind, np.array(held) * scene.reduction)


def _beside(used: Scale, said: list[Scale]) -> list[Doubt]:
    """Return notes of what is said otherwise than the scale that is used."""
    return [
        Doubt(note=f"{used.words()}; {each.words()} is not used")
        for each in said[1:]
        if scale.apart(each, used) > scale.SAID_TWICE
    ]


def _unconfirmed(
    scene: Scene, look: ExactLook, bare: RoughLook, said: list[Scale]
) -> tuple[ExactLook, list[Doubt]]:
    """Return which look to keep where nothing measured stands behind the scale.

    look: by the first of what is said; bare: by no scale.
    """
    first = said[0]
    for other in said[1:]:
        if scale.apart(other, first) > scale.SAID_TWICE and _confirms(scene, other):
            reason = (
                f"{first.words()} gives no size that such pieces have, "
                f"{other.words()} does: one of both is wrong"
            )
            return look, [Doubt(reason)]
    doubts = [Doubt(note=scale.unconfirmed(first)), *_beside(first, said)]
    with_scale = _judged(scene, look)
    unscaled = bare if isinstance(bare, ExactLook) else finder.exactly(scene, bare)
    without = _judged(scene, unscaled)
    if not scale.same_frames(_frames_of(scene, with_scale), _frames_of(scene, without)):
        better = max(with_scale, without, key=_trust)
        rest = without if better is with_scale else with_scale
        words = f"rests on {first.words()}, which nothing on the master confirms"
        _doubt_what_differs(better, rest, words)
        return better, doubts
    if look.kind != without.kind and first.source == "tag":
        words = (
            f"the kind ({look.kind}) rests on {first.words()}, which nothing on the master confirms"
        )
        if _of_one_character(with_scale, without):
            return with_scale, [*doubts, Doubt(note=words)]
        return with_scale, [*doubts, Doubt(words, "kind by an unsure scale")]
    return with_scale, doubts


def _doubt_what_differs(look: JudgedLook, other: JudgedLook, words: str) -> None:
    """Note on frames that another look has elsewhere, or as something else, what they rest on; a
    frame that only the other look has is said of the nearest one.
    """
    for one in look.frames:
        apart = min((_apart(one, each) for each in other.frames), default=1.0)
        if apart > scale.SAME_SHARE:
            one.against("scale in doubt", f"this frame {words}", min(1.0, apart / scale.WRONG))
    for each in other.frames:
        if look.frames and min(_apart(one, each) for one in look.frames) > scale.WRONG:
            near = min(look.frames, key=lambda one: distance(one.corners, each.corners))
            near.against("scale in doubt", f"that no other frame is beside it {words}")


def _apart(one: Candidate, other: Candidate) -> float:
    """Return how far two looks at a frame lie apart, as a share of its diagonal, or 1 where they
    take it for something else.
    """
    a, b = order(one.corners), order(other.corners)
    if one.blank != other.blank or not _alike(one, other):
        return 1.0
    return float(np.hypot(*(a - b).T).max() / max(np.hypot(*(a[2] - a[0])), 1.0))


def _alike(one: Candidate, other: Candidate) -> bool:
    """Whether two looks take a frame for the same: polarity, and in colour or not."""
    a, b = one.character, other.character
    return a is not None and b is not None and a.alike(b)


def _of_one_character(a: JudgedLook, b: JudgedLook) -> bool:
    """Whether two looks at the same frames take them for the same: polarity, colour or not."""
    return all(
        one.blank or _alike(one, other) for one, other in zip(a.frames, b.frames, strict=True)
    )


def _confirms(scene: Scene, by: Scale) -> bool:
    """Whether the pieces have sizes that such pieces have, by this scale."""
    return _is_confirmed(scene, finder.exactly(scene, finder.roughly(scene, by)))


def _doubted(look: JudgedLook, doubts: list[Doubt]) -> None:
    """Lower the confidence of all frames by what is in doubt of the whole master, and say why."""
    for candidate in look.frames:
        for doubt in doubts:
            if doubt.reason is not None:
                candidate.against(doubt.feature, doubt.reason)


def explained(
    scene: Scene, ppi_hint: float | None
) -> tuple[JudgedLook, list[Doubt], tuple[MasterPiece, ...]]:
    """Return the look that holds, its frames with all that speaks against them; what is in doubt
    of the whole master; and all that lies on it.
    """
    settled_look, doubts = settled(scene, ppi_hint)
    kind_doubt = kinds.against(scene, settled_look.known, settled_look.frames)
    if kind_doubt is not None:
        doubts.append(Doubt(kind_doubt, "kind in doubt"))
    look = _judged(scene, settled_look)
    _doubted(look, doubts)
    return look, doubts, examine(scene, look.known, look.frames)


def _writing(
    master: Master,
    scene: Scene,
    look: JudgedLook,
    edges: list[Told],
    frames: tuple[Frame, ...],
    pieces: tuple[MasterPiece, ...],
) -> tuple[tuple[SeenText, ...], tuple[str, ...]]:
    """Return what is written on a master beside `frames`, and notes of it."""
    margins = []
    notes: list[str] = []
    texts: list[SeenText] = []
    for piece in film_edges.pieces_of(scene, look) if film_edges.may_show(look) else []:
        told = next((each for each in edges if each.piece.frames == piece.frames), None)
        reversal = film_edges.is_reversal(look, piece)
        read = seen_text.of_margins(master, scene.whole, piece, told, reversal)
        margins.append(piece)
        texts += read.texts
        notes += text_notes.of_numbers(read, told)
    texts += seen_text.of_master(master, scene.whole, frames, pieces, margins)
    return tuple(texts), (*text_notes.of_texts(texts), *notes)


def geometry_of(
    master: Master,
    facts: Facts,
    ppi_hint: float | None,
    settings: dict[str, Any],
    whole: bool = False,
) -> MasterGeometry:
    """Return the frames of one master, its path left empty.

    ppi_hint: pixels per inch as the file says, or None. settings: of this step, by their names.
    whole: whether all of the master is its picture, so that writing is read all over it.
    """
    scene = Scene.of(master, facts, Settings.of(settings))
    look, doubts, pieces = explained(scene, ppi_hint)
    frames, known = _frames_of(scene, look), look.known
    edges = film_edges.read(master, scene, look)
    notes = tuple(doubt.note for doubt in doubts if doubt.note)
    notes += beside_words(pieces) + (() if frames else ("no frame found",))
    texts: tuple[SeenText, ...] = ()
    if scene.settings.seen_text:
        beside = () if whole else frames
        texts, more = _writing(master, scene, look, edges, beside, pieces)
        notes += more
    outline = known.object_corners
    return MasterGeometry(
        path="",
        width=scene.width,
        height=scene.height,
        ppi=known.ppi,
        ppi_source=None if known.scale is None else known.scale.source,
        frames=film_edges.numbered(frames, edges),
        kind=look.kind,
        base_regions=tuple(corners_of(q) for q in known.base_regions),
        object_corners=None if outline is None else corners_of(outline),
        notes=notes,
        pieces=pieces,
        edges=film_edges.recorded(edges),
        seen_text=texts,
    )


def locate_array(
    reduced: npt.NDArray[np.generic],
    reduction: float,
    region: Region,
    facts: Facts,
    ppi_hint: float | None,
    settings: dict[str, Any] | None = None,
    *,
    size: tuple[int, int] | None = None,
) -> MasterGeometry:
    """Return the frames of one master by its pixels (see `Master`) in the encoding of its facts.

    size: (width, height) of the master, default reduced size x reduction.
    """
    width, height = size or (
        round(reduced.shape[1] * reduction),
        round(reduced.shape[0] * reduction),
    )
    table = linear_table(facts.encoding)
    master = Master(reduced, reduction, region, width, height, table)
    return geometry_of(master, facts, ppi_hint, settings or {})
