"""The first screen of the report: what stands, what changed, and what a person does next."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from glassine.base import clock, files, wording, zones
from glassine.base.disk_room import Forecast
from glassine.base.errors import GlassineError
from glassine.report import unnamed
from glassine.report.shown import Batch

# So many actions are shown; the rest are counted.
SHOWN = 3
# So many items are named in a line of what changed.
_NAMED = 4


@dataclass(frozen=True)
class Fact:
    """A line of the first screen. good: None where it is neither good nor bad; anchor: where more
    stands."""

    label: str
    text: str
    anchor: str
    good: bool | None = None


@dataclass(frozen=True)
class Action:
    """What a person does next. anchor: address on the page, or of a page beside it."""

    text: str
    anchor: str


@dataclass(frozen=True)
class Morning:
    """facts: in the order of reading; actions: the most serious first; more: actions beyond those
    shown."""

    facts: tuple[Fact, ...]
    actions: tuple[Action, ...]
    more: int


@dataclass(frozen=True)
class Before:
    """The report that this one follows. made: xs:dateTime; states: {item: state}; restricted: items
    that not all could see, None where it does not say."""

    made: str
    states: dict[str, str]
    restricted: frozenset[str] | None = None


def read_before(folder: Path) -> Before | None:
    """Return what the last report in `folder` told of the items, None where there is none to
    compare with: none was made before, it cannot be read, or it is of this very moment."""
    path = folder / "summary.json"
    try:
        value: Any = files.read_json(path) if path.is_file() else None
        states = {item: str(line["state"]) for item, line in value["items"].items()}
        made = str(value["made"])
        listed = value.get("access")
        restricted = None if listed is None else _restricted(listed)
    except (GlassineError, OSError, LookupError, TypeError, AttributeError):
        return None
    return Before(made, states, restricted) if made != clock.now_text() else None


def _restricted(listed: list[dict[str, Any]]) -> frozenset[str]:
    return frozenset(str(line["item"]) for line in listed if line["public"] != "all")


def of_batch(batch: Batch, before: Before | None, zone: str | None = None) -> Morning:
    """Return the first screen. zone: see `zones.beside`."""
    actions = _actions(batch)
    return Morning(
        facts=tuple(
            fact
            for fact in (
                _delivery(batch),
                _targets(batch),
                _audit(batch),
                _expected(batch),
                _access(batch),
                *map(_room, batch.room),
                _changed(batch, before, zone),
            )
            if fact is not None
        ),
        actions=tuple(actions[:SHOWN]),
        more=max(0, len(actions) - SHOWN),
    )


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def _delivery(batch: Batch) -> Fact:
    """Return whether all of the batch is delivered as it is now, and why not."""
    delivered, total = batch.delivered, len(batch.items)
    kinds = Counter(standing.kind for standing in delivered.items.values())
    as_it_is = kinds["as delivered"] + kinds["withdrawn"]
    if batch.problems:
        why = batch.problems[0].what
        return Fact("Delivery", f"held: {why}", "batch-problems", good=False)
    if total and as_it_is == total:
        last = delivered.shown[0].receipt if delivered.shown else None
        where = f" in {last.delivery}, {last.time[:10]}" if last else ""
        return Fact("Delivery", f"whole: all {_count(total, 'item')}{where}", "deliveries", True)
    if not delivered.shown:
        return Fact("Delivery", f"none yet{_because(batch)}", "deliveries", good=False)
    text = f"{as_it_is:,} of {_count(total, 'item')} as they are now{_because(batch)}"
    return Fact("Delivery", text, "deliveries", good=False)


def _because(batch: Batch) -> str:
    open_states = [
        f"{batch.counts[state]:,} {state}"
        for state in ("held", "waiting", "pending")
        if batch.counts.get(state)
    ]
    return f": {', '.join(open_states)}" if open_states else ""


def _targets(batch: Batch) -> Fact | None:
    """Return the level that the targets reached, the lowest of each; a level is no pass by itself:
    what the settings ask for stands in what holds the batch."""
    if batch.proof is None:
        return None
    if batch.proof.holds:
        return Fact("Capture targets", batch.proof.holds[0].what, "targets", good=False)
    targets = batch.proof.targets
    unmeasured = [target.target for target in targets if target.state != "measured"]
    judged = [(target.target, v) for target in targets for v in target.verdicts if v.rows]
    none = [f"{verdict.title} ({name})" for name, verdict in judged if verdict.overall is None]
    tables = _count(len(judged), "table of limits", "tables of limits")
    reached = f"{len(judged) - len(none):,} of {tables} reached a level"
    parts = [f"{reached}, on {_count(len(targets), 'capture')}"]
    parts += [f"no level: {wording.some(none, _NAMED)}"] if none else []
    # A table that has no rows, as its document is not to be had, asks nothing of a capture.
    unjudged = [v for target in targets for v in target.verdicts if not v.rows]
    titles = sorted({verdict.title for verdict in unjudged})
    parts += [f"not judged: {wording.some(titles, _NAMED)}"] if titles else []
    parts += [f"not measured: {wording.some(unmeasured, _NAMED)}"] if unmeasured else []
    blind = any(verdict.not_judged for verdict in unjudged)
    good = bool(judged) and not (none or unmeasured or blind)
    return Fact("Capture targets", "; ".join(parts), "targets", good)


def _audit(batch: Batch) -> Fact | None:
    audit = batch.audit
    if audit is None:
        return None
    damaged = sum(kind.damaged for kind in audit.kinds)
    if damaged:
        return Fact("Read again", f"{_count(damaged, 'part')} not as recorded", "audit", good=False)
    if audit.unread or any(each.severity == "hold" for each in audit.findings):
        text = f"{_count(audit.unread, 'part')} could not be read"
        return Fact(
            "Read again", text if audit.unread else "not all could be read", "audit", good=False
        )
    oldest = min((kind.oldest for kind in audit.kinds if kind.oldest), default=None)
    since = f"; all read or written since {oldest[:10]}" if oldest else ""
    return Fact("Read again", f"nothing damaged{since}", "audit", good=True)


def _expected(batch: Batch) -> Fact | None:
    expected = batch.expected
    if expected is None:
        return None
    parts = []
    if expected.sources:
        parts.append(f"{expected.captured:,} of {expected.count:,} expected items are captured")
    missing = len(expected.missing)
    frames = sum(bool(each.unlisted) for each in expected.missing)
    if missing > frames:
        parts.append(f"{missing - frames:,} missing")
    if frames:
        parts.append(_count(frames, "gap between frames", "gaps between frames"))
    doubt = not expected.sources and bool(expected.double)
    if doubt:
        parts.append(f"{_count(len(expected.double), 'item')} captured twice")
    text = "; ".join(parts)
    if expected.unread:
        text += f"; not read: {wording.some(expected.unread, _NAMED)}"
    return Fact("Expected", text, "next", good=not (missing or expected.unread or doubt))


def _access(batch: Batch) -> Fact | None:
    """Return how many items not all may see, and which embargoes ended or end soon."""
    if not batch.access:
        return None
    restricted = [each.item for each in batch.access if each.is_restricted]
    soon = [f"{each.item} ({each.opens})" for each in batch.access if each.soon]
    ended = [f"{each.item} ({each.ended})" for each in batch.access if each.ended]
    parts = [f"{_count(len(restricted), 'item')} restricted"]
    parts += [f"embargo ended: {wording.some(ended, _NAMED)}"] if ended else []
    parts += [f"opens soon: {wording.some(soon, _NAMED)}"] if soon else []
    return Fact("Who may see it", "; ".join(parts), "access")


def _room(forecast: Forecast) -> Fact:
    """Return for how long a disk lasts that a night writes to."""
    good = False if forecast.is_short else None
    return Fact("Room on the disk", forecast.sentence(), "deliveries", good)


def _changed(batch: Batch, before: Before | None, zone: str | None) -> Fact | None:
    """Return what changed since the report before: new and gone items, and other states."""
    if before is None:
        return None
    now: dict[str, str] = {item.item: item.status.state for item in batch.items}
    moved: dict[str, list[str]] = {}
    for item, state in now.items():
        earlier = before.states.get(item)
        if earlier is None:
            moved.setdefault(f"new, {state}", []).append(item)
        elif earlier != state:
            moved.setdefault(f"{earlier} to {state}", []).append(item)
    gone = [item for item in before.states if item not in now]
    if gone:
        moved["no longer here"] = gone
    if before.restricted is not None:
        closed = {each.item for each in batch.access if each.is_restricted}
        here = [item for item in before.restricted if item in now]
        opened = sorted(item for item in here if item not in closed)
        moved |= {"restricted before, open now": opened} if opened else {}
        newly = sorted(closed - before.restricted)
        moved |= {"restricted now": newly} if newly else {}
    lines = [
        f"{words}: {len(items):,} ({wording.some(items, _NAMED)})" for words, items in moved.items()
    ]
    return Fact(
        f"Since {zones.beside(before.made, zone)}",
        "; ".join(lines) or "no item changed its state",
        "all",
    )


def _actions(batch: Batch) -> list[Action]:
    """Return all that waits for a person, the most serious first."""
    audit, counts = batch.audit, batch.counts
    damaged = audit and any(kind.damaged for kind in audit.kinds)
    held, review, asks = counts.get("held", 0), counts.get("review", 0), len(batch.asks)
    absent = batch.expected.missing if batch.expected else []
    frames = sum(bool(each.unlisted) for each in absent)
    missing = len(absent) - frames
    first = batch.problems[0].next_step if batch.problems else ""
    whose = sum(len(unnamed.asked(item)) for item in batch.items)
    waiting = (
        (bool(first), f"Settle what holds the batch as a whole. {first}", "#batch-problems"),
        (damaged, "See what was read again and is not as recorded", "#audit"),
        (whose, f"Say which item {_count(whose, 'capture is', 'captures are')} of", "#queue=0"),
        (held, f"Settle {_count(held, 'held item')}", "#held"),
        (asks, f"Answer {_count(asks, 'question')} about the batch as a whole", "#batch-asks"),
        (review, f"Review {_count(review, 'item')}", "#look"),
        (
            any(each.is_short for each in batch.room),
            "Make room on the disk, or have more of it: scripts/tidy says what may go",
            "#deliveries",
        ),
        (missing, f"Capture {_count(missing, 'missing item')}", "recapture.html"),
        (
            frames,
            f"Close {_count(frames, 'gap between frames', 'gaps between frames')}",
            "recapture.html",
        ),
    )
    return [Action(text, anchor) for is_so, text, anchor in waiting if is_so]
