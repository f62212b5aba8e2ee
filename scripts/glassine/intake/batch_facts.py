"""What batch.yaml states: which facts hold for which master, and what of it fits nothing.

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

import msgspec
from msgspec import UNSET

from glassine.base import files, parts, settings, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import Facts
from glassine.base.records.batch_file import BatchFile, StatedEntry, StatedFacts, StatedTarget

FILE_NAME = "batch.yaml"
# Characters of the name of a film.
MAX_FILM = 100
# So many ids are named where a person must see what there is.
_NAMED = 12
# So many entries of no effect are told one by one; batch.yaml of another batch has thousands.
_TOLD = 20

# Facts about film: stated without `part`, they say nothing of paper that goes with it.
_OF_FILM = (
    "kind",
    "polarity",
    "process",
    "emulsion_side",
    "size_mm",
    "frames",
    "film_stock",
    "film",
    "slopes",
)
_OF_ENTRY = ("match", "part", "captures")
# Keys whose numbers are whole ones.
_WHOLE = frozenset({"rotate", "frames", "captures"})


@dataclass(frozen=True)
class Stated:
    """The facts of one master, and which stated ones do not hold for it.

    left_out: keys stated of the item as a whole that say nothing of this part.
    """

    facts: Facts
    left_out: tuple[str, ...] = ()


def read_batch_facts(path: Path) -> BatchFile:
    """Return batch.yaml, checked. Raises GlassineError with one finding per mistake."""
    if not path.exists():
        return BatchFile()
    loaded = settings.whole_numbers(settings.read_yaml(path) or {}, _WHOLE)
    problems = settings.problems(loaded, files.read_schema("batch"), path.name)
    if problems:
        raise GlassineError(problems)
    return msgspec.convert(loaded, BatchFile)


class Statements:
    """The entries of batch.yaml, looked up by item and part.

    Ids without a wildcard are looked up at once: a batch may state facts of each of its thousands
    of items.
    """

    def __init__(self, batch: BatchFile) -> None:
        self.defaults = _facts_in(batch.defaults)
        self.operator = (batch.operator.capture or None) if batch.operator else None
        self.entries = batch.items
        self._facts = [_facts_in(entry) for entry in batch.items]
        self._of_item: dict[str, list[int]] = {}
        self._patterns: list[tuple[int, re.Pattern[str]]] = []
        self._parts: dict[int, list[re.Pattern[str]]] = {}
        for number, entry in enumerate(self.entries):
            if set(entry.match) & set("*?["):
                self._patterns.append((number, _compiled(entry.match)))
            else:
                self._of_item.setdefault(entry.match, []).append(number)
            if entry.part is not UNSET:
                listed = [entry.part] if isinstance(entry.part, str) else entry.part
                self._parts[number] = [_compiled(part) for part in listed]

    def _about(self, item: str) -> list[int]:
        """Return the places of the entries whose `match` fits the item, whatever their part."""
        return sorted(
            self._of_item.get(item, [])
            + [number for number, pattern in self._patterns if pattern.match(item)]
        )

    def _fits(self, number: int, part: str | None) -> bool:
        if number not in self._parts:
            return True
        return part is not None and any(pattern.match(part) for pattern in self._parts[number])

    def name_part(self, item: str, part: str) -> bool:
        """Return whether an entry for this part speaks of the item's: then a person knows it."""
        about = self._about(item)
        return any(number in self._parts and self._fits(number, part) for number in about)

    def facts_of(self, item: str, part: str | None) -> Stated:
        """Return what is stated of a master: defaults, then each fitting entry in order."""
        places = [number for number in self._about(item) if self._fits(number, part)]
        whole = dict(self.defaults)
        for number in places:
            whole |= {} if number in self._parts else self._facts[number]
        left_out = set(_not_of_paper(whole)) if parts.is_paper(part) else set()
        facts_stated = {key: value for key, value in self.defaults.items() if key not in left_out}
        for_part: set[str] = set()
        last: dict[str, int] = dict.fromkeys(facts_stated, -1)
        for number in places:
            facts = self._facts[number]
            if number in self._parts:
                for_part |= facts.keys()
            else:
                facts = {key: value for key, value in facts.items() if key not in left_out}
                for_part -= facts.keys()
            facts_stated |= facts
            last |= dict.fromkeys(facts, number)
        facts_stated |= {
            "operator": self.operator,
            "film_from": "batch.yaml" if facts_stated.get("film") else None,
            "for_part": sorted(for_part),
            "polarity_of_kind": "kind" in last and last["kind"] == last.get("polarity"),
        }
        return Stated(Facts.from_dict(facts_stated), tuple(sorted(left_out - for_part)))

    def captures_of(self, item: str, part: str | None) -> int | None:
        """Return how many masters of a part an item, or a roll, is stated to have."""
        found = None
        for number in self._about(item):
            stated = self.entries[number].captures
            whole = number not in self._parts and part is None
            if stated is not UNSET and (
                whole or (number in self._parts and self._fits(number, part))
            ):
                found = stated
        return found

    def default_facts(self) -> Facts:
        """Return what is stated of all captures, those of targets too."""
        return Facts.from_dict({**self.defaults, "operator": self.operator})

    def without_master(self, masters: Iterable[tuple[str, str | None]]) -> list[Finding]:
        """Return a finding for each entry of `items` that fits no master.

        masters: (item, part) of every master of the batch, those without an item left out.
        """
        parts_of: dict[str, list[str | None]] = {}
        for item, part in masters:
            parts_of.setdefault(item, []).append(part)
        about: dict[int, list[str]] = {}
        used: set[int] = set()
        for item, listed in parts_of.items():
            for number in self._about(item):
                about.setdefault(number, []).append(item)
                if any(self._fits(number, part) for part in listed):
                    used.add(number)
        unused = [number for number in range(len(self.entries)) if number not in used]
        findings = [
            _fits_nothing(number + 1, self.entries[number], about.get(number, []), parts_of)
            for number in unused[:_TOLD]
        ]
        return findings + ([_fit_nothing(unused[_TOLD:])] if len(unused) > _TOLD else [])


