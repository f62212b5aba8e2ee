"""What a record tells of the batch's target captures, out of targets.json."""

from __future__ import annotations

from glassine.base.records import Given
from glassine.base.records.parts import Event


class Identity(Given, frozen=True, kw_only=True):
    """name, number: as the target's maker gives them, empty where unknown."""

    name: str | None
    number: str | None


class Target(Given, frozen=True, kw_only=True):
    """A capture. target: its id; path: relative to the batch folder."""

    target: str
    path: str
    identity: Identity
    event: Event


class Targets(Given, frozen=True, kw_only=True):
    targets: tuple[Target, ...]
