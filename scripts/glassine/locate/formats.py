"""Whether pictures beside one another on a piece are those of a known gate on film of its width.

A beam or a rail across a single view parts it anywhere. That it leaves three parts or more of one
size, as long and as high for the width of the piece as the pictures of one film format are, is
next to impossible: so much was exposed frame by frame. So is it of two, on a piece that is far
longer than any sheet or plate is for its width.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from glassine.base import film
from glassine.locate.candidate import Candidate
from glassine.locate.judge import CLEAR, usual_on_135
from glassine.locate.known import Known
from glassine.locate.shapes import ENDS, Doubles, lengths_of, order

# What has no source was set on the scenes that `tests/benchmarks/locate` draws.
# So many pictures at the least, how far (share) they may be off their median size, and how far
# (share) their sides may be off those of a gate, by the width of the film.
LEAST, ALIKE, OFF = 3, 0.012, 0.03
# The same for two, which together are so many times as long as the film is wide at the least.
PAIR_ALIKE, PAIR_LONG = 0.006, 1.75
# How far (share) the width of the film may be off by the scale in use, where there is one (a
# header's is a hint).
FILM_OFF = 0.04
# Film of cartridges is narrower than any sheet or plate (mm): two pictures of a format on it need
# not be as long, where a resolution shows the width.
NARROWER, PAIR_OF_CARTRIDGE = 40.0, 1.4
# Exposures beside one another on one piece, of one camera, are as wide across their row within this
# share (0.6 % at the most on six real plates, tests/makers/real_plates); two alone are as long
# within the second share. Of more than two the outer ones may be shorter, by the plate's holder.
ONE_GATE, ONE_LENGTH = 0.01, 0.025
# Exposures on one piece lie out of line by more than this (px; share of their width; times the
# spread of their sides, which show along so much of their length) where it was moved between them.
OUT_OF_LINE_PX, OUT_OF_LINE, SPREADS, PLAIN_SIDE = 2.0, 0.0015, 4.0, 0.7
# A side whose spread is less than this (px) is plain.
PLAIN_PX = 1.5
# No gate for 120 film is less high than 53.5 mm of the nominal 56 (value from memory).
LESS_HIGH = 0.045
# Trust in the polarity of what is on film by its size and width, and has a clear border.
ON_FILM = 0.95


def examine(known: Known, found: Sequence[Candidate]) -> None:
    """Note on the frames of one piece that they are of one known format, where they are."""
    for one in found:
        one.format_seen = _of_a_plain_gate(known, one)
    _in_one_holder(found)
    for own in _pieces([one for one in found if not one.blank]):
        if len(own) > 1 and own[0].whole is not None:
            _of_one_gate(own)
            _moved_between(own)
        if len(own) > 1 and _of_one_format(known, own):
            for one in own:
                one.format_seen = True
                if known.ppi and _taken_for_paper(one):
                    _as_film(one)
                if one.gauge != "135" and not _for_paper(one):
                    one.against("gate and film of one format")


def _of_one_gate(own: Sequence[Candidate]) -> None:
    """Note on exposures of one piece which are not as wide as the others, as a camera makes them:
    what was taken for a side may be light in the border, or the piece's own edge.
    """
    sizes = sizes_of(own)[0]
    usual = np.median(sizes, axis=0)
    if usual.min() <= 0:
        return
    off = np.abs(sizes / usual - 1)
    # Of two that differ nothing tells which is right.
    far = off[:, 1] > (ONE_GATE if len(own) > 2 else ONE_GATE / 2)
    if len(own) == 2:
        far |= off[:, 0] > ONE_LENGTH / 2
    for one, differs in zip(own, far.tolist(), strict=True):
        if differs:
            one.against(
                "not as its neighbours",
                "of another size than the exposures beside it: one of its sides may be wrong",
            )


def _of_a_plain_gate(known: Known, one: Candidate) -> bool:
    """Whether a frame of 35 mm film has, by its perforations, the size of a camera's gate on four
    plain sides: of two pictures that touch the ends are of no size.
    """
    if one.blank or not one.edges or one.gauge != "135" or not known.by_perforations:
        return False
    return usual_on_135(known, one) and all(
        got is not None and got.share > PLAIN_SIDE and got.residual < PLAIN_PX and not moved
        for got, moved in zip(one.edges, one.modelled, strict=True)
    )


def _in_one_holder(found: Sequence[Candidate]) -> None:
    """Note on pictures in openings of their own that these are of one size, as a holder's are."""
    apart = [one for one in found if not one.strip and one.whole is None and not one.blank]
    apart = [one for one in apart if one.level_dark and not one.oval]
    if len(apart) < LEAST:
        return
    sizes = np.array([lengths_of(one.corners) for one in apart])
    usual = np.median(sizes, axis=0)
    for one, size in zip(apart, sizes, strict=True):
        one.format_seen = one.format_seen or bool((np.abs(size / usual - 1) < PAIR_ALIKE).all())


