"""What kind of material it is, and its polarity and process, from all that was found."""

from __future__ import annotations

from dataclasses import replace

import msgspec
import numpy as np

from glassine.base import film
from glassine.locate import polarity, table
from glassine.locate.candidate import Candidate
from glassine.locate.character import MASK_DENSITY, Character, character, is_colour, mask_of
from glassine.locate.known import Known
from glassine.locate.measures import pixels, spread_of, structure_of
from glassine.locate.scene import Scene
from glassine.locate.shapes import lengths_of, order

Limits = tuple[tuple[float, float], tuple[float, float]]

# Kinds of which one picture, or several of a size, lie on the table.
SINGLE = ("frame_135", "mounted_slide", "sheet", "plate", "lantern", "print")

# What has no source was set on the scenes that `tests/benchmarks/locate` draws.
# Kinds that are positives by what they are.
POSITIVE = ("print", "lantern", "mounted_slide")
# Kinds of pieces that lie in mounts, or behind openings of a mask.
HELD = ("mounted_slide", "cut_frames", "sheet")
# Tone of a dark board against white paper on it: boards reflect 2 % and more. An opaque mask
# round a plate is darker than that.
BOARD = 1.58
# A piece so many times as long as wide may be a strip.
LONG_PIECE = 1.9
# A board this near to BOARD (density) may be either; a ground darker than BLACK lets nothing
# through. White paper stands out against grounds lighter than PAPER_SEEN.
NEAR_BOARD, BLACK, PAPER_SEEN = 0.13, 1.75, 1.8
# Sides of pictures, long to short: of a frame on 35 mm film and how far off, where a mask may hold
# it and where it is stated; of half frames.
FRAME_SIDES, FRAME_OFF, STATED_OFF = 1.5, 0.1, 0.12
OTHER_SIDES, OTHER_OFF = 1.333, 0.06
# Sides of a square mount and of a lantern slide, long to short, at the most.
MOUNT_SIDES, LANTERN_SIDES = 1.12, 1.35
# A frame on 35 mm film (mm), and how far off where another kind is stated; share of the frames.
FRAME_MM, FRAME_OFF_MM, MANY = (36, 24), 1.3, 0.5
# Pictures on 35 mm film in a mount or a mask, from and to (mm, long side and short): small ones,
# and the square ones of 38 mm on film of 4 x 4 cm (value from memory).
SMALL_MM, SQUARE_MM = ((31, 38.5), (20, 26)), ((0, 42), (36, 41))
# How far (mm) a mount's opening onto the table may be off its size; a mount is wider than this.
MOUNT_OFF_MM, MOUNT_MM = 1.5, 42
# A camera's gate is 36 x 24 mm: an opening smaller than this is a mount's.
GATE_MM = (35.0, 23.7)
# No lantern slide shows a picture longer than this, mm.
LANTERN_MM = 76
# Shares of a picture left out at its ends, where its character and where its kind is told.
INSET, INSET_KIND = 0.04, 0.05
# Trust in a polarity that rests on what the ground is, or on the size.
BY_GROUND, BY_SIZE = 0.7, 0.6
# Blue above red (density) in the white of paper, from and to; green above red in orange film.
WARM, ORANGE_GREEN = (0.03, 0.2), 0.05


