"""config/target_limits.yaml: limits by which captures of targets are judged."""

from __future__ import annotations

from typing import Annotated, Any

import msgspec
from msgspec import UNSET, Meta, UnsetType

from glassine.base.records import Record
from glassine.base.records.parts import choice

Rule = Annotated[str, choice("less", "at_most", "greater", "at_least", "inside")]


class Source(Record, frozen=True, kw_only=True):
    """A document that limits come from. read_in_original: whether its own text was read."""

    title: str
    edition: str
    read_in_original: bool
    note: str | UnsetType = UNSET


class Applies(Record, frozen=True, kw_only=True):
    """Captures that a table judges."""

    kind: Annotated[str, choice("transmissive", "reflective", "any")]
    polarity: Annotated[str, choice("positive", "negative", "any")]
    size: Annotated[str, choice("to_4x5", "over_4x5", "any")]


class Row(Record, frozen=True, kw_only=True):
    """A criterion.

    rule: how a value meets the limit; rules: one for each level in its place. limits: one for
    each level, a number, a pair of them for `inside`, or None where none is printed; of a row that
    is not judged, what is printed. slack_percent: by which a limit is lowered. from_memory: the
    number was not seen in a document. why: it is not judged.
    """

    measure: str
    rule: Rule | UnsetType = UNSET
    rules: list[Rule] | UnsetType = UNSET
    limits: Annotated[list[Any], Meta(min_length=1)]
    slack_percent: list[float] | UnsetType = UNSET
    unit: str
    source: str
    from_memory: bool = False
    judged: bool = True
    why: str = ""
    note: str = ""


class Table(Record, frozen=True, kw_only=True):
    """A table of limits. levels: lowest first. silent_on: subjects that it says nothing of."""

    family: str
    title: str
    applies: Applies
    level_word: str
    levels: Annotated[list[str], Meta(min_length=1)]
    print_notes: list[str] = msgspec.field(default_factory=list)
    silent_on: list[str] = msgspec.field(default_factory=list)
    criteria: dict[str, Row]


class LimitsFile(Record, frozen=True, kw_only=True):
    """sources and tables, by id."""

    sources: dict[str, Source]
    tables: dict[str, Table]
