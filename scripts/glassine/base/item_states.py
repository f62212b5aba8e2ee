"""Where each item of a batch stands, told from the files alone.

Every item is in exactly one state:
- `done`: its package is made and nothing asks for a person;
- `review`: its package is made, and a person should look at something;
- `held`: it cannot go on until a person acts;
- `waiting`: its masters are not yet at rest; the next night takes them;
- `pending`: it is ready, and the steps have not (all) run yet.
"""

from __future__ import annotations

import hashlib
import math
import re
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal, get_args

import msgspec

from glassine.base import extents, files, quality_words, rights, sizes, tone
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import POSITIVE_KINDS

State = Literal["done", "review", "held", "waiting", "pending"]
STATES: tuple[State, ...] = get_args(State)
RECORDS = ("fixity", "geometry", "render", "quality", "embedded", "package")


# So many reasons are kept by a decision, by so many digits each; what is beyond asks again.
_KEYS, _KEY_DIGITS = 100, 12
_FIGURES = re.compile(r"[0-9]+(?:[.,][0-9]+)*")


@dataclass(frozen=True)
class Reason:
    """Why a person should look: `text` in plain words; master and frame where it is one's.
    failed: whether a measure of quality failed its limit."""

    text: str
    master: str | None = None
    frame: int | None = None
    failed: bool = False

    @property
    def key(self) -> str:
        """Return what makes it the same reason when its figures are a little other than before: the
        beginning of a SHA-256, as corrections.yaml may keep it of 10,000 frames."""
        text = _FIGURES.sub("#", self.text)
        digest = hashlib.sha256(text.encode("utf-8", "backslashreplace")).hexdigest()
        return f"r{digest[:_KEY_DIGITS]}"  # never a number to a reader of YAML

    def is_shown_with(self, master: str, frame: int) -> bool:
        """Return whether a person who looks at a frame is told of it: it is the frame's own, its
        master's or the item's."""
        return self.master in (None, master) and self.frame in (None, frame)


@dataclass
class ItemStatus:
    """One item: its state, why, and the records read on the way (absent ones are missing).

    findings: what holds it (state held) or keeps it waiting, each once; step: the one that found
    it. damaged: names of records that could not be read. last_read: when its masters were last
    read whole and compared, as fixity.json tells; None where they never were, or did not agree.
    unseen: the reasons that no person has accepted: see `_unseen`. asked: all reasons, those that a
    person has accepted too.
    """

    item: str
    state: State = "pending"
    findings: list[Finding] = field(default_factory=list)
    reasons: list[Reason] = field(default_factory=list)
    step: str | None = None
    records: dict[str, Any] = field(default_factory=dict)
    damaged: list[str] = field(default_factory=list)
    last_read: str | None = None
    unseen: list[Reason] = field(default_factory=list)
    asked: list[Reason] = field(default_factory=list)

    def told_with(self, master: str, frame: int) -> list[str]:
        """Return the keys of all that a person is told who looks at a frame."""
        shown = [each.key for each in self.asked if each.is_shown_with(master, frame)]
        return list(dict.fromkeys(shown))[:_KEYS]

    def awaits_person(self, *, failed_too: bool) -> list[Reason]:
        """Return the reasons for which a person must accept the item before it is delivered, where
        deliveries hold what was reviewed. failed_too: whether failed measures of quality count."""
        if self.state != "review":
            return []
        return [reason for reason in self.unseen if failed_too or not reason.failed]


def _record_path(item_dir: Path, name: str) -> Path:
    return item_dir / "render" / "render.json" if name == "render" else item_dir / f"{name}.json"


def _damaged(path: Path, problem: str) -> Finding:
    return Finding(
        "report.record",
        str(path),
        f"This record is damaged: {problem}.",
        "a record as a step of the night wrote it.",
        files.advice_on(path),
    )


def finding(given: Any, where: str) -> Finding:
    """Return the finding that a record holds, however little of it is there."""
    if not isinstance(given, dict):
        given = {"what": str(given)}
    bare = Finding(
        "report.finding", where, "No reason was recorded.", "", "Look into the log of the item."
    )
    fields = ("code", "path", "what", "expected", "next_step", "severity")
    return replace(bare, **{name: str(given[name]) for name in fields if given.get(name)})


