"""Items of one id in two batches: their IIIF ids and manifests would have the same addresses.

What other batches have is told by their intake.json and by the receipts of their deliveries. The
ids are kept in one file of the results (`ids.json`), so that a night reads of each only what has
changed; it may be removed at any time.
"""

from __future__ import annotations

import contextlib
import functools
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from glassine.base import files, naming, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import withdraws_whole
from glassine.deliver import receipt_files

INDEX = "ids.json"
# So many ids are named in a finding.
_NAMED = 20
_NEVER = "9999"


class Listed(msgspec.Struct, frozen=True, kw_only=True):
    """What the index keeps of an intake.json, or of a receipt.

    seen: (mtime_ns, bytes) of the file. batch: empty where the file is damaged. time, revision: of
    a delivery. withdrawn: items that are withdrawn whole.
    """

    seen: tuple[int, int]
    batch: str = ""
    time: str | None = None
    revision: int | None = None
    items: list[str] = msgspec.field(default_factory=list)
    withdrawn: list[str] = msgspec.field(default_factory=list)


@dataclass(frozen=True)
class Claim:
    """A batch that has an item of this id, and when it first delivered it (None: it has not)."""

    batch: str
    delivered: str | None

    @property
    def order(self) -> tuple[str, str]:
        """Sort key: who delivered it first is first; else the batches' names decide."""
        return (self.delivered or _NEVER, self.batch)


def _stat(path: Path) -> tuple[str, int, int]:
    status = path.stat()
    return (str(path), status.st_mtime_ns, status.st_size)


def _sources(results: Path, deliveries_dir: Path) -> tuple[tuple[str, int, int], ...]:
    paths = [
        *results.glob("*/intake.json"),
        *(deliveries_dir / receipt_files.FOLDER).glob("*.json"),
    ]
    stats = []
    for path in sorted(paths):
        with contextlib.suppress(OSError):
            stats.append(_stat(path))
    return tuple(stats)


def _whole(entries: Any) -> list[str]:
    """Return the items that are withdrawn whole."""
    return [str(entry["item"]) for entry in entries or [] if withdraws_whole(entry)]


def _listed(path: Path, file_state: tuple[int, int]) -> Listed:
    """Return what the index keeps of an intake.json or a receipt; nothing of a damaged one."""
    try:
        record = files.read_json(path)
        away = set(_whole(record.get("withdraw") or record.get("withdrawn")))
        items = {str(entry["item"]) for entry in record["items"]} - away
        value = {
            "seen": file_state,
            "batch": str(record["batch"]),
            "time": None if record.get("time") is None else str(record["time"]),
            "revision": record.get("revision"),
            "items": sorted(item for item in items if not naming.is_stand_in(item)),
            "withdrawn": sorted(away),
        }
        return msgspec.convert(value, Listed)
    except (GlassineError, LookupError, TypeError, AttributeError, msgspec.ValidationError):
        return Listed(seen=file_state)


def _read_index(path: Path) -> dict[str, Listed]:
    """Return {path: what is kept of it}; nothing where the index cannot be used."""
    try:
        index = files.read_json(path) if path.exists() else {}
        return msgspec.convert(index, dict[str, Listed])
    except (GlassineError, msgspec.ValidationError):
        return {}


@functools.lru_cache(maxsize=2)
def _claims(
    index_path: Path, sources: tuple[tuple[str, int, int], ...]
) -> dict[str, tuple[Claim, ...]]:
    """Return {item: the batches that have it}, of items that more than one has."""
    index = _read_index(index_path)
    listed: dict[str, Listed] = {}
    for path, mtime_ns, size in sources:
        entry = index.get(path)
        file_state = (mtime_ns, size)
        listed[path] = (
            entry if entry and entry.seen == file_state else _listed(Path(path), file_state)
        )
    if listed != index:
        with contextlib.suppress(OSError):
            files.write_text(index_path, files.canonical(msgspec.to_builtins(listed)))
    delivered: dict[str, dict[str, str]] = {}
    for entry in sorted(listed.values(), key=lambda entry: entry.revision or 0):
        _count(delivered.setdefault(entry.batch, {}), entry)
    claims: dict[str, list[Claim]] = {}
    for batch, items in delivered.items():
        for item, time in items.items() if batch else ():
            claims.setdefault(item, []).append(Claim(batch, time or None))
    return {item: tuple(of_item) for item, of_item in claims.items() if len(of_item) > 1}


def _count(items: dict[str, str], entry: Listed) -> None:
    """Put in what an intake.json (first, without a revision) or a receipt says of a batch."""
    if entry.revision is None:
        items.update(dict.fromkeys(entry.items, ""))
        return
    for item in entry.withdrawn:
        items.pop(item, None)
    for item in entry.items:
        items[item] = items.get(item) or str(entry.time)


def elsewhere(
    results: Path, deliveries_dir: Path, batch: str, items: Iterable[str]
) -> dict[str, tuple[Claim, bool]]:
    """Return {item: (a claim of another batch, whether that one was first)}.

    results: the folder of all batches' results.
    """
    claims = _claims(results / INDEX, _sources(results, deliveries_dir))
    others_have = {}
    for item in items:
        of_item = sorted(claims.get(item, ()), key=lambda claim: claim.order)
        others = [claim for claim in of_item if claim.batch != batch]
        if others:
            ours = next((claim for claim in of_item if claim.batch == batch), Claim(batch, None))
            others_have[item] = (others[0], others[0].order < ours.order)
    return others_have


def mark(
    results: Path, deliveries_dir: Path, batch: str, items: Iterable[str]
) -> dict[str, list[str | bool]]:
    """Return what `elsewhere` tells, as plain data that changes when it does."""
    claims = elsewhere(results, deliveries_dir, batch, items)
    return {item: [claim.batch, first] for item, (claim, first) in claims.items()}


def findings(
    results: Path, deliveries_dir: Path, batch: str, items: Iterable[str], *, held: bool = True
) -> list[Finding]:
    """Return a finding for each other batch that has ids of this one.

    It holds this batch where the other one was first, and is a note where this one was, or where
    the settings say that it is only told (held is False).
    """
    groups: dict[tuple[str, bool], list[str]] = {}
    for item, (claim, first) in elsewhere(results, deliveries_dir, batch, items).items():
        groups.setdefault((claim.batch, first), []).append(item)
    return [_finding(other, first, names, held) for (other, first), names in groups.items()]


def _finding(other: str, first: bool, names: list[str], held: bool) -> Finding:
    count = "1 item" if len(names) == 1 else f"{len(names):,} items"
    return Finding(
        "delivery.id_twice",
        wording.some(names, _NAMED),
        f"The batch {other} has {count} of the same id, so that pictures and manifests of both "
        "would have the same addresses.",
        "an id that stands for one item in one batch.",
        "Find out which of both is right. Correct the names in the other, or withdraw the item "
        f"there (scripts/withdraw), or remove results/{other} where that batch was given up and "
        "nothing of it delivered. Where both are meant, set delivery.same_ids to `told`. Where it "
        f"is the same film under another name, give the folder of this batch its name {other} "
        "again. "
        f"{_who(other, first, held)}",
        "hold" if first and held else "note",
    )


def _who(other: str, first: bool, held: bool) -> str:
    if not held:
        return "Neither batch is held for it (delivery.same_ids is `told`)."
    return f"{other} was first: this batch is held." if first else f"{other} is held for it."
