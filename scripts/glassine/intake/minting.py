"""New ARKs for items whose catalogue row has none, each counted once over all batches.

The list of those made stands twice, in the results and beside the deliveries, the second first, so
that neither folder's loss loses it; an ARK is used when both are written. What one item has it
keeps, whatever becomes of it. Jobs of several batches count one after another (a lock).
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import msgspec
from msgspec import structs

from glassine.base import clock, files, persistent
from glassine.base.errors import Finding, GlassineError
from glassine.base.records import Given
from glassine.base.records.catalogue import Identifier
from glassine.base.records.intake import Intake, ItemEntry
from glassine.base.records.parts import FindingNote

NAME = "minted-arks.list"
_LOCK = ".minted-arks.lock"
# A list of a million entries has 150 MB.
_MAX_BYTES = 256 * 2**20
_NEXT_STEP = (
    f"Put {NAME} back from a backup, into `results` or `deliveries`. If there is none, set "
    "`identifiers.mint.begin_at` to a count above all that were ever made (the last of them stand "
    "in the lists beside the deliveries)."
)


class MintSection(Given, frozen=True, kw_only=True):
    """naan, shoulder, width: see `persistent.minted`; an empty naan makes none. begin_at: first
    count of a new list."""

    naan: str = ""
    shoulder: str = "b4"
    width: int = 5
    begin_at: int = 0


class MintingGiven(Given, frozen=True, kw_only=True):
    """results: of all batches."""

    mint: MintSection
    results: str
    deliveries: str


class Entry(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A line of the list. count: None of an ARK that a catalogue gave, which is not made again."""

    ark: str
    batch: str
    item: str
    count: int | None = None
    time: str


@dataclass
class Minted:
    """The list: what each item was given, who has an ARK that was made, ARKs that catalogues gave,
    the next count."""

    entries: list[Entry] = field(default_factory=list)
    of_item: dict[tuple[str, str], str] = field(default_factory=dict)
    owner: dict[str, tuple[str, str]] = field(default_factory=dict)
    stated: set[str] = field(default_factory=set)
    next_count: int = 0

    def add(self, entry: Entry) -> None:
        self.entries.append(entry)
        if entry.count is None:
            self.stated.add(entry.ark)
            return
        self.owner[entry.ark] = (entry.batch, entry.item)
        self.of_item[entry.batch, entry.item] = entry.ark
        self.next_count = max(self.next_count, entry.count + 1)


def give(taken: Intake, given: MintingGiven) -> Intake:
    """Return intake.json with the ARKs that items have been given, new ones made where they lack.

    An ARK of a catalogue that another item has holds the item. Raises GlassineError where the list
    is damaged, or lost while ARKs were made before.
    """
    results, deliveries = Path(given.results), Path(given.deliveries)
    places = (deliveries / NAME, results / NAME)
    if not given.mint.naan and not any(path.exists() for path in places):
        return taken
    results.mkdir(parents=True, exist_ok=True)
    with _locked(results / _LOCK):
        minted = _read(places, given.mint, results, deliveries)
        known = len(minted.entries)
        for entry in taken.items:
            _note_stated(entry, taken.batch, minted, given.mint)
        items = [_with_ark(entry, taken.batch, minted, given.mint) for entry in taken.items]
        if len(minted.entries) > known or not all(path.exists() for path in places):
            _write(places, minted)
    return structs.replace(taken, items=items)


@contextlib.contextmanager
def _locked(path: Path) -> Iterator[None]:
    with path.open("a") as handle:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield


# --- an item ---


def _with_ark(entry: ItemEntry, batch: str, minted: Minted, mint: MintSection) -> ItemEntry:
    row = entry.catalogue
    if row is None:
        return entry
    stated = _stated(entry)
    # A catalogue that took an ARK over may name it in a later batch of the same item too.
    findings = [
        _of_another(entry.item, ark, minted.owner[ark])
        for ark in stated
        if ark in minted.owner and minted.owner[ark][1] != entry.item
    ]
    if findings:
        notes = [FindingNote(**finding.as_dict()) for finding in findings]
        return structs.replace(entry, state="held", findings=[*entry.findings, *notes])
    own = minted.of_item.get((batch, entry.item))
    if own is None and not stated and mint.naan and entry.state != "held":
        own = _make(batch, entry.item, minted, mint)
    if own is None or own in stated:
        return entry
    row = structs.replace(row, identifiers=[*row.identifiers, Identifier(type="ark", value=own)])
    if not stated:
        return structs.replace(entry, catalogue=row)
    note = FindingNote(**_two(entry.item, stated, own).as_dict())
    return structs.replace(entry, catalogue=row, findings=[*entry.findings, note])


def _make(batch: str, item: str, minted: Minted, mint: MintSection) -> str:
    """Return a new ARK of an item; counts of ARKs that somebody has already are passed over."""
    count = minted.next_count
    while True:
        ark = persistent.minted(count, mint.naan, mint.shoulder, mint.width).value
        if ark not in minted.owner and ark not in minted.stated:
            break
        count += 1
    minted.add(Entry(ark=ark, batch=batch, item=item, count=count, time=clock.now_text()))
    return ark


