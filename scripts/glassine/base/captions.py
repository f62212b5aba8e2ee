"""The text of the caption that a set of pictures may carry: a template, filled with facts.

A field is a name in braces; a part in square brackets is left out where one of its fields is empty.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from typing import Any

from glassine.base import rights
from glassine.base.visible import visible

# Facts of the catalogue and the settings, and those of the frame, which the step knows by itself.
OF_ITEM = ("title", "date", "creator", "copyright", "credit")
OF_FRAME = ("item", "part", "frame")
FIELDS = (*OF_FRAME, *OF_ITEM)
MOST_CHARACTERS = 600
_PIECE = re.compile(r"\{([^{}\[\]]{0,40})\}|\[([^\[\]]{0,200})\]")


def _plain(template: str) -> str:
    return _PIECE.sub("", template)


def problem_of(template: str) -> str:
    """Return what is wrong with a template, in words; "" where nothing is."""
    names = fields(template)
    unknown = [name for name in names if name not in FIELDS]
    if unknown:
        return f"has the unknown field {{{visible(unknown[0])}}}"
    inner = "".join(found[2] or "" for found in _PIECE.finditer(template))
    if any(each in _plain(template) + _plain(inner) for each in "{}[]"):
        return "has a brace or bracket without its other half, or brackets in brackets"
    if any(unicodedata.category(each) in ("Cc", "Cf", "Cs", "Zl", "Zp") for each in template):
        return "has a line end, a control or an invisible character"
    return "" if template.strip() else "is empty"


def fields(template: str) -> list[str]:
    """Return the names of a template's fields."""
    found = []
    for each in _PIECE.finditer(template):
        inner = _PIECE.finditer(each[2]) if each[2] is not None else [each]
        found += [one[1] for one in inner if one[1] is not None]
    return found


def filled(template: str, facts: Mapping[str, str]) -> str:
    """Return a sound template with its fields filled, in one line, form C of Unicode (UAX 15).

    Line ends of facts become spaces, other controls and invisible characters are shown escaped;
    what goes beyond MOST_CHARACTERS is left out, with an ellipsis in its place.
    """

    def value(name: str) -> str:
        return " ".join(facts.get(name, "").split())

    def one(found: re.Match[str]) -> str:
        if found[1] is not None:
            return value(found[1])
        names = fields(found[2])
        if names and not all(value(name) for name in names):
            return ""
        return _PIECE.sub(one, found[2])

    text = visible(unicodedata.normalize("NFC", _PIECE.sub(one, template))).strip()
    return text if len(text) <= MOST_CHARACTERS else f"{text[: MOST_CHARACTERS - 1].rstrip()}…"


def _templates(config: Mapping[str, Any], of_masters: Iterable[Mapping[str, Any]]) -> list[str]:
    made = (config.get("render", {}), *(rule.get("render", {}) for rule in of_masters))
    sets = [each for one in made for each in one.get("sets", [])]
    return [str(each["caption"]) for each in sets if each.get("caption")]


def facts_of(
    row: Mapping[str, Any] | None,
    config: Mapping[str, Any],
    of_masters: Iterable[Mapping[str, Any]] = (),
) -> dict[str, str]:
    """Return those facts of an item that the captions of its sets name, empty ones left out: what
    no caption shows is no reason to make pictures anew.

    row: of the catalogue, None where there is none. config: the settings that hold for the item;
    of_masters: of rules that go by master.
    """
    asked = {name for each in _templates(config, of_masters) for name in fields(each)}
    if not asked & {*OF_ITEM}:
        return {}
    known = rights.resolved((row or {}).get("rights"), config.get("rights"))
    told = {
        "title": str((row or {}).get("title") or ""),
        "date": str((row or {}).get("date_text") or (row or {}).get("edtf") or ""),
        "creator": "; ".join(str(each["name"]) for each in (row or {}).get("creators") or []),
        "copyright": known.notice if row else "",
        "credit": known.credit or str((config.get("institution") or {}).get("name") or ""),
    }
    return {name: text for name, text in told.items() if name in asked and text}
