"""What the whole master, and the whole of one film, say of polarity beside the picture itself.

A grey picture with a clear, slightly warm border on a bright ground may be a print on white paper
or a plate on a light table: nothing in the picture tells which. The ground does where something on
it is brighter than it is, for nothing outshines a lamp that it lies on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from glassine.base import film
from glassine.locate.border import OPEN
from glassine.locate.candidate import Candidate
from glassine.locate.character import SPAN_PLAIN, TONE_ENDS, Character, mask_of
from glassine.locate.shapes import lengths_of, order
from glassine.locate.view import Floats, Layout, View, mean_of

# What is lighter (density) than the ground by more, in more than this share of the view, is lit
# from above.
LIGHTER, AREA = 0.03, 0.004
# What is denser may be a mask that lets nothing through; no lamp, and no mask, is between.
OPAQUE = 1.4
# Trust in a polarity that something as likely contradicts: for review.
UNSURE = 0.6
# The whites of a transparency are nearer than this to the light; a negative's film is not.
WHITE = 0.13
# A transparency's blacks are denser than this.
BLACK = 0.9
# Clear black and white film is no denser than this against the light, its fog with it (0.2 to 0.35;
# value from memory).
CLEAR_FILM = 0.42
# Film and plates have narrower borders than this share of the picture's shorter side (0.125 on
# film of 126 cartridges, value from memory), but frames of 35 mm film.
WIDE_BORDER = 0.15
# What is around an opening is no mask where it sends back a tenth of the light and more (density).
CARD = 1.0
# The mask of a colour negative: its blue lies above its red by about 0.6, its green by 0.35 (C-41
# D-min 0.25, 0.6, 0.85; value from memory). It is plain from this on, with green so much of that.
ORANGE, GREEN_SHARE = 0.3, (0.25, 0.8)
# How far channels stray from one curve (see `colourfulness`) in what is plainly in colour, and more
# than in what is plainly grey.
PLAIN_STRAY, GREY_STRAY = 0.03, 0.002
# No mask is more orange than this (0 to 0.8 in 100 drawn colour negatives): brown subjects are.
# Blue lies above red by more than the second number (density, mean of a picture) in nearly nine of
# ten colour negatives, and in four of ten transparencies.
MOST_ORANGE, BALANCE = 0.95, 0.12
# Trust is no greater than this, so that one frame does not outvote a strip.
SUREST = 0.98
# A border's tone, or an orange mask, gives more than this.
PLAIN = 0.95


@dataclass(frozen=True)
class Tones:
    """board: whether what a piece lies on is a board, and not the clear film of a negative that
    fills the master; mask: by how much (density) the piece is orange in its clearest and its
    densest parts alike.
    """

    board: bool = False
    mask: float = 0.0


PLAIN_TONES = Tones()


def is_board(ground: float, clearest: float) -> bool:
    """Whether a ground that is lit from above is no clear film: it is denser, or pictures on it are
    clearer. ground, clearest: tones of the ground, and of what is clearest in any picture.
    """
    return ground > CLEAR_FILM or clearest < ground - LIGHTER


def lit_from_above(view: View, layout: Layout) -> bool:
    """Whether a bright or grey ground plainly sends back light and is no light table."""
    if OPEN < layout.tone < OPAQUE:
        return True
    if layout.ground != "light":
        return False
    lighter = mean_of(layout.level) - view.grey > LIGHTER
    return float(lighter.mean()) > AREA


def by_light(
    one: Candidate, made: Character, kind: str, from_above: bool, tones: Tones = PLAIN_TONES
) -> Character:
    """Return a single piece's character by how its ground is lit. kind: what it was taken for."""
    lit = from_above or bool((one.whole or one).shadow)
    if lit and made.process == "colour" and made.polarity == "negative":
        if orange_film(one, tones.mask):
            return made
        # What is lit from above is paper: a picture of warm colours, and no orange mask.
        return replace(made, polarity="positive", polarity_trust=UNSURE)
    card = _like_card(one) or _like_a_mount(one, kind)
    if made.process == "monochrome" and made.polarity == "negative" and card:
        return replace(made, polarity_trust=min(made.polarity_trust, UNSURE))
    if made.process != "monochrome" or one.ground != "light" or one.level_dark:
        return made
    if lit:
        # A ground no denser than clear film may be just that, of a negative that fills the master.
        sure = bool((one.whole or one).shadow) or tones.board
        return replace(made, polarity="positive", polarity_trust=0.9 if sure else UNSURE)
    trust = min(made.polarity_trust, UNSURE)
    if one.levels < 2:
        # Film shows a clear edge at least; a print may be cut to its picture.
        return replace(made, polarity="positive", polarity_trust=trust)
    if kind == "print":
        # Warm and clear: paper, or the stained gelatine of a plate.
        return replace(made, polarity_trust=trust)
    return made