def _read_records(status: ItemStatus, item_dir: Path) -> None:
    for name in (*RECORDS, "held"):
        path = _record_path(item_dir, name)
        if not path.exists():
            continue
        try:
            record = files.read_json(path)
        except GlassineError as problem:
            status.damaged.append(name)
            status.findings += problem.findings
            continue
        if isinstance(record, dict):
            status.records[name] = record
        else:
            status.damaged.append(name)
            status.findings.append(_damaged(path, "it holds no mapping"))


def _geometry_reasons(record: dict[str, Any]) -> list[Reason]:
    found = []
    for master in record["masters"]:
        for frame in master["frames"]:
            if frame["state"] == "review" and not frame.get("excluded"):
                texts = frame["reasons"] or ["The outline is not certain."]
                found += [Reason(str(text), master["path"], frame["index"]) for text in texts]
        if not master["frames"]:
            found.append(Reason("No frame was found.", master["path"]))
    return found


def _readable(value: Any) -> str:
    """Return a value of a measure as short as a person reads it: four significant digits."""
    if isinstance(value, float):
        return f"{value:.4g}" if abs(value) < 1e4 else f"{value:,.0f}"
    if isinstance(value, bool):  # 1 is a count, though it equals True
        return "yes" if value else "no"
    return "not measured" if value is None else str(value)


# Units that a value is not followed by.
_NO_UNIT = ("", "count", "likelihood")


def measure_words(measure: dict[str, Any]) -> str:
    """Return a measure that did not pass in words: its value, its limit and what it says.

    E.g. "sampling used: 58 %; limit ≥ 90 %: the picture seems enlarged; check the lens or the
    export". Of what was not measured, why.
    """
    unit = measure.get("unit") or ""
    known = measure["value"] is not None
    shown = _readable(measure["value"]) + (f" {unit}" if known and unit not in _NO_UNIT else "")
    limit = str(measure.get("limit") or "").replace("<=", "≤").replace(">=", "≥")
    limit = limit.removesuffix(" count")
    said = f"{measure_name(measure['name'])}: {shown}" + (f"; limit {limit}" if limit else "")
    texts = quality_words.SENSE if known else quality_words.UNSEEN
    sense = texts.get(str(measure["name"]))
    return said if sense is None else f"{said}: {sense}"


def measure_name(name: str) -> str:
    """Return the name of a measure as a person reads it."""
    return quality_words.NAMES.get(str(name), str(name).replace("_", " "))


# Verdicts of measures that ask for no look.
_QUIET = ("pass", "not measured")


# How far what is measured may be from the catalogue's size: film is cut a little smaller than it is
# called, and the picture ends before its edge (common practice, no source).
_LARGER, _SMALLER = 1.12, 0.75


def _size_reasons(record: dict[str, Any], row: dict[str, Any]) -> list[Reason]:
    """Return where what was measured cannot have the size that the catalogue states."""
    known = sizes.stated(row)
    if known is None:
        return []
    stated, words = known
    found = []
    for master in record["masters"]:
        outline = master.get("object_corners")
        corners = outline or next((each["corners"] for each in master["frames"]), None)
        if not master.get("ppi") or not corners:
            continue
        measured = _sides_mm(corners, float(master["ppi"]))
        pairs = [*zip(measured, stated, strict=True)]
        large = any(side > other * _LARGER for side, other in pairs)
        small = bool(outline) and any(side < other * _SMALLER for side, other in pairs)
        if large or small:
            found.append(
                Reason(
                    f"It measures {measured[0]:.0f} x {measured[1]:.0f} mm at "
                    f"{float(master['ppi']):.0f} ppi ({master.get('ppi_source') or 'unknown'}), "
                    f"and the catalogue says {words}: one of the two is wrong, or the "
                    "size is of another thing.",
                    master["path"],
                )
            )
    return found


def _extent_reasons(record: dict[str, Any], entry: dict[str, Any]) -> list[Reason]:
    """Return where the catalogue's words of extent or genre say another polarity, or those of
    extent more frames, than were found. A master that is a part is not asked; nor of its polarity
    one of which batch.yaml states it, or a kind that has but one."""
    row = entry.get("catalogue") or {}
    plain = [each for each in entry.get("masters") or [] if _is_plain(each)]
    asked = {each["path"] for each in plain if not _states_polarity(each.get("facts") or {})}
    found = []
    for text in extents.kinds_of(row):
        polarity = extents.polarity(text)
        for master in record["masters"] if polarity else []:
            seen = {each["polarity"] for each in master["frames"] if _counts(each)}
            if master["path"] in asked and seen and polarity not in seen:
                what = (
                    f"it was taken for a {seen.pop()}: see whether it is inverted as it should be"
                )
                found.append(Reason(f"The catalogue says {text!r}, and {what}.", master["path"]))
        if found:
            break
    counted = {each["path"] for each in plain if not (each.get("facts") or {}).get("frames")}
    return found + _count_reasons(record, extents.words_of(row), counted)