def characters(scene: Scene, known: Known, found: list[Candidate], kind: str) -> list[Character]:
    """Return polarity and process of each; frames of one strip are one film."""
    each = []
    paper = scene.opening is not None and polarity.sends_back_light(scene.opening.tone)
    from_above = paper or (
        scene.opening is None and polarity.lit_from_above(scene.view, scene.layout)
    )
    seen = [pixels(scene.view, c, INSET) for c in found]
    clearest = [float(np.percentile(tones.mean(1), 2)) for tones in seen]
    clearest += [float(c.border.mean()) for c in found if c.border is not None]
    ground_tone = scene.layout.tone
    board = paper or polarity.is_board(ground_tone, min(clearest, default=ground_tone))
    beside = scene.opening is None and _something_beside(scene, found)
    for c, tones in zip(found, seen, strict=True):
        c.varied, c.structure = spread_of(tones), structure_of(tones)
        # A black border inside a mask's opening is the film's own.
        rebate = kind == "frame_135" and c.level_dark and c.levels > 1
        made = character(tones, c.border, "cut_frames" if rebate else kind, c.level_dark)
        if not c.strip and scene.kind == "auto" and not _in_its_film(scene, known, c, kind):
            lying = polarity.Tones(board, mask_of(tones))
            made = polarity.by_light(c, made, kind, from_above, lying)
            if beside:
                made = polarity.on_board(made)
        if scene.kind == "auto":
            made = polarity.alone_in_black(c, made, tones)
        if kind in HELD and scene.kind == "auto":
            lamp_seen = scene.layout.ground == "light"
            made = polarity.grey_in_black(c, made, tones.mean(1), lamp_seen)
        if kind == "mounted_slide" and scene.kind == "auto":
            made = polarity.mounted(made, float(np.percentile(tones.mean(1), 99)))
        if kind == "lantern" and scene.kind == "auto":
            outer = c.corners if c.object_corners is None else c.object_corners
            against = float(np.percentile(tones.mean(1), 1)) - scene.layout.tone
            size = known.size_mm(outer)
            made = polarity.masked(c, made, size, known.ppi is not None, against)
        each.append(made)
    if scene.kind == "auto":
        each = polarity.held_in_black(found, each, [mask_of(tones) for tones in seen])
    ground = scene.around_tone
    if scene.kind == "auto" and kind == "print" and ground > BOARD - NEAR_BOARD:
        # Without a border of paper nothing tells a print on black from film in a mask, but another
        # print beside it that has one.
        beside_paper = any(not c.level_dark and c.levels > 1 for c in found)
        each = [
            replace(made, polarity_trust=min(made.polarity_trust, BY_GROUND))
            if c.level_dark and c.levels == 1 and not known.sure and not beside_paper
            else made
            for c, made in zip(found, each, strict=True)
        ]
    unsure = abs(ground - BOARD) < NEAR_BOARD and scene.kind == "auto"
    if unsure and scene.view.v.shape[2] == 1:
        for k, c in enumerate(found):
            if kind in ("print", "plate") and not c.level_dark:
                each[k] = replace(each[k], polarity_trust=BY_GROUND)
    if len(found) == 1 and _may_be_a_frame(scene, known, found[0], kind):
        one = found[0]
        other = character(pixels(scene.view, one, INSET), one.border, "frame_135", one.level_dark)
        if other.polarity != each[0].polarity:
            each[0] = replace(each[0], polarity_trust=BY_SIZE)
    return polarity.pooled(found, each)


def _something_beside(scene: Scene, found: list[Candidate]) -> bool:
    """Whether something that is no picture is seen on a dark ground: light from above shows it, for
    beside the openings of a mask nothing is to be seen.
    """
    wholes = {id(c.whole or c) for c in found}
    strips = {c.strip for c in found if c.strip}
    single = len(wholes) - sum(c.strip > 0 for c in found) + len(strips)
    return scene.layout.ground == "dark" and len(scene.layout.pieces) > single


def _in_its_film(scene: Scene, known: Known, one: Candidate, kind: str) -> bool:
    """Whether what is clear around a frame of 35 mm film in a mask's opening is its own film: a
    picture ends in the film's border, clear on a negative, and is cut out of it by nobody.
    """
    masked = scene.opening is not None and scene.around_tone > BOARD - NEAR_BOARD
    return masked and not one.level_dark and kind == "frame_135" and known.sure


def _may_be_a_frame(scene: Scene, known: Known, one: Candidate, kind: str) -> bool:
    """Whether what was taken for a print or a slide may be a frame of 35 mm film in a mask.

    Only size tells them apart, and as long as none is sure either may be it.
    """
    long, short = lengths_of(one.corners)
    if scene.kind != "auto" or known.sure or kind not in POSITIVE or one.oval or short <= 0:
        return False
    # A board sends back light, a mask lets nothing through.
    paper = kind == "print" and (scene.layout.tone < BLACK or one.ground == "light")
    return not paper and abs(long / short - FRAME_SIDES) < FRAME_OFF


