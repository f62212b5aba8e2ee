"""When a master was captured."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Any

# EXIF 2.31, OffsetTimeOriginal: "+01:00"; some write "Z".
_OFFSET = re.compile(r"Z|[+-](?:0\d|1[0-4]):[0-5]\d")


def taken(header: dict[str, Any]) -> str | None:
    """Return the moment of exposure with its offset from UTC, where EXIF states it."""
    capture = header.get("capture") or {}
    try:
        when = datetime.fromisoformat(str(capture.get("taken") or ""))
    except ValueError:
        return None  # cameras without a clock write zeros or blanks
    offset = str(capture.get("offset") or "")
    return when.strftime("%Y-%m-%dT%H:%M:%S") + (offset if _OFFSET.fullmatch(offset) else "")
