"""The files session.yaml of a batch: station, operators by role id, carrier, lamp, lens, notes.

They inform and decide nothing. One that cannot be read is told, and its captures then have no
session: what a folder further up says does not take its place.
"""

from __future__ import annotations

from pathlib import Path, PurePosixPath

import msgspec

from glassine.base import door, files, settings
from glassine.base.errors import GlassineError
from glassine.base.records.session_file import Session
from glassine.intake import companions
from glassine.intake.model import Collector

NAMES = frozenset({"session.yaml", "session.yml"})


def entries(listing: door.Listing) -> list[door.Entry]:
    """Return the session files of a batch, in whatever folder."""
    return [
        entry
        for entry in listing.files
        if companions.folded(entry.name) in NAMES and entry.problem is None
    ]


def read(listing: door.Listing, batch_dir: Path, collector: Collector) -> list[Session]:
    """Return the sessions of a batch, by folder; what is wrong is told and holds nothing."""
    sessions: dict[str, Session] = {}
    for entry in entries(listing):
        folder = str(PurePosixPath(entry.path).parent)
        folder = "" if folder == "." else folder
        if folder in sessions:
            _tell(collector, entry.path, "another session file lies in the same folder")
            sessions[folder] = Session(folder=folder)
            continue
        sessions[folder] = _read_one(entry, batch_dir, folder, collector)
    return [sessions[folder] for folder in sorted(sessions)]


def _read_one(entry: door.Entry, batch_dir: Path, folder: str, collector: Collector) -> Session:
    try:
        loaded = settings.read_yaml(batch_dir / entry.path) or {}
        problems = settings.problems(loaded, files.read_schema("session"), entry.path)
    except GlassineError as error:
        problems, loaded = error.findings, {}
    for problem in problems:
        wanted = "" if problem.code == "settings.yaml" else f" (wanted: {problem.expected})"
        _tell(collector, entry.path, f"{problem.what.rstrip('.')}{wanted}")
    if problems:
        return Session(folder=folder)
    return msgspec.convert({**loaded, "folder": folder}, Session)


def _tell(collector: Collector, path: str, why: str) -> None:
    collector.note(
        "intake.session",
        path,
        f"This session file does not count: {why}.",
        "station, operators (role ids, no names), carrier, lamp, lens and notes, as "
        "config/README.md lists them.",
        "Correct it; no capture waits for it.",
        "review",
    )
