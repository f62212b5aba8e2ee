"""A caption on a picture of a set: a white strip below it, or over its lowest rows where asked.

Drawn with the sans-serif font that is part of OpenCV's own package, which is locked: no font of the
machine is asked, so the same text gives the same pixels wherever that package is the same.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from functools import cache
from typing import Any

import cv2
import numpy as np

from glassine.base import captions
from glassine.base.errors import GlassineError
from glassine.base.records.render import Caption
from glassine.render.encoded import Pixels
from glassine.render.given import PictureSet

# Size of the letters, px: a share of the long edge, and never smaller than is read with ease
# on a screen (common practice, no source).
_SHARE, _LEAST_PX = 0.018, 14
_WEIGHT = 450  # of the letters; 400 is a regular one
_MOST_LINES = 3
_LINE = 1.35  # from one base line to the next, in sizes of the letters
_ELLIPSIS = "…"
# What the font draws rightly, letter after letter: scripts that need no joining, no stacking and no
# turning of the direction. Names as in the Unicode Character Database begin with these.
_SCRIPTS = ("LATIN ", "GREEK ", "CYRILLIC ", "CJK ", "HIRAGANA ", "KATAKANA ", "HANGUL SYLLABLE ")
# In no font: a noncharacter (Unicode 15, section 23.7); what is drawn for it is drawn for all
# that is missing.
_MISSING = "\uffff"


@cache
def _font() -> Any:
    return cv2.FontFace("sans")


def _width(text: str, size: int) -> int:
    """Return how wide a line is, px."""
    left, _, width, _ = cv2.getTextSize((0, 0), text, (0, 0), _font(), size, _WEIGHT)
    return int(left + width)


def _drawn(character: str) -> bytes:
    cell = np.full((48, 48), 255, np.uint8)
    cv2.putText(cell, character, (4, 36), (0,), _font(), 24, _WEIGHT)
    return cell.tobytes()


@cache
def _can_be_drawn(character: str) -> bool:
    if character == "?" or character.isspace():
        return True
    is_letter = unicodedata.category(character)[0] in "LM"
    name = unicodedata.name(character, "")
    if is_letter and not (name.startswith(_SCRIPTS) and unicodedata.combining(character) == 0):
        return False
    return _drawn(character) not in (_drawn(_MISSING), _drawn("?"), _drawn(" "))


def _require_drawable(text: str, asked: PictureSet) -> None:
    bad = [each for each in dict.fromkeys(text) if not _can_be_drawn(each)]
    if bad:
        named = ", ".join(f"U+{ord(each):04X}" for each in bad[:8])
        raise GlassineError.because(
            "render.caption",
            f"render.sets, {asked.name}",
            f"The caption has {len(bad)} characters that cannot be drawn rightly here: {named}.",
            "letters of Latin, Greek, Cyrillic, Chinese, Japanese or Korean, figures and signs.",
            "Leave the field out of the caption, for such items by a rule, or correct the row.",
        )


def _pieces(text: str) -> list[str]:
    """Return the words of a text, each with the space before it; where no spaces are written
    between words, single letters."""
    found: list[str] = []
    for word in text.split(" "):
        space = " " if found else ""
        if any(unicodedata.east_asian_width(each) == "W" for each in word):
            found += [f"{space if not at else ''}{each}" for at, each in enumerate(word)]
        else:
            found.append(f"{space}{word}")
    return found


def _lines(text: str, size: int, width: int) -> list[str]:
    """Return a text in lines no wider than that, px; words that are wider are broken."""
    lines = [""]
    for piece in _pieces(text):
        if _width(lines[-1] + piece, size) <= width:
            lines[-1] += piece
            continue
        rest = piece.lstrip(" ")
        if lines[-1]:
            lines.append("")
        while _width(rest, size) > width and len(rest) > 1:
            end = _fitting(rest, size, width)
            lines[-1] = rest[:end]
            rest = rest[end:]
            lines.append("")
        lines[-1] = rest
    return lines


def _fitting(text: str, size: int, width: int) -> int:
    """Return how many letters of a text fit, one at least."""
    low, high = 1, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if _width(text[:middle], size) <= width else (low, middle - 1)
    return low


def _shortened(lines: list[str], size: int, width: int) -> list[str]:
    if len(lines) <= _MOST_LINES:
        return lines
    last = f"{lines[_MOST_LINES - 1]}"
    while last and _width(last + _ELLIPSIS, size) > width:
        last = last[:-1]
    return [*lines[: _MOST_LINES - 1], last.rstrip() + _ELLIPSIS]


def text_of(asked: PictureSet, facts: Mapping[str, str]) -> str:
    """Return the text of a set's caption, "" where it has none or all its facts are empty."""
    return captions.filled(asked.caption, facts) if asked.caption else ""


def put(picture: Pixels, asked: PictureSet, text: str) -> tuple[Pixels, Caption]:
    """Return a picture (h, w, 1|3, uint8) with the caption, and what is recorded of it.

    Raises GlassineError where the text cannot be drawn rightly or the picture is too narrow.
    """
    _require_drawable(text, asked)
    height, width, bands = picture.shape
    size = max(_LEAST_PX, round(_SHARE * max(height, width)))
    edge = size // 2
    inner = width - 2 * edge
    whole = _lines(text, size, inner)
    lines = _shortened(whole, size, inner)
    if any(_width(line, size) > inner for line in lines):
        raise _too_narrow(asked, width)
    rows = 2 * edge + round(size * (1 + _LINE * (len(lines) - 1)))
    if asked.caption_place == "over" and rows > height // 2:
        raise _too_narrow(asked, width)
    strip = np.full((rows, width, bands), 255, np.uint8)
    plane = np.full((rows, width), 255, np.uint8)
    for number, line in enumerate(lines):
        base = edge + round(size * (0.8 + _LINE * number))
        cv2.putText(plane, line, (edge, base), (0,), _font(), size, _WEIGHT)
    strip[:] = plane[:, :, np.newaxis]
    below = asked.caption_place == "below"
    shown = np.concatenate([picture if below else picture[:-rows], strip])
    told = Caption(text=text, rows=rows, place=asked.caption_place, cut=len(lines) < len(whole))
    return np.ascontiguousarray(shown), told


def _too_narrow(asked: PictureSet, width: int) -> GlassineError:
    return GlassineError.because(
        "render.caption_room",
        f"render.sets, {asked.name}",
        f"A picture of it is {width} px wide, too small for its caption to be read.",
        "pictures on which a line of letters of 14 px has room.",
        "Choose a larger long_edge or ppi for the set, or a shorter caption.",
    )