def _moved_between(own: Sequence[Candidate]) -> None:
    """Note on exposures of one size on one piece that those next to one another do not lie in line:
    the piece was moved between them. A beam across a single view leaves its sides where they are.
    """
    sizes, run = sizes_of(own)
    order_ = sorted(range(len(own)), key=lambda k: float(own[k].corners.mean(0) @ run))
    for a, b in pairwise(order_):
        alike = np.abs(sizes[a] / np.maximum(sizes[b], 1.0) - 1).max() < ALIKE
        seen = bool(own[a].edges and own[b].edges)
        if alike and seen and _out_of_line(own[a], own[b], run, float(sizes[a][1])):
            for k in (a, b):
                if not any(each.feature == "out of line with the next" for each in own[k].evidence):
                    own[k].against("out of line with the next")


def _out_of_line(one: Candidate, other: Candidate, run: Doubles, wide: float) -> bool:
    """Whether both sides of one exposure that run along the row lie beside those of the next one,
    by as much and the same way. wide: of the row, px.
    """
    across = np.array([-run[1], run[0]])
    offs, least = [], max(OUT_OF_LINE_PX, OUT_OF_LINE * wide)
    between = (one.corners.mean(0) + other.corners.mean(0)) / 2 @ run
    for side in range(4):
        lines = one.edges[side], other.edges[side]
        if abs((one.corners[ENDS[side][1]] - one.corners[ENDS[side][0]]) @ across) > wide / 2:
            continue  # an end
        places = []
        for got, each in zip(lines, (one, other), strict=True):
            if got is None or got.share < PLAIN_SIDE or each.modelled[side]:
                return False
            least = max(least, SPREADS * got.residual)
            t = (between - got.p @ run) / ((got.q - got.p) @ run)
            places.append(float((got.p + t * (got.q - got.p)) @ across))
        offs.append(places[1] - places[0])
    a, b = (*offs, 0.0, 0.0)[:2]
    return a * b > 0 and min(abs(a), abs(b)) > least and abs(a - b) < max(abs(a), abs(b)) / 2


def of_no_gate(known: Known, found: Sequence[Candidate]) -> bool:
    """Whether pictures that were taken for those on 120 film are not: plain, of one size, and less
    high for the width of the piece than any gate's.
    """
    for own in _pieces([one for one in found if not one.blank]):
        if len(own) < 2 or own[0].gauge != "120" or known.seen is None:
            return False
        sizes, _ = sizes_of(own)
        usual = np.median(sizes, axis=0)
        film_px = film.FILM_120.width_mm * film.px_per_mm(known.seen.ppi)
        wanted = film.FILM_120.picture_height_mm * film_px / film.FILM_120.width_mm
        plain = all(one.edges for one in own) and all(
            got is not None and got.share > PLAIN_SIDE and not moved
            for one in own
            for got, moved in zip(one.edges, one.modelled, strict=True)
        )
        alike = bool((np.abs(sizes / usual - 1) < ALIKE).all())
        if not plain or not alike or usual[1] > wanted * (1 - LESS_HIGH):
            return False
    return bool(found)


def width_of(corners: Doubles, run: Doubles) -> float:
    """Return the size of four corners across a row that runs along `run`, px."""
    return _along_and_across(corners, run)[1]


def sizes_of(frames: Sequence[Candidate]) -> tuple[Doubles, Doubles]:
    """Return (n, 2) sizes of frames beside one another along and across their row, px, and the
    direction of the row.
    """
    middles = np.array([one.corners.mean(0) for one in frames])
    run = np.linalg.svd(middles - middles.mean(0))[2][0]
    return np.array([_along_and_across(one.corners, run) for one in frames]), run


