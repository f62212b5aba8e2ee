"""What batch.yaml states: its keys, which facts hold for which master, and what of it fits nothing.

Facts are a matter of the master: an item may be a negative and its print, both sides of a plate
and the sleeve it came in. The defaults hold first, then each entry of `items` whose `match` fits
the item and whose `part`, where it has one, fits the master's part; later entries win, key by key.
"""

from __future__ import annotations

import fnmatch
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from glassine.base import parts, settings, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import KINDS, Facts

FILE_NAME = "batch.yaml"
# So many ids are named where a person must see what there is.
_NAMED = 12
# So many entries of no effect are told one by one; batch.yaml of another batch has thousands.
_TOLD = 20

_FACT_PROPERTIES: dict[str, Any] = {
    "kind": {
        "enum": list(KINDS),
        "description": "What lies on the light table; `auto` leaves it to recognition.",
        "examples": ["strip_135"],
    },
    "polarity": {
        "enum": ["auto", "negative", "positive"],
        "description": (
            "Whether the picture is inverted. Without `part` it says nothing of paper (parts "
            f"{', '.join(sorted(parts.PAPER))}), which is not inverted unless an entry with "
            "`part` says so."
        ),
        "examples": ["negative"],
    },
    "process": {
        "enum": ["auto", "colour", "monochrome"],
        "description": (
            "Whether the picture has colours. What is stated to be monochrome becomes a grey "
            "picture of one band; one that shows colours all the same is marked for review."
        ),
        "examples": ["monochrome"],
    },
    "emulsion_side": {
        "enum": ["auto", "away", "toward"],
        "description": (
            "How the film lay, seen from the camera: with the emulsion `toward` it the picture is "
            "mirrored. Not stated: toward for the parts "
            f"{', '.join(sorted(parts.EMULSION))}, else away. Of no effect on prints."
        ),
        "examples": ["toward"],
    },
    "rotate": {
        "enum": [0, 90, 180, 270],
        "description": (
            "Clockwise quarter turns in degrees that bring the picture upright, after what the "
            "TIFF says of its orientation."
        ),
        "examples": [90],
    },
    "crop": {
        "enum": ["picture", "object"],
        "description": "What the access image shows: the picture, or the whole piece around it.",
        "examples": ["object"],
    },
    "nominal_ppi": {
        "type": "number",
        "minimum": 10,
        "maximum": 50000,
        "description": (
            "Pixels an inch in the plane of the film, as the studio set it; goes before what the "
            "TIFF says. In `defaults` it holds for target captures too."
        ),
        "examples": [2400],
    },
    "required_ppi": {
        "type": "number",
        "minimum": 10,
        "maximum": 50000,
        "description": (
            "Pixels an inch that were agreed to be enough, in place of the table of limits."
        ),
        "examples": [2000],
    },
    "size_mm": {
        "type": "array",
        "items": {"type": "number", "exclusiveMinimum": 0, "maximum": 2000},
        "minItems": 2,
        "maxItems": 2,
        "description": (
            "Two sides of the picture in mm, in either order. Used for the pixels an inch that "
            "are judged and for the column of limits; a frame of another size or of other "
            "proportions is marked for review. It does not decide where the frame is found."
        ),
        "examples": [[36, 24]],
    },
    "frames": {
        "type": "integer",
        "minimum": 1,
        "maximum": 1000,
        "description": (
            "How many pictures each master shows. Where as many are found, nobody is asked "
            "whether one of them is two; where not, all of them are marked for review."
        ),
        "examples": [3],
    },
    "film_stock": {
        "type": "string",
        "maxLength": 100,
        "description": (
            "Name of a film in the setting `tone.film_stocks`, whose values a negative is then "
            "inverted with. A name that is not there has no effect, and the report says so."
        ),
        "examples": ["harbour-c"],
    },
    "slopes": {
        "type": "array",
        "items": {"type": "number", "minimum": 0.1, "maximum": 4},
        "minItems": 3,
        "maxItems": 3,
        "description": (
            "Density slope of a negative's straight line for red, green, blue; goes before those "
            "of its film stock. Of no effect on positives."
        ),
        "examples": [[0.55, 0.60, 0.64]],
    },
    "encoding": {
        "enum": ["srgb", "linear", "gamma-2.2", "gamma-1.8"],
        "description": (
            "How the samples of masters without a colour profile are encoded; a profile in the "
            "file goes before it. In `defaults` it holds for target captures too."
        ),
        "examples": ["linear"],
    },
}

_ROLE = {"type": "string", "pattern": "^[A-Za-z0-9._-]{1,40}$"}
_PATH = {"type": "string", "minLength": 1, "maxLength": 500}

