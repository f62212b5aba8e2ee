"""What comes from object storage: the checksum list, the files beside it, the masters.

What the plugin brought lies under a name of its own until its digest is right; a file that is there
is never written over by another.
"""

from __future__ import annotations

import errno
import os
import shutil
from pathlib import Path

import msgspec

from glassine.audit import fetched
from glassine.base import files, naming
from glassine.base.errors import Finding, GlassineError
from glassine.base.hashing import sha256_of
from glassine.base.records.fetched import FetchedFile
from glassine.intake import batch_lists
from glassine.store import known_digest, mark_of, marked, remember, url

LIST = "manifest-sha256.txt"
_ARRIVING = ".arriving-{batch}"


def path_problem(path: str) -> str | None:
    """Return in plain words why a listed path can be no file of a batch, or None.

    As intake judges names; besides, no part may lead elsewhere, and "#" ends an object's address
    (RFC 3986 section 3.5).
    """
    for part in path.split("/"):
        if part in ("", ".", ".."):
            return "it is no plain path inside the batch folder"
        problem = naming.name_problem(part)
        if problem:
            return problem
    return "its name holds #" if "#" in path else None


def read_list(path: Path) -> dict[str, str]:
    """Return {path: sha256} of a checksum list that came from the storage.

    Raises GlassineError, with every finding, for a line that is none, a path listed with two
    digests, or one that is no file inside the batch folder: nothing of such a list is fetched.
    """
    listed, found = batch_lists.read_manifest(path, "sha256")
    findings = [
        Finding("fetch.list", each.path, each.what, each.expected, each.next_step) for each in found
    ]
    for name in listed:
        problem = "it is the list itself" if name == LIST else path_problem(name)
        if problem:
            findings.append(
                Finding(
                    "fetch.path",
                    repr(name),
                    f"The checksum list names a file that cannot be fetched: {problem}.",
                    "paths inside the batch, in names that every file system takes.",
                    "Correct the list, or the name, at the capture station.",
                )
            )
    if findings:
        raise GlassineError(findings)
    return listed


def arrival(here: str | None, fetched: str | None, stored: str) -> str:
    """Decide on a side file by three digests: "keep" what is here, "take" what the storage has, or
    "refuse". What was fetched and not touched since may be renewed; what a person wrote may not."""
    if here == stored:
        return "keep"
    return "take" if here is None or here == fetched else "refuse"


class DueFile(msgspec.Struct, frozen=True, kw_only=True):
    """A file to fetch. path: in the batch folder. differs: another file has the name."""

    path: str
    sha256: str
    differs: bool


class FetchList(msgspec.Struct, frozen=True, kw_only=True):
    """fetch.json of a batch. kept: the number of files that were here already."""

    due: list[DueFile]
    kept: int


def take_list(batch_dir: Path, state: Path, arrived: dict[str, Path]) -> FetchList:
    """Place the checksum list and the side files; return what is still to be fetched.

    arrived: {name: the copy that came from the storage}. The list comes before the masters, so that
    a night after a broken fetch holds what is missing. Raises GlassineError.
    """
    if LIST not in arrived:
        raise GlassineError.because(
            "fetch.no_list",
            f"{batch_dir.name}/{LIST}",
            "The storage has no checksum list of this batch.",
            f"`<hex>  <path>` a line, in an object {LIST} of the batch.",
            "Let the capture station write it last, when all masters are there; check "
            "`store.masters` and `batches`.",
        )
    listed = read_list(arrived[LIST])
    tidy(batch_dir)
    batch_dir.mkdir(exist_ok=True)
    for name, copy in sorted(arrived.items(), key=lambda each: each[0] != LIST):
        _take_side(batch_dir, state, name, copy, listed.get(name))
    due, kept = [], 0
    for path in sorted(set(listed) - set(arrived)):
        target, mark = _inside(batch_dir, path), mark_of(state, "fetched", path)
        if not os.path.lexists(target):
            mark.unlink(missing_ok=True)
        elif _is_plain(target) and known_digest(target, mark) == listed[path]:
            kept += 1
            continue
        else:
            mark.unlink(missing_ok=True)
        differs = os.path.lexists(target)
        due.append(DueFile(path=path, sha256=listed[path], differs=differs))
    return FetchList(due=due, kept=kept)


def _inside(folder: Path, path: str) -> Path:
    try:
        return files.inside(folder, path)
    except ValueError as problem:
        raise GlassineError.because(
            "fetch.path",
            path,
            f"The file has no place in the batch folder: {problem}.",
            "a path inside the batch folder, and no links on the way.",
            "Remove the link from the batch folder, or correct the list.",
        ) from problem


def _is_plain(path: Path) -> bool:
    return path.is_file() and not path.is_symlink()


