"""What a monitoring system is told of the nights: a line with an exit code, and a file of metrics.

The exit codes are those of monitoring plugins: 0 OK, 1 warning, 2 critical, 3 unknown (Monitoring
Plugins Development Guidelines, "Plugin Return Codes"); the metrics have the text format of
Prometheus (exposition format 0.0.4), for a collector of text files.
"""

from __future__ import annotations

import errno
import json
import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from glassine.base import files
from glassine.base.errors import GlassineError
from glassine.base.visible import visible

OK, WARNING, CRITICAL, UNKNOWN = 0, 1, 2, 3
_WORDS = {OK: "OK", WARNING: "WARNING", CRITICAL: "CRITICAL", UNKNOWN: "UNKNOWN"}
# A clock may be a little off; a summary from later than this is none of now.
_AHEAD_S = 3600.0
_COUNTS = ("finished", "held", "waiting", "left", "not_taken_in", "problems")


@dataclass(frozen=True)
class Judged:
    """What is said of the nights: the code, why, and figures (may be none)."""

    code: int
    why: str
    figures: dict[str, float]

    def line(self) -> str:
        """Return it in one line, figures behind a bar as monitoring plugins write them."""
        shown = " ".join(f"{name}={value:g}" for name, value in self.figures.items())
        text = visible(self.why).replace("|", "/")
        return f"GLASSINE {_WORDS[self.code]} - {text}{f' | {shown}' if shown else ''}"


def _seconds(text: object) -> float:
    """Return seconds since 1970 of a time with its zone. Raises ValueError."""
    moment = datetime.fromisoformat(str(text))
    if moment.tzinfo is None:
        raise ValueError("a time without a zone")
    return moment.timestamp()


def _running_since(working_dir: Path) -> float | None:
    """Return since when a run goes on, by its lock; None where that cannot be told."""
    try:
        told = json.loads((working_dir / "results" / ".run.lock").read_text("utf-8"))
        return _seconds(told["since"])
    except (OSError, ValueError, KeyError, TypeError):
        return None


def judged(working_dir: Path, running: bool, within_h: float, now: float) -> Judged:
    """Return how the nights stand.

    running: whether a run goes on now. within_h: a night must have ended in the last so many hours.
    now: seconds since 1970.
    """
    if not 0 < within_h < 24 * 366:  # no number either
        return Judged(UNKNOWN, f"--within wants hours, not {within_h}", {})
    since = _running_since(working_dir) if running else None
    if since is not None and now - since > within_h * 3600:
        hours = (now - since) / 3600
        return Judged(CRITICAL, f"a run is going on for {hours:.0f} hours", {})
    path = working_dir / "results" / "summary.json"
    if not path.exists():
        if running:
            return Judged(OK, "the first night is going on", {})
        return Judged(CRITICAL, f"no night has ever ended in {working_dir}", {})
    try:
        summary = files.read_json(path)
        ended = _seconds(summary["time"])
        counts = {name: float(summary.get(name, 0)) for name in _COUNTS}
    except (GlassineError, ValueError, KeyError, TypeError, AttributeError):
        return Judged(UNKNOWN, f"{path} cannot be read", {})
    age = now - ended
    figures = counts | {"age_s": round(age)}
    if age < -_AHEAD_S:
        return Judged(UNKNOWN, "the last night ended in the future, by the clock", figures)
    if age > within_h * 3600 and not running:
        why = f"no night has ended for {age / 3600:.0f} hours; at most {within_h:g} are expected"
        return Judged(CRITICAL, why, figures)
    return _of_counts(summary, counts, figures)


def _of_counts(summary: dict[str, Any], counts: dict[str, float], figures: Any) -> Judged:
    said = ", ".join(
        f"{value:.0f} {name.replace('_', ' ')}" for name, value in counts.items() if value
    )
    if summary.get("state") == "not started":
        return Judged(CRITICAL, "the last night did not start", figures)
    if counts["not_taken_in"] or counts["problems"]:
        return Judged(CRITICAL, f"the last night could not do all: {said}", figures)
    if counts["held"] or counts["left"]:
        return Judged(WARNING, f"the last night left something: {said}", figures)
    return Judged(OK, f"the last night did all that was due: {said or 'nothing'}", figures)


# --- metrics ---------------------------------------------------------------------------------

_LABEL = re.compile(r'[\\"\n]')
_ESCAPES = {"\\": "\\\\", '"': '\\"', "\n": "\\n"}


def _label(text: str) -> str:
    return _LABEL.sub(lambda found: _ESCAPES[found[0]], text)


def metrics(summary: dict[str, Any]) -> str:
    """Return the summary of a night as metrics. Raises ValueError for a time that is none."""
    started = int(summary.get("state") != "not started")
    lines = [
        *_gauge("glassine_last_night_end_seconds", "When the last night ended, since 1970."),
        f"glassine_last_night_end_seconds {_seconds(summary['time']):.0f}",
        *_gauge("glassine_last_night_started", "Whether the last night could start."),
        f"glassine_last_night_started {started}",
        *_gauge("glassine_problems", "What the last night could not do, but for held items."),
        f"glassine_problems {int(summary.get('problems', 0))}",
        *_gauge("glassine_items", "Items by batch and state, at the end of the last night."),
    ]
    for batch in summary.get("batches", []):
        name = _label(str(batch["batch"]))
        lines += [
            f'glassine_items{{batch="{name}",state="{state}"}} {int(batch.get(state, 0))}'
            for state in ("finished", "held", "waiting", "left")
        ]
    return "\n".join([*lines, ""])


def _gauge(name: str, about: str) -> list[str]:
    return [f"# HELP {name} {about}", f"# TYPE {name} gauge"]


def write(path: Path, summary: dict[str, Any]) -> None:
    """Write the metrics whole or not at all, for all to read, into a folder that is there.

    Raises OSError (a mistyped folder is not made: no collector would read it), ValueError.
    """
    if not path.parent.is_dir():
        raise NotADirectoryError(errno.ENOTDIR, f"the folder {path.parent} is not there", path)
    with files.replacing(path) as temporary:
        temporary.write_text(metrics(summary), "utf-8")
        temporary.chmod(0o644)
