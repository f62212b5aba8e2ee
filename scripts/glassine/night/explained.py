"""What a night would make of each file of a batch, and why: a dry look, by intake itself.

Nothing is written. What intake says of the batch folder is turned round: from items with their
masters to files with their fate, so that each file stands in one place. Beside it a master's
header is looked at as verify does. Pixels and digests are not: these the night alone compares.
"""

from __future__ import annotations

import posixpath
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import msgspec
from msgspec import UNSET

from glassine.base import door, item_states, naming, parts, sandbox
from glassine.base.errors import Finding, GlassineError
from glassine.base.helper_process import Apart
from glassine.base.records.intake import Intake, ItemEntry, MasterEntry
from glassine.base.records.parts import FindingNote
from glassine.intake import (
    batch_lists,
    companions,
    left_out,
    proposals,
    session_files,
    side_files,
)
from glassine.intake import step as intake
from glassine.intake.given import CatalogueSettings, IntakeGiven
from glassine.intake.model import is_master
from glassine.masters import fixity
from glassine.night import rules

State = Literal["goes on", "for review", "held", "waits", ""]
# Of a file that intake puts nowhere: an error of this software, and told as it is.
UNKNOWN = "NOT ACCOUNTED FOR: nothing says what becomes of it"
_HEADER_S = 60.0
_HEADER_MB = 500


@dataclass(frozen=True)
class Fate:
    """What becomes of a file. what: what it is taken for; state: of a master, else empty; why: in
    sentences."""

    path: str
    what: str
    state: State = ""
    why: tuple[str, ...] = ()


@dataclass
class Explained:
    """A batch as a night would take it in.

    fates: one for each file, by path. notes: what concerns no file alone. stopped: why the batch
    as a whole is not taken in. rows_unused: items of the catalogue without a master. proposal:
    settings to write; with_it, of: how many masters would go on with them, and how many there
    are then. headers: {path of a master: what is wrong with its header}, as far as one was looked
    at. codes: of what is said of items; parts_unknown: words for parts that say nothing.
    """

    batch: str
    folder: Path
    fates: list[Fate] = field(default_factory=list)
    notes: list[Finding] = field(default_factory=list)
    stopped: list[Finding] = field(default_factory=list)
    rows_unused: list[str] = field(default_factory=list)
    proposal: proposals.Proposal = field(default_factory=proposals.Proposal)
    with_it: int = 0
    of: int = 0
    headers: dict[str, list[Finding]] = field(default_factory=dict)
    codes: set[str] = field(default_factory=set)
    parts_unknown: list[str] = field(default_factory=list)

    def count(self, *states: State) -> int:
        return sum(1 for fate in self.fates if fate.state in states)

    @property
    def masters(self) -> int:
        return self.count("goes on", "for review", "held", "waits")

    @property
    def going_on(self) -> int:
        return self.count("goes on", "for review", "waits")


def explain(folder: Path, batch: str, config: dict[str, Any]) -> Explained:
    """Return what a night would make of a batch folder. config: complete settings."""
    explained = Explained(batch, folder)
    listing = door.listing(folder)
    try:
        taken = intake.take_in(folder, _given(batch, config))
    except GlassineError as error:
        explained.stopped = error.findings
        explained.fates = [Fate(entry.path, "not looked at") for entry in listing.files]
    else:
        explained.notes = [_finding(note) for note in taken.notes]
        explained.rows_unused = taken.rows.without_master
        _headers(folder, taken, config, explained.headers)
        explained.fates = _fates(listing, folder, taken, explained.headers, config)
        explained.notes += _without_file(taken, {fate.path for fate in explained.fates})
        explained.codes = {note.code for item in taken.items for note in item.findings}
        words = {str(master.part) for item in taken.items for master in item.masters if master.part}
        explained.parts_unknown = sorted(word for word in words if not parts.is_known(word))
    _propose(explained, listing, config)
    return explained


def _given(batch: str, config: dict[str, Any]) -> IntakeGiven:
    return msgspec.convert({"batch": batch, "settings": config}, IntakeGiven)


def _finding(note: FindingNote) -> Finding:
    return item_states.finding(msgspec.structs.asdict(note), note.path)


# --- fates -------------------------------------------------------------------------------


def _headers(
    folder: Path, taken: Intake, config: dict[str, Any], known: dict[str, list[Finding]]
) -> None:
    """Add {path of a master: what is wrong with its header} of items that are ready to `known`."""
    max_pixels = str(config["intake"]["max_pixels"])
    memory_bytes = sandbox.memory_for(_HEADER_MB)
    with Apart("glassine.masters.refused:by_header") as reader:
        for item in taken.items:
            for master in item.masters if item.state == "ready" else []:
                if master.path in known:
                    continue
                told = reader.ask(
                    str(folder / master.path),
                    master.path,
                    max_pixels,
                    seconds=_HEADER_S,
                    memory_bytes=memory_bytes,
                )
                known[master.path] = (
                    [_header_unread(master.path)]
                    if told is None
                    else [item_states.finding(each, master.path) for each in told]
                )


