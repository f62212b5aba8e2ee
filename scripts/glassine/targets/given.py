"""What the measuring of a batch's target captures is given."""

from __future__ import annotations

from typing import Literal

import msgspec

from glassine.base.model import BatchId, Facts
from glassine.base.records import Given
from glassine.base.records.given import Master
from glassine.base.records.parts import Number


class GivenTarget(Given, frozen=True, kw_only=True):
    """A target as batch.yaml names it; paths are relative to the batch folder.

    description: in the batch folder, else in config/targets. flat_field: a capture of the bare
    light. repeats: further captures of the same set-up. taken: when it was captured. nominal_ppi:
    of this capture, before that of the batch. captures: those that are there, as intake saw them.
    """

    path: str
    description: str | None = None
    flat_field: str | None = None
    repeats: tuple[str, ...] = ()
    kind: Literal["transmissive", "reflective"] | None = None
    taken: str | None = None
    nominal_ppi: Number | None = None
    captures: tuple[Master, ...] = ()


class TargetsSection(Given, frozen=True, kw_only=True):
    """As config/config.schema.yaml says of `targets`. require: level by table or family."""

    tables: tuple[str, ...]
    require: dict[str, str]
    on_failure: Literal["hold", "review", "note"]
    required: bool


class Settings(Given, frozen=True, kw_only=True):
    targets: TargetsSection


class TargetsGiven(Given, frozen=True, kw_only=True):
    """facts: what batch.yaml states of all captures. version: of this step."""

    batch: BatchId
    targets: tuple[GivenTarget, ...]
    settings: Settings
    facts: Facts = msgspec.field(default_factory=Facts)
    version: str
