"""Lists and records themselves: files that tell the digests of others, while no list tells theirs.

Checksum lists of the masters, receipts, ledger, hand-over lists, `package.json` and `done.json` are
written anew by steps and persons at any time, so no digest of them is kept elsewhere. What tells a
failing disk from a hand is that it changes bytes and neither size nor time of the file: the audit
notes size, time and SHA-256 when it first reads a file, and tells one that has another digest while
its size and time stand.
"""

from __future__ import annotations

import contextlib
import stat
from collections.abc import Iterator
from pathlib import Path

from glassine.audit import reading
from glassine.audit.holdings import TAG_FILES, Part, Places, digests_of, package_of
from glassine.audit.readings import Readings
from glassine.base.errors import Finding
from glassine.deliver import ledger, receipt_files

CODE = "audit.list"
# Is written by each round.
_OWN = "audit.json"
# Lists and catalogues are read up to this size (`intake/catalogue/reading.py`): what is larger
# beside the masters is none.
_LIST_BYTES = 256 * 2**20
_LISTS = frozenset(
    (
        *(".txt", ".csv", ".json", ".jsonl", ".xml", ".yaml", ".yml", ".xlsx", ".ods", ".mrc"),
        *(".md5", ".sha1", ".sha256", ".sha512"),
    )
)
_NOTHING = "All files are compared as before, by other records"


def of_batch(readings: Readings, places: Places, batch: str) -> list[Finding]:
    """Return what is damaged of a batch's own lists: they are few and small, and read each round.

    Raises sqlite3.Error."""
    return [
        finding
        for path, without in _lists(places, batch)
        for finding in _compare(readings, _key(path, places), path, without)
    ]


def of_part(readings: Readings, places: Places, part: Part) -> list[Finding]:
    """Return what is damaged beside the files of a part that its record tells of; read in its turn.

    Raises sqlite3.Error."""
    if part.kind == "results":
        paths = _beside_results(places, part)
    elif part.kind == "delivery" and part.name == TAG_FILES:
        paths = sorted((places.deliveries / part.bag).glob("tagmanifest-sha512.txt*"))
    else:
        return []
    return [
        finding
        for path in paths
        for finding in _compare(readings, _key(path, places), path, _without(part, path))
    ]


def _lists(places: Places, batch: str) -> Iterator[tuple[Path, str]]:
    """Yield each list of a batch, with what cannot be compared while it is damaged."""
    masters = places.masters / batch
    for path, size in _plain(masters):
        named = path.suffix.lower() in _LISTS or path.name.upper().endswith("SUMS")
        if named and size <= _LIST_BYTES:
            yield path, f"Masters of {batch} that it names cannot be verified by it"
    for path, _ in _plain(places.results / batch):
        if path.suffix == ".json" and path.name != _OWN:
            yield path, f"What it tells of {batch} cannot be relied on; {_NOTHING.lower()}"
    names = [*receipt_files.names(places.deliveries, batch)]
    for name in names:
        for path in (
            receipt_files.receipt_path(places.deliveries, name),
            receipt_files.second_copy_path(places.deliveries, name),
        ):
            yield path, f"The bags of {name} cannot be compared by it, but by its other copy alone"
        for suffix in ("json", "csv", "xlsx"):
            yield places.deliveries / f"{name}.handover.{suffix}", _NOTHING
    if names:
        yield (
            ledger.path_of(places.deliveries),
            "Receipts cannot be compared with it, and nothing is delivered",
        )


def _plain(folder: Path) -> list[tuple[Path, int]]:
    """Return the plain files of a folder, with their bytes; no link is followed."""
    try:
        paths = sorted(folder.iterdir())
    except OSError:
        return []  # not here: told elsewhere
    found = []
    for path in paths:
        with contextlib.suppress(FileNotFoundError):  # was taken away meanwhile
            state = path.lstat()
            if stat.S_ISREG(state.st_mode):
                found.append((path, state.st_size))
    return found


def _beside_results(places: Places, part: Part) -> list[Path]:
    folder = places.results / part.batch / "items" / part.name
    package = package_of(places, part.batch, part.name)
    listed = {*digests_of(package, "item:")} if package else set()
    return [
        path
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.relative_to(folder).as_posix() not in listed
    ]


def _without(part: Part, path: Path) -> str:
    if part.kind == "delivery":
        return f"The tag files of {part.bag} cannot be compared by it, but by SHA-256 alone"
    if path.name == "package.json":
        return f"The results of {part.name} cannot be compared"
    return _NOTHING


def _key(path: Path, places: Places) -> str:
    for name in ("results", "masters", "deliveries"):
        root: Path = getattr(places, name)
        if path.is_relative_to(root):
            return f"{name}/{path.relative_to(root).as_posix()}"
    raise ValueError(str(path))


def _compare(readings: Readings, key: str, path: Path, without: str) -> list[Finding]:
    try:
        found = reading.as_on_disk(path)
    except OSError as problem:
        return [reading.unreadable(path, problem)]
    if found is None:
        readings.note_seal(key, None)
        return []
    state, digest = found
    stamp = f"{state.st_mtime_ns}.{state.st_size}"
    before = readings.seal(key)
    if before is None or before[0] != stamp:
        readings.note_seal(key, (stamp, digest))
        return []
    return [] if before[1] == digest else [_damaged(path, before[1], digest, without)]


def _damaged(path: Path, before: str, now: str, without: str) -> Finding:
    return Finding(
        CODE,
        str(path),
        f"Its bytes are not those that were read before (SHA-256 {now}), while its size and time "
        f"are: a disk that fails does that. {without} until it is put right.",
        f"SHA-256 {before}.",
        "Keep the damaged file for whoever looks into the disk, and bring back a sound copy from a "
        "backup (of a receipt the other copy, of the ledger by scripts/ledger rebuild, of an item "
        "by moving its folder away and running again). Where a person changed it and set its time "
        "back, give it its real time (touch).",
    )