def _taken_for_paper(one: Candidate) -> bool:
    """Whether a grey picture with a clear border was taken for a positive since nothing on the
    master told it from a print.
    """
    made = one.character
    unsure = made is not None and made.process == "monochrome" and made.polarity_trust < CLEAR
    return unsure and _for_paper(one)


def _as_film(one: Candidate) -> None:
    """Take a picture for a negative: it has the size of a gate on film as wide as it comes, by a
    resolution that agrees, and its border is clear.
    """
    assert one.character is not None
    one.character = replace(one.character, polarity="negative", polarity_trust=ON_FILM)
    one.evidence = [each for each in one.evidence if each.feature != "polarity unclear"]


def _for_paper(one: Candidate) -> bool:
    """Whether a picture was taken for a positive in spite of a clear border: on film it is none."""
    made = one.character
    clear = one.border is not None and not one.level_dark
    return clear and made is not None and made.polarity == "positive"


def _pieces(found: Sequence[Candidate]) -> list[list[Candidate]]:
    """Return the frames by the strip, or by the piece, that they are on."""
    groups: dict[tuple[str, int], list[Candidate]] = {}
    for one in found:
        if one.strip:
            groups.setdefault(("strip", one.strip), []).append(one)
        elif one.whole is not None:
            groups.setdefault(("piece", id(one.whole)), []).append(one)
    return list(groups.values())


def _of_one_format(known: Known, frames: Sequence[Candidate]) -> bool:
    """Whether frames beside one another are of one size, that of a gate on film of their width."""
    sizes, run = sizes_of(frames)
    usual = np.median(sizes, axis=0)
    alike = len(frames) >= LEAST
    if usual.min() <= 0 or (np.abs(sizes / usual - 1) > (ALIKE if alike else PAIR_ALIKE)).any():
        return False
    if frames[0].gauge == "135":
        return alike and known.by_perforations and all(usual_on_135(known, one) for one in frames)
    film_px = _film_px(known, frames[0], run)
    if film_px is None or (not alike and sizes[:, 0].sum() < _pair_long(known, film_px) * film_px):
        return False
    return any(_fits(known, gate, usual, film_px) for gate in film.GATES)


def _pair_long(known: Known, film_px: float) -> float:
    """Return how many times as long as their film is wide two pictures are that are no parts of a
    sheet or a plate.
    """
    narrow = known.ppi and film_px * film.MM_PER_INCH / known.ppi < NARROWER
    return PAIR_OF_CARTRIDGE if narrow else PAIR_LONG


def _fits(known: Known, gate: film.Gate, usual: Doubles, film_px: float) -> bool:
    """Whether pictures (along the film and across, px) are a gate's on film so wide (px)."""
    wanted = np.array([gate.along_mm, gate.across_mm]) * film_px / gate.film_mm
    if (np.abs(usual / wanted - 1) > OFF).any():
        return False
    film_mm = film_px * film.MM_PER_INCH / known.ppi if known.ppi else gate.film_mm
    return abs(film_mm / gate.film_mm - 1) < FILM_OFF


def _film_px(known: Known, one: Candidate, run: Doubles) -> float | None:
    """Return the width (master px) of the film that a frame is on, which runs along `run`."""
    if one.whole is not None:
        outline = one.whole.held_in
        if outline is None:
            outline = one.whole.object_corners
        return _along_and_across(one.whole.corners if outline is None else outline, run)[1]
    if one.gauge != "120" or not known.ppi:
        return None
    return film.FILM_120.width_mm * film.px_per_mm(known.ppi)


def _along_and_across(corners: Doubles, run: Doubles) -> tuple[float, float]:
    """Return the sides of four corners that lie along a direction and across it, px."""
    c = order(corners)
    u, v = (c[1] - c[0] + c[2] - c[3]) / 2, (c[3] - c[0] + c[2] - c[1]) / 2
    lengths = float(np.hypot(*u)), float(np.hypot(*v))
    along = abs(u @ run) * lengths[1] >= abs(v @ run) * lengths[0]
    return lengths if along else (lengths[1], lengths[0])
