"""The items of captures that a separator before them tells (`naming.identify: separator`)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from glassine.base import naming, wording
from glassine.base.errors import Finding
from glassine.base.model import ItemId
from glassine.base.records.intake import Identified
from glassine.intake import made_again, separators, sessions
from glassine.intake.identity import Arrived, Identity, Sight
from glassine.intake.model import Batch, Collector
from glassine.masters import header_time

# The part that a separator's own picture is of its item.
SLEEVE = "sleeve"


def resolve(
    batch: Batch,
    collector: Collector,
    arrived: list[Arrived],
    found: dict[str, Identity],
    sight: Sight,
    again: dict[str, made_again.Again],
) -> dict[str, Identity]:
    """Return the items of masters that belong to the separator captured before them; hold what is
    not certain.

    found: the masters whose item is known, which a separator does not concern. again: captures that
    were made again of some of these, which are none of `arrived`.
    """
    waits = {each.path: each.waits for each in arrived}
    folders = {path.rpartition("/")[0] for path in waits if path not in found}
    shots = [_shot(batch, path) for path in waits if path.rpartition("/")[0] in folders]
    told: dict[str, Identity] = {}
    formers = {each.former: sight.of(each.former) for each in again.values()}
    for former in formers:
        sight.known[former] = made_again.seen_of(former, again, sight)
    places = _Places({(each.item, each.part, each.sequence) for each in found.values()})
    for session in sessions.sessions(shots):
        paths = [shot.path for shot in session.shots]
        if all(path in found for path in paths):
            continue
        if any(waits[path] for path in paths):
            told |= _all_wait(collector, [path for path in paths if path not in found], waits)
            continue
        whole = _with_others(session, shots, found)
        told |= _of_session(batch, collector, whole, found, sight, places)
    _tell_twice(collector, told)
    sight.known |= formers
    own = {
        path: replace(told[path], labels=formers[path].labels) for path in formers if path in told
    }
    return told | own


@dataclass
class _Places:
    """The places of captures in their items that are taken, over all sessions."""

    taken: set[tuple[ItemId, str | None, str | None]]

    def next(self, item: ItemId, part: str | None) -> str | None:
        """Return the number of the next capture of an item; the first sleeve needs none."""
        number = 0 if part else 1
        while (item, part, f"{number:02d}" if number else None) in self.taken:
            number += 1
        sequence = f"{number:02d}" if number else None
        self.taken.add((item, part, sequence))
        return sequence


def _shot(batch: Batch, path: str) -> sessions.Shot:
    captured = header_time.captured(batch.folder / path, batch.folder)
    return sessions.Shot(path, captured.taken, captured.camera)


def _with_others(
    session: sessions.Session, shots: Iterable[sessions.Shot], found: dict[str, Identity]
) -> sessions.Session:
    """Return a session with the captures of known items that its camera made meanwhile."""
    own = {shot.path for shot in session.shots}
    first = session.shots[0]
    if any(shot.taken is None for shot in session.shots):
        return session
    others = [
        shot
        for shot in shots
        if shot.path not in own
        and shot.path in found
        and (shot.folder, shot.camera) == (first.folder, first.camera)
        and shot.taken is not None
    ]
    if not others:
        return session

    def timed(listed: tuple[sessions.Shot, ...]) -> tuple[sessions.Shot, ...]:
        return tuple(sorted((*listed, *others), key=lambda shot: shot.taken or 0.0))

    return replace(session, shots=timed(session.shots))


def _all_wait(
    collector: Collector, paths: list[str], waits: dict[str, str | None]
) -> dict[str, Identity]:
    """Let the captures of a session wait as long as one of them is not at rest: it may be the
    separator of others."""
    late = next(path for path in waits if waits[path])
    told = {}
    for path in paths:
        told[path] = Identity(naming.stand_in(path))
        if waits[path] is None:
            collector.hold(
                naming.stand_in(path),
                "intake.separator_waits",
                path,
                f"Captures of its session are not at rest yet ({late}), and one of them may be its "
                "separator.",
                "a session that has come to rest.",
                "Nothing: the next night takes it.",
            )
    return told


def _of_session(
    batch: Batch,
    collector: Collector,
    session: sessions.Session,
    found: dict[str, Identity],
    sight: Sight,
    places: _Places,
) -> dict[str, Identity]:
    captures = {shot.path: _capture(batch, shot.path, found, sight) for shot in session.shots}
    rows = list(batch.records)
    mine = {path for path, capture in captures.items() if capture.other is None}
    elsewhere = frozenset(each.item for path, each in found.items() if path not in mine)
    assigned = separators.assign([captures[shot.path] for shot in session.shots], rows, elsewhere)
    if session.other_order:
        again = separators.assign(
            [captures[shot.path] for shot in session.other_order], rows, elsewhere
        )
        assigned = _agreed(assigned, again)
    if session.unordered:
        why = "some captures of its session say when they were made and others do not"
        assigned = [
            each if each.is_separator else separators.unsure(each, why) for each in assigned
        ]
    _tell_order(collector, session)
    _ask_for_gaps(batch, collector, session, assigned)
    return _identities(batch, collector, assigned, found, sight, places)


def _tell_order(collector: Collector, session: sessions.Session) -> None:
    """Say of captures that do not tell when they were made that their names gave their order."""
    if not session.untimed:
        return
    first = session.shots[0]
    count = len(session.shots)
    collector.note(
        "intake.order_by_name",
        first.folder or first.path,
        f"{session.untimed} of {count} captures from {first.path} on do not say when they were "
        "made: which belong to a separator was taken from the order of their names.",
        "captures with the time in their headers, or names that count in the order of capture.",
        "Nothing, where the names count so; else name the items under `identity` in "
        "corrections.yaml.",
    )


def _capture(
    batch: Batch, path: str, found: dict[str, Identity], sight: Sight
) -> separators.Capture:
    """Return a capture as its session is judged by."""
    known = found.get(path)
    if known is not None and known.identified.by != "correction":
        return separators.Capture(path, other=known.item)
    seen = sight.of(path)
    if known is not None:
        opens = known.part == SLEEVE
        item = known.item if opens else None
        forced = None if opens else known.item
        return separators.Capture(path, item, None, seen.look, opens=opens, forced=forced)
    item = seen.items[0] if len(seen.items) == 1 else None
    code = ", ".join(label.text for label in seen.labels) or None
    return separators.Capture(path, item, code, seen.look)


def _agreed(
    by_time: list[separators.Assigned], by_name: list[separators.Assigned]
) -> list[separators.Assigned]:
    """Return what both orders say alike; the rest is not certain."""
    other = {each.path: each.item for each in by_name}
    why = "the times of its session's captures and the order of their names contradict each other"
    return [
        each if other.get(each.path) == each.item else separators.unsure(each, why)
        for each in by_time
    ]


def _ask_for_gaps(
    batch: Batch,
    collector: Collector,
    session: sessions.Session,
    assigned: list[separators.Assigned],
) -> None:
    """Ask a person where the camera's counter leaves out a number between two captures of one
    separator: what is missing may have been a separator."""
    separator = {each.path: each.separator for each in assigned if each.item is not None}
    item = {each.path: each.item for each in assigned}
    counted = [shot for shot in session.shots if shot.path in separator or shot.path in item]
    for one, other in sessions.missing_numbers(counted):
        owner = item.get(other.path)
        same = separator.get(one.path) is not None and separator.get(one.path) == separator.get(
            other.path
        )
        if same and owner is not None:
            collector.item(owner).findings.append(
                Finding(
                    "intake.capture_missing",
                    other.path,
                    f"The camera counts on from {one.path} to {other.path}: captures between them "
                    f"are not here. If one was a separator, {other.path} and what follows does "
                    f"not belong to {owner}.",
                    "every capture of the session, or none that was a separator left out.",
                    "See what was captured there; name the items of what follows under `identity` "
                    "in corrections.yaml where it is another one.",
                    "review",
                )
            )


def _identities(
    batch: Batch,
    collector: Collector,
    assigned: list[separators.Assigned],
    found: dict[str, Identity],
    sight: Sight,
    places: _Places,
) -> dict[str, Identity]:
    told: dict[str, Identity] = {}
    for each in assigned:
        labels = sight.of(each.path).labels
        if each.item is None:
            told[each.path] = Identity(naming.stand_in(each.path), labels=labels)
            _hold_unsure(collector, each)
            continue
        part = SLEEVE if each.is_separator else None
        sequence = places.next(each.item, part)
        told[each.path] = _identity(batch, each, part, sequence, found, sight)
        for asked in each.asks:
            _ask(collector, each.item, each.path, asked)
    return told


def _identity(
    batch: Batch,
    each: separators.Assigned,
    part: str | None,
    sequence: str | None,
    found: dict[str, Identity],
    sight: Sight,
) -> Identity:
    assert each.item is not None
    labels = sight.of(each.path).labels
    leaves_out = batch.settings.naming.separators.picture == "leave_out"
    if each.path in found:
        identified = found[each.path].identified
    elif part and labels:
        identified = Identified(by="label", detail=labels[0].text[:200])
    else:
        identified = Identified(by="separator", detail=each.separator or "")
    return Identity(
        each.item,
        part,
        sequence,
        identified=identified,
        labels=labels,
        left_out="separator, left out by `naming.separators`" if part and leaves_out else None,
    )


def _hold_unsure(collector: Collector, each: separators.Assigned) -> None:
    beside = [
        f"{word} {item}" for word, item in (("after", each.before), ("before", each.after)) if item
    ]
    where = f"It was captured {wording.listed(beside)}" if beside else "It is the first one"
    collector.hold(
        naming.stand_in(each.path),
        "intake.separator_unsure",
        each.path,
        f"{where}, and which item it belongs to is not certain: {each.why}.",
        "a separator that can be read before the captures of each item.",
        "Name the item of the capture where another one begins under `identity` in "
        "corrections.yaml, with `part: sleeve` where it shows a separator; what follows it "
        "belongs to it then.",
    )


def _ask(collector: Collector, item: ItemId, path: str, why: str) -> None:
    collector.item(item).findings.append(
        Finding(
            "intake.separator_after",
            path,
            f"Which captures are of {item} is not certain: {why}.",
            "a separator that can be read before the captures of each item.",
            "Look at it and at what was captured after it, and name the item of those that are of "
            "another under `identity` in corrections.yaml.",
            "review",
        )
    )


def _tell_twice(collector: Collector, told: dict[str, Identity]) -> None:
    """Say of items that were begun more than once: a sleeve may have been taken for another."""
    openers: dict[ItemId, list[str]] = {}
    for path, identity in told.items():
        if identity.part == SLEEVE:
            openers.setdefault(identity.item, []).append(path)
    for item, paths in openers.items():
        if len(paths) > 1:
            collector.item(item).findings.append(
                Finding(
                    "intake.separator_twice",
                    paths[1],
                    f"The separator of {item} was captured {len(paths)} times: "
                    f"{wording.some(paths, 5)}.",
                    "one separator before the captures of an item.",
                    "See that each stands before captures of that item.",
                    "review",
                )
            )