BATCH_SCHEMA: dict[str, Any] = {
    "type": "object",
    "additionalProperties": False,
    "properties": {
        "title": {
            "type": "string",
            "maxLength": 500,
            "description": "What the batch is called in the report and in the IIIF collection.",
            "examples": ["Harbour works, first capture session"],
        },
        "operator": {
            "type": "object",
            "additionalProperties": False,
            "description": "Role ids (letters, digits, `.`, `_`, `-`) of people, no names.",
            "properties": {
                "capture": _ROLE
                | {
                    "description": "Role id of who captured; stands in the records.",
                    "examples": ["op-03"],
                },
                "check": _ROLE
                | {
                    "description": "Role id of who checked; kept with the batch, in no record.",
                    "examples": ["op-07"],
                },
            },
        },
        "defaults": {
            "type": "object",
            "additionalProperties": False,
            "description": "Facts of every master of the batch.",
            "properties": _FACT_PROPERTIES,
        },
        "items": {
            "type": "array",
            "description": (
                "Facts of some masters; takes every key of `defaults` beside these. Later entries "
                "win, key by key."
            ),
            "items": {
                "type": "object",
                "additionalProperties": False,
                "required": ["match"],
                "properties": {
                    "match": {
                        "type": "string",
                        "minLength": 1,
                        "maxLength": 200,
                        "description": (
                            "Id of an item, or a pattern of ids with `*`, `?` and `[...]`, in "
                            "quotes."
                        ),
                        "examples": ["PEH-00*"],
                    },
                    "part": {
                        "type": ["string", "array"],
                        "minLength": 1,
                        "maxLength": 100,
                        "minItems": 1,
                        "maxItems": 50,
                        "items": {"type": "string", "minLength": 1, "maxLength": 100},
                        "description": (
                            "Part of the item that the entry is about, as the file name says it, "
                            "or a list of parts; `*`, `?` and `[...]` as in `match`. Without it "
                            "the entry is about all masters of the item."
                        ),
                        "examples": ["sleeve", ["emu", "base"]],
                    },
                    **_FACT_PROPERTIES,
                },
            },
        },
        "targets": {
            "type": "array",
            "description": "Target captures: no items, but proof of the capture's quality.",
            "items": {
                "type": "object",
                "additionalProperties": False,
                "required": ["path", "description"],
                "properties": {
                    "path": _PATH
                    | {
                        "description": "The capture of the target, below the batch folder.",
                        "examples": ["targets/film-target.tif"],
                    },
                    "description": _PATH
                    | {
                        "description": (
                            "Description of the target, in the batch folder or in `config/targets`."
                        ),
                        "examples": ["film-example.yaml"],
                    },
                    "flat_field": _PATH
                    | {
                        "description": "A capture of the bare light on the same rig.",
                        "examples": ["targets/film-light.tif"],
                    },
                    "repeats": {
                        "type": "array",
                        "items": _PATH,
                        "maxItems": 50,
                        "description": "Further captures of the same target, for repeatability.",
                        "examples": [["targets/film-target-2.tif"]],
                    },
                    "kind": {
                        "enum": ["transmissive", "reflective"],
                        "description": (
                            "What the target is; a description that says otherwise is refused."
                        ),
                        "examples": ["transmissive"],
                    },
                    "nominal_ppi": {
                        "type": "number",
                        "minimum": 10,
                        "maximum": 50000,
                        "description": "Pixels an inch of this capture; goes before `defaults`.",
                        "examples": [2400],
                    },
                    "taken": {
                        "type": "string",
                        "maxLength": 40,
                        "description": "When it was captured, for the course over batches.",
                        "examples": ["2026-03-17"],
                    },
                },
            },
        },
    },
}

# Facts about film: stated without `part`, they say nothing of paper that goes with it.
_OF_FILM = (
    "kind",
    "polarity",
    "process",
    "emulsion_side",
    "size_mm",
    "frames",
    "film_stock",
    "slopes",
)
_OF_ENTRY = ("match", "part")


@dataclass(frozen=True)
class Stated:
    """The facts of one master, and which stated ones do not hold for it.

    left_out: keys stated of the item as a whole that say nothing of this part.
    """

    facts: Facts
    left_out: tuple[str, ...] = ()


def read_batch_facts(path: Path) -> dict[str, Any]:
    """Return batch.yaml, checked. Raises GlassineError with one finding per mistake."""
    if not path.exists():
        return {}
    loaded = settings.read_yaml(path) or {}
    found = settings.problems(loaded, BATCH_SCHEMA, path.name)
    if found:
        raise GlassineError(found)
    checked: dict[str, Any] = loaded
    return checked


