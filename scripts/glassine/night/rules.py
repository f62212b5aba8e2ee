"""Settings that hold for some items alone: the list `rules` of the settings, later ones win.

What batch, item, collection and right decide is known before a step runs, so a step is given the
settings as they are for its item, and knows of no rule. Kind and part belong to a master, and the
kind is often recognised only when the master was looked at: such rules are given to the steps whose
sections they set, which ask for each master.
"""

from __future__ import annotations

import fnmatch
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import msgspec

from glassine.base import rights, settings, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import KINDS
from glassine.base.records.catalogue import CatalogueRow

# What a rule may set; of these, keys that hold for a delivery as a whole.
SECTIONS = ("render", "iiif", "embed", "package")
_OF_ALL = {"package": ("profile",)}
# Keys that the pictures of an item share.
_IIIF_OF_ITEM = ("base_url", "image_api")
_OF_ITEM = ("batch", "item", "collection", "right")
OF_MASTER = ("kind", "part")
# Under this key resolved settings hold the rules that render asks for each master.
FOR_MASTERS = "rules_of_masters"
_WHERE = "config/config.yaml"


@dataclass(frozen=True)
class Told:
    """What rules go by: batch, item, and what its catalogue row says."""

    batch: str
    item: str
    row: CatalogueRow | None

    def values(self, condition: str, house: dict[str, Any]) -> tuple[str, ...]:
        """Return the texts that a condition is compared with. house: rights of the settings."""
        if condition == "batch":
            return (self.batch,)
        if condition == "item":
            return (self.item,)
        if condition == "collection":
            return (self.row.collection or "",) if self.row else ("",)
        stated = msgspec.to_builtins(self.row.rights) if self.row else None
        of_item = rights.resolved(stated, house)
        return (of_item.status, of_item.uri, of_item.name)


def _wanted(rule: Mapping[str, Any], condition: str) -> list[str]:
    stated = rule["for"].get(condition, [])
    return [stated] if isinstance(stated, str) else list(stated)


def fits(wanted: Sequence[str], values: Sequence[str]) -> bool:
    """Return whether one of the values fits one of the globs; case does not count."""
    return any(
        fnmatch.fnmatchcase(value.casefold(), glob.casefold())
        for glob in wanted
        for value in values
    )


def missed(rule: Mapping[str, Any], told: Told, house: dict[str, Any]) -> str:
    """Return in words why a rule does not hold for an item; empty where it does, as far as batch,
    item, collection and right decide."""
    for condition in _OF_ITEM:
        wanted = _wanted(rule, condition)
        values = told.values(condition, house) if wanted else ()
        if wanted and not fits(wanted, values):
            shown = next((value for value in values if value), "not stated")
            return f"its {condition} is {shown}, not {' or '.join(wanted)}"
    return ""


def of_masters(rule: Mapping[str, Any]) -> bool:
    """Return whether a rule is about masters of a kind or part."""
    return any(condition in rule["for"] for condition in OF_MASTER)


def fitting(config: dict[str, Any], told: Told) -> tuple[int, ...]:
    """Return the places of the rules that hold for an item, or may for some of its masters."""
    rules = config.get("rules") or []
    return tuple(
        place
        for place, rule in enumerate(rules)
        if not missed(rule, told, config.get("rights") or {})
    )


def resolved(config: dict[str, Any], places: Sequence[int]) -> dict[str, Any]:
    """Return the settings with the rules at these places laid over them, in order."""
    rules = [config["rules"][place] for place in places]
    result = dict(config)
    for rule in rules:
        if not of_masters(rule):
            result = laid_over(result, rule["set"])
    first = next((place for place, rule in enumerate(rules) if of_masters(rule)), None)
    if first is not None:
        # Rules for whole items among them too, so that a later one wins over an earlier kind's.
        result[FOR_MASTERS] = [
            {name: _wanted(rule, name) for name in OF_MASTER if name in rule["for"]} | rule["set"]
            for rule in rules[first:]
        ]
    return result


def of_step(config: dict[str, Any], sections: Sequence[str]) -> list[dict[str, Any]]:
    """Return what rules of resolved settings set of these sections for masters of a kind or part;
    what they set of others is no reason to do a step again."""
    named = set(SECTIONS) & {*sections} - ({"iiif"} if "render" not in sections else set())
    return [
        {name: value for name, value in rule.items() if name in named or name in OF_MASTER}
        for rule in config.get(FOR_MASTERS, [])
        if any(rule.get(name) for name in named)
    ]


def laid_over(config: dict[str, Any], more: Mapping[str, Any]) -> dict[str, Any]:
    """Return settings with some keys of some sections set otherwise."""
    return {**config, **{name: {**config[name], **keys} for name, keys in more.items()}}


def words(rule: Mapping[str, Any], number: int) -> str:
    """Return in words which rule it is."""
    goes_by = "; ".join(
        f"{name} {' or '.join(_wanted(rule, name))}"
        for name in (*_OF_ITEM, *OF_MASTER)
        if name in rule["for"]
    )
    return f"rule {number} ({goes_by})"


