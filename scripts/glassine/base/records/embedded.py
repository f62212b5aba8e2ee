"""embedded.json: the derivatives of an item as they stand after metadata went in."""

from __future__ import annotations

from typing import Literal

from glassine.base.records import Record
from glassine.base.records.parts import Event, Positive, Sha256, Sha512, Text


class Origin(Record, frozen=True, kw_only=True):
    path: Text
    sha256: Sha256


class EmbeddedFile(Record, frozen=True, kw_only=True):
    use: Literal["access", "thumb", "webp", "avif", "pyramid", "crop"]
    path: str
    master: Text
    index: Positive
    width: Positive
    height: Positive
    bytes: Positive
    sha256: Sha256
    sha512: Sha512
    puid: str
    format_name: str
    format_version: str
    derived_from: Origin


class Embedded(Record, frozen=True, kw_only=True):
    item: Text
    event: Event
    files: list[EmbeddedFile]
