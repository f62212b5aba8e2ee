"""When a master was captured."""

from __future__ import annotations

import re
from datetime import datetime

from glassine.base.records.parts import Header

# EXIF 2.31, OffsetTimeOriginal: "+01:00"; some write "Z".
_OFFSET = re.compile(r"Z|[+-](?:0\d|1[0-4]):[0-5]\d")


def taken(header: Header) -> str | None:
    """Return the moment of exposure with its offset from UTC, where EXIF states it."""
    try:
        when = datetime.fromisoformat(header.capture.taken or "")
    except ValueError:
        return None  # cameras without a clock write zeros or blanks
    offset = header.capture.offset or ""
    return when.strftime("%Y-%m-%dT%H:%M:%S") + (offset if _OFFSET.fullmatch(offset) else "")
