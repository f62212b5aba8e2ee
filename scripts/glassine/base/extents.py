"""What a catalogue's words of extent say of an item's film: how many frames, negative or positive.

`1 negative : glass ; 9 x 12 cm` (MARC 300 and MODS `extent` are written so), `36 Negative`, `12
photographic prints`. Words that speak of both, of containers, or of none say nothing. They decide
nothing: what was found otherwise is for review.
"""

from __future__ import annotations

import re
from typing import Any, Literal

# Stems in the languages that dates are read in (common words of catalogues; common practice, no
# source). Each matches from the start of a word.
_NEGATIVE = re.compile(
    r"\b(?:glas(?:s|platten)?-?)?(?:n[ée]gati[fv]\w*|negatieven|negatief|negatiiv\w*"
    r"|negatyw\w*)\b",
    re.IGNORECASE,
)
_POSITIVE = re.compile(
    r"\b(?:positi[fv]\w*|positief|positieven|positiiv\w*|pozytyw\w*|pozitiv\w*|transparenc(?:y|ies)"
    r"|slides?|lantern[ -]slides?|dias?|diapositi\w*|prints?|abz[uü]ge?|abzug|[ée]preuves?|tirages?"
    r"|afdruk(?:ken)?|stamp[ae]|copias?|odbitk\w*)\b",
    re.IGNORECASE,
)
# Things that hold film, or that film is held in: what is counted or measured may be they.
_CONTAINER = re.compile(
    r"\b(?:box|boxes|album|albums|folders?|volumes?|v\.|case|cases|envelopes?|mounts?|mounted|mat|"
    r"matted|sleeves?|wallets?|binders?|sheets?|pages?|p\.|leaf|leaves|contact|schachteln?|mappen?|"
    r"alben|album[is]?|karton\w*|bo[iî]tes?|enveloppes?|doos|dozen|scatol[ae]|cajas?|caixas?)(?!\w)",
    re.IGNORECASE,
)
_FRAMES = re.compile(
    r"(?<![\w.,/-])([0-9]{1,4})\s+(?:[^\W\d_-]{1,20}[ -]){0,3}?(?:negati[fv]\w*|n[ée]gatifs?|"
    r"negatief|negatieven|negatyw\w*|frames?|exposures?|images?|photographs?|photos?|pictures?|"
    r"slides?|transparenc(?:y|ies)|diapositi\w*|dias|aufnahmen?|bilder?|fotos?|fotografien?|"
    r"photographies?|opnamen?|zdj[ęe][ćc]i?a?)\b",
    re.IGNORECASE,
)
FIELDS = ("extent", "physical")
Polarity = Literal["negative", "positive"]


def words_of(row: dict[str, Any]) -> list[str]:
    """Return the texts of a catalogue's row that tell what an item is, the extent first."""
    return _texts(row, FIELDS)


def kinds_of(row: dict[str, Any]) -> list[str]:
    """Return the texts of a row that may tell negatives from positives: its genre too."""
    return _texts(row, (*FIELDS, "genre"))


def _texts(row: dict[str, Any], fields: tuple[str, ...]) -> list[str]:
    texts = [str(row.get(field) or "")[:500] for field in fields]
    return [text for text in texts if text]


def holds_container(text: str) -> bool:
    return bool(_CONTAINER.search(text))


def polarity(text: str) -> Polarity | None:
    """Return whether a text speaks of negatives alone, or of positives alone.

    >>> polarity("1 negative : glass ; 9 x 12 cm")
    'negative'
    >>> polarity("1 print from a glass negative") is None
    True
    """
    negative, positive = bool(_NEGATIVE.search(text)), bool(_POSITIVE.search(text))
    if negative == positive or holds_container(text):
        return None
    return "negative" if negative else "positive"


def frames(text: str) -> int | None:
    """Return how many frames a text counts, None where it counts none, or several times.

    >>> frames("36 negatives : b&w ; 35 mm")
    36
    """
    found = {int(match[1]) for match in _FRAMES.finditer(text)}
    return found.pop() if len(found) == 1 and not holds_container(text) else None
