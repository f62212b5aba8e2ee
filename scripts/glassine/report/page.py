"""The page of a batch, and the files of details beside it."""

from __future__ import annotations

import base64
import hashlib
import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec
from markupsafe import Markup

from glassine import __version__
from glassine.base import clock, item_states, wording, zones
from glassine.base.access import NOTICE_DAYS
from glassine.base.model import ItemId
from glassine.base.records.corrections import Correction, Withdrawal
from glassine.base.records.given import Institution
from glassine.report import cautions, decided, light, morning, plots, queue, unnamed, words
from glassine.report.shown import Batch, Item, ListedRow, Master, decay_order
from glassine.report.summary import FindingLine
from glassine.report.timing import Throughput

_HERE = Path(__file__).parent
# Held and review items beyond this many are in the list below, not shown at length as well.
AT_LENGTH = 40
# How many items share one file of details beside the page.
DETAILS_A_FILE = 50
# How many cards of the list are in the page at once; with more items the page comes in pieces.
CARDS = 100
# How many of them are there before a piece of a large batch was read.
FIRST_CARDS = 30
# How many cards share one piece.
CARDS_A_PIECE = 1000
# How many reasons of the queue have a line of their own; the queue itself has all.
QUEUE_LINES = 40
_STATES = (
    ("held", "held", "cannot go on until a person acts"),
    ("review", "review", "finished; a person should look"),
    ("waiting", "waiting", "not yet at rest; the next night takes it"),
    ("pending", "pending", "ready; the next run does it"),
    ("done", "done", "finished and packed"),
)


class _Reason(msgspec.Struct, frozen=True):
    text: str
    master: str | None
    frame: int | None


class _Detail(msgspec.Struct, frozen=True, kw_only=True):
    """An item as the page's script has it. delivery: how it stands to the deliveries, in words."""

    item: str
    title: str
    state: str
    step: str | None
    findings: list[FindingLine]
    reasons: list[_Reason]
    catalogue: list[tuple[str, str]]
    masters: list[Master]
    links: list[tuple[str, str]]
    delivery: str | None


class _Card(msgspec.Struct, frozen=True, array_like=True):
    """A card of the list as a piece has it. width, height: px of the master; outlines: paths in
    SVG with a bar between them, a question mark before an uncertain one: one text is read faster
    than many lists."""

    item: str
    state: str
    material: str
    decay: int | None
    sure: float
    title: str
    facts: str
    small: str | None
    width: int | None
    height: int | None
    outlines: str


class _PageData(msgspec.Struct, frozen=True, kw_only=True):
    """What the page's script is told at once. size: items in a file of details; count: items of
    the batch; cards: of them shown at once; pieces: files that hold the list where it is not in
    the page as a whole, with all that stands empty here; viewer: address of the zoom viewer's
    script, where it is there; queue: what is for review, by reason."""

    batch: str
    size: int
    count: int
    cards: int
    pieces: int
    standing: dict[ItemId, Correction]
    withdraw: list[dict[str, str | int]]
    viewer: str | None
    queue: list[queue.Group]


class _Piece(msgspec.Struct, frozen=True, kw_only=True):
    """A piece of the list; what was decided and the queue stand in the first one."""

    cards: list[_Card]
    standing: dict[ItemId, Correction]
    withdraw: list[dict[str, str | int]]
    queue: list[queue.Group]