def _arriving(batch_dir: Path) -> Path:
    """Return the folder in which files of a batch wait for their names, on the masters' disk."""
    return batch_dir.parent / _ARRIVING.format(batch=batch_dir.name)


def tidy(batch_dir: Path) -> None:
    """Remove what a run left of files that did not get their names."""
    shutil.rmtree(_arriving(batch_dir), ignore_errors=True)


def _take_side(batch_dir: Path, state: Path, name: str, copy: Path, expected: str | None) -> None:
    target, mark = _inside(batch_dir, name), mark_of(state, "fetched", name)
    stored = sha256_of(copy)
    _require_digest(name, stored, expected)
    if os.path.lexists(target) and not _is_plain(target):
        raise _differs(target)
    here = sha256_of(target) if target.exists() else None
    fetched = marked(mark)
    decided = arrival(here, fetched.sha256 if fetched else None, stored)
    if decided == "refuse":
        raise _differs(target)
    if decided == "take":
        files.write_bytes(target, copy.read_bytes())
    known_digest(target, mark)


def _require_digest(name: str, sha256: str, expected: str | None) -> None:
    if expected not in (None, sha256):
        raise GlassineError.because(
            "fetch.digest",
            name,
            f"What came from the storage is not the listed file: its SHA-256 is {sha256}.",
            f"SHA-256 {expected}, as the checksum list says.",
            "Put the file there again from the capture station; nothing was kept of it.",
        )


def _differs(target: Path) -> GlassineError:
    return GlassineError.because(
        "fetch.differs",
        target,
        "Another file has this name already; it was not touched.",
        "no file of this name, or the very one that the storage has.",
        "Find out which of both is right; move this one away, or correct the one in the storage.",
    )


def note_there(batch_dir: Path, state: Path, deliveries_dir: Path, address: str, now: str) -> None:
    """Note which masters of a batch lie in the storage, for the audit: those of the checksum list
    that came from there and were the listed files. address: of the batch there; now: xs:dateTime.

    What was noted before and the list does not name any more stays while it is in the batch folder.
    """
    if not (batch_dir / LIST).is_file():
        return
    listed = read_list(batch_dir / LIST)
    known = {each.path: each for each in fetched.read(deliveries_dir, batch_dir.name).files}
    there = {
        path: each
        for path, each in known.items()
        if path in listed or os.path.lexists(batch_dir / path)
    }
    for path, sha256 in listed.items():
        mark = marked(mark_of(state, "fetched", path))
        if mark is None or mark.sha256 != sha256:
            continue
        before = known.get(path)
        same = before is not None and (before.sha256, before.bytes) == (sha256, mark.bytes)
        there[path] = FetchedFile(
            path=path,
            address=url(address, *path.split("/")),
            bytes=mark.bytes,
            sha256=sha256,
            proved=before.proved if before is not None and same else now,
        )
    if there:
        fetched.note(deliveries_dir, batch_dir.name, list(there.values()))


def take_master(
    batch_dir: Path, path: str, expected: str, arrived: Path | None, mark: Path
) -> None:
    """Give a master that came from the storage its place and write its mark.

    arrived: the plugin's copy, which is used up; None where the storage has no such object. Raises
    GlassineError where its digest is not `expected` or something else has its name.
    """
    target = _inside(batch_dir, path)
    if os.path.lexists(target):
        raise _differs(target)
    if arrived is None:
        raise GlassineError.because(
            "fetch.missing",
            path,
            "The checksum list names this file, but the storage has no such object.",
            "every listed file beside the list.",
            "Put it there from the capture station, or correct the list.",
        )
    waiting = _inside(_arriving(batch_dir), path)
    waiting.parent.mkdir(parents=True, exist_ok=True)
    _move(arrived, waiting)
    try:
        _require_digest(path, sha256_of(waiting), expected)
        target.parent.mkdir(parents=True, exist_ok=True)
        _name(waiting, target)
    finally:
        waiting.unlink(missing_ok=True)
    remember(mark, target.stat(), expected)


def _move(origin: Path, target: Path) -> None:
    """Move a file, over a border of file systems too, and see it written to the disk."""
    try:
        origin.replace(target)
    except OSError as problem:
        if problem.errno != errno.EXDEV:
            raise
        shutil.copyfile(origin, target)
        origin.unlink()
    with target.open("rb") as opened:
        os.fsync(opened.fileno())


def _name(waiting: Path, target: Path) -> None:
    """Give a file its name where nothing has it yet."""
    try:
        target.hardlink_to(waiting)
    except FileExistsError:
        raise _differs(target) from None
    except OSError:  # a file system without second names: the run's lock keeps others out
        waiting.rename(target)