def _header_unread(path: str) -> Finding:
    """Return what no answer means: the reader failed, or passed its limits."""
    return Finding(
        "plan.header",
        path,
        f"Its header could not be read: the reader ended without an answer, or needed more than "
        f"{_HEADER_S:.0f} s or {_HEADER_MB} MB.",
        "a TIFF whose header can be read.",
        "Open the file at the capture station, and export it again if that fails; a night holds "
        "what it cannot read.",
        "hold",
    )


def _fates(
    listing: door.Listing,
    folder: Path,
    taken: Intake,
    headers: dict[str, list[Finding]],
    config: dict[str, Any],
) -> list[Fate]:
    files = {entry.path for entry in listing.files}
    fates: dict[str, Fate] = {}
    for item in taken.items:
        fates |= {fate.path: fate for fate in _of_item(item, headers, config) if fate.path in files}
        for left in [] if item.left_out is UNSET else item.left_out:
            fates[left.path] = Fate(left.path, f"left out, of {item.item}", "", (left.why,))
    for path in taken.ignored_files:
        fates[path] = Fate(path, "left out (`intake.ignore`, `intake.previews` or `intake.raws`)")
    for path in taken.other_files:
        fates[path] = Fate(path, "another file, left alone")
    for target in taken.targets:
        for capture in target.captures:
            fates[capture.path] = Fate(capture.path, "capture of a target (batch.yaml)")
    read = _read_files(listing, folder, taken)
    for entry in listing.files:
        if entry.path not in fates:
            fates[entry.path] = Fate(entry.path, read.get(entry.path, UNKNOWN))
    return [fates[path] for path in sorted(fates)]


def _without_file(taken: Intake, files: set[str]) -> list[Finding]:
    """Return what holds items that have no master here, and is about no file that is here."""
    return [
        _finding(note)
        for item in taken.items
        for note in item.findings
        if not item.masters and note.path not in files
    ]


def _read_files(listing: door.Listing, folder: Path, taken: Intake) -> dict[str, str]:
    """Return {path: what it is} of the files that say something of the batch."""
    read = dict.fromkeys(batch_lists.read_lists(listing, folder).names, "checksum list")
    kinds = {
        "facts of the batch": companions.facts(listing).entries,
        "corrections": companions.corrections(listing).entries,
        "catalogue": companions.catalogue(listing).entries,
        "list of expected items": companions.pull_lists(listing),
        "session of captures": session_files.entries(listing),
    }
    read |= {entry.path: words for words, entries in kinds.items() for entry in entries}
    described = [posixpath.normpath(target.description) for target in taken.targets]
    return read | dict.fromkeys(described, "description of a target")


def _of_item(
    item: ItemEntry, headers: dict[str, list[Finding]], config: dict[str, Any]
) -> Iterable[Fate]:
    """Yield the fate of each file of an item: its masters, what lies beside them, what it lacks."""
    refused = [finding for master in item.masters for finding in headers.get(master.path, [])]
    unlisted = [master.path for master in item.masters if _must_be_listed(master, config)]
    findings = [_finding(note) for note in item.findings] + refused
    findings += [fixity.unlisted(path) for path in unlisted if item.state != "waiting"]
    state = _state(item, findings)
    told = [finding.path for finding in findings]
    paths = {master.path for master in item.masters}
    for master in item.masters:
        own = [each for each in findings if each.path not in paths or each.path == master.path]
        others = [each for each in findings if each not in own and each.severity == "hold"]
        why = [_sentence(each, master.path) for each in own]
        why += [f"its item is held for {each.path}" for each in others[:1]]
        if master.superseded_by is not UNSET:
            # Kept in the record, and no picture is made of it.
            former = f"former capture of {item.item}, superseded by {master.superseded_by}"
            yield Fate(master.path, former, "" if state != "held" else state, (*why,))
            continue
        yield Fate(master.path, _master_words(item, master.part, master.sequence), state, (*why,))
    for companion in item.companions:
        use = "delivered with" if companion.delivered else "noted with"
        yield Fate(companion.path, f"{companion.kind} beside {companion.master}, {use} {item.item}")
    for path in dict.fromkeys(told):
        if path not in paths:
            why = [_sentence(each, path) for each in findings if each.path == path]
            yield Fate(path, f"no master{_of(item)}", "held" if state == "held" else "", (*why,))


def _must_be_listed(master: MasterEntry, config: dict[str, Any]) -> bool:
    """Return whether verify will hold a master that no checksum list names."""
    required = bool(config["verify"]["require_manifest"])
    return master.must_be_listed is True or (required and not master.expected)


def _of(item: ItemEntry) -> str:
    return "" if naming.is_stand_in(item.item) else f" of {item.item}"


