"""Whether pictures beside one another on a piece are those of a known gate on film of its width.

A beam or a rail across a single view parts it anywhere. That it leaves three parts or more of one
size, as long and as high for the width of the piece as the pictures of one film format are, is
next to impossible: so much was exposed frame by frame. So is it of two, on a piece that is far
longer than any sheet or plate is for its width.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from glassine.base import film
from glassine.locate.candidate import Candidate
from glassine.locate.judge import CLEAR, usual_on_135
from glassine.locate.known import Known
from glassine.locate.shapes import Doubles, order

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
# Trust in the polarity of what is on film by its size and width, and has a clear border.
ON_FILM = 0.95


def examine(known: Known, found: Sequence[Candidate]) -> None:
    """Note on the frames of one piece that they are of one known format, where they are."""
    for own in _pieces([one for one in found if not one.blank]):
        if len(own) > 1 and own[0].whole is not None:
            _of_one_gate(own)
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
    sizes = _sizes(own)[0]
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


def _sizes(frames: Sequence[Candidate]) -> tuple[Doubles, Doubles]:
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
    sizes, run = _sizes(frames)
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