def orange_film(one: Candidate, mask: float) -> bool:
    """Whether the clear, orange film of a colour negative surrounds a picture that is as orange:
    blue is denser than red by far, and green by about half as much. Brown card may look like the
    film, but what is mounted on it has whites or blacks of its own. mask: see `mask_of`.
    """
    border = one.border
    if border is None or one.level_dark or one.levels < 2 or len(border) != 3 or mask < ORANGE:
        return False
    green, blue = float(border[1] - border[0]), float(border[2] - border[0])
    return blue > ORANGE and GREEN_SHARE[0] < green / blue < GREEN_SHARE[1]


def alone_in_black(one: Candidate, made: Character, tones: Floats) -> Character:
    """Return the character of a picture in colour that has nothing around it but what is black: a
    slide in its mount, or film behind an opening. Only its own colours tell, and strong ones hide
    the mask. tones: (n, 3) of the picture.
    """
    bare = one.level_dark and one.levels < 2 and one.border is None and not one.strip
    if not bare or made.process != "colour":
        return made
    orange = float((tones[:, 2] - tones[:, 0]).mean())
    doubt = mask_of(tones) > MOST_ORANGE if made.polarity == "negative" else orange > BALANCE
    return replace(made, polarity_trust=min(made.polarity_trust, UNSURE)) if doubt else made


def _like_card(one: Candidate) -> bool:
    """Whether what surrounds a picture is denser than clear film: card of a mount, perhaps."""
    return one.border is not None and not one.level_dark and float(one.border.min()) > CLEAR_FILM


def _like_a_mount(one: Candidate, kind: str) -> bool:
    """Whether the clear border around a picture is wider on all four sides than film and plates
    have it: paper of a window mount, perhaps, or of a print with a wide margin.
    """
    if one.held_in is None or one.level_dark or one.whole is not None or kind == "frame_135":
        return False
    outline = order(one.held_in).astype(np.float32)
    middles = (one.corners + np.roll(one.corners, -1, axis=0)) / 2
    wide = [cv2.pointPolygonTest(outline, (float(x), float(y)), True) for x, y in middles]
    return min(wide) > WIDE_BORDER * lengths_of(one.corners)[1]


def is_in_colour_on_paper(one: Candidate) -> bool:
    """Whether a picture is plainly in colour, and positive, without a black border: film has one,
    but for colour negatives, which are orange.
    """
    made = one.character
    colour = made is not None and made.process == "colour" and made.process_trust > PLAIN
    return colour and made is not None and made.polarity == "positive" and not one.level_dark


def masked(
    one: Candidate, made: Character, size: tuple[float, float], in_mm: bool, clearest: float
) -> Character:
    """Return the character of what was taken for a lantern slide: of no size that those have, a
    grey picture in a black mask may be a negative that was blocked out, unless it is as clear in
    places as the light itself. size: of the piece; clearest: tone in it against the ground.
    """
    if made.process != "monochrome" or one.oval or not one.level_dark or clearest < WHITE:
        return made
    long, short = max(size), min(size)
    other = film.nearest(long, short, film.LANTERN, 2.0) is None if in_mm else long > 1.3 * short
    return replace(made, polarity_trust=min(made.polarity_trust, UNSURE)) if other else made


def mounted(made: Character, densest: float) -> Character:
    """Return the character of what was taken for a slide in a mount: a grey one without any black
    may as well be a negative in a mask. densest: tone in it.
    """
    if made.process != "monochrome" or densest > BLACK:
        return made
    return replace(made, polarity_trust=min(made.polarity_trust, UNSURE))