def _master_words(item: ItemEntry, part: str | None, sequence: str | None) -> str:
    if naming.is_stand_in(item.item):
        return "a master of no known item"
    more = [f"part {part}"] if part else []
    more += [f"number {sequence}"] if sequence else []
    return ", ".join([f"master of {item.item}", *more])


def _state(item: ItemEntry, findings: list[Finding]) -> State:
    if item.state == "waiting":
        return "waits"
    severities = {finding.severity for finding in findings}
    if item.state == "held" or "hold" in severities:
        return "held"
    return "for review" if "review" in severities else "goes on"


def _sentence(finding: Finding, path: str) -> str:
    about = "" if finding.path == path else f"{finding.path}: "
    return f"{about}{finding.what} {finding.next_step} [{finding.code}]"


def rules_of(folder: Path, batch: str, config: dict[str, Any]) -> dict[str, list[str]]:
    """Return {item: which rules of the settings hold for it and why, in lines}.

    Raises GlassineError where the batch cannot be taken in.
    """
    taken = intake.take_in(folder, _given(batch, config))
    return {
        item.item: rules.explained(
            config, rules.Told(batch, item.item, item.catalogue), _as_rules_see(item)
        )
        for item in taken.items
        if not naming.is_stand_in(item.item)
    }


def _as_rules_see(item: ItemEntry) -> list[rules.MasterTold]:
    seen = []
    for master in item.masters:
        kind = "auto" if master.facts is UNSET else master.facts.kind
        seen.append(rules.MasterTold(master.path, master.part, None if kind == "auto" else kind))
    return seen


# --- settings ----------------------------------------------------------------------------


def _propose(explained: Explained, listing: door.Listing, config: dict[str, Any]) -> None:
    """Add the settings that would let more masters go on, as intake itself finds with them."""
    kept, _ = left_out.part(listing, explained.folder, config["intake"]["ignore"])
    masters = [
        entry.path
        for entry in kept.files
        if (is_master(entry.name) or naming.is_raw(entry.name)) and entry.problem is None
    ]
    by_hand = proposals.Proposal()
    table = proposals.table_of(
        explained.folder,
        config["catalogue"]["path"],
        companions.catalogue(listing).alike,
        by_hand,
    )
    ids = [] if table else _ids(explained.folder, config)
    proposal = proposals.propose(config, masters, table, ids)
    proposal.by_hand += by_hand.by_hand
    tried = merged(config, proposal.settings)
    if by_hand.by_hand and table is not None:
        tried = merged(tried, {"catalogue": {"path": str(table.path)}})
    by_words = proposals.of_words(config, explained.codes, explained.parts_unknown)
    going_on, of = _going_on(explained, tried)
    if going_on > explained.going_on:
        explained.proposal, explained.with_it = proposal, going_on
        explained.of = max(of, explained.masters)
        explained.proposal.settings = merged(by_words.settings, proposal.settings)
        explained.proposal.words += by_words.words
    else:
        by_hand_alone = [] if explained.going_on else proposal.by_hand
        explained.proposal = by_words
        explained.proposal.by_hand += by_hand_alone
        explained.proposal.hints += proposal.hints


def _going_on(explained: Explained, config: dict[str, Any]) -> tuple[int, int]:
    """Return how many masters are not held with these settings, and how many there are; labels are
    not read for it."""
    quick = merged(config, {"intake": {"labels": "never", "watch_s": 0}})
    try:
        taken = intake.take_in(explained.folder, _given(explained.batch, quick))
    except GlassineError:
        return 0, 0
    _headers(explained.folder, taken, config, explained.headers)
    counting = {
        item.item: sum(master.superseded_by is UNSET for master in item.masters)
        for item in taken.items
    }
    goes_on = [item.item for item in taken.items if _goes_on(item, explained, config)]
    return sum(counting[item] for item in goes_on), sum(counting.values())


def _goes_on(item: ItemEntry, explained: Explained, config: dict[str, Any]) -> bool:
    """Return whether none of an item's masters holds it, as far as can be told before a night."""
    return item.state != "held" and not any(
        explained.headers.get(master.path) or _must_be_listed(master, config)
        for master in item.masters
    )


def _ids(folder: Path, config: dict[str, Any]) -> list[str]:
    """Return the items of a catalogue that is no table (XML, JSON lines), where it can be read."""
    settings = msgspec.convert(config, CatalogueSettings)
    path = side_files.catalogue_path(folder, settings)
    try:
        catalogue = side_files.read_catalogue(path, folder, settings)
    except GlassineError:
        return []
    return [*catalogue.records] if catalogue else []


def merged(config: dict[str, Any], more: dict[str, Any]) -> dict[str, Any]:
    """Return settings with others laid over them, key by key; a list or text replaces."""
    result = dict(config)
    for key, value in more.items():
        below = result.get(key)
        both = isinstance(below, dict) and isinstance(value, dict)
        result[key] = merged(below, value) if both and below is not None else value
    return result
