"""Reading a part again: every byte of it from the disk, compared with what its record says."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

from glassine.audit import fetched, stored
from glassine.audit.holdings import (
    REMOTE,
    TAG_FILES,
    WHOLE,
    Part,
    Places,
    captured,
    digests_of,
    masters_of,
    package_of,
    tree_of,
)
from glassine.audit.objects import Storage, Unreachable
from glassine.base import clock, files, hashing, record_files
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.fixity import Fixity
from glassine.base.records.package import Package
from glassine.base.records.sent import SentFile
from glassine.deliver import bag, receipt_files, sent_files, validation
from glassine.deliver.bag import decoded_path

_PAYLOAD = "manifest-sha256.txt"
_TAGS = "tagmanifest-sha256.txt"


@dataclass
class Reading:
    """What reading a part showed. bytes, files: read; findings: what is not as recorded; unread:
    why it could not be read at all, in object storage: then nothing is known of it."""

    bytes: int = 0
    files: int = 0
    findings: list[Finding] = field(default_factory=list)
    unread: str = ""


def read(part: Part, places: Places, storage: Storage | None = None) -> Reading:
    """Read every file of a part. Nothing is written or replaced; never raises for what it reads."""
    reading = Reading()
    try:
        if part.kind in REMOTE:
            _stored(part, places, storage or Storage(), reading)
        else:
            _BY_KIND[part.kind](part, places, reading)
    except GlassineError as error:
        words = f" Until it is put right, the {part.kind} of {part.name} cannot be compared."
        told = [replace(each, what=each.what + words) for each in error.findings]
        reading.findings += told if part.kind in ("masters", "results") else error.findings
    except OSError as problem:
        reading.findings.append(unreadable(_place(part, places), problem))
    except ValueError:  # a folder has become a link that leads elsewhere
        reading.findings.append(_leads_out(_place(part, places), part.name))
    return reading


def _place(part: Part, places: Places) -> Path:
    if part.kind == "masters":
        return places.masters / part.batch
    if part.kind == "results":
        return places.results / part.batch / "items" / part.name
    return places.deliveries / part.bag


def _sha256_within(folder: Path, path: str, reading: Reading) -> str | None:
    """Return the SHA-256 of a file below a folder, None where a link leads out of it; see
    `_sha256`."""
    try:
        return _sha256(files.inside(folder, path), reading)
    except ValueError:
        return None


def _sha256(path: Path, reading: Reading) -> str | None:
    """Return the SHA-256 of a file as the disk has it now, None where there is no plain file."""
    found = as_on_disk(path)
    if found is None:
        return None
    state, digest = found
    reading.bytes += state.st_size
    reading.files += 1
    return digest


def as_on_disk(path: Path) -> tuple[os.stat_result, str] | None:
    """Return state and SHA-256 of a file as the disk has it now, None where there is no plain file.

    Raises OSError."""
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    except FileNotFoundError:
        return None
    except OSError:
        if path.is_symlink():
            return None
        raise
    with os.fdopen(handle, "rb", buffering=0) as opened:
        state = os.fstat(handle)
        if not stat.S_ISREG(state.st_mode):
            return None
        # What the system keeps in memory of it says nothing about the disk.
        os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
        return state, hashlib.file_digest(opened, "sha256").hexdigest()


# --- masters ------------------------------------------------------------------------------------


def _masters(part: Part, places: Places, reading: Reading) -> None:
    folder = places.results / part.batch / "items" / part.name
    fixity = record_files.load(folder / "fixity.json", "fixity", Fixity)
    package = record_files.load(folder / "package.json", "package", Package)
    expected = masters_of(fixity, package)
    _require_record(part, folder / "fixity.json", expected)
    since = {each.path: (each.bytes, each.mtime) for each in map(captured, fixity.masters)}
    for path, (digest, _) in expected.items():
        place = places.masters / part.batch / path
        found = _sha256_within(places.masters / part.batch, path, reading)
        if found == digest:
            continue
        if found is not None and path in since and _touched(place, *since[path]):
            reading.findings.append(_changed(place, since[path][1]))
            continue
        reading.findings.append(
            _finding("audit.master", place, found, digest, _copy_for_master(part, places, path))
        )


def _touched(path: Path, size: int, mtime: str) -> bool:
    """Return whether a master has another size or time than when it was verified."""
    state = path.stat()
    return state.st_size != size or clock.text_of(state.st_mtime) != mtime[:19] + "Z"


def _changed(path: Path, mtime: str) -> Finding:
    return Finding(
        "audit.changed",
        str(path),
        f"This master was written again since it was verified (it was of {mtime}).",
        "the master as it was verified.",
        "The next night verifies it and says what came of it. Where nobody made it again, bring "
        "the sound file back.",
        "review",
    )


def _copy_for_master(part: Part, places: Places, path: str) -> str:
    return _advice(
        _sound_copy_in_bag(part, places, f"master:{path}"),
        places.masters / part.batch / path,
        "No sound copy of it is known here: bring it back from a backup or from the repository.",
    )


# --- results ------------------------------------------------------------------------------------


def _results(part: Part, places: Places, reading: Reading) -> None:
    folder = _place(part, places)
    package = record_files.load(folder / "package.json", "package", Package)
    expected = digests_of(package, "item:")
    _require_record(part, folder / "package.json", expected)
    for path, (digest, _) in expected.items():
        place = folder / path
        found = _sha256_within(folder, path, reading)
        if found != digest:
            again = (
                f"Move the folder {folder} away, then run "
                f"scripts/nightly --item {part.name}: it is made again from its masters."
            )
            reading.findings.append(_finding("audit.results", place, found, digest, again))


def _require_record(part: Part, path: Path, expected: dict[str, tuple[str, int]]) -> None:
    """Raise GlassineError where the record that tells the digests is not what it was when the part
    was first seen: then it says nothing of the files."""
    if tree_of(expected) == part.expected:
        return
    raise GlassineError.because(
        "audit.record",
        path,
        "The digests in this record are not those that stood there before, and no step wrote it "
        "since.",
        "the record as the night wrote it.",
        f"Check the disk. Then move the folder {path.parent} away and run "
        f"scripts/nightly --item {part.name}: its masters are verified by their checksum list.",
    )


# --- deliveries ---------------------------------------------------------------------------------


def _delivery(part: Part, places: Places, reading: Reading) -> None:
    place = _place(part, places)
    if part.name == WHOLE:
        _archive(place, reading)
    elif part.name == TAG_FILES:
        _tag_files(part, place, reading)
    else:
        _item_of_bag(part, places, place, reading)


def _archive(place: Path, reading: Reading) -> None:
    reading.findings += [each for each in validation.check(place) if each.severity == "hold"]
    reading.bytes += place.stat().st_size
    reading.files += 1


def _tag_files(part: Part, place: Path, reading: Reading) -> None:
    tags = place / _TAGS
    found = _sha256(tags, reading)
    if found != part.expected:
        reading.findings.append(
            _finding("audit.delivery", tags, found, part.expected, _FROM_REPOSITORY)
        )
        return
    for path, digest in _listed(tags).items():
        found = _sha256_within(place, path, reading)
        if found != digest:
            reading.findings.append(
                _finding("audit.delivery", place / path, found, digest, _FROM_REPOSITORY)
            )


def _item_of_bag(part: Part, places: Places, place: Path, reading: Reading) -> None:
    """Compare an item of a bag with the digest of its receipt; where they differ, the bag's own
    list tells which file it is."""
    folder = files.inside(place / "data", part.name)
    seen = _digests_below(folder, reading)
    if hashing.of_tree(seen) == part.expected:
        return
    listed = _listed_of_item(place, part.name)
    odd = sorted(path for path in {*listed, *seen} if listed.get(path) != seen.get(path))
    for path in odd:
        reading.findings.append(
            _finding(
                "audit.delivery",
                folder / path,
                seen.get(path),
                listed.get(path, "no such file"),
                _copy_for_delivery(part, places, path, listed.get(path, "")),
            )
        )
    if not odd:
        reading.findings.append(_list_changed(place, part.name))


def _digests_below(folder: Path, reading: Reading) -> dict[str, str]:
    """Return {path: SHA-256} of all that is in a folder; what is no plain file has no digest."""
    return {
        path.relative_to(folder).as_posix(): _sha256(path, reading) or "no plain file"
        for path in sorted(folder.rglob("*"))
        if path.is_symlink() or not path.is_dir()
    }


def _list_changed(place: Path, item: str) -> Finding:
    return Finding(
        "audit.delivery",
        str(place / _PAYLOAD),
        f"The files of {item} are as the bag's own list has them, but not as they were delivered: "
        "files and list were changed together.",
        "the bag as its receipt tells of it.",
        _FROM_REPOSITORY,
    )


def _listed(path: Path) -> dict[str, str]:
    """Return {path: SHA-256} of a list of a bag; lines that are none are left out, so that what
    they should tell of is found to differ."""
    listed = {}
    for line in path.read_text("utf-8", errors="replace").splitlines():
        digest, _, name = line.partition(" ")
        if name.strip():
            listed[decoded_path(name.strip())] = digest
    return listed


def _listed_of_item(place: Path, item: str) -> dict[str, str]:
    start = f"{bag.PAYLOAD}{item}/"
    try:
        listed = _listed(place / _PAYLOAD)
    except OSError:
        return {}
    return {
        path.removeprefix(start): digest
        for path, digest in listed.items()
        if path.startswith(start)
    }


def _copy_for_delivery(part: Part, places: Places, path: str, digest: str) -> str:
    package = package_of(places, part.batch, part.name)
    sources = [each.source for each in package.files if each.path == path] if package else []
    copy = _source_path(part, places, sources[0]) if sources else None
    sound = copy if copy and _is_sound(copy, digest) else None
    return _advice(
        sound, places.deliveries / part.bag / "data" / part.name / path, _FROM_REPOSITORY
    )


_FROM_REPOSITORY = (
    "Compare it with the repository's copy and bring a sound one back; it is not made again by "
    "itself."
)


# --- object storage -----------------------------------------------------------------------------


def _stored(part: Part, places: Places, storage: Storage, reading: Reading) -> None:
    of_master = part.kind == "stored_masters"
    sent = _fetched(part, places) if of_master else sent_files.load(places.deliveries, part.name)
    folder = places.masters / part.batch if of_master else places.deliveries

    def sound() -> Path | None:
        local = files.inside(folder, part.name)
        return local if _is_sound(local, sent.sha256) else None

    try:
        reading.bytes, reading.findings = stored.read(sent, storage, sound, is_master=of_master)
    except Unreachable as problem:
        reading.unread = problem.reason
        return
    reading.files = 1


def _fetched(part: Part, places: Places) -> SentFile:
    """Return what is known of a master in object storage, as it was when the part was seen."""
    for each in fetched.read(places.deliveries, part.batch).files:
        if each.path == part.name:
            return fetched.as_sent(part.batch, each)
    raise FileNotFoundError(0, "it is not noted any more", str(part.name))


# --- sound copies -------------------------------------------------------------------------------


def _source_path(part: Part, places: Places, source: str) -> Path:
    place, _, path = source.partition(":")
    root = places.masters / part.batch
    if place == "item":
        root = places.results / part.batch / "items" / part.name
    return files.inside(root, path)


def _sound_copy_in_bag(part: Part, places: Places, source: str) -> Path | None:
    """Return the copy of a file in a bag, read and found sound; None where there is none."""
    package = package_of(places, part.batch, part.name)
    entries = package.files if package else []
    entry = next((each for each in entries if each.source == source), None)
    if entry is None:
        return None
    for receipt in reversed(receipt_files.read(places.deliveries, part.batch).sound):
        for item in receipt.items:
            copy = places.deliveries / item.bag / "data" / part.name / entry.path
            if item.item == part.name and _is_sound(copy, entry.sha256):
                return copy
    return None


def _is_sound(path: Path, digest: str) -> bool:
    try:
        return _sha256(path, Reading()) == digest
    except OSError:
        return False


def _advice(copy: Path | None, damaged: Path, otherwise: str) -> str:
    if copy is None:
        return otherwise
    return (
        f"Keep the damaged file for whoever looks into the disk, then bring back the sound copy "
        f"that was read just now (cp -p '{copy}' '{damaged}')."
    )


# --- findings -----------------------------------------------------------------------------------


def _finding(code: str, path: Path, found: str | None, expected: str, next_step: str) -> Finding:
    what = (
        "It is not there, or no plain file."
        if found is None
        else f"Its bytes are not those recorded: SHA-256 {found}."
    )
    return Finding(code, str(path), what, f"SHA-256 {expected}.", next_step)


def _leads_out(path: Path, name: str) -> Finding:
    return Finding(
        "audit.unreadable",
        str(path),
        f"The folder of {name} leads out of it by a link, and was not read.",
        "the folder as it was written.",
        "See who changed it; bring the folder back.",
    )


def unreadable(path: Path, problem: OSError) -> Finding:
    where = Path(problem.filename) if isinstance(problem.filename, str) else path
    return Finding(
        "audit.unreadable",
        str(where),
        f"It cannot be read: {problem.strerror or problem}.",
        "a file that can be read as it was written.",
        "Check the disk (an input or output error is a sign of one that fails) and the rights.",
    )


_BY_KIND: dict[str, Callable[[Part, Places, Reading], None]] = {
    "masters": _masters,
    "results": _results,
    "delivery": _delivery,
}