class Statements:
    """The entries of batch.yaml, looked up by item and part.

    Ids without a wildcard are looked up at once: a batch may state facts of each of its thousands
    of items.
    """

    def __init__(self, batch: dict[str, Any]) -> None:
        self.defaults: dict[str, Any] = batch.get("defaults", {})
        self.operator: str | None = batch.get("operator", {}).get("capture")
        self.entries: list[dict[str, Any]] = batch.get("items", [])
        self._of_item: dict[str, list[int]] = {}
        self._patterns: list[tuple[int, re.Pattern[str]]] = []
        self._parts: dict[int, list[re.Pattern[str]]] = {}
        for number, entry in enumerate(self.entries):
            if set(entry["match"]) & set("*?["):
                self._patterns.append((number, _compiled(entry["match"])))
            else:
                self._of_item.setdefault(entry["match"], []).append(number)
            if "part" in entry:
                named = entry["part"]
                listed = [named] if isinstance(named, str) else named
                self._parts[number] = [_compiled(each) for each in listed]

    def _about(self, item: str) -> list[int]:
        """Return the places of the entries whose `match` fits the item, whatever their part."""
        return sorted(
            self._of_item.get(item, [])
            + [number for number, pattern in self._patterns if pattern.match(item)]
        )

    def _fits(self, number: int, part: str | None) -> bool:
        if number not in self._parts:
            return True
        return part is not None and any(each.match(part) for each in self._parts[number])

    def facts_of(self, item: str, part: str | None) -> Stated:
        """Return what is stated of a master: defaults, then each fitting entry in order."""
        places = [number for number in self._about(item) if self._fits(number, part)]
        entries = [self.entries[number] for number in places]
        whole = dict(self.defaults)
        for entry in entries:
            whole |= {} if "part" in entry else _facts_in(entry)
        left_out = set(_not_of_paper(whole)) if parts.is_paper(part) else set()
        known = {key: value for key, value in self.defaults.items() if key not in left_out}
        for_part: set[str] = set()
        last: dict[str, int] = dict.fromkeys(known, -1)
        for number, entry in zip(places, entries, strict=True):
            facts = _facts_in(entry)
            if "part" in entry:
                for_part |= facts.keys()
            else:
                facts = {key: value for key, value in facts.items() if key not in left_out}
                for_part -= facts.keys()
            known |= facts
            last |= dict.fromkeys(facts, number)
        known |= {
            "operator": self.operator,
            "for_part": sorted(for_part),
            "polarity_of_kind": "kind" in last and last["kind"] == last.get("polarity"),
        }
        return Stated(Facts.from_dict(known), tuple(sorted(left_out - for_part)))

    def default_facts(self) -> Facts:
        """Return what is stated of all captures, those of targets too."""
        return Facts.from_dict({**self.defaults, "operator": self.operator})

    def without_master(self, masters: Iterable[tuple[str, str | None]]) -> list[Finding]:
        """Return a finding for each entry of `items` that fits no master.

        masters: (item, part) of every master of the batch, those without an item left out.
        """
        known: dict[str, list[str | None]] = {}
        for item, part in masters:
            known.setdefault(item, []).append(part)
        about: dict[int, list[str]] = {}
        used: set[int] = set()
        for item, listed in known.items():
            for number in self._about(item):
                about.setdefault(number, []).append(item)
                if any(self._fits(number, part) for part in listed):
                    used.add(number)
        unused = [number for number in range(len(self.entries)) if number not in used]
        found = [
            _fits_nothing(number + 1, self.entries[number], about.get(number, []), known)
            for number in unused[:_TOLD]
        ]
        return found + ([_fit_nothing(unused[_TOLD:])] if len(unused) > _TOLD else [])


def _compiled(pattern: str) -> re.Pattern[str]:
    return re.compile(fnmatch.translate(pattern))


def _facts_in(entry: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in entry.items() if key not in _OF_ENTRY}


def _not_of_paper(whole: dict[str, Any]) -> list[str]:
    """Return the facts of a whole item that are about its film, and so not about its paper."""
    if whole.get("kind") == "print":
        return []
    plain = ("auto", "positive", "away")  # no harm to paper
    return [key for key in _OF_FILM if whole.get(key, "auto") not in plain]


# ------------------------------------------------------------------ what has no effect


def _shown(entry: dict[str, Any]) -> str:
    part = f", part: {entry['part']}" if "part" in entry else ""
    return f"match: {entry['match']}{part}"


