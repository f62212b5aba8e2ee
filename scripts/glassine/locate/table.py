"""What each piece on the table is taken for: a strip of film, one picture, or several exposures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from glassine.base import film
from glassine.locate import exposures, pictures, rolls
from glassine.locate.candidate import Candidate
from glassine.locate.known import Known
from glassine.locate.pictures import Cut
from glassine.locate.rolls import Gauge
from glassine.locate.scene import Scene
from glassine.locate.view import Piece, upright

# What has no source was set on the scenes that `tests/benchmarks/locate` draws.
# How much wider or narrower (mm) than 35 mm film a piece of it may look; in the opening of a mask a
# little of the table may show around it.
OFF_135_MM, MORE_IN_MASK_MM = 1.5, 4.5
# Film of 35 mm is taken for a strip from this length (mm) on; a piece shorter than the second one,
# which is little longer than it is wide, lies as its width says.
LEAST_135_MM, SHORT_135_MM = 20, 45
# The same for 120 film: how far off its width, how much wider where a sleeve's seam lies along it,
# and the least length, mm.
OFF_120_MM, SEAM_120_MM, LEAST_120_MM = 1.7, 5.0, 66
# Strips have at least this share of the widest piece's width: no ruler and no label is as wide.
OF_WIDEST = 0.7
# Without a scale (sides, long to short): up to this, film may run either way in a piece.
EITHER_WAY = 1.9
# Likewise: strips of 120 film; two frames of 6 x 4.5 cm side by side, to seven square ones.
SIDES_120 = (1.42, 7)
# Ground (view px) left around what lies in a sleeve's pocket and shows no frame.
POCKET_PX = 4.0


def frames_on(scene: Scene, piece: Piece, known: Known) -> tuple[list[Candidate], Known]:
    """Return the frames of a piece, and what is known when they were found."""
    for gauge, upright_film in _attempts(scene, piece, known.mm):
        made, after = rolls.frames_on(scene, piece, gauge, upright_film, known)
        if made:
            return _rather_exposures(scene, piece, made, after)
    one, known = picture_on(scene, piece, known)
    return one.parts or [one], known


def picture_on(scene: Scene, piece: Piece, known: Known) -> tuple[Candidate, Known]:
    """Return a piece as one picture, whose `parts` are its exposures where it has several."""
    cut = pictures.cut_of(scene, piece)
    found = pictures.peeled(scene, cut, known.mm)
    if found is None:
        dark = scene.layout.ground == "dark"
        faint = pictures.faint(scene, piece, known) if dark else None
        return faint or pictures.unseen(scene, cut.patch, cut.margin), known
    search = cut.search(scene, known.mm)
    one, known = pictures.candidate_of(scene, cut, found, known)
    several = exposures.of_piece(cut.patch, found, search, cut.level)
    if several is None:
        return one, known
    if several.strips:
        one.parts, known = _strips_in(scene, cut, several, known)
    else:
        one.parts = pictures.exposures_of(scene, cut, several, one, known.ppi)
    return one, known


def _rather_exposures(
    scene: Scene, piece: Piece, strip: list[Candidate], known: Known
) -> tuple[list[Candidate], Known]:
    """Return the exposures on a plate that was taken for film: the same view comes again on it, at
    other places than the frames that were found. The strip itself where it is film.

    known: with the strip.
    """
    if strip[0].gauge != "120" or scene.kind != "auto":
        return strip, known
    one, after = picture_on(scene, piece, known.without_pieces())
    parts = one.parts
    if parts and parts[0].repeated and exposures.elsewhere(parts, strip):
        return parts, replace(after, patches=after.patches[:-1], seen=None)
    return strip, known


def _strips_in(
    scene: Scene, cut: Cut, several: exposures.Exposures, known: Known
) -> tuple[list[Candidate], Known]:
    """Return the frames of strips of film that a sleeve's seam joins to one piece."""
    made: list[Candidate] = []
    before = known
    for lines in several.lines:
        box = exposures.strip_in(cut.patch, lines, several.border.tone)
        if box is None:
            continue  # an empty pocket of the sleeve
        part = _part_of(cut, *box)
        found, after = frames_on(scene, part, known)
        frames = [c for c in found if c.strip]
        if frames:
            known = after
        else:
            # Film lies there: it is for review, and no ruler that may be left out.
            wide, high = part.width + 2 * POCKET_PX, part.height + 2 * POCKET_PX
            whole = upright(scene.view, part.centre, part.angle_deg, wide, high)
            frames = [pictures.unseen(scene, whole, POCKET_PX)]
            frames[0].kind = "strip"
        made += frames
    return (made, known) if any(c.strip for c in made) else ([], before)


