"""Times of the records, which are in UTC, with the studio's own time beside them."""

from __future__ import annotations

import zoneinfo
from datetime import UTC, datetime


def is_known(name: str) -> bool:
    """Return whether this machine knows a time zone of this name (IANA time zone database)."""
    return _zone(name) is not None


def _zone(name: str) -> zoneinfo.ZoneInfo | None:
    try:
        return zoneinfo.ZoneInfo(name)
    except (LookupError, OSError, ValueError):  # not there; a folder; no name of a zone
        return None


def beside(text: str, name: str | None) -> str:
    """Return a time as a person reads it: in UTC and, where a zone is named, in that zone.

    text: xs:dateTime in UTC; name: of the zone, None for UTC alone. What is no such time, and a
    zone that is not known here, leave what is in UTC.

    >>> beside("2026-03-18T04:40:00Z", None)
    '2026-03-18 04:40:00 UTC'
    >>> beside("2026-03-18T04:40:00Z", "Etc/GMT-2")
    '2026-03-18 04:40:00 UTC (06:40:00 Etc/GMT-2)'
    """
    plain = text.replace("T", " ").replace("Z", " UTC")
    zone = _zone(name) if name else None
    if zone is None or not text.endswith("Z"):
        return plain
    try:
        moment = datetime.fromisoformat(text).astimezone(UTC)
        local = moment.astimezone(zone)
    except (ValueError, OverflowError):
        return plain
    form = "%H:%M:%S" if local.date() == moment.date() else "%Y-%m-%d %H:%M:%S"
    return f"{plain} ({local.strftime(form)} {name})"
