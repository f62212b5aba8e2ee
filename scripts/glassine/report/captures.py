"""When, by whom and of what kind masters were captured: what a studio gets done, and again."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from typing import Any

from glassine.report import views
from glassine.report.shown import Captures, Item, Master

_NOT_STATED = "not stated"
_HOUR = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}")
# Hours that are shown; more of them are no day's work.
_MOST_HOURS = 500


def of_batch(items: Sequence[Item], intake: views.Intake) -> Captures | None:
    """Return the figures of a batch, None where it has no master."""
    masters = [master for item in items for master in item.masters if master.path]
    if not masters:
        return None
    sessions = {session.folder: session for session in intake.sessions or []}
    stated = intake.facts.operator if intake.facts else None
    capture = (stated.capture if stated else None) or _NOT_STATED
    hours = [_hour(master) for master in masters]
    of_master = [_session(master.path, sessions) for master in masters]
    by_hour = Counter(hour for hour, _ in hours if hour)
    return Captures(
        masters=len(masters),
        by_hour=dict(sorted(by_hour.items())[:_MOST_HOURS]),
        by_operators=_counted(
            " + ".join(sorted(session.operators)) if session and session.operators else capture
            for session in of_master
        ),
        by_station=_counted(
            (session.station if session else None) or _NOT_STATED for session in of_master
        ),
        by_kind=_counted(master.kind or _NOT_STATED for master in masters),
        again=sum(_again(item) for item in items) + _left_out(intake.items or []),
        by_file_time=sum(1 for _, by_file in hours if by_file),
        an_hour=sum(by_hour.values()) / len(by_hour) if by_hour else None,
    )


def _counted(names: Iterable[str]) -> dict[str, int]:
    return dict(sorted(Counter(names).items()))


def _hour(master: Master) -> tuple[str, bool]:
    """Return the hour of a capture, and whether only the file's time says it."""
    hour = master.taken[:13]
    if _HOUR.fullmatch(hour):
        return hour, False
    if master.mtime_ns is None:
        return "", False
    try:
        moment = datetime.fromtimestamp(master.mtime_ns / 1e9, UTC)
    except (ValueError, OverflowError, OSError):
        return "", False
    return f"{moment:%Y-%m-%dT%H}", True


def _session(path: str, sessions: dict[str, views.Session]) -> views.Session | None:
    """Return the session of the nearest folder that has one."""
    folder = path
    while folder:
        folder = folder.rpartition("/")[0]
        if folder in sessions:
            return sessions[folder]
    return None


def _left_out(lines: Iterable[Any]) -> int:
    """Return how many former captures were left out of their items, by intake.json."""
    entries = [line.get("left_out") for line in lines if isinstance(line, dict)]
    of_items = [each for entry in entries if isinstance(entry, list) for each in entry]
    return sum(
        str(each.get("why")).startswith("superseded by ")
        for each in of_items
        if isinstance(each, dict)
    )


def _again(item: Item) -> int:
    """Return how many masters of an item are captures of what another one shows."""
    places = {(master.part, master.sequence) for master in item.masters}
    return len(item.masters) - len(places)