def unused(config: dict[str, Any], items: Iterable[Told]) -> list[str]:
    """Return in words which rules hold for none of these items. Whether there is a master of the
    kind or part is not asked."""
    rules = config.get("rules") or []
    if not rules:
        return []
    held = {place for told in items for place in fitting(config, told)}
    return [words(rule, place + 1) for place, rule in enumerate(rules) if place not in held]


# --- are they right ----------------------------------------------------------------------


def check(config: dict[str, Any]) -> list[Finding]:
    """Return what is wrong with the rules of complete settings, one finding a mistake."""
    found: list[Finding] = []
    for number, rule in enumerate(config.get("rules") or [], 1):
        found += _check_rule(config, rule, number)
    return found


def _check_rule(config: dict[str, Any], rule: Mapping[str, Any], number: int) -> list[Finding]:
    if not any(_wanted(rule, condition) for condition in (*_OF_ITEM, *OF_MASTER)):
        what = "`for` names nothing, so that it would hold for every item."
        return [_wrong(number, what, "at least one of batch, item, collection, right, kind, part.")]
    if not any(rule["set"].values()):
        return [_wrong(number, "`set` states nothing.", "a key of render, iiif, embed or package.")]
    further = [f"iiif.{name}" for name in _IIIF_OF_ITEM if name in rule["set"].get("iiif", {})]
    if of_masters(rule) and further:
        what = f"It goes by kind or part and sets {', '.join(further)}."
        expected = "keys that one picture can have for itself: these hold for an item as a whole."
        return [_wrong(number, what, expected)]
    found = _check_kinds(rule, number)
    for section, keys in _OF_ALL.items():
        for key in keys:
            if key in rule["set"].get(section, {}):
                what = f"It sets {section}.{key}, which holds for a delivery as a whole."
                found.append(_wrong(number, what, "a key that one item can have for itself."))
    return found or _check_keys(config, rule, number)


def _check_kinds(rule: Mapping[str, Any], number: int) -> list[Finding]:
    kinds = [kind for kind in KINDS if kind != "auto"]
    unknown = [
        kind
        for kind in _wanted(rule, "kind")
        if not any(fnmatch.fnmatchcase(known, kind.casefold()) for known in kinds)
    ]
    return [
        _wrong(
            number,
            f"There is no kind {kind!r}.{wording.near(kind, kinds)}",
            f"kinds out of {', '.join(kinds)}.",
        )
        for kind in unknown
    ]


def _check_keys(config: dict[str, Any], rule: Mapping[str, Any], number: int) -> list[Finding]:
    plain = {name: value for name, value in config.items() if name != "rules"}
    try:
        settings.load(laid_over(plain, rule["set"]))
    except GlassineError as error:
        return [_wrong(number, each.what, each.expected) for each in error.findings]
    return []


def _wrong(number: int, what: str, expected: str) -> Finding:
    return Finding(
        "settings.rule",
        _WHERE,
        f"rules, entry {number}: {what}",
        expected,
        f"Correct entry {number} of `rules`.",
    )


# --- what holds for one item, and why ----------------------------------------------------


@dataclass(frozen=True)
class MasterTold:
    """A master as rules see it. kind: as batch.yaml states it, None where it is recognised."""

    path: str
    part: str | None
    kind: str | None


def explained(config: dict[str, Any], told: Told, masters: Sequence[MasterTold]) -> list[str]:
    """Return in lines which rules hold for an item and why, and what they set."""
    rules = config.get("rules") or []
    house = config.get("rights") or {}
    lines = []
    for number, rule in enumerate(rules, 1):
        why = missed(rule, told, house)
        this = f"R{words(rule, number)[1:]}"
        keys = ", ".join(
            f"{section}.{key}: {value}"
            for section, stated in rule["set"].items()
            for key, value in stated.items()
        )
        if why:
            lines.append(f"{this} does not hold: {why}.")
        elif not of_masters(rule):
            lines.append(f"{this} holds: {keys}.")
        else:
            lines += [
                f"{this} {_of_master(rule, master)} {master.path}: {keys}." for master in masters
            ]
    return [*lines, *_outcome(config, told)] if rules else ["The settings have no rules."]


def _of_master(rule: Mapping[str, Any], master: MasterTold) -> str:
    parts, kinds = _wanted(rule, "part"), _wanted(rule, "kind")
    if parts and not fits(parts, [master.part or ""]):
        return "does not hold for"
    if kinds and master.kind is None:
        return f"holds, where the night finds that it is {' or '.join(kinds)}, for"
    if kinds and not fits(kinds, [master.kind or ""]):
        return "does not hold for"
    return "holds for"


def _outcome(config: dict[str, Any], told: Told) -> list[str]:
    """Return in lines which keys are set otherwise for the item as a whole, by which rule."""
    by: dict[str, tuple[Any, int]] = {}
    for place in fitting(config, told):
        rule = config["rules"][place]
        if not of_masters(rule):
            for section, keys in rule["set"].items():
                by |= {f"{section}.{key}": (value, place + 1) for key, value in keys.items()}
    return [f"{key} is {value}, by rule {number}." for key, (value, number) in sorted(by.items())]
