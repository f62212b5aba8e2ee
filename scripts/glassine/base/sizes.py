"""Sizes of film and plates as catalogues write them, such as 9 x 12 cm or 6 1/2 by 8 1/2 in."""

from __future__ import annotations

import re
from typing import Any

from glassine.base import extents

_MM = {"mm": 1.0, "cm": 10.0, "in": 25.4}
_UNITS = {
    "mm": "mm", "millimetre": "mm", "millimeter": "mm", "cm": "cm", "centimetre": "cm",
    "centimeter": "cm", "in": "in", "inch": "in", "inche": "in", '"': "in", "″": "in", "''": "in",
}  # fmt: skip
_VULGAR = {"¼": "1/4", "½": "1/2", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_NUMBER = r"[0-9]{1,4}(?:[.,][0-9]{1,3})?(?: [0-9]{1,2}/[0-9]{1,2})?"
_UNIT = r"mm|millimet(?:re|er)s?|cm|centimet(?:re|er)s?|inches|inch|in|\"|″|''"
_SIZE = re.compile(
    rf"({_NUMBER}) ?({_UNIT})? ?(?:x|×|by|\*) ?({_NUMBER}) ?({_UNIT})(?![a-z0-9])", re.IGNORECASE
)
_AFTER_ANOTHER = re.compile(r"(?:x|×|by|\*) ?$", re.IGNORECASE)
# A bound is no size: catalogues write "4 x 5 in. or smaller" of whole series.
_BOUND = re.compile(
    r"\b(?:or|oder|ou|of|o) (?:smaller|less|larger|kleiner|gr[oö][sß]+er|moins|plus|"
    r"menos|meno)|\b(?:up to|at most|max\.?|maximum|under|bis zu|jusqu'[aà])(?!\w)",
    re.IGNORECASE,
)
# Two wordings of one size ("13 x 18 cm (5 x 7 in)") agree within this share: nominal inches are
# rounded (common practice, no source).
_SAME = 0.05


def in_mm(text: str) -> tuple[float, float] | None:
    """Return the shorter and the longer side in mm of the size that a text states; None where it
    states none, or several that differ: which of them is meant cannot be told.

    >>> in_mm("9 x 12 cm")
    (90.0, 120.0)
    >>> in_mm("35 mm") is None
    True
    """
    plain = " ".join(text[:2000].split())
    for sign, figures in _VULGAR.items():
        plain = plain.replace(sign, f" {figures}")
    plain = " ".join(plain.split())
    if _BOUND.search(plain):
        return None
    matches = [*_SIZE.finditer(plain)]
    if any(_AFTER_ANOTHER.search(plain[max(0, match.start() - 4) : match.start()])
           for match in matches):  # fmt: skip
        return None  # three sides: a box, or a mount with its depth
    found = [_sides(match) for match in matches]
    if not found or any(side <= 0 for size in found for side in size):
        return None
    first = found[0]
    same = all(
        abs(side - other) <= _SAME * other
        for size in found
        for side, other in zip(size, first, strict=True)
    )
    return first if same else None


def stated(row: dict[str, Any]) -> tuple[tuple[float, float], str] | None:
    """Return the size in mm (see `in_mm`) that a catalogue's row states of its film, and the words
    that say it; None where none does.

    `dimensions` counts; where the row has none, a size in its words of extent, where these speak of
    no container.
    """
    dimensions = str(row.get("dimensions") or "")
    texts = [dimensions] if dimensions else extents.words_of(row)
    for text in texts:
        if text is not dimensions and (extents.holds_container(text) or len(text) > _LONG):
            continue
        size = in_mm(text)
        if size is not None:
            return size, text
    return None


# A text of more characters tells a story: whose size stands in it is not certain.
_LONG = 200


def _sides(match: re.Match[str]) -> tuple[float, float]:
    last = _unit(match[4])
    sides = (
        _value(match[1]) * _MM[_unit(match[2]) if match[2] else last],
        _value(match[3]) * _MM[last],
    )
    return (round(min(sides), 2), round(max(sides), 2))


def _unit(word: str) -> str:
    return _UNITS[word.casefold().removesuffix("s")]


def _value(text: str) -> float:
    whole, _, rest = text.partition(" ")
    value = float(whole.replace(",", "."))
    if rest:
        over, _, under = rest.partition("/")
        value += int(over) / int(under) if int(under) else 0.0
    return value
