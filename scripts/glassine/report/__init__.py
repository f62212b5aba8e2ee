"""The morning report: one page a batch, told from the files alone, opened from the disk."""

from __future__ import annotations

import base64
import hashlib
import json
import math
import shutil
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import jinja2
import msgspec
from markupsafe import Markup

from glassine import __version__
from glassine.base import clock, files, item_states, settings
from glassine.base.errors import GlassineError
from glassine.base.records.given import Institution
from glassine.record import presentation
from glassine.report import gather, plots, previews, timing, words
from glassine.report.cautions import DECAYING_LEVEL, cautions_of

VERSION = "1"

_HERE = Path(__file__).parent
# Held and review items beyond this many are in the list below, not shown at length as well.
_AT_LENGTH = 60
_STATES = (
    ("held", "held", "cannot go on until a person acts"),
    ("review", "to look at", "finished; a person should look"),
    ("waiting", "waiting", "not yet at rest; the next night takes it"),
    ("pending", "not yet run", "ready; the next run does it"),
    ("done", "done", "finished and packed"),
)
# Where `npm install openseadragon` in the project's folder puts the viewer.
_VIEWER = "node_modules/openseadragon/build/openseadragon/openseadragon.min.js"


def _script_json(value: Any) -> Markup:
    """Return JSON that may stand inside a script element: no `<`, no line separators."""
    text = json.dumps(value, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    escaped = text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
    return Markup(escaped)  # noqa: S704 - every character that could end the script is escaped


def _order(item: gather.Item) -> tuple[str, str]:
    return (item.taken, item.item)


def _series(batch: gather.Batch) -> list[plots.Series]:
    """Return each numeric measure over the session, in the order of capture."""
    found: dict[tuple[str, Any], plots.Series] = {}

    def add(name: str, measure: dict[str, Any], point: plots.Point) -> None:
        series = found.setdefault(
            # Kinds of film have limits of their own: each limit has its own plot.
            (name, measure.get("limit")),
            plots.Series(
                name,
                str(measure.get("unit") or ""),
                measure.get("limit"),
                str(measure.get("source") or ""),
                [],
            ),
        )
        series.points.append(point)

    for item in sorted(batch.items, key=_order):
        for frame in item.frames:
            skew = plots.Point(item.item, frame["n"], frame["angle"], True)
            add("skew of the frame", {"unit": "degrees"}, skew)
            for measure in frame["measures"]:
                value = measure.get("value")
                if isinstance(value, bool) or not isinstance(value, int | float):
                    continue
                passed = measure.get("verdict") == "pass"
                point = plots.Point(item.item, frame["n"], float(value), passed)
                add(item_states.measure_name(measure["name"]), measure, point)
    by_need = sorted(found.values(), key=lambda each: (-len(each.failed), each.limit is None))
    return [each for each in by_need if all(_finite(p.value) for p in each.points)]


def _finite(value: float) -> bool:
    return math.isfinite(value)


def _drawn(series: list[plots.Series]) -> list[dict[str, Any]]:
    return [
        {
            "series": each,
            "spread": Markup(plots.spread(each)),  # noqa: S704 - plots escapes its texts
            "drift": Markup(plots.drift(each)),  # noqa: S704
            "words": plots.drift_words(each),
        }
        for each in series
    ]


def _throughput(batch: gather.Batch, results: Path, given: dict[str, Any]) -> timing.Throughput:
    marks = [
        mark
        for item in batch.items
        for mark in timing.read_marks(results / "items" / item.item, item.item)
    ]
    masters = {item.item: (len(item.masters), item.bytes) for item in batch.items}
    since = timing.seconds_of((given.get("run") or {}).get("started"))
    return timing.throughput(marks, masters, since)


def _figures(found: timing.Throughput) -> list[tuple[str, str]]:
    rows = [
        ("Masters an hour", _tidy(found.masters_an_hour)),
        ("Gigabytes an hour", _tidy(found.gigabytes_an_hour)),
        ("Masters", f"{found.masters:,}"),
        ("Gigabytes of masters", _tidy(found.bytes / 1e9)),
        ("From first to last step", words.span_words(found.span_s)),
    ]
    if found.started is not None:
        begun = datetime.fromtimestamp(found.started, UTC).strftime("%Y-%m-%d %H:%M UTC")
        rows.append(("Began", begun))
    return [(label, text) for label, text in rows if text]


def _tidy(value: float | None) -> str:
    return plots.tidy(value) if value else ""


def _decaying(batch: gather.Batch) -> list[dict[str, Any]]:
    rows = [
        {
            "item": item.item,
            "title": item.title,
            "material": item.material,
            "decay_level": item.decay_level,
            "state": item.state_words,
        }
        for item in batch.items
        if (item.decay_level or 0) >= DECAYING_LEVEL or item.material == "nitrate"
    ]
    return sorted(rows, key=gather.decay_order)


def _cautions(batch: gather.Batch) -> list[Any]:
    rows = [
        (item.item, item.material, item.decay_level, item.masters[0]["kind"] or "")
        for item in batch.items
        if item.masters
    ]
    waiting = [
        (row["item"], row["material"], row["decay_level"], "") for row in batch.without_master
    ]
    return cautions_of(rows + waiting)


def _detail(batch: gather.Batch, item: gather.Item) -> dict[str, Any]:
    state = item.status
    return {
        "item": item.item,
        "title": item.title,
        "state": state.state,
        "words": item.state_words,
        "step": state.step,
        "findings": [finding.shown().as_dict() for finding in state.findings + item.notes],
        "reasons": [
            {"text": reason.text, "master": reason.master, "frame": reason.frame}
            for reason in state.reasons
        ],
        "catalogue": item.catalogue,
        "masters": item.masters,
        "links": item.links,
        "delivery": batch.delivered.items.get(item.item),
    }


def _detail_files(batch: gather.Batch) -> dict[str, str]:
    """Return name -> text of the scripts that hold the details, so many items in each."""
    size = gather.DETAILS_A_FILE
    made = {}
    for number in range(math.ceil(len(batch.items) / size)):
        part = [_detail(batch, item) for item in batch.items[number * size : (number + 1) * size]]
        text = f"glassineDetails({number},{_script_json(part)});\n"
        made[f"details-{number:04d}.js"] = text
    return made


def viewer_file(configured: str | None) -> Path | None:
    """Return the zoom viewer's script as npm installed it, or None where it is not there."""
    path = settings.PROJECT / (configured or _VIEWER)
    return path if path.is_file() else None


def _page(
    batch: gather.Batch, found: timing.Throughput, given: dict[str, Any], viewer: bool
) -> str:
    script = (_HERE / "page.js").read_text("utf-8")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    series = _drawn(_series(batch))
    held, look = batch.in_state("held"), batch.in_state("review")
    parts = [
        ("held", f"Held {len(held)}"),
        ("look", f"To look at {len(look)}"),
        ("all", "All items"),
        ("quality", "Quality"),
        ("time", "Time"),
        *([("targets", "Capture targets")] if batch.proof else []),
        ("deliveries", "Deliveries"),
        ("next", "To capture next"),
        ("notes", "Notes"),
    ]
    data = {
        "batch": batch.batch,
        "size": gather.DETAILS_A_FILE,
        "items": [item.item for item in batch.items],
        "standing": batch.standing,
        "withdraw": batch.withdraw,
        "viewer": "viewer/openseadragon.min.js" if viewer else None,
    }
    return words.environment().get_template("page.html.j2").render(
        batch=batch,
        institution=given["institution"],
        made=clock.now_text(),
        version=__version__,
        css=Markup((_HERE / "page.css").read_text("utf-8")),  # noqa: S704 - ours
        script=Markup(script),  # noqa: S704 - ours
        script_digest=digest,
        page_data=_script_json(data),
        verdict=words.verdict(batch.counts, len(batch.delivered.dropped), bool(batch.problems)),
        safety=words.safety(batch),
        delivered=" ".join(batch.delivered.sentences),
        states=_STATES,
        parts=parts,
        held=held,
        look=look,
        limit=_AT_LENGTH,
        cautions=_cautions(batch),
        materials=sorted({item.material for item in batch.items if item.material}),
        series=series,
        throughput=found,
        stages_s=sum(stage.total_s for stage in found.stages),
        figures=_figures(found),
        decaying=_decaying(batch),
    )  # fmt: skip


def summary(batch: gather.Batch, found: timing.Throughput) -> dict[str, Any]:
    """Return summary.json: the figures of the page for machines; the states add up to total."""
    return {
        "batch": batch.batch,
        "made": clock.now_text(),
        "counts": batch.counts,
        "items": {
            item.item: {
                "state": item.status.state,
                "step": item.status.step,
                "findings": [finding.as_dict() for finding in item.status.findings],
                "reasons": [reason.text for reason in item.status.reasons],
                "last_read": item.status.last_read,
                "delivery": batch.delivered.items.get(item.item),
            }
            for item in batch.items
        },
        "problems": [finding.as_dict() for finding in batch.problems],
        "asks": [finding.as_dict() for finding in batch.asks],
        "masters": sum(len(item.masters) for item in batch.items),
        "bytes": sum(item.bytes for item in batch.items),
        "throughput": {
            "started": found.started,
            "span_s": found.span_s,
            "masters": found.masters,
            "bytes": found.bytes,
            "masters_an_hour": found.masters_an_hour,
            "stages": {stage.step: round(stage.total_s, 3) for stage in found.stages},
        },
        "deliveries": [shown.file for shown in batch.delivered.shown],
        "bags": {
            bag.name: {"delivery": bag.delivery, "state": bag.state}
            for shown in batch.delivered.shown
            for bag in shown.bags
        },
        "dropped": [finding.as_dict() for finding in batch.delivered.dropped],
        "last_read": _last_read(batch),
    }


def _last_read(batch: gather.Batch) -> dict[str, Any]:
    """Return when masters were last read and compared, and when each bag was read and validated."""
    span = item_states.read_span(batch.statuses)
    return {
        "oldest": span[0] if span else None,
        "newest": span[1] if span else None,
        "items_unread": sum(1 for each in batch.statuses if not each.last_read),
        "bags": {
            bag.name: bag.validated for shown in batch.delivered.shown for bag in shown.receipt.bags
        },
    }


def _write_collection(batch: gather.Batch, results: Path, given: dict[str, Any]) -> None:
    """Write the IIIF collection of the batch from the manifests that are there."""
    entries = []
    for item in batch.items:
        path = results / "items" / item.item / "manifest.json"
        if item.status.state in {"done", "review"} and path.is_file():
            entries.append(files.read_json(path))
    if entries:
        made = presentation.collection(
            batch.batch,
            batch.title,
            entries,
            given["settings"]["iiif"]["base_url"],
            msgspec.convert(given["institution"], Institution),
        )
        # JSON-LD reads top down: @context stays first, so the keys are not sorted.
        text = json.dumps(msgspec.to_builtins(made), ensure_ascii=False, indent=2) + "\n"
        files.write_text(results / "collection.json", text)


def plain_report(counts: dict[str, int], statuses: list[item_states.ItemStatus], why: str) -> str:
    """Return the report as plain text, for when the page itself cannot be made."""
    lines = [f"The report page could not be made: {why}", "", words.verdict(counts), ""]
    for each in statuses:
        if each.state == "done":
            continue
        lines.append(f"{each.item}: {each.state}" + (f" at {each.step}" if each.step else ""))
        lines += [f"  {finding.sentence()}" for finding in each.findings]
        lines += [f"  {reason.text}" for reason in each.reasons]
    return "\n".join(lines) + "\n"


def _fall_back(results: Path, batch: str, problem: Exception) -> Path:
    """Write the plain report as text and as a page of one element; return the page."""
    why = f"{type(problem).__name__}: {problem}"
    try:
        statuses = item_states.batch_status(results)
    except (GlassineError, KeyError, TypeError) as unreadable:
        statuses, why = [], f"{why}; intake.json cannot be read: {unreadable}"
    text = plain_report(item_states.counts(statuses), statuses, why)
    folder = results / "report"
    files.write_text(folder / "report.txt", text)
    page = jinja2.Template(
        '<!doctype html><html lang="en"><meta charset="utf-8"><title>{{ batch }}</title>'
        "<pre>{{ text }}</pre></html>\n",
        autoescape=True,
    )
    files.write_text(folder / "index.html", page.render(batch=batch, text=text))
    files.write_json(
        folder / "summary.json",
        {"batch": batch, "counts": item_states.counts(statuses), "problem": why},
    )
    return folder / "index.html"


def _write(results: Path, given: dict[str, Any]) -> Path:
    folder = results / "report"
    folder.mkdir(parents=True, exist_ok=True)
    batch = gather.gather(results, given)
    previews.make_small(batch, results, _AT_LENGTH)
    viewer = viewer_file(given["settings"]["report"].get("viewer"))
    details = _detail_files(batch)
    for name, text in details.items():
        files.write_text(folder / name, text)
    for path in folder.glob("details-*.js"):
        if path.name not in details:
            path.unlink()
    if viewer:
        (folder / "viewer").mkdir(exist_ok=True)
        shutil.copyfile(viewer, folder / "viewer" / "openseadragon.min.js")
    found = _throughput(batch, results, given)
    files.write_text(folder / "index.html", _page(batch, found, given, viewer is not None))
    files.write_json(folder / "summary.json", summary(batch, found))
    _write_collection(batch, results, given)
    (folder / "report.txt").unlink(missing_ok=True)
    return folder / "index.html"


def write_report(results_batch_dir: Path, given: dict[str, Any]) -> Path:
    """Write `report/index.html`, its details and `summary.json`; return the page's path.

    results_batch_dir: `results/<batch>/`. given: {"batch", "settings", "institution",
    "deliveries": folder of deliveries, "masters": the batch folder (optional; for the
    corrections that stand and the catalogue), "run": {"started"} (optional)}.
    A damaged record makes its item `held`, never the report fail; should the page itself be
    impossible, the same is told in plain text under the same name and in report.txt.
    """
    try:
        return _write(results_batch_dir, given)
    except Exception as problem:  # whatever happens, a person finds a report in the morning
        return _fall_back(results_batch_dir, str(given.get("batch")), problem)