def _some(names: Iterable[str]) -> str:
    listed = sorted(set(names))
    if not listed:
        return "none"
    return wording.some(listed, _NAMED)


def _fits_nothing(
    number: int, entry: dict[str, Any], items: list[str], known: dict[str, list[str | None]]
) -> Finding:
    """Return that an entry has no effect. items: those that its `match` fits."""
    if items:
        there = _some(part or "(no part)" for item in items for part in known[item])
        what = f"its `part` fits no master of {_some(items)}"
        expected = f"a part of these items: {there}."
    else:
        what, expected = "its `match` fits no item", f"an item of this batch: {_some(known)}."
    return Finding(
        "facts.no_master",
        FILE_NAME,
        f"Entry {number} of `items` ({_shown(entry)}) has no effect: {what}.",
        expected,
        "Correct the entry, or delete it.",
        "review",
    )


def _fit_nothing(places: list[int]) -> Finding:
    """Return that further entries have no effect, by their numbers."""
    numbers = wording.some([str(place + 1) for place in places], 200)
    return Finding(
        "facts.no_master",
        FILE_NAME,
        f"{len(places)} further entries of `items` have no effect: {numbers}.",
        "entries that fit masters of this batch.",
        "Correct the entries, or delete them.",
        "review",
    )


def unknown_stocks(batch: dict[str, Any], stocks: Iterable[str]) -> list[Finding]:
    """Return a finding for each film stock that the settings know nothing of."""
    known = list(stocks)
    entries = [("defaults", batch.get("defaults", {}))] + [
        (f"entry {number} of `items` ({_shown(entry)})", entry)
        for number, entry in enumerate(batch.get("items", []), 1)
    ]
    named: dict[str, list[str]] = {}
    for where, entry in entries:
        if "film_stock" in entry and entry["film_stock"] not in known:
            named.setdefault(entry["film_stock"], []).append(where)
    return [
        Finding(
            "facts.film_stock",
            FILE_NAME,
            f"The film stock {stock!r} of {places[0]}"
            f"{f' and {len(places) - 1} more' if len(places) > 1 else ''} has no effect on the "
            "pictures: the setting tone.film_stocks does not have it.",
            f"a name in tone.film_stocks: {_some(known)}.",
            "Correct the name, or add the film to the settings.",
            "review" if known else "note",
        )
        for stock, places in named.items()
    ]


def target_findings(batch: dict[str, Any], present: set[str]) -> list[Finding]:
    """Return what is wrong with the list of target captures. present: paths in the batch folder."""
    found = []

    def ask(code: str, path: str, what: str, expected: str) -> None:
        step = "Correct `targets` in batch.yaml, or bring the capture."
        found.append(Finding(f"facts.{code}", path, what, expected, step, "review"))

    seen: set[tuple[str, str]] = set()
    for number, target in enumerate(batch.get("targets", []), 1):
        others = [*target.get("repeats", []), *filter(None, [target.get("flat_field")])]
        for path in [target["path"], *others]:
            if path not in present:
                what = f"Target {number} names this capture, but it is not in the batch folder."
                ask("target_missing", path, what, "a file in the batch folder.")
        for path in sorted({path for path in others if [target["path"], *others].count(path) > 1}):
            what = f"Target {number} names this capture for two uses, so it proves nothing."
            ask("target_twice", path, what, "a capture for each use.")
        key = target["path"], target["description"]
        if key in seen:
            what = f"Target {number} stands in batch.yaml before, with the same description."
            ask("target_twice", target["path"], what, "each target once.")
        seen.add(key)
    return found


def of_no_effect(path: str, part: str | None, stated: Stated) -> list[Finding]:
    """Return what is stated of a master and has no effect on it, as notes."""
    facts = stated.facts
    found = []

    def note(keys: Iterable[str], why: str, step: str) -> None:
        names = ", ".join(f"`{key}`" for key in keys)
        what = f"{names} in batch.yaml had no effect on this master: {why}."
        found.append(Finding("facts.no_effect", path, what, "facts that fit.", step, "note"))

    if stated.left_out:
        note(
            stated.left_out,
            f"an entry without `part` says nothing of {part!r}, which is paper",
            f"State it in an entry with `part: {part}`, where it is meant.",
        )
    positive = facts.polarity == "positive" or facts.kind == "print"
    idle = [key for key in ("slopes", "film_stock") if positive and getattr(facts, key) is not None]
    if idle:
        note(idle, "it is no negative", "Delete it, or correct `polarity`.")
    if facts.kind == "print" and facts.emulsion_side == "toward":
        note(["emulsion_side"], "a print is not mirrored", "Delete it, or correct `kind`.")
    return found
