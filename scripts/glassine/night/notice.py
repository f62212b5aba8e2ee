"""The page in the place of a report that would no longer be true.

Where a batch could not be taken in, or its folder is gone, the report of the night before says
"done" of what nobody has looked at tonight. The notice takes its name; the earlier report stays
beside it and can be opened from there.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from glassine.base import clock, files
from glassine.base.errors import Finding, GlassineError

STATE = "not taken in"
EARLIER = "earlier.html"
# The list for the table, which repeats what an earlier catalogue expected, and the sheet for the
# wall, which counts what an earlier night did.
BESIDE = ("recapture.html", "wall.html")

_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<title>{{ batch }}: not taken in</title>
<style>body{font:1rem/1.5 sans-serif;max-width:45rem;margin:2rem auto;padding:0 1rem}
dt{font-weight:bold}dd{margin:0 0 .5rem;overflow-wrap:anywhere}</style></head><body>
<h1>{{ batch }}: not taken in</h1>
<p>The run that ended at {{ made }} could not take this batch in. Nothing of it was processed or
checked in that run.</p>
{% for each in findings %}<dl>
<dt>What</dt><dd>{{ each.path }}: {{ each.what }}</dd>
<dt>Expected</dt><dd>{{ each.expected }}</dd>
<dt>Next step</dt><dd>{{ each.next_step }}</dd>
<dt>Code</dt><dd>{{ each.code }}</dd>
</dl>
{% endfor %}
{% if earlier %}<p>What an earlier run said: <a href="{{ earlier }}">the report before this one</a>.
It says nothing of that run.</p>{% endif %}
</body></html>
"""


def stands(results_dir: Path) -> bool:
    """Return whether the page of a batch is a notice and no report."""
    try:
        summary = files.read_json(results_dir / "report" / "summary.json")
    except GlassineError:
        return False
    return isinstance(summary, dict) and summary.get("state") == STATE


def write(results_dir: Path, findings: list[Finding]) -> None:
    """Put a notice with these findings in the place of the batch's report.

    results_dir: `results/<batch>/`. The earlier report keeps what it refers to, under a name of
    its own beside the notice.
    """
    folder = results_dir / "report"
    page, earlier = folder / "index.html", folder / EARLIER
    if page.exists() and not stands(results_dir):
        page.replace(earlier)
    summary: dict[str, Any] = {
        "batch": results_dir.name,
        "state": STATE,
        "made": clock.now_text(),
        "findings": [finding.as_dict() for finding in findings],
    }
    # First what tells that it is a notice: a run killed in between must not take it for a report.
    files.write_json(folder / "summary.json", summary)
    import jinja2  # loaded where a page is written: most nights write none

    text = jinja2.Template(_PAGE, autoescape=True).render(
        batch=summary["batch"],
        made=summary["made"],
        findings=findings,
        earlier=EARLIER if earlier.exists() else None,
    )
    files.write_text(page, text)
    for name in BESIDE:
        if (folder / name).exists():
            files.write_text(folder / name, text)


def not_started(working_dir: Path, findings: list[Finding]) -> dict[str, Any] | None:
    """Say in `results/summary.json` that a run did not start, and why; return the summary.

    Where no summary lies there yet, there is none that would be taken for tonight's: None.
    """
    path = working_dir / "results" / "summary.json"
    if not path.exists():
        return None
    counts = dict.fromkeys(("finished", "held", "waiting", "left", "not_taken_in"), 0)
    summary: dict[str, Any] = {
        "time": clock.now_text(),
        "running": False,
        "state": "not started",
        **counts,
        "problems": len(findings),
        "findings": [finding.as_dict() for finding in findings],
        "batches": [],
    }
    files.write_json(path, summary)
    return summary


def take_away(results_dir: Path) -> None:
    """Remove a notice, so that the run makes the report anew."""
    if stands(results_dir):
        (results_dir / "report" / "index.html").unlink(missing_ok=True)


def tidy(results_dir: Path) -> None:
    """Remove the earlier report once there is a newer one."""
    if not stands(results_dir) and (results_dir / "report" / "index.html").exists():
        (results_dir / "report" / EARLIER).unlink(missing_ok=True)
