"""The morning report: one page a batch, told from the files alone, opened from the disk."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import jinja2
import msgspec

from glassine.base import clock, disk_room, files, item_states, settings
from glassine.base.errors import GlassineError
from glassine.record import presentation
from glassine.report import (
    decided,
    film_numbers,
    gather,
    morning,
    near,
    page,
    previews,
    recapture,
    sketch,
    summary,
    timing,
    unnamed,
    wall,
    words,
)
from glassine.report.given import ReportGiven
from glassine.report.shown import Batch

VERSION = "5"

# Where `npm install openseadragon` in the project's folder puts the viewer.
_VIEWER = "node_modules/openseadragon/build/openseadragon/openseadragon.min.js"


def viewer_file(configured: str | None) -> Path | None:
    """Return the zoom viewer's script as npm installed it, or None where it is not there."""
    path = settings.PROJECT / (configured or _VIEWER)
    return path if path.is_file() else None


def _throughput(batch: Batch, results: Path) -> timing.Throughput:
    marks = [
        mark
        for item in batch.items
        for mark in timing.read_marks(results / "items" / item.item, item.item)
    ]
    masters = {item.item: (len(item.masters), item.bytes) for item in batch.items}
    return timing.throughput(marks, masters)


def _room(results: Path, given: ReportGiven) -> list[disk_room.Forecast]:
    """Return how the disks stand that a night writes to; none where they cannot be asked."""
    deliveries = Path(given.deliveries or results.parent)
    try:
        return disk_room.forecast(
            results.parent, deliveries, disk_room.seconds_of(clock.now_text())
        )
    except OSError:
        return []


def _manifests(batch: Batch, results: Path) -> list[dict[str, Any]]:
    """Return the IIIF manifests that are there; one that cannot be read is a problem of the
    batch."""
    manifests = []
    for item in batch.items:
        path = results / "items" / item.item / "manifest.json"
        if item.status.state not in {"done", "review"} or not path.is_file():
            continue
        manifest = gather.read(path, batch)
        if isinstance(manifest, dict):
            manifests.append(manifest)
        else:
            batch.problems.append(gather.damaged(path, "(the whole)"))
    return [manifest for manifest in manifests if manifest]


def _write_collection(
    batch: Batch, manifests: list[dict[str, Any]], results: Path, given: ReportGiven
) -> None:
    """Write the IIIF collection of the batch."""
    base = given.settings.iiif.base_url
    rolls = {f"{base.rstrip('/')}/{item}/manifest.json": at for item, at in batch.rolls.items()}
    collection = presentation.collection(
        batch.batch, batch.title, manifests, base, given.institution, rolls
    )
    # JSON-LD reads top down: @context stays first, so the keys are not sorted.
    text = json.dumps(msgspec.to_builtins(collection), ensure_ascii=False, indent=2) + "\n"
    files.write_text(results / "collection.json", text)


def plain_report(counts: dict[str, int], statuses: list[item_states.ItemStatus], why: str) -> str:
    """Return the report as plain text, for when the page itself cannot be made."""
    lines = [f"The report page could not be made: {why}", "", words.verdict(counts), ""]
    for status in statuses:
        if status.state == "done":
            continue
        lines.append(
            f"{status.item}: {status.state}" + (f" at {status.step}" if status.step else "")
        )
        lines += [f"  {finding.sentence()}" for finding in status.findings]
        lines += [f"  {reason.text}" for reason in status.reasons]
    return "\n".join(lines) + "\n"


def _fall_back(results: Path, batch: str, problem: Exception) -> Path:
    """Write the plain report as text and as a page of one element; return the page."""
    why = f"{type(problem).__name__}: {problem}"
    try:
        statuses = item_states.batch_status(results)
    except (GlassineError, KeyError, TypeError) as unreadable:
        statuses, why = [], f"{why}; intake.json cannot be read: {unreadable}"
    counts = item_states.counts(statuses)
    text = plain_report(counts, statuses, why)
    folder = results / "report"
    files.write_text(folder / "report.txt", text)
    template = jinja2.Template(
        '<!doctype html><html lang="en"><meta charset="utf-8"><title>{{ batch }}</title>'
        "<pre>{{ text }}</pre></html>\n",
        autoescape=True,
    )
    files.write_text(folder / "index.html", template.render(batch=batch, text=text))
    (folder / "wall.html").unlink(missing_ok=True)  # it is of an earlier night
    unmade = summary.Unmade(batch=batch, counts=counts, problem=why)
    files.write_json(folder / "summary.json", msgspec.to_builtins(unmade))
    return folder / "index.html"


def _write_pieces(folder: Path, pieces: dict[str, str]) -> None:
    """Write the pieces of the page; those of an earlier report go."""
    for name, text in pieces.items():
        files.write_text(folder / name, text)
    for path in [*folder.glob("details-*.js"), *folder.glob("list-*.js"), *folder.glob("rows.js")]:
        if path.name not in pieces:
            path.unlink()


def _write(results: Path, given: ReportGiven) -> Path:
    folder = results / "report"
    folder.mkdir(parents=True, exist_ok=True)
    batch = gather.gather(results, given)
    unnamed.tell(batch, results, Path(given.masters) if given.masters else None)
    near.tell(batch, results)
    batch.room = _room(results, given)
    film_numbers.tell(batch)
    manifests = _manifests(batch, results)
    previews.make_small(batch, results, page.AT_LENGTH)
    sketch.add(batch, results)
    viewer = viewer_file(given.settings.report.viewer)
    _write_pieces(folder, page.detail_files(batch) | page.list_files(batch) | page.row_files(batch))
    if viewer:
        (folder / "viewer").mkdir(exist_ok=True)
        shutil.copyfile(viewer, folder / "viewer" / "openseadragon.min.js")
    throughput = _throughput(batch, results)
    before, zone = morning.read_before(folder), given.settings.report.time_zone
    text = page.render(
        batch,
        throughput,
        given.institution,
        viewer is not None,
        before,
        decided.of_batch(batch, results),
        zone,
    )
    files.write_text(folder / "index.html", text)
    files.write_text(folder / "wall.html", wall.render(batch, before, zone))
    files.write_text(folder / "recapture.html", recapture.render(batch))
    files.write_json(folder / "summary.json", summary.of_batch(batch, throughput).as_json())
    if manifests:
        _write_collection(batch, manifests, results, given)
    else:  # one of before would name items that may have been closed since
        (results / "collection.json").unlink(missing_ok=True)
    (folder / "report.txt").unlink(missing_ok=True)
    return folder / "index.html"


def write_report(results_batch_dir: Path, given: ReportGiven) -> Path:
    """Write `report/index.html`, its details and `summary.json`; return the page's path.

    results_batch_dir: `results/<batch>/`. A damaged record makes its item `held`, never the report
    fail; should the page itself be impossible, the same is told in plain text under the same name
    and in report.txt.
    """
    try:
        return _write(results_batch_dir, given)
    except Exception as problem:  # whatever happens, a person finds a report in the morning
        return _fall_back(results_batch_dir, given.batch, problem)