def _count_reasons(record: dict[str, Any], told: list[str], asked: set[str]) -> list[Reason]:
    """Return where fewer frames were found than the catalogue counts. asked: the masters that are
    no parts and of which batch.yaml states no number; of an item with others, or of which a person
    left frames out, nothing is counted."""
    frames = [each for master in record["masters"] for each in master["frames"]]
    whole = all(master["path"] in asked for master in record["masters"])
    counts = [count for count in map(extents.frames, told) if count]
    if not whole or not frames or not counts or any(each.get("excluded") for each in frames):
        return []
    if len(frames) >= counts[0]:
        return []
    text = f"The catalogue counts {counts[0]}, and {len(frames)} frames were found."
    return [Reason(f"{text} See whether one was missed, or not all were captured.")]


def _is_plain(master: dict[str, Any]) -> bool:
    return not (master.get("part") or master.get("superseded_by"))


def _states_polarity(facts: dict[str, Any]) -> bool:
    """Return whether batch.yaml states what a master is; what it does not state is `auto`."""
    return facts.get("polarity", "auto") != "auto" or facts.get("kind") in POSITIVE_KINDS


def _counts(frame: dict[str, Any]) -> bool:
    """Return whether a frame's polarity is what was recognised of a picture."""
    return not (frame.get("excluded") or frame.get("blank") or frame.get("source") == "correction")


def _sides_mm(corners: list[list[float]], ppi: float) -> tuple[float, float]:
    """Return the shorter and the longer side of a quadrilateral in px, in mm."""
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = corners
    across = (math.hypot(bx - ax, by - ay) + math.hypot(cx - dx, cy - dy)) / 2
    down = (math.hypot(dx - ax, dy - ay) + math.hypot(cx - bx, cy - by)) / 2
    sides = sorted(length / ppi * 25.4 for length in (across, down))
    return sides[0], sides[1]


def _quality_reasons(record: dict[str, Any]) -> list[Reason]:
    """Return what the measures ask.

    What was not measured asks for nothing: the frame's verdict and its measures say it.
    """
    found = []
    for frame in record["frames"]:
        poor = [each for each in frame["measures"] if each["verdict"] not in _QUIET]
        place = (frame["master"], frame["index"])
        found += [
            Reason(measure_words(each), *place, failed=each["verdict"] == "fail") for each in poor
        ]
        if frame["verdict"] not in _QUIET and not poor:
            failed = frame["verdict"] == "fail"
            found.append(Reason("Its quality asks for a look.", *place, failed=failed))
    return found


def _render_reasons(record: dict[str, Any]) -> list[Reason]:
    """Return what setting the tone asks."""
    return [
        Reason(text, frame["master"], frame["index"])
        for frame in record["frames"]
        if not frame["skipped"]
        for text in _tone_review(frame)
    ]


def _tone_review(frame: dict[str, Any]) -> tuple[str, ...]:
    planned = tone.of_frame(frame)
    return planned.review if planned else ()


def _is_accepted(reason: Reason, master: str, frame: int, accepted: list[dict[str, Any]]) -> bool:
    """Return whether a person has accepted a frame and was told of the reason when they did.

    What they were told says the decision, where the review page wrote it; else it is not known, and
    it counts as told."""
    return any(
        each["frame"] == frame
        and each.get("master") in (None, master)
        and (each.get("reasons") is None or reason.key in each["reasons"])
        for each in accepted
    )


def _fixity_reasons(record: dict[str, Any], row: dict[str, Any]) -> list[Reason]:
    """Return what the files of masters say that a person should look at."""
    found = []
    for master in record["masters"]:
        asks = [each for each in master.get("notes") or [] if each.get("severity") == "review"]
        found += [Reason(str(each["what"]), master["path"]) for each in asks]
        capture = master["header"].get("capture") or {}
        found += [Reason(text, master["path"]) for text in _rights_reasons(capture, row)]
    return found