def against(scene: Scene, known: Known, found: list[Candidate]) -> str | None:
    """Return what speaks against the kind that batch.yaml states, in words, or None.

    found, known: by the look that holds, as the stated kind.
    """
    kind = scene.kind
    if kind == "auto" or not found:
        return None
    if kind == "strip_135" and not known.perforated:
        return "stated as strip_135, but no perforations are seen"
    if kind.startswith("strip_") and not any(c.strip for c in found):
        return f"stated as {kind}, but no frames side by side are seen"
    if kind in (*SINGLE, "strip_120"):
        perforated, count = _as_strips(scene)
        if perforated and not (kind == "frame_135" and len(found) == 1):
            return f"stated as {kind}, but perforations of 35 mm film are seen"
        if kind in SINGLE and count > 1:
            return f"stated as {kind}, but {count} frames side by side are seen"
    sizes = [known.size_mm(c.corners) for c in found if not c.blank]
    frames = sum(
        abs(long - FRAME_MM[0]) < FRAME_OFF_MM and abs(short - FRAME_MM[1]) < FRAME_OFF_MM
        for long, short in sizes
    )
    larger = kind in ("sheet", "plate", "lantern", "print")
    if larger and known.ppi and sizes and frames >= MANY * len(sizes):
        return f"stated as {kind}, but of the size of frames on 35 mm film (36 x 24 mm)"
    return _shape_against(kind, found)


def _as_strips(scene: Scene) -> tuple[bool, int]:
    """Return whether perforations show, and how many frames of strips the long pieces have, were
    nothing stated of the kind or the scale.
    """
    unstated = replace(scene, facts=msgspec.structs.replace(scene.facts, kind="auto"))
    known, count = Known(), 0
    for piece in scene.layout.pieces:
        if max(piece.width, piece.height) > LONG_PIECE * min(piece.width, piece.height):
            made, known = table.frames_on(unstated, piece, known)
            count += sum(bool(c.strip) for c in made)
    return known.perforated, count


def _shape_against(kind: str, found: list[Candidate]) -> str | None:
    """Tell shapes that no piece of a kind has, whatever the scale."""
    for c in found:
        long, short = lengths_of(c.corners)
        outer = lengths_of(c.corners if c.object_corners is None else order(c.object_corners))
        if c.blank or min(short, outer[1]) <= 0:
            continue
        sides_of = outer[0] / outer[1]
        frame = (
            abs(long / short - FRAME_SIDES) < STATED_OFF
            or abs(long / short - OTHER_SIDES) < OTHER_OFF
        )
        if kind == "frame_135" and not frame:
            return f"stated as frame_135, but its sides are as {long / short:.2f} to 1"
        if kind == "mounted_slide" and c.levels > 1 and sides_of > MOUNT_SIDES:
            return f"stated as mounted_slide, but the mount's sides are as {sides_of:.2f} to 1"
        if kind == "lantern" and c.levels > 1 and sides_of > LANTERN_SIDES:
            return f"stated as lantern, but the slide's sides are as {sides_of:.2f} to 1"
    return None


def kind_of(scene: Scene, known: Known, found: list[Candidate]) -> str:
    """Return the kind of material: as stated, or by what was found."""
    if scene.kind != "auto":
        return scene.kind
    numbers = {c.strip for c in found}
    if numbers == {0}:
        # Exposures of one piece are of its kind; so are several pieces of a kind that is positive.
        wholes = {id(c.whole or c): _whole_of(c) for c in found}
        kinds = {_kind_of_one(scene, known, c) for c in wholes.values()}
        if len(wholes) == 1 or (len(kinds) == 1 and kinds <= set(POSITIVE)):
            return kinds.pop()
    if len(numbers - {0}) > 1 or (len(found) > 1 and 0 in numbers):
        return "cut_frames"
    if any(c.kind == "strip" for c in found):
        if len(found) == 1:
            return "cut_frames"
        return "strip_135" if known.by_perforations else "strip_120"
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


