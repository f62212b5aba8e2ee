"""session.yaml: with what and by whom a folder of captures was made; by role ids, no names."""

from __future__ import annotations

from typing import Annotated

import msgspec
from msgspec import Meta

from glassine.base.records import Record

_ROLE_PATTERN = "^[A-Za-z0-9._-]{1,40}$"

Role = Annotated[str, Meta(pattern=_ROLE_PATTERN)]
Words = Annotated[str, Meta(max_length=500)]


class SessionFile(Record, frozen=True, kw_only=True):
    """session.yaml of a batch folder, or of a folder in it, whose captures it is about."""

    station: Annotated[
        Role | None, Meta(description="The capture station, by its id.", examples=["table-2"])
    ] = None
    operators: Annotated[
        list[Role],
        Meta(
            max_length=8,
            description="Who captured: role ids (letters, digits, `.`, `_`, `-`), no names.",
            examples=[["op-03", "op-07"]],
        ),
    ] = msgspec.field(default_factory=list)
    carrier: Annotated[
        Words, Meta(description="What held the film.", examples=["glass carrier 4 x 5"])
    ] = ""
    lamp: Annotated[Words, Meta(description="The light.", examples=["panel 2, 5000 K"])] = ""
    lens: Annotated[Words, Meta(description="The lens.", examples=["macro 80 mm"])] = ""
    notes: Annotated[
        Words, Meta(description="Anything else.", examples=["lamp changed at noon"])
    ] = ""


class Session(SessionFile, frozen=True, kw_only=True):
    """A session of intake.json. folder: below the batch, empty for the batch folder itself."""

    folder: str
