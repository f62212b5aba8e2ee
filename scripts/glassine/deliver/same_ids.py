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

from glassine.base import files, naming, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import withdraws_whole
from glassine.deliver import receipt_files

INDEX = "ids.json"
# So many ids are named in a finding.
_NAMED = 20
_NEVER = "9999"


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
    found = []
    for path in sorted(paths):
        with contextlib.suppress(OSError):
            found.append(_stat(path))
    return tuple(found)


def _whole(entries: Any) -> list[str]:
    """Return the items that are withdrawn whole."""
    return [str(entry["item"]) for entry in entries or [] if withdraws_whole(entry)]


def _digest(path: Path) -> dict[str, Any]:
    """Return what the index keeps of an intake.json or a receipt; nothing of a damaged one."""
    try:
        record = files.read_json(path)
        away = set(_whole(record.get("withdraw") or record.get("withdrawn")))
        items = {str(entry["item"]) for entry in record["items"]} - away
        return {
            "batch": str(record["batch"]),
            "time": record.get("time"),
            "revision": record.get("revision"),
            "items": sorted(item for item in items if not naming.is_stand_in(item)),
            "withdrawn": sorted(away),
        }
    except (GlassineError, LookupError, TypeError, AttributeError):
        return {"batch": "", "time": None, "revision": None, "items": [], "withdrawn": []}


def _read_index(path: Path) -> dict[str, Any]:
    try:
        known = files.read_json(path) if path.exists() else {}
    except GlassineError:
        return {}
    return known if isinstance(known, dict) else {}


@functools.lru_cache(maxsize=2)
def _claims(
    index_path: Path, sources: tuple[tuple[str, int, int], ...]
) -> dict[str, tuple[Claim, ...]]:
    """Return {item: the batches that have it}, of items that more than one has."""
    known = _read_index(index_path)
    kept: dict[str, Any] = {}
    for path, mtime_ns, size in sources:
        entry = known.get(path)
        if not isinstance(entry, dict) or entry.get("seen") != [mtime_ns, size]:
            entry = {"seen": [mtime_ns, size], **_digest(Path(path))}
        kept[path] = entry
    if kept != known:
        with contextlib.suppress(OSError):
            files.write_text(index_path, files.canonical(kept))
    delivered: dict[str, dict[str, str]] = {}
    for entry in sorted(kept.values(), key=lambda each: each["revision"] or 0):
        _count(delivered.setdefault(entry["batch"], {}), entry)
    found: dict[str, list[Claim]] = {}
    for batch, items in delivered.items():
        for item, time in items.items() if batch else ():
            found.setdefault(item, []).append(Claim(batch, time or None))
    return {item: tuple(claims) for item, claims in found.items() if len(claims) > 1}


def _count(items: dict[str, str], entry: dict[str, Any]) -> None:
    """Put in what an intake.json (first, without a revision) or a receipt says of a batch."""
    if entry["revision"] is None:
        items.update(dict.fromkeys(entry["items"], ""))
        return
    for item in entry["withdrawn"]:
        items.pop(item, None)
    for item in entry["items"]:
        items[item] = items.get(item) or str(entry["time"])


def elsewhere(
    results: Path, deliveries_dir: Path, batch: str, items: Iterable[str]
) -> dict[str, tuple[Claim, bool]]:
    """Return {item: (a claim of another batch, whether that one was first)}.

    results: the folder of all batches' results.
    """
    claims = _claims(results / INDEX, _sources(results, deliveries_dir))
    found = {}
    for item in items:
        of_item = sorted(claims.get(item, ()), key=lambda claim: claim.order)
        others = [claim for claim in of_item if claim.batch != batch]
        if others:
            own = next((claim for claim in of_item if claim.batch == batch), Claim(batch, None))
            found[item] = (others[0], others[0].order < own.order)
    return found


def mark(results: Path, deliveries_dir: Path, batch: str, items: Iterable[str]) -> dict[str, Any]:
    """Return what `elsewhere` tells, as plain data that changes when it does."""
    found = elsewhere(results, deliveries_dir, batch, items)
    return {item: [claim.batch, first] for item, (claim, first) in found.items()}


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
        "nothing of it delivered. Where both are meant, set delivery.same_ids to `told`. "
        f"{_who(other, first, held)}",
        "hold" if first and held else "note",
    )


def _who(other: str, first: bool, held: bool) -> str:
    if not held:
        return "Neither batch is held for it (delivery.same_ids is `told`)."
    return f"{other} was first: this batch is held." if first else f"{other} is held for it."