def _kind_of_one(scene: Scene, known: Known, candidate: Candidate) -> str:
    """Tell the kind of a single piece by size, ground, border and the mask of colour negatives."""
    kind = _kind_by_size(scene, known, candidate)
    return "sheet" if kind == "print" and _orange(scene, candidate) else kind


def _orange(scene: Scene, candidate: Candidate) -> bool:
    """Whether what looks like a print is a colour negative in an opening: orange all over, its
    border too where one is seen. Paper has white borders, and its whites or blacks are neutral.
    """
    v = pixels(scene.view, candidate, INSET_KIND)
    border = candidate.border
    if border is not None and len(border) == 3 and not candidate.level_dark:
        plain = (
            float(border[1] - border[0]) > ORANGE_GREEN
            and float(border[2] - border[0]) > MASK_DENSITY
        )
        return plain and mask_of(v) > MASK_DENSITY / 2
    return mask_of(v) > MASK_DENSITY


def _between(long: float, short: float, limits: Limits) -> bool:
    """Whether both sides lie between their limits."""
    return all(low < side < high for side, (low, high) in zip((long, short), limits, strict=True))


def _kind_by_size(scene: Scene, known: Known, candidate: Candidate) -> str:
    """Tell the kind of a single piece by size, ground and border."""
    long, short = known.size_mm(candidate.corners)
    outer_long, outer_short = known.size_mm(
        candidate.corners if candidate.object_corners is None else candidate.object_corners
    )
    sized = known.ppi is not None
    small = sized and _between(long, short, SMALL_MM)
    square = sized and _between(long, short, SQUARE_MM)
    # A white mount lit from the front looks like a mask's opening onto the light table.
    held = outer_long, outer_short
    if scene.opening is not None:
        mm = known.mm or 1
        held = scene.opening.width / mm, scene.opening.height / mm
    mount_sized = max(abs(n - film.MOUNT.width_mm) for n in held) < MOUNT_OFF_MM
    if (small or square) and mount_sized:
        return "mounted_slide"  # whatever the mount's colour
    if candidate.level_dark and (small or square):
        # An opening smaller than the camera's gate is a mount's, be it as dark as the ground.
        mount = candidate.levels > 1 and outer_long > MOUNT_MM
        if long < GATE_MM[0] and short < GATE_MM[1]:
            mount = mount or mask_of(pixels(scene.view, candidate, INSET_KIND)) <= MASK_DENSITY
        return "mounted_slide" if mount or square else "frame_135"
    if small and not candidate.level_dark:
        return "frame_135"
    if candidate.oval:
        return "lantern"
    ground = scene.layout.tone
    if scene.opening is not None and candidate.levels == 1 and scene.opening.tone < BOARD:
        # Film in the opening of a mask has a rebate; a picture on white paper has none.
        return "print"
    if candidate.level_dark and candidate.levels > 1:
        return "lantern"
    if candidate.ground == "dark":
        # A board reflects a few hundredths of the light; a mask lets nothing through.
        if candidate.level_dark and candidate.levels == 1:
            return "print" if ground < BLACK or not sized or long > LANTERN_MM else "lantern"
        paper = ground < BOARD or (ground < PAPER_SEEN and _like_paper(scene, candidate))
        return "print" if paper else "plate"
    if _like_paper(scene, candidate):
        return "print"
    if candidate.levels > 2:
        return "plate"
    plates = film.nearest(outer_long, outer_short, film.PLATES)
    sheet = film.nearest(outer_long, outer_short, film.SHEETS)
    return "plate" if plates is not None and sheet is None else "sheet"


def _like_paper(scene: Scene, candidate: Candidate) -> bool:
    """On a light ground: colours without an orange mask, or the warm white of paper."""
    v = pixels(scene.view, candidate, INSET_KIND)
    if candidate.level_dark or v.shape[1] != 3:
        return False
    border = candidate.border
    difference = v[:, 2] - v[:, 0]
    if border is not None:  # noqa: SIM108
        warm = float(border[2] - border[0])
    else:
        warm = float(np.median(difference))
    if is_colour(v):
        return (warm if border is not None else mask_of(v)) < WARM[1]
    return WARM[0] < warm < WARM[1]
