"""What kind of material it is, and its polarity and process, from all that was found."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from glassine.base import film
from glassine.locate import polarity
from glassine.locate.candidate import Candidate
from glassine.locate.character import MASK_DENSITY, Character, character, is_colour, mask_of
from glassine.locate.shapes import lengths_of, order

if TYPE_CHECKING:
    from glassine.locate.finder import Finder

# Kinds of which one picture, or several of a size, lie on the table.
SINGLE = ("frame_135", "mounted_slide", "sheet", "plate", "lantern", "print")

# Kinds that are positives by what they are.
POSITIVE = ("print", "lantern", "mounted_slide")
# Tone of a dark board against white paper on it: boards reflect 2 % and more. An opaque mask
# round a plate is darker than that.
BOARD = 1.58


def characters(finder: Finder, found: list[Candidate], kind: str) -> list[Character]:
    """Return polarity and process of each; frames of one strip are one film."""
    each = []
    from_above = not finder.nested and polarity.lit_from_above(finder.view, finder.layout)
    for c in found:
        # A black border inside a mask's opening is the film's own.
        rebate = kind == "frame_135" and c.level_dark and c.levels > 1
        tones = finder.pixels(c, 0.04)
        made = character(tones, c.border, "cut_frames" if rebate else kind, c.level_dark)
        if not c.strip and finder.kind == "auto":
            made = polarity.by_light(c, made, kind, from_above)
        if kind == "mounted_slide" and finder.kind == "auto":
            made = polarity.mounted(made, float(np.percentile(tones.mean(1), 99)))
        if kind == "lantern" and finder.kind == "auto":
            outer = c.corners if c.object_corners is None else c.object_corners
            clearest = float(np.percentile(tones.mean(1), 1)) - finder.layout.tone
            size = finder.size_mm(outer)
            made = polarity.masked(c, made, size, finder.ppi is not None, clearest)
        each.append(made)
    ground = finder.mask_level or finder.layout.tone
    unsure = abs(ground - BOARD) < 0.13 and finder.kind == "auto"
    if unsure and finder.view.v.shape[2] == 1:
        for k, c in enumerate(found):
            if kind in ("print", "plate") and not c.level_dark:
                each[k] = replace(each[k], polarity_trust=0.7)
    if len(found) == 1 and _may_be_a_frame(finder, found[0], kind):
        one = found[0]
        other = character(finder.pixels(one, 0.04), one.border, "frame_135", one.level_dark)
        if other.polarity != each[0].polarity:
            each[0] = replace(each[0], polarity_trust=0.6)
    return polarity.pooled(found, each)


def _may_be_a_frame(finder: Finder, one: Candidate, kind: str) -> bool:
    """Whether what was taken for a print or a slide may be a frame of 35 mm film in a mask.

    Only size tells them apart, and as long as none is sure either may be it.
    """
    long, short = lengths_of(one.corners)
    if finder.kind != "auto" or finder.sure or kind not in POSITIVE or one.oval or short <= 0:
        return False
    # A board sends back light, a mask lets nothing through.
    paper = kind == "print" and (finder.layout.tone < 1.75 or one.ground == "light")
    return not paper and abs(long / short - 1.5) < 0.1


def against(base: Finder, found: list[Candidate], finder: Finder) -> str | None:
    """Return what speaks against the kind that batch.yaml states, in words, or None.

    base: the master before any look; found: by `finder`, as the stated kind.
    """
    kind = finder.kind
    if kind == "auto" or not found:
        return None
    if kind == "strip_135" and (finder.seen is None or finder.seen.source != "perforations"):
        return "stated as strip_135, but no perforations are seen"
    if kind.startswith("strip_") and not any(c.strip for c in found):
        return f"stated as {kind}, but no frames side by side are seen"
    if kind in (*SINGLE, "strip_120"):
        trial = base.at(None)
        trial.kind = "auto"
        long = [
            p for p in base.layout.pieces if max(p.width, p.height) > 1.9 * min(p.width, p.height)
        ]
        made = [c for piece in long for c in trial._piece(piece, base.layout) if c.strip]
        perforated = trial.seen is not None and trial.seen.source == "perforations"
        if perforated and not (kind == "frame_135" and len(found) == 1):
            return f"stated as {kind}, but perforations of 35 mm film are seen"
        if kind in SINGLE and len(made) > 1:
            return f"stated as {kind}, but {len(made)} frames side by side are seen"
    sizes = [finder.size_mm(c.corners) for c in found if not c.blank]
    frames = sum(abs(long - 36) < 1.3 and abs(short - 24) < 1.3 for long, short in sizes)
    larger = kind in ("sheet", "plate", "lantern", "print")
    if larger and finder.ppi and sizes and frames >= 0.5 * len(sizes):
        return f"stated as {kind}, but of the size of frames on 35 mm film (36 x 24 mm)"
    return _shape_against(kind, found)


def _shape_against(kind: str, found: list[Candidate]) -> str | None:
    """Tell shapes that no piece of a kind has, whatever the scale."""
    for c in found:
        long, short = lengths_of(c.corners)
        outer = lengths_of(c.corners if c.object_corners is None else order(c.object_corners))
        if c.blank or min(short, outer[1]) <= 0:
            continue
        sides_of = outer[0] / outer[1]
        frame = abs(long / short - 1.5) < 0.12 or abs(long / short - 1.333) < 0.06
        if kind == "frame_135" and not frame:
            return f"stated as frame_135, but its sides are as {long / short:.2f} to 1"
        if kind == "mounted_slide" and c.levels > 1 and sides_of > 1.12:
            return f"stated as mounted_slide, but the mount's sides are as {sides_of:.2f} to 1"
        if kind == "lantern" and c.levels > 1 and sides_of > 1.35:
            return f"stated as lantern, but the slide's sides are as {sides_of:.2f} to 1"
    return None


def kind_of(finder: Finder, found: list[Candidate]) -> str:
    """Return the kind of material: as stated, or by what was found."""
    if finder.kind != "auto":
        return finder.kind
    numbers = {c.strip for c in found}
    if numbers == {0}:
        # Exposures of one piece are of its kind; so are several pieces of a kind that is positive.
        wholes = {id(c.whole or c): _whole_of(c) for c in found}
        kinds = {_kind_of_one(finder, c) for c in wholes.values()}
        if len(wholes) == 1 or (len(kinds) == 1 and kinds <= set(POSITIVE)):
            return kinds.pop()
    if len(numbers - {0}) > 1 or (len(found) > 1 and 0 in numbers):
        return "cut_frames"
    if any(c.kind == "strip" for c in found):
        if len(found) == 1:
            return "cut_frames"
        return "strip_135" if finder.ppi_source == "perforations" else "strip_120"
    return "cut_frames" if found else "auto"


def _whole_of(candidate: Candidate) -> Candidate:
    """Return the piece that a candidate is of, with the border that its exposures have: taken for
    one picture, the piece has none.
    """
    whole = candidate.whole
    if whole is None:
        return candidate
    levels = max(whole.levels, candidate.levels)
    return replace(whole, level_dark=candidate.level_dark, border=candidate.border, levels=levels)


def _kind_of_one(finder: Finder, candidate: Candidate) -> str:
    """Tell the kind of a single piece by size, ground, border and the mask of colour negatives."""
    kind = _kind_by_size(finder, candidate)
    return "sheet" if kind == "print" and _orange(finder, candidate) else kind


def _orange(finder: Finder, candidate: Candidate) -> bool:
    """Whether what looks like a print is a colour negative in an opening: orange all over, its
    border too where one is seen. Paper has white borders, and its whites or blacks are neutral.
    """
    v = finder.pixels(candidate, 0.05)
    border = candidate.border
    if border is not None and len(border) == 3 and not candidate.level_dark:
        plain = float(border[1] - border[0]) > 0.05 and float(border[2] - border[0]) > MASK_DENSITY
        return plain and mask_of(v) > MASK_DENSITY / 2
    return mask_of(v) > MASK_DENSITY


def _kind_by_size(finder: Finder, candidate: Candidate) -> str:
    """Tell the kind of a single piece by size, ground and border."""
    long, short = finder.size_mm(candidate.corners)
    outer_long, outer_short = finder.size_mm(
        candidate.corners if candidate.object_corners is None else candidate.object_corners
    )
    known = finder.ppi is not None
    small = known and 20 < short < 26 and 31 < long < 38.5
    square = known and 36 < short < 41 and long < 42
    # A white mount lit from the front looks like a mask's opening onto the light table.
    held = tuple(n / (finder.mm or 1) for n in finder.opening)
    held = held if finder.nested else (outer_long, outer_short)
    mount_sized = max(abs(n - film.MOUNT.width_mm) for n in held) < 1.5
    if (small or square) and mount_sized:
        return "mounted_slide"  # whatever the mount's colour
    if candidate.level_dark and (small or square):
        # An opening smaller than the camera's gate is a mount's, be it as dark as the ground.
        mount = candidate.levels > 1 and outer_long > 42
        if long < 35.0 and short < 23.7:
            mount = mount or mask_of(finder.pixels(candidate, 0.05)) <= MASK_DENSITY
        return "mounted_slide" if mount or square else "frame_135"
    if small and not candidate.level_dark:
        return "frame_135"
    if candidate.oval:
        return "lantern"
    ground = finder.layout.tone
    if finder.nested and candidate.levels == 1 and finder.mask_level < BOARD:
        # Film in the opening of a mask has a rebate; a picture on white paper has none.
        return "print"
    if candidate.level_dark and candidate.levels > 1:
        return "lantern"
    if candidate.ground == "dark":
        # A board reflects a few hundredths of the light; a mask lets nothing through.
        if candidate.level_dark and candidate.levels == 1:
            return "print" if ground < 1.75 or not known or long > 76 else "lantern"
        paper = ground < BOARD or (ground < 1.8 and _like_paper(finder, candidate))
        return "print" if paper else "plate"
    if _like_paper(finder, candidate):
        return "print"
    if candidate.levels > 2:
        return "plate"
    plates = film.nearest(outer_long, outer_short, film.PLATES)
    sheet = film.nearest(outer_long, outer_short, film.SHEETS)
    return "plate" if plates is not None and sheet is None else "sheet"


def _like_paper(finder: Finder, candidate: Candidate) -> bool:
    """On a light ground: colours without an orange mask, or the warm white of paper."""
    v = finder.pixels(candidate, 0.05)
    if candidate.level_dark or v.shape[1] != 3:
        return False
    border = candidate.border
    difference = v[:, 2] - v[:, 0]
    if border is not None:  # noqa: SIM108
        warm = float(border[2] - border[0])
    else:
        warm = float(np.median(difference))
    if is_colour(v):
        return (warm if border is not None else mask_of(v)) < 0.2
    return 0.03 < warm < 0.2
