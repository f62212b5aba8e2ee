"""The time that records state."""

from __future__ import annotations

import os
import time
from datetime import UTC, date, datetime


def text_of(seconds: float) -> str:
    """Return a moment (seconds since 1970) as xs:dateTime in UTC."""
    return datetime.fromtimestamp(int(seconds), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def now_text() -> str:
    """Return the present as xs:dateTime in UTC, e.g. `2026-03-17T02:14:09Z`.

    The environment variable SOURCE_DATE_EPOCH (reproducible-builds.org specification)
    replaces the clock, so that two runs can be compared byte for byte.
    """
    seconds = int(os.environ.get("SOURCE_DATE_EPOCH", "") or time.time())
    return text_of(seconds)


def today() -> date:
    """Return the day that it is both here and in UTC, the earlier where they differ: what ends
    with a day has ended by either.

    SOURCE_DATE_EPOCH replaces the clock, as for `now_text`.
    """
    stated = os.environ.get("SOURCE_DATE_EPOCH", "")
    seconds = int(stated or time.time())
    in_utc = datetime.fromtimestamp(seconds, UTC).date()
    return in_utc if stated else min(in_utc, datetime.fromtimestamp(seconds).astimezone().date())