def grey_in_black(one: Candidate, made: Character, tones: Floats, lamp_seen: bool) -> Character:
    """Return the character of a grey picture in a mount or an opening of its own: it may be a
    negative that was mounted or masked, unless its whites are as clear as the light beside it, or
    its scale of tones is longer than any negative's. tones: (n,) of the picture; lamp_seen: whether
    the tones are against the bare light.
    """
    alone = one.level_dark and not one.strip and one.whole is None
    if not alone or made.process != "monochrome" or made.polarity != "positive":
        return made
    clear, dense = np.percentile(tones, TONE_ENDS)
    if dense - clear > SPAN_PLAIN or (lamp_seen and clear < WHITE):
        return made
    return replace(made, polarity_trust=min(made.polarity_trust, UNSURE))


def sends_back_light(mask_tone: float) -> bool:
    """Whether what was taken for a mask's opening is paper on a board: no mask on a light table is
    lighter than this. mask_tone: of what lies around the opening, against what is in it.
    """
    return mask_tone < CARD


def held_in_black(
    found: Sequence[Candidate], each: Sequence[Character], masks: Sequence[float]
) -> list[Character]:
    """Return the characters of pieces of their own: what is black around them may be their film or
    a mount. Where one of them is orange all over, they may be negatives in mounts; where others are
    plainly in colour, a hardly coloured one may be a faded one. masks: see `Tones`.
    """
    own = [not one.strip and one.level_dark and one.whole is None for one in found]
    orange = any(
        held and ORANGE < mask < MOST_ORANGE and made.polarity == "positive"
        for held, mask, made in zip(own, masks, each, strict=True)
    )
    coloured = any(held and made.stray > PLAIN_STRAY for held, made in zip(own, each, strict=True))
    out = []
    for held, made in zip(own, each, strict=True):
        faded = coloured and made.process == "monochrome" and made.stray > GREY_STRAY
        if held and orange and made.polarity == "positive":
            made = replace(made, polarity_trust=min(made.polarity_trust, UNSURE))
        if held and faded:
            made = replace(made, process_trust=min(made.process_trust, UNSURE))
        out.append(made)
    return out


def on_board(made: Character) -> Character:
    """Return the character of a grey picture on a dark ground beside something else that is seen
    there: with a clear border it may be a print on a board, and no negative in a mask.
    """
    if made.process != "monochrome" or made.polarity != "negative":
        return made
    return replace(made, polarity_trust=min(made.polarity_trust, UNSURE))


def pooled(found: Sequence[Candidate], each: Sequence[Character]) -> list[Character]:
    """Return the characters, alike for all frames of one strip and all exposures of one piece."""
    out = list(each)
    for own in _films(found):
        if len(own) > 1:
            made = _one_film([each[k] for k in own if not found[k].blank])
            for k in own:
                out[k] = replace(made, stray=each[k].stray) if made is not None else each[k]
    return _against_most(found, out)


def _against_most(found: Sequence[Candidate], each: list[Character]) -> list[Character]:
    """Doubt a polarity that rests on no border of its own, where other pieces plainly say other."""
    plain = {one.polarity for one in each if one.polarity_trust >= SUREST}
    return [
        replace(made, polarity_trust=min(made.polarity_trust, UNSURE))
        if plain - {made.polarity} and made.polarity_trust < PLAIN and not one.blank
        else made
        for one, made in zip(found, each, strict=True)
    ]


def _films(found: Sequence[Candidate]) -> list[list[int]]:
    """Return which candidates are of one film: a strip's frames, a piece's exposures."""
    films: dict[tuple[str, int], list[int]] = {}
    for k, one in enumerate(found):
        if one.strip:
            films.setdefault(("strip", one.strip), []).append(k)
        elif one.whole is not None:
            films.setdefault(("piece", id(one.whole)), []).append(k)
    return list(films.values())


def _in_colour(one: Character) -> bool:
    return one.process == "colour" and one.process_trust > PLAIN


def _one_film(each: Sequence[Character]) -> Character | None:
    """Return what the characters of one film's pictures say together."""
    if not each:
        return None
    # The one that shows its colours best speaks for all: colours are seen in one picture of a film
    # and not in the next, but grey film has none.
    best = max(each, key=lambda one: (_in_colour(one), one.process_trust, one.stray))
    odds = 0.0
    for one in each:
        trust = min(max(one.polarity_trust, 0.5), SUREST)
        odds += float(np.log(trust / (1 - trust))) * (1 if one.polarity == "negative" else -1)
    trust = min(float(1 / (1 + np.exp(-abs(odds)))), SUREST)
    polarity = "negative" if odds > 0 else "positive"
    return replace(best, polarity=polarity, polarity_trust=trust)
