"""The overview over several projects: how each stands, and its nights of the last 30 days."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import quote

import jinja2

from glassine.base import clock, exits, files
from glassine.base.errors import GlassineError
from glassine.base.visible import visible

PAGE, HISTORY = "overview.html", "overview.json"
# The settings of a project, in its folder.
OWN = "config.yaml"
_TEMPLATE = Path(__file__).with_name("overview.html.j2")
_DAYS = 30
_MOST_NIGHTS = 5000
_COUNTS = ("finished", "held", "waiting", "left", "problems")
_WORDS = {
    0: "all that was due is done",
    exits.HELD: "something is held, or a step failed",
    exits.USAGE: "the command line could not be used",
    exits.DATA: "something in its masters cannot be processed",
    exits.NO_INPUT: "masters that should be there are not",
    exits.UNAVAILABLE: "a service does not answer",
    exits.CANNOT_WRITE: "results could not be written",
    exits.LATER: "another run is going on",
    exits.NO_RIGHT: "a folder may not be read",
    exits.SETTINGS: "a setting is wrong",
}


@dataclass(frozen=True)
class Night:
    """One night of a project. time: when it ended. counts: items of all batches, empty where the
    run told none. why: what kept it from starting."""

    project: str
    time: str
    exit_code: int
    counts: dict[str, int] = field(default_factory=dict)
    why: str = ""

    @property
    def words(self) -> str:
        said = _WORDS.get(self.exit_code, "it was ended, or failed")
        counted = ", ".join(f"{count} {name}" for name, count in self.counts.items() if count)
        return f"{self.why or said} (exit code {self.exit_code}){f': {counted}' if counted else ''}"


def counts_of(folder: Path, started: float) -> dict[str, int]:
    """Return how many items of a project are how far, as its run told it at its end.

    started: seconds since 1970; a summary of an earlier run tells nothing of this one.
    """
    path = folder / "results" / "summary.json"
    try:
        if path.stat().st_mtime < started - 1:
            return {}
        told = files.read_json(path)
    except (OSError, GlassineError):
        return {}
    if not isinstance(told, dict):
        return {}
    return {name: told[name] for name in _COUNTS if isinstance(told.get(name), int)}


def add(root: Path, nights: list[Night]) -> None:
    """Add nights to the history and write the page anew."""
    history = [*_history(root), *nights][-_MOST_NIGHTS:]
    now = datetime.fromisoformat(clock.now_text())
    oldest = f"{now - timedelta(days=_DAYS):%Y-%m-%dT%H:%M:%SZ}"
    history = [night for night in history if night.time >= oldest]
    files.write_json(root / HISTORY, {"nights": [asdict(night) for night in history]})
    files.write_text(root / PAGE, _render(root, history))


def _history(root: Path) -> list[Night]:
    """Return the nights that are known; a history that cannot be read is kept, and begun anew."""
    path = root / HISTORY
    if not path.exists():
        return []
    try:
        return [_night(entry) for entry in files.read_json(path)["nights"]]
    except (GlassineError, KeyError, TypeError, ValueError):
        path.replace(path.with_suffix(".damaged.json"))
        return []


def _night(entry: dict[str, Any]) -> Night:
    time = str(entry["time"])
    datetime.fromisoformat(time)
    counts = {str(name): int(count) for name, count in entry["counts"].items()}
    return Night(str(entry["project"]), time, int(entry["exit_code"]), counts, str(entry["why"]))


@dataclass(frozen=True)
class _Row:
    """A project on the page. batches: (name, address of its report)."""

    project: str
    nights: list[Night]
    batches: list[tuple[str, str]]

    @property
    def last(self) -> dict[str, int]:
        """The counts of the last night that told some, zeros left out."""
        told = next((night.counts for night in reversed(self.nights) if night.counts), {})
        return {name: count for name, count in told.items() if count}

    def of_day(self, day: str) -> list[Night]:
        """Return the nights that ended on a day, as in 2026-03-17."""
        return [night for night in self.nights if night.time.startswith(day)]


def _rows(root: Path, history: list[Night]) -> list[_Row]:
    settings = root.glob(f"*/{OWN}")
    by_project: dict[str, list[Night]] = {path.parent.name: [] for path in settings}
    for night in history:
        by_project.setdefault(night.project, []).append(night)
    return [
        _Row(project, nights, _reports(root, project))
        for project, nights in sorted(by_project.items())
    ]


def _reports(root: Path, project: str) -> list[tuple[str, str]]:
    pages = sorted((root / project / "results").glob("*/report/index.html"))
    return [
        (page.parts[-3], quote(str(page.relative_to(root)))) for page in pages if page.is_file()
    ]


def same_ids(root: Path, projects: list[str]) -> list[tuple[str, list[str]]]:
    """Return (item, projects) of items that several projects have: where they are served from one
    address, one picture takes another's place."""
    having: dict[str, list[str]] = {}
    for project in projects:
        items = {path.name for path in (root / project / "results").glob("*/items/*")}
        for item in items:
            having.setdefault(item, []).append(project)
    return sorted((item, names) for item, names in having.items() if len(names) > 1)


def _render(root: Path, history: list[Night]) -> str:
    rows = _rows(root, history)
    now = datetime.fromisoformat(clock.now_text())
    dates = [f"{now - timedelta(days=back):%Y-%m-%d}" for back in range(_DAYS - 1, -1, -1)]
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined)
    environment.filters["visible"] = visible
    return environment.from_string(_TEMPLATE.read_text("utf-8")).render(
        rows=rows,
        dates=dates,
        counts=_COUNTS,
        totals={name: sum(row.last.get(name, 0) for row in rows) for name in _COUNTS},
        twice=same_ids(root, [row.project for row in rows]),
        made=clock.now_text(),
        days=_DAYS,
    )
