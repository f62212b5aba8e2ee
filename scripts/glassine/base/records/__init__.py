"""The records that steps leave for one another, and what every step is given, as types.

One module a record. `scripts/document_schemas.py` writes `base/schemas/*.schema.json` from these
types, so that there is one truth; `record_files` reads and writes the files. msgspec was chosen
over dataclasses with a converter: to take in the record of 40 masters costs 32 microseconds
(pydantic 57, cattrs 197, jsonschema with the schema alone 6,300), limits stand in the types, and
JSON Schema comes out of them.

A key that a record may lack is `UNSET` where it is absent, so that the same record gives the same
bytes; one that records made by earlier versions lack has a default.
"""

from __future__ import annotations

import msgspec


class Record(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A record or a part of one: a key that it does not know is an error."""


class Given(msgspec.Struct, frozen=True, kw_only=True):
    """What a step is given, or a part of it: keys that the step does not use are passed over."""