def _script_json(value: Any) -> Markup:
    """Return JSON that may stand inside a script element: no `<`, no line separators."""
    plain = msgspec.to_builtins(value)
    text = json.dumps(plain, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    escaped = text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
    return Markup(escaped)  # noqa: S704 - every character that could end the script is escaped


def _script_text(value: Any) -> str:
    """Return a value as a string of a script, for JSON.parse: a browser reads that in a quarter of
    the time that it takes over the same text as part of the script."""
    text = json.dumps(
        msgspec.to_builtins(value), ensure_ascii=True, separators=(",", ":"), allow_nan=False
    )
    escaped = text.replace("\\", "\\\\").replace("'", "\\'")
    for sign in "<>&":
        escaped = escaped.replace(sign, f"\\u{ord(sign):04x}")
    return f"'{escaped}'"


def _order(item: Item) -> tuple[str, str]:
    return (item.taken, item.item)


def _series(batch: Batch) -> list[plots.Series]:
    """Return each numeric measure over the session, in the order of capture."""
    by_limit: dict[tuple[str, str | None], plots.Series] = {}

    def add(name: str, unit: str, limit: str | None, source: str, point: plots.Point) -> None:
        # Kinds of film have limits of their own: each limit has its own plot.
        series = plots.Series(name, unit, limit, source, [])
        by_limit.setdefault((name, limit), series).points.append(point)

    for item in sorted(batch.items, key=_order):
        for frame in item.frames:
            skew = plots.Point(item.item, frame.n, frame.angle, True)
            add("skew of the frame", "degrees", None, "", skew)
            for measure in frame.measures:
                value = measure.value
                if isinstance(value, bool) or not isinstance(value, int | float):
                    continue
                point = plots.Point(item.item, frame.n, float(value), measure.verdict == "pass")
                name = item_states.measure_name(measure.name)
                add(name, measure.unit or "", measure.limit, measure.source or "", point)
    by_need = sorted(
        by_limit.values(), key=lambda series: (-len(series.failed), series.limit is None)
    )
    return [series for series in by_need if all(_finite(p.value) for p in series.points)]


def _finite(value: float) -> bool:
    return math.isfinite(value)


@dataclass(frozen=True)
class _Drawn:
    """A series as the page shows it. spread, drift: SVG; words: how it moved."""

    series: plots.Series
    spread: Markup
    drift: Markup
    words: str


def _drawn(series: plots.Series) -> _Drawn:
    return _Drawn(
        series=series,
        spread=Markup(plots.spread(series)),  # noqa: S704 - plots escapes its texts
        drift=Markup(plots.drift(series)),  # noqa: S704
        words=plots.drift_words(series),
    )


def _figures(throughput: Throughput, zone: str | None) -> list[tuple[str, str]]:
    rows = [
        ("Masters an hour", _tidy(throughput.masters_an_hour)),
        ("Gigabytes an hour", _tidy(throughput.gigabytes_an_hour)),
        ("Masters", f"{throughput.masters:,}"),
        ("Gigabytes of masters", _tidy(throughput.bytes / 1e9)),
        ("From first to last step", wording.span_words(throughput.span_s)),
    ]
    if throughput.started is not None:
        rows.append(("Began", zones.beside(clock.text_of(throughput.started), zone)))
    return [(label, text) for label, text in rows if text]


def _tidy(value: float | None) -> str:
    return plots.tidy(value) if value else ""


def _decaying(batch: Batch) -> list[ListedRow]:
    rows = [
        ListedRow(item.item, item.title, item.material, item.decay_level, item.status.state)
        for item in batch.items
        if (item.decay_level or 0) >= cautions.DECAYING_LEVEL or item.material == "nitrate"
    ]
    return sorted(rows, key=decay_order)


def _detail(batch: Batch, item: Item) -> _Detail:
    state = item.status
    return _Detail(
        item=item.item,
        title=item.title,
        state=state.state,
        step=state.step,
        findings=[FindingLine.of(finding.shown()) for finding in state.findings + item.notes],
        reasons=[_Reason(reason.text, reason.master, reason.frame) for reason in state.reasons],
        catalogue=item.catalogue,
        masters=item.masters,
        links=item.links,
        delivery=batch.delivered.words_of(item.item),
    )


def detail_files(batch: Batch) -> dict[str, str]:
    """Return name -> text of the scripts that hold the details, so many items in each."""
    scripts = {}
    for number in range(math.ceil(len(batch.items) / DETAILS_A_FILE)):
        items = batch.items[number * DETAILS_A_FILE : (number + 1) * DETAILS_A_FILE]
        details = _script_json([_detail(batch, item) for item in items])
        scripts[f"details-{number:04d}.js"] = f"glassineDetails({number},{details});\n"
    return scripts


def _pieces(batch: Batch) -> int:
    """Return how many files hold the list; 0: it is in the page."""
    return math.ceil(len(batch.items) / CARDS_A_PIECE) if len(batch.items) > CARDS else 0


def _card(item: Item) -> _Card:
    master = item.masters[0] if item.masters else None
    frames = master.frames if master and master.width and master.height else []
    return _Card(
        item=item.item,
        state=item.status.state,
        material=item.material,
        decay=item.decay_level,
        sure=words.least_sure(item.frames),
        title=item.title,
        facts=words.card_facts(item),
        small=master.small if master and master.preview else None,
        width=master.width if master else None,
        height=master.height if master else None,
        outlines="|".join(
            ("?" if frame.state == "review" else "") + words.outline(frame.corners)
            for frame in frames
            if not frame.exclude
        ),
    )


def list_files(batch: Batch) -> dict[str, str]:
    """Return name -> text of the scripts that hold the list of a large batch."""
    scripts = {}
    for number in range(_pieces(batch)):
        items = batch.items[number * CARDS_A_PIECE : (number + 1) * CARDS_A_PIECE]
        piece = _Piece(
            cards=[_card(item) for item in items],
            standing=batch.standing if number == 0 else {},
            withdraw=_withdrawals(batch) if number == 0 else [],
            queue=queue.groups(batch) if number == 0 else [],
        )
        scripts[f"list-{number:04d}.js"] = f"glassineList({number},{_script_text(piece)});\n"
    return scripts


def row_files(batch: Batch) -> dict[str, str]:
    """Return name -> text of the script that holds the rows of the catalogue, where a capture is
    to be given to one."""
    if not any(unnamed.offered(item) for item in batch.items):
        return {}
    return {"rows.js": f"glassineRows({_script_text(unnamed.rows_of(batch))});\n"}


def _withdrawals(batch: Batch) -> list[dict[str, str | int]]:
    return [_withdrawal(entry) for entry in batch.withdraw]


def _withdrawal(entry: Withdrawal) -> dict[str, str | int]:
    """Return an entry of `withdraw` with its keys in the order of intake.json."""
    return dict(sorted(msgspec.to_builtins(entry).items()))


def render(
    batch: Batch,
    throughput: Throughput,
    institution: Institution,
    viewer: bool,
    before: morning.Before | None = None,
    made: decided.Decided | None = None,
    zone: str | None = None,
) -> str:
    """Return the page. viewer: whether the zoom viewer's script lies beside it; before: the report
    that this one follows; made: what people decided; zone: see `zones.beside`."""
    script = (_HERE / "page.js").read_text("utf-8")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    series = [_drawn(measured) for measured in _series(batch)]
    held, look = batch.in_state("held"), batch.in_state("review")
    queued = queue.groups(batch)
    parts = [
        ("held", f"Held {len(held)}"),
        ("look", f"For review {len(look)}"),
        *([("decided", f"Decided {made.total}")] if made and made.total else []),
        ("all", "All items"),
        ("quality", "Quality"),
        ("time", "Time"),
        *([("films", "Films")] if batch.films.films or batch.films.without else []),
        *([("targets", "Capture targets")] if batch.proof else []),
        ("deliveries", "Deliveries"),
        *([("access", "Who may see it")] if batch.access else []),
        *([("audit", "Read again")] if batch.audit else []),
        ("next", "To capture next"),
        ("notes", "Notes"),
    ]
    pieces = _pieces(batch)
    data = _PageData(
        batch=batch.batch,
        size=DETAILS_A_FILE,
        count=len(batch.items),
        cards=CARDS,
        pieces=pieces,
        standing={} if pieces else batch.standing,
        withdraw=[] if pieces else _withdrawals(batch),
        viewer="viewer/openseadragon.min.js" if viewer else None,
        queue=[] if pieces else queued,
    )
    return words.environment(zone).get_template("page.html.j2").render(
        batch=batch,
        institution=institution,
        made=clock.now_text(),
        version=__version__,
        css=Markup((_HERE / "page.css").read_text("utf-8")),  # noqa: S704 - ours
        script=Markup(script),  # noqa: S704 - ours
        script_digest=digest,
        page_data=_script_json(data),
        morning=morning.of_batch(batch, before, zone),
        verdict=words.verdict(batch.counts, len(batch.delivered.dropped), bool(batch.problems)),
        safety=words.safety(batch),
        delivered=" ".join(batch.delivered.sentences),
        states=_STATES,
        parts=parts,
        held=held,
        look=look,
        queue=queued,
        limit=AT_LENGTH,
        first_cards=FIRST_CARDS if pieces else CARDS,
        queue_lines=QUEUE_LINES,
        cautions=cautions.of_batch(batch),
        materials=sorted({item.material for item in batch.items if item.material}),
        series=series,
        light=light.sentences(batch.statuses),
        throughput=throughput,
        stages_s=sum(stage.total_s for stage in throughput.stages),
        figures=_figures(throughput, zone),
        decaying=_decaying(batch),
        decided=made,
        pictured=decided.PICTURED,
        notice_days=NOTICE_DAYS,
        names={item.item for item in batch.items},
    )  # fmt: skip