def _part_of(
    cut: Cut, middle: tuple[float, float], size: tuple[float, float], turn_deg: float
) -> Piece:
    """Return a part of a piece as a piece. middle, size: px of its patch."""
    x, y = cut.patch.points(np.array([middle]))[0]
    return replace(
        cut.piece,
        centre=(float(x), float(y)),
        angle_deg=cut.piece.angle_deg + turn_deg,
        width=size[0],
        height=size[1],
    )


# ------------------------------------------------------------------ what to take a piece for


def _gauge_of(scene: Scene, piece: Piece, mm: float | None) -> Gauge | None:
    """Return the gauge where a piece may be a strip of roll film. mm: view px per millimetre."""
    kind, ground = scene.kind, scene.layout.ground
    if kind == "strip_135":
        return Gauge("135", sure=True)
    if kind == "strip_120":
        return Gauge("120", sure=True)
    if kind == "frame_135" and ground == "light":
        return Gauge("135")  # a frame with its perforations in view; without them, one picture
    if kind not in ("auto", "cut_frames"):
        return None
    if mm is None:
        return Gauge("135")
    long, short = _sides_of(piece)
    most = MORE_IN_MASK_MM if ground == "dark" else OFF_135_MM
    across = [n / mm - film.FILM_135.width_mm for n in (long, short)]
    if any(-OFF_135_MM < more < most for more in across) and long / mm > LEAST_135_MM:
        return Gauge("135")
    more = short / mm - film.FILM_120.width_mm
    like_120 = -OFF_120_MM < more < SEAM_120_MM and long / mm > LEAST_120_MM
    if kind == "auto" and like_120 and short > OF_WIDEST * scene.widest:
        return Gauge("120")
    return None


def _attempts(scene: Scene, piece: Piece, mm: float | None) -> list[tuple[Gauge, bool]]:
    """Return what to take a piece for, in turn: a gauge, and whether film runs up and down.

    Without a scale, perforations alone tell 35 mm film, whichever way a piece of it lies;
    plain film is told by its width and by several pictures that are as high as they must be.
    """
    gauge = _gauge_of(scene, piece, mm)
    if gauge is None:
        return []
    upright_film = piece.height > piece.width
    long, short = _sides_of(piece)
    may_be_135 = gauge == Gauge("135")
    if mm is not None or not may_be_135:
        across = film.FILM_135.width_mm * (mm or 0)
        if may_be_135 and long < SHORT_135_MM * (mm or 0):
            upright_film = abs(piece.height - across) > abs(piece.width - across)
        return [(gauge, upright_film)]
    tries = [(gauge, upright_film)]
    if long < EITHER_WAY * short:
        tries.append((gauge, not upright_film))
    least, most = SIDES_120
    likely = scene.kind == "auto" and least * short < long < most * short
    if likely and short > OF_WIDEST * scene.widest:
        tries.append((Gauge("120"), upright_film))
    return tries


def _sides_of(piece: Piece) -> tuple[float, float]:
    """Return the longer and the shorter side of a piece, view px."""
    return max(piece.width, piece.height), min(piece.width, piece.height)