def _rights_reasons(capture: dict[str, Any], row: dict[str, Any]) -> list[str]:
    """Return where the rights in a master's header say other than those of its catalogue row."""
    stated = rights.resolved(row.get("rights"), None)
    if not row.get("rights"):
        return []
    found = []
    notice = capture.get("copyright")
    if notice and (stated.status == rights.PUBLIC_DOMAIN or stated.grants):
        found.append(
            f"The file's header has a copyright notice ({notice}), and the catalogue says "
            f"{stated.name or stated.status}. The records say what the catalogue says."
        )
    for uri in capture.get("rights_uris") or []:
        known = rights.statement(str(uri))
        if known and stated.uri and known.uri != stated.uri:
            found.append(
                f"The file's own metadata say {known.name} ({known.uri}), and the catalogue says "
                f"{stated.name or stated.uri}. The records say what the catalogue says."
            )
    return found


def accepted(entry: dict[str, Any], geometry: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the frames that a person accepted, each {"frame", "master" (may lack), "reasons" (keys
    of those they were told; may lack)}.

    entry: the item as intake.json has it; geometry: its geometry.json, which says which frame a
    decision was applied to, and whether that is as the person saw it. What an earlier version
    recorded does not say it: then the number counts.
    """
    decided = (entry.get("corrections") or {}).get("frames") or []
    detail = (geometry.get("event") or {}).get("detail") or {}
    found = []
    for each in decided:
        if not each.get("accept"):
            continue
        ruled = [
            ruling
            for ruling in detail.get("decisions") or []
            if ruling["frame"] == each["frame"] and each.get("master") in (None, ruling["master"])
        ]
        told = (each.get("seen") or {}).get("reasons")
        reasons = {} if told is None else {"reasons": told}
        if not ruled:
            found.append({**each, **reasons})
        found += [
            {"frame": ruling["on"], "master": ruling["master"], **reasons}
            for ruling in ruled
            if ruling["on"] is not None and ruling["as_seen"]
        ]
    return found


def _unseen(
    reasons: list[Reason], geometry: dict[str, Any], seen: list[dict[str, Any]]
) -> list[Reason]:
    """Return the reasons that no person has accepted.

    Reasons of a frame that were accepted are gone already. One of a master, or of the item, counts
    as accepted when a person has accepted every frame of that master, or of the item, as the review
    page shows it with them; where there is no frame, nobody can have. A reason that came up since
    asks again.
    """
    frames = [
        {"master": master["path"], "index": frame["index"]}
        for master in geometry.get("masters") or []
        for frame in master["frames"]
        if not frame.get("excluded")
    ]
    left = []
    for reason in reasons:
        of_it = [each for each in frames if reason.master in (None, each["master"])]
        looked_at = bool(of_it) and all(
            _is_accepted(reason, each["master"], each["index"], seen) for each in of_it
        )
        if reason.frame is not None or not looked_at:
            left.append(reason)
    return left


def _collect_reasons(status: ItemStatus, item_dir: Path, entry: dict[str, Any]) -> None:
    try:
        seen = accepted(entry, status.records.get("geometry") or {})
    except (KeyError, TypeError, AttributeError):
        seen = []  # a damaged record, which is told below or asks for a look
    row = entry.get("catalogue") or {}
    for name, reasons_of in (
        ("fixity", lambda record: _fixity_reasons(record, row)),
        ("geometry", _geometry_reasons),
        ("geometry", lambda record: _size_reasons(record, row)),
        ("geometry", lambda record: _extent_reasons(record, entry)),
        ("render", _render_reasons),
        ("quality", _quality_reasons),
    ):
        if name not in status.records:
            continue
        try:
            asked = reasons_of(status.records[name])
            status.asked += asked
            status.reasons += [each for each in asked if not _of_seen_frame(name, each, seen)]
        except (KeyError, TypeError, AttributeError, msgspec.ValidationError) as problem:
            del status.records[name]
            status.damaged.append(name)
            path = _record_path(item_dir, name)
            lacks = "" if isinstance(problem, msgspec.ValidationError) else "it lacks "
            status.findings.append(_damaged(path, f"{lacks}{problem}"))


def _of_seen_frame(record: str, reason: Reason, seen: list[dict[str, Any]]) -> bool:
    """Return whether a reason is of a frame that a person has accepted with it. What geometry.json
    asks of a frame was left out there already, where it was accepted."""
    if record not in ("render", "quality") or reason.frame is None:
        return False
    return _is_accepted(reason, str(reason.master), reason.frame, seen)


def _unseen_by_all(status: ItemStatus, entry: dict[str, Any]) -> list[Reason]:
    geometry = status.records.get("geometry") or {}
    try:
        return _unseen(status.reasons, geometry, accepted(entry, geometry))
    except (KeyError, TypeError, AttributeError):
        return list(status.reasons)  # a damaged record shows nobody's acceptance


def _entry_findings(entry: dict[str, Any], severities: set[str]) -> list[Finding]:
    found = [finding(each, str(entry.get("item"))) for each in entry.get("findings") or []]
    return [finding for finding in found if finding.severity in severities]


def item_status(entry: dict[str, Any], item_dir: Path) -> ItemStatus:
    """Return where one item stands.

    entry: the item as intake.json has it; item_dir: `results/<batch>/items/<item>/`, which
    need not exist. Never raises for damaged records: the item then counts as held.
    """
    status = ItemStatus(str(entry["item"]))
    _read_records(status, item_dir)
    _collect_reasons(status, item_dir, entry)
    of_intake = [Reason(each.what) for each in _entry_findings(entry, {"review"})]
    status.reasons += of_intake
    status.asked += of_intake
    status.unseen = _unseen_by_all(status, entry)
    held = status.records.get("held")
    if entry.get("state") == "held":
        status.step = "intake"
        status.findings += _entry_findings(entry, {"hold"}) or [finding({}, status.item)]
    if held is not None:
        given = held.get("findings")
        listed = given if isinstance(given, list) and given else [{}]
        told = [finding(each, status.item) for each in listed]
        # The first step ends with what intake found: that is shown once, as intake's.
        new = [each for each in dict.fromkeys(told) if each not in status.findings]
        if new or status.step is None:
            status.step = str(held.get("step") or "unknown")
        status.findings += new
    status.findings = list(dict.fromkeys(status.findings))
    status.last_read = _last_read(status)
    if status.findings:
        status.state = "held"
        status.step = status.step or "report"
    elif entry.get("state") == "waiting":
        status.state = "waiting"
        status.findings = _entry_findings(entry, {"note", "review", "hold"})
    elif "package" in status.records:
        status.state = "review" if status.reasons else "done"
    return status


def fails_verify(status: ItemStatus) -> bool:
    """Return whether a master of the item is not what the checksum list says, or unreadable."""
    return any(each.code.startswith("verify.") for each in status.findings)


def _last_read(status: ItemStatus) -> str | None:
    """Return the time of the last comparison of the item's masters that found them as listed."""
    event = status.records.get("fixity", {}).get("event")
    time = event.get("time") if isinstance(event, dict) else None
    if fails_verify(status) or not isinstance(time, str) or _moment(time) is None:
        return None
    return time


def read_span(statuses: list[ItemStatus]) -> tuple[str, str] | None:
    """Return when masters were last read whole and compared: the oldest time and the newest."""
    times = sorted(each.last_read for each in statuses if each.last_read)
    return (times[0], times[-1]) if times else None


def last_read_words(statuses: list[ItemStatus], now: str) -> str:
    """Return in a line how old the last comparison of masters with their digests is.

    now: the present time, as records write it.
    """
    span = read_span(statuses)
    if span is None:
        return "none was read and compared yet"
    oldest, present = _moment(span[0]), _moment(now)
    days = (present - oldest).days if oldest and present else 0
    age = "today" if days < 1 else "1 day ago" if days == 1 else f"{days:,} days ago"
    until = f" to {span[1][:10]}" if span[1][:10] != span[0][:10] else ""
    unread = sum(1 for each in statuses if not each.last_read)
    more = f"; of {unread:,} items not yet, or without agreement" if unread else ""
    return f"last read and compared {span[0][:10]}{until} (the oldest {age}){more}"


def _moment(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text).astimezone(UTC)
    except (ValueError, OverflowError):
        return None


def batch_status(results_batch_dir: Path) -> list[ItemStatus]:
    """Return where each item of intake.json stands, in its order.

    Raises GlassineError where intake.json is missing or damaged.
    """
    intake = files.read_json(results_batch_dir / "intake.json")
    return [
        item_status(entry, results_batch_dir / "items" / str(entry["item"]))
        for entry in intake["items"]
    ]


def counts(statuses: list[ItemStatus]) -> dict[str, int]:
    """Return how many items are in each state, and `total`, which is their sum."""
    found: dict[str, int] = dict.fromkeys(STATES, 0)
    for status in statuses:
        found[status.state] += 1
    return {**found, "total": len(statuses)}