def _stated(entry: ItemEntry) -> list[str]:
    """Return the ARKs that the catalogue gives an item."""
    identifiers = entry.catalogue.identifiers if entry.catalogue else []
    return [each.value for each in identifiers if each.type == "ark"]


def _note_stated(entry: ItemEntry, batch: str, minted: Minted, mint: MintSection) -> None:
    """Note ARKs of the catalogue that counting could come to, so that they are not made again."""
    for ark in _stated(entry):
        ours = mint.naan and ark.startswith(f"ark:{mint.naan}/{mint.shoulder}")
        if ours and ark not in minted.owner and ark not in minted.stated:
            minted.add(Entry(ark=ark, batch=batch, item=entry.item, time=clock.now_text()))


def _of_another(item: str, ark: str, owner: tuple[str, str]) -> Finding:
    return Finding(
        "identifiers.of_another",
        item,
        f"The catalogue gives this item {ark}, which item {owner[1]} of batch {owner[0]} has.",
        "an ARK of its own for each item.",
        "Correct the catalogue; an ARK that was given once never names another thing.",
    )


def _two(item: str, stated: list[str], own: str) -> Finding:
    return Finding(
        "identifiers.two",
        item,
        f"The catalogue gives this item {' and '.join(stated)}; it was given {own} before. The "
        "record names both.",
        "one ARK an item.",
        f"Let the catalogue take over {own}, or see that both lead to the item.",
        "review",
    )


# --- the list ---


def _read(places: tuple[Path, Path], mint: MintSection, results: Path, deliveries: Path) -> Minted:
    """Return the list: what either copy of it holds."""
    found: dict[str, Entry] = {}
    for path in places:
        for entry in _entries(path):
            other = found.get(entry.ark)
            if other is None or other.count is None:
                found[entry.ark] = entry
            elif entry.count is not None and other != entry:
                raise _damaged(path, f"{entry.ark} is of {other.item} and of {entry.item}")
    if not found:
        _require_none_made(mint, results, deliveries)
    minted = Minted(next_count=mint.begin_at)
    for entry in sorted(found.values(), key=_order):
        minted.add(entry)
    return minted


def _order(entry: Entry) -> tuple[int, str]:
    return (-1 if entry.count is None else entry.count, entry.ark)


def _entries(path: Path) -> list[Entry]:
    if not path.exists():
        return []
    try:
        if path.stat().st_size > _MAX_BYTES:
            raise _damaged(path, f"it is larger than {_MAX_BYTES} bytes")
        lines = path.read_text("utf-8").splitlines()
        return [msgspec.json.decode(line, type=Entry) for line in lines]
    except (OSError, UnicodeDecodeError, msgspec.DecodeError) as problem:
        raise _damaged(path, str(problem)) from problem


def _damaged(path: Path, why: str) -> GlassineError:
    return GlassineError.because(
        "identifiers.list",
        path,
        f"The list of ARKs that were made is damaged: {why}. No ARK is made now, so that "
        "none is made twice.",
        "the list as the night wrote it.",
        f"Put it back from a backup, or remove this copy where the other ({NAME} in `results` and "
        "in `deliveries`) is whole.",
    )


def _write(places: tuple[Path, Path], minted: Minted) -> None:
    text = "".join(
        json.dumps(msgspec.to_builtins(entry), sort_keys=True) + "\n" for entry in minted.entries
    )
    for path in places:
        files.write_text(path, text)


def _require_none_made(mint: MintSection, results: Path, deliveries: Path) -> None:
    """See that no list was lost: deliveries, records and lists name no ARK that it would hold, or a
    person says from where to count on, and that is above all of them."""
    shown = _shown(mint, results, deliveries)
    if shown is None:
        return
    path, count = shown
    if mint.begin_at > count:
        return
    raise GlassineError.because(
        "identifiers.list_lost",
        path,
        f"ARKs were made before ({path.name} names one of count {count}), and their list is gone. "
        "No ARK is made now: counting anew would give ARKs out twice.",
        f"the list ({NAME}).",
        _NEXT_STEP,
    )


def _shown(mint: MintSection, results: Path, deliveries: Path) -> tuple[Path, int] | None:
    """Return the file that names the highest count, and that count; None where none does."""
    wanted = re.compile(
        re.escape(f"ark:{mint.naan}/{mint.shoulder}").encode()
        + rb"([0-9bcdfghjkmnpqrstvwxz]{1,20})[0-9bcdfghjkmnpqrstvwxz]"
    )
    best: tuple[Path, int] | None = None
    lists = [
        *results.glob("*/intake.json"),
        *results.glob("*/handover/*/handover.json"),
        *deliveries.glob("*.handover.json"),
    ]
    for path in sorted(lists):
        try:
            content = path.read_bytes()
        except OSError:
            continue
        for match in wanted.finditer(content):
            count = 0
            for letter in match[1].decode():
                count = count * len(persistent.BETANUMERIC) + persistent.BETANUMERIC.index(letter)
            if best is None or count > best[1]:
                best = (path, count)
    return best
