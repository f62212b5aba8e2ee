"""embedded.json: the derivatives of an item as they stand after metadata went in."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta

from glassine.base.records import Record
from glassine.base.records.parts import DerivativeUse, Event, Positive, Sha256, Sha512, Text


class Origin(Record, frozen=True, kw_only=True):
    """The master that a derivative was made of. path: relative to the batch folder."""

    path: Text
    sha256: Sha256


class EmbeddedFile(Record, frozen=True, kw_only=True):
    """A derivative.

    path: in the item's folder. master, index: whose frame it shows. width, height: px. puid: its
    PRONOM id, empty where there is none.
    """

    use: DerivativeUse
    path: Annotated[str, Meta(pattern="^(access|thumbs|alternates|restricted|studio)/[^/]+$")]
    master: Text
    index: Positive
    width: Positive
    height: Positive
    bytes: Positive
    sha256: Sha256
    sha512: Sha512
    puid: Annotated[str, Meta(pattern="^((x-)?fmt/[0-9]+)?$")]
    format_name: str
    format_version: str
    derived_from: Origin


class Embedded(Record, frozen=True, kw_only=True):
    """embedded.json of an item."""

    item: Text
    event: Event
    files: list[EmbeddedFile]