def _compiled(pattern: str) -> re.Pattern[str]:
    return re.compile(fnmatch.translate(pattern))


def _facts_in(stated: StatedFacts) -> dict[str, Any]:
    """Return {name of a fact: its value as it was written} of what is stated."""
    return {
        key: value
        for key, value in msgspec.structs.asdict(stated).items()
        if key not in _OF_ENTRY and value is not UNSET
    }


def _not_of_paper(whole: dict[str, Any]) -> list[str]:
    """Return the facts of a whole item that are about its film, and so not about its paper."""
    if whole.get("kind") == "print":
        return []
    plain = ("auto", "positive", "away")  # no harm to paper
    return [key for key in _OF_FILM if whole.get(key, "auto") not in plain]


# ------------------------------------------------------------------ what has no effect


def _entry_text(entry: StatedEntry) -> str:
    part = "" if entry.part is UNSET else f", part: {entry.part}"
    return f"match: {entry.match}{part}"


def _some(names: Iterable[str]) -> str:
    listed = sorted(set(names))
    if not listed:
        return "none"
    return wording.some(listed, _NAMED)


def _fits_nothing(
    number: int, entry: StatedEntry, items: list[str], parts_of: dict[str, list[str | None]]
) -> Finding:
    """Return that an entry has no effect. items: those that its `match` fits."""
    if items:
        there = _some(part or "(no part)" for item in items for part in parts_of[item])
        what = f"its `part` fits no master of {_some(items)}"
        expected = f"a part of these items: {there}."
    else:
        what, expected = "its `match` fits no item", f"an item of this batch: {_some(parts_of)}."
    return Finding(
        "facts.no_master",
        FILE_NAME,
        f"Entry {number} of `items` ({_entry_text(entry)}) has no effect: {what}.",
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


def unknown_stocks(batch: BatchFile, stocks: Iterable[str], library: bool) -> list[Finding]:
    """Return a finding for each film stock that the settings know nothing of. library: whether
    films start from the stock library, which may know it."""
    stock_names = list(stocks)
    entries: list[tuple[str, StatedFacts]] = [("defaults", batch.defaults)]
    entries += [
        (f"entry {number} of `items` ({_entry_text(entry)})", entry)
        for number, entry in enumerate(batch.items, 1)
    ]
    named: dict[str, list[str]] = {}
    for where, entry in entries:
        if entry.film_stock is not UNSET and entry.film_stock not in stock_names:
            named.setdefault(entry.film_stock, []).append(where)
    if library:
        return [_by_library(stock, places[0]) for stock, places in named.items()]
    return [
        Finding(
            "facts.film_stock",
            FILE_NAME,
            f"The film stock {stock!r} of {places[0]}"
            f"{f' and {len(places) - 1} more' if len(places) > 1 else ''} has no effect on the "
            "pictures: the setting tone.film_stocks does not have it.",
            f"a name in tone.film_stocks: {_some(stock_names)}.",
            "Correct the name, or add the film to the settings.",
            "review" if stock_names else "note",
        )
        for stock, places in named.items()
    ]


def _by_library(stock: str, place: str) -> Finding:
    return Finding(
        "facts.film_stock_library",
        FILE_NAME,
        f"The film stock {stock!r} of {place} is not in the setting tone.film_stocks: its films "
        "start from what the stock library holds under this very name, if anything.",
        "the name that other batches of this stock have, letter by letter.",
        "Nothing, if it is written as there; scripts/film-stocks shows the names.",
        "note",
    )


def target_findings(targets: list[StatedTarget], present: set[str]) -> list[Finding]:
    """Return what is wrong with the list of target captures. present: paths in the batch folder."""
    findings = []

    def ask(code: str, path: str, what: str, expected: str) -> None:
        step = "Correct `targets` in batch.yaml, or bring the capture."
        findings.append(Finding(f"facts.{code}", path, what, expected, step, "review"))

    targets_before: set[tuple[str, str]] = set()
    for number, target in enumerate(targets, 1):
        captures = [target.path, *target.others]
        for path in captures:
            if path not in present:
                what = f"Target {number} names this capture, but it is not in the batch folder."
                ask("target_missing", path, what, "a file in the batch folder.")
        for path in sorted({path for path in target.others if captures.count(path) > 1}):
            what = f"Target {number} names this capture for two uses, so it proves nothing."
            ask("target_twice", path, what, "a capture for each use.")
        key = target.path, target.description
        if key in targets_before:
            what = f"Target {number} stands in batch.yaml before, with the same description."
            ask("target_twice", target.path, what, "each target once.")
        targets_before.add(key)
    return findings


def of_no_effect(path: str, part: str | None, stated: Stated) -> list[Finding]:
    """Return what is stated of a master and has no effect on it, as notes."""
    facts = stated.facts
    findings = []

    def note(keys: Iterable[str], why: str, step: str) -> None:
        names = ", ".join(f"`{key}`" for key in keys)
        what = f"{names} in batch.yaml had no effect on this master: {why}."
        findings.append(Finding("facts.no_effect", path, what, "facts that fit.", step, "note"))

    if stated.left_out:
        note(
            stated.left_out,
            f"an entry without `part` says nothing of {part!r}, which is paper",
            f"State it in an entry with `part: {part}`, where it is meant.",
        )
    positive = facts.polarity == "positive" or facts.kind == "print"
    of_negatives = ("slopes", "film_stock", "film")
    idle = [key for key in of_negatives if positive and getattr(facts, key) is not None]
    if idle:
        note(idle, "it is no negative", "Delete it, or correct `polarity`.")
    if facts.restore == "faded" and facts.polarity == "negative":
        note(["restore"], "it is a negative", "Delete it, or correct `polarity`.")
    elif facts.restore == "faded" and facts.process == "monochrome":
        note(["restore"], "it is stated to have no dyes", "Delete it, or correct `process`.")
    if facts.kind == "print" and facts.emulsion_side == "toward":
        note(["emulsion_side"], "a print is not mirrored", "Delete it, or correct `kind`.")
    return findings
