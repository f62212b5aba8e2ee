"""What came from object storage of a batch's masters: objects whose bytes were right on arrival."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta

from glassine.base.records import Record
from glassine.base.records.parts import Count, Sha256, Text


class FetchedFile(Record, frozen=True, kw_only=True):
    """A master in object storage.

    path: in the batch folder. address: of the object. proved: when what came from there was found
    to be the listed file (ISO 8601, UTC).
    """

    path: Text
    address: Annotated[str, Meta(pattern="^s3://[^/]+/.")]
    bytes: Count
    sha256: Sha256
    proved: Annotated[str, Meta(pattern="^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9:]{8}Z$")]


class FetchedMasters(Record, frozen=True, kw_only=True):
    """`receipts/fetched/<batch>.json`."""

    batch: Text
    files: list[FetchedFile]
