"""The margins of all 35 mm film on a master: which pieces there are, what their codes say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from glassine.base import film
from glassine.base.model import EdgeCode, FilmEdge, Frame
from glassine.locate import edge_numbers
from glassine.locate.candidate import Candidate
from glassine.locate.edge_codes import HALF_MM
from glassine.locate.edge_numbers import Told
from glassine.locate.finder import ExactLook
from glassine.locate.rebate import INNER_MM, Piece
from glassine.locate.scene import Master, Scene
from glassine.locate.shapes import Doubles, lengths_of

# A picture that was captured alone is one of 35 mm film where its sides are these, within so much
# (mm): masks of cameras differ.
_SIDES_MM, _OFF_MM = (36.0, 24.0), 1.2
# Film is read so far (mm) beyond the centres of its first and last frame.
_BEYOND_MM = 40.0
# Kinds whose film is covered, or that are no film.
_COVERED = ("mounted_slide", "lantern", "print", "plate", "sheet", "strip_120")


def read(master: Master, scene: Scene, look: ExactLook) -> list[Told]:
    """Return what the codes of each piece of 35 mm film say; pieces without codes are left out."""
    if not scene.settings.edge_codes or not may_show(look):
        return []
    found = []
    for piece in pieces_of(scene, look):
        told = edge_numbers.told(master, scene.whole, piece, is_reversal(look, piece))
        if told is not None:
            found.append(told)
    return found


def may_show(look: ExactLook) -> bool:
    """Return whether margins of 35 mm film may be seen at all, and where they lie is known."""
    return look.kind not in _COVERED and bool(look.known.ppi)


def is_reversal(look: ExactLook, piece: Piece) -> bool:
    """Return whether all pictures of a piece are positives."""
    shown = [look.frames[frame - 1].character for frame in piece.frames]
    return all(each is not None and each.polarity == "positive" for each in shown)


def pieces_of(scene: Scene, look: ExactLook) -> list[Piece]:
    """Return the pieces of 35 mm film, of strips and of pictures that lie alone."""
    assert look.known.ppi is not None
    mm = film.px_per_mm(look.known.ppi)
    found = []
    for number, patch in enumerate(look.known.patches, start=1):
        on_it = [
            (k, one)
            for k, one in enumerate(look.frames, start=1)
            if one.strip == number and one.gauge == "135"
        ]
        if on_it:
            along = np.array(patch.to_view[:, 0], np.float64)
            found.append(_piece(scene, along, mm, on_it))
    for k, one in enumerate(look.frames, start=1):
        if not one.strip and not one.oval and _is_135(one, mm):
            c = one.corners
            across, down = c[1] - c[0], c[3] - c[0]
            along = across if across @ across > down @ down else down
            found.append(_piece(scene, along, mm, [(k, one)]))
    return [piece for piece in found if piece.high - piece.low > HALF_MM]


def _is_135(one: Candidate, mm: float) -> bool:
    long, short = (side / mm for side in lengths_of(one.corners))
    return abs(long - _SIDES_MM[0]) < _OFF_MM and abs(short - _SIDES_MM[1]) < _OFF_MM


def _piece(scene: Scene, along: Doubles, mm: float, on_it: list[tuple[int, Candidate]]) -> Piece:
    centres = np.array([one.corners.mean(0) for _, one in on_it], np.float64)
    between = centres[-1] - centres[0]
    if len(on_it) > 1 and np.hypot(*between) > 1.5 * film.FRAME_ADVANCE_135_MM * mm:
        # Their centres tell the direction better than the reduced copy does.
        along = between
    along = along / np.hypot(*along)
    if along @ (1.0, 1e-6) < 0:
        along = -along
    middle = centres.mean(0)
    places = [float((centre - middle) @ along) / mm for centre in centres]
    order = sorted(range(len(places)), key=lambda k: places[k])
    low, high = _within(scene, middle, along, mm)
    return Piece(
        middle,
        along,
        mm,
        max(low, min(places) - _BEYOND_MM),
        min(high, max(places) + _BEYOND_MM),
        tuple(on_it[k][0] for k in order),
        tuple(places[k] for k in order),
    )


def _within(scene: Scene, middle: Doubles, along: Doubles, mm: float) -> tuple[float, float]:
    """Return from where to where (mm) the film's middle line lies on the master."""
    low, high = -np.inf, np.inf
    for at, step, size in zip(middle, along, (scene.width, scene.height), strict=True):
        if abs(step) > 1e-9:
            ends = sorted(((0 - at) / step / mm, (size - at) / step / mm))
            low, high = max(low, ends[0]), min(high, ends[1])
    return low, high


# ------------------------------------------------------------------ the record


def recorded(told: Sequence[Told]) -> tuple[FilmEdge, ...]:
    """Return the pieces as geometry.json holds them."""
    return tuple(_edge(each) for each in told)


def numbered(frames: Sequence[Frame], told: Sequence[Told]) -> tuple[Frame, ...]:
    """Return the frames with their numbers on the film."""
    numbers = {frame: number for each in told for frame, number in each.numbers.items()}
    return tuple(replace(frame, film_frame=numbers.get(frame.index)) for frame in frames)


def _edge(told: Told) -> FilmEdge:
    piece = told.piece
    turn = None
    if told.forward is not None:
        outwards = piece.point(told.side, 0.0, INNER_MM) - piece.middle
        angle = float(np.degrees(np.arctan2(outwards[1], outwards[0])))
        turn = round((90 - angle) / 90) * 90 % 360
    codes = [(code, True) for code in told.counted] + [(code, False) for code in told.others]
    shown = sorted(codes, key=lambda each: (each[0].side, each[0].at))
    return FilmEdge(
        frames=piece.frames,
        stock=told.stock,
        emulsion=None if told.forward is None else "away" if told.forward else "toward",
        turn=turn,
        codes=tuple(
            EdgeCode(str(code.text), _point(piece, code.side, code.at, code.out), counts)
            for code, counts in shown
        ),
        against=told.against,
    )


def _point(piece: Piece, side: int, at: float, out: float) -> tuple[float, float]:
    x, y = piece.point(side, at, out)
    return float(x), float(y)
