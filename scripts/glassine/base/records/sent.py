"""What was sent to object storage: an object that was read back there and found to be the file."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta

from glassine.base.records import Record
from glassine.base.records.parts import Count, Sha256, Text


class SentFile(Record, frozen=True, kw_only=True):
    """A file of a delivery in object storage.

    address: of the object. bytes: 0 where they are not known, as the file was carried away before
    this was written. proved: when it was read back from there; the time of the delivery where that
    is not known (ISO 8601, UTC).
    """

    batch: Text
    delivery: Text
    name: Text
    address: Annotated[str, Meta(pattern="^s3://[^/]+/.")]
    bytes: Count
    sha256: Sha256
    proved: Annotated[str, Meta(pattern="^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9:]{8}Z$")]
