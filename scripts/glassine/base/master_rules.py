"""Rules of the settings about masters of a kind or part: which keys they set of a section."""

from __future__ import annotations

import fnmatch
from collections.abc import Iterable
from typing import Any

import msgspec

from glassine.base.records import Given


class MasterRule(Given, frozen=True, kw_only=True):
    """Keys of some sections for masters of a kind or part, globs; None where neither matters."""

    kind: tuple[str, ...] | None = None
    part: tuple[str, ...] | None = None
    render: dict[str, Any] = msgspec.field(default_factory=dict)
    iiif: dict[str, Any] = msgspec.field(default_factory=dict)
    embed: dict[str, Any] = msgspec.field(default_factory=dict)
    package: dict[str, Any] = msgspec.field(default_factory=dict)

    def holds(self, kind: str, part: str | None) -> bool:
        """Return whether the rule is for a master of this kind and part."""
        return all(
            wanted is None
            or any(fnmatch.fnmatchcase(value.casefold(), glob.casefold()) for glob in wanted)
            for wanted, value in ((self.kind, kind), (self.part, part or ""))
        )


def keys(rules: Iterable[MasterRule], section: str, kind: str, part: str | None) -> dict[str, Any]:
    """Return what rules set of a section for a master, later ones winning. kind: as stated or
    recognised."""
    stated: dict[str, Any] = {}
    for rule in rules:
        if rule.holds(kind, part):
            stated |= getattr(rule, section)
    return stated
