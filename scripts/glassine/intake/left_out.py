"""Files that systems and programs leave in folders: named by `intake.ignore`, left out and listed.

A list of names must not make anything vanish that matters. So what is a TIFF by its name, or a TIFF
or raw picture by its content, stays, unless an entry names that very ending; and an entry with a
wildcard leaves out no file that says something of the batch: its facts, corrections, catalogue,
checksums.
"""

from __future__ import annotations

import fnmatch
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from glassine.base import door, naming, wording
from glassine.base.errors import Finding
from glassine.intake import checksums, companions
from glassine.intake.model import OTHER_PICTURE_SUFFIXES
from glassine.intake.passed_over import RAW_SUFFIXES
from glassine.masters import header_size

_PICTURES = naming.MASTER_SUFFIXES | OTHER_PICTURE_SUFFIXES | RAW_SUFFIXES
# The first bytes of what macOS keeps beside a file on disks of other systems (RFC 1740, app. B).
_APPLE_DOUBLE = b"\x00\x05\x16\x07"
_HEAD_BYTES = 4
_WILD = re.compile(r"[*?\[]")


@dataclass(frozen=True)
class _Entry:
    """An entry of `intake.ignore`. ending: of pictures that it names, else empty."""

    pattern: re.Pattern[str]
    wild: bool
    ending: str

    @classmethod
    def of(cls, text: str) -> _Entry:
        ending = PurePosixPath(text).suffix.lower()
        return cls(
            pattern=re.compile(fnmatch.translate(text.casefold())),
            wild=bool(_WILD.search(text)),
            ending=ending if ending in _PICTURES else "",
        )

    def fits(self, path: str) -> bool:
        """Return whether it fits the path, or the name of the file or of a folder above it."""
        folded = path.casefold()
        return any(self.pattern.match(each) for each in (folded, *folded.split("/")))


class Names:
    """The entries of `intake.ignore`: globs over names, or over paths in the batch."""

    def __init__(self, ignore: Sequence[str]) -> None:
        self._entries = [_Entry.of(text) for text in ignore]

    def fit(self, path: str) -> bool:
        """Return whether an entry fits the path of a file or folder."""
        return any(entry.fits(path) for entry in self._entries)

    def leave_out(self, path: str, head: bytes) -> bool:
        """Return whether a file is left out. head: its first four bytes."""
        fitting = [entry for entry in self._entries if entry.fits(path)]
        if not fitting:
            return False
        if head == _APPLE_DOUBLE:
            return True
        name = PurePosixPath(path)
        # A master may be damaged: what is named as one counts as one.
        named = name.suffix.lower() in naming.MASTER_SUFFIXES and not name.name.startswith("._")
        if named or head in header_size.TIFF_HEADS:
            ending = name.suffix.lower()
            return any(entry.ending and entry.ending == ending for entry in fitting)
        return not _says_something(path) or any(not entry.wild for entry in fitting)

    def leave_out_unseen(self, path: str) -> bool:
        """Return whether a file that is not here would be left out, by its name alone."""
        name = PurePosixPath(path.replace("\\", "/"))
        head = b""
        if name.name.startswith("._"):
            head = _APPLE_DOUBLE
        elif name.suffix.lower() in _PICTURES:
            head = header_size.TIFF_HEADS[0]
        return self.leave_out(str(name), head)


def _says_something(path: str) -> bool:
    """Return whether a file of this name says something of the batch."""
    name = companions.folded(PurePosixPath(path).name)
    return companions.is_statement(name) or checksums.kind_of(path) is not None


def is_left_out(file: Path, names: Names) -> bool:
    """Return whether a file that lies in no batch is left out: a regular file that can be read."""
    if not names.fit(file.name):
        return False
    try:
        with door.open_file(file, file.parent) as stream:
            return names.leave_out(file.name, stream.read(_HEAD_BYTES))
    except OSError:
        return False


def part(
    listing: door.Listing, folder: Path, ignore: Sequence[str]
) -> tuple[door.Listing, list[str]]:
    """Return the listing without what is left out, and the paths of that.

    What is no regular file, or cannot be read, is never left out: nobody can tell what it is.
    """
    names = Names(ignore)
    left_out = {
        entry.path
        for entry in listing.files
        if entry.plain
        and names.fit(entry.path)
        and names.leave_out(entry.path, _head(entry, folder))
    }
    kept = door.Listing(
        files=[entry for entry in listing.files if entry.path not in left_out],
        folders=[
            entry
            for entry in listing.folders
            if not _is_left_out(entry.path, listing, left_out, names)
        ],
        closed=listing.closed,
        vanished=listing.vanished,
    )
    return kept, sorted(left_out)


def _is_left_out(folder: str, listing: door.Listing, left_out: set[str], names: Names) -> bool:
    """Return whether a folder fits the list and holds files, all of which are left out."""
    if not names.fit(folder):
        return False
    inside = [entry.path for entry in listing.files if entry.path.startswith(f"{folder}/")]
    return bool(inside) and left_out.issuperset(inside)


def _head(entry: door.Entry, folder: Path) -> bytes:
    """Return the first bytes of a file; of one that cannot be read, those of a TIFF: it stays."""
    try:
        with door.open_file(folder / os.fsdecode(entry.raw), folder) as stream:
            return stream.read(_HEAD_BYTES)
    except OSError:
        return header_size.TIFF_HEADS[0]


def told(left_out: list[str]) -> list[Finding]:
    """Return what is told of TIFF files among what is left out."""
    masters = [path for path in left_out if _is_tiff(path)]
    if not masters:
        return []
    return [
        Finding(
            "intake.ignored_masters",
            masters[0],
            f"`intake.ignore` leaves out {len(masters)} files that are named as masters are: "
            f"{wording.some(masters, 5)}.",
            "entries that fit what is no master.",
            "Nothing, where none of them is a master; else correct `intake.ignore`.",
            "note",
        )
    ]


def told_unseen(absent: list[str]) -> list[Finding]:
    """Return what is told of TIFF files that a checksum list names, that are not here, and that
    would be left out if they were."""
    masters = [path for path in absent if _is_tiff(path.replace("\\", "/"))]
    if not masters:
        return []
    return [
        Finding(
            "intake.ignored_missing",
            masters[0],
            f"Checksum lists name {len(masters)} files that are named as masters are, that are "
            f"not in the batch folder and that `intake.ignore` would leave out: "
            f"{wording.some(masters, 5)}.",
            "every master that the capture station listed.",
            "Nothing, where none of them is a master; else copy it, and correct `intake.ignore`.",
            "review",
        )
    ]


def _is_tiff(path: str) -> bool:
    name = PurePosixPath(path).name
    return PurePosixPath(name).suffix.lower() in naming.MASTER_SUFFIXES and name[:2] != "._"
