"""All checksum lists of a batch, joined to its files: what is vouched for, missing, contradicted.

How one list is read: `checksums`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from glassine.base import door
from glassine.base.errors import Finding
from glassine.intake import checksums

# Lines of one list that are told one by one.
_LINES_TOLD = 20
# A file of any name is looked into for digests up to this size; pictures and packed files are not.
_LOOK_BYTES = 4 * 2**20
_NO_TEXT = ("tif", "tiff", "jpg", "jpeg", "png", "gif", "webp", "psd", "dng", "zip", "gz", "tar")
# Files of these names state other things; what they say of digests is no list's word.
_OTHER_STATEMENTS = ("batch", "corrections", "catalogue", "catalog")


def _bad_line(name: str, number: int, what: str) -> Finding:
    return Finding(
        "intake.manifest_line",
        f"{name}, line {number}" if number else name,
        f"This line, or the list, cannot be used: {what}.",
        "a digest (MD5, SHA-1, SHA-256 or SHA-512 in hexadecimal digits) and a path in the batch.",
        "Write the checksum list anew at the capture station.",
        "review",
    )


@dataclass
class Lists:
    """What all checksum lists of a batch say together.

    names: all lists; expected: {path: {algorithm: digest}}; missing: (list, path) of what no file
    is; conflicting: files listed with several digests; doubtful: {list: why not all of it counts}.
    """

    names: list[str] = field(default_factory=list)
    expected: dict[str, dict[str, str]] = field(default_factory=dict)
    missing: list[tuple[str, str]] = field(default_factory=list)
    conflicting: dict[str, str] = field(default_factory=dict)
    doubtful: dict[str, str] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    # Files that are no list by name and not in whole by content, but hold digests of masters.
    alike: list[str] = field(default_factory=list)

    def doubt(self, name: str, why: str, code: str = "intake.manifest") -> None:
        """Say why a list, or a part of it, does not count."""
        self.doubtful.setdefault(name, why)
        self.findings.append(
            Finding(
                code,
                name,
                f"This checksum list does not count, or not in whole: {why}.",
                "a regular file of lines with a digest (MD5, SHA-1, SHA-256 or SHA-512) and a path "
                "in this batch.",
                "Write the checksum list anew at the capture station. Masters that only this list "
                "could name are held.",
                "review",
            )
        )


def read_lists(listing: door.Listing, batch_dir: Path, whole: door.Listing | None = None) -> Lists:
    """Return what the checksum lists in the batch folder, in any folder of it, say of its files.

    whole: the listing with what the settings leave out, of which a list may tell all the same.
    """
    lists = Lists()
    batch_files = checksums.Files(entry.path for entry in (whole or listing).files)
    names = {entry.name.casefold() for entry in listing.files}
    for entry in [*listing.files, *listing.folders]:
        kind = checksums.kind_of(entry.path)
        if kind is None:
            _look_inside(entry, batch_dir, batch_files, names, lists)
            continue
        if entry.kind == "a folder" and "." not in entry.name:
            continue
        lists.names.append(entry.path)
        if entry.kind or entry.problem:
            lists.doubt(entry.path, entry.problem or f"it is {entry.kind}")
        elif not kind.compared:
            why = f"digests of this kind ({kind.algorithm}) are not compared here"
            lists.doubt(entry.path, why, "intake.manifest_algorithm")
        else:
            _read_list(entry.path, kind, batch_dir, batch_files, lists)
    return lists


def _is_old(name: str) -> bool:
    """Return whether a file calls itself a copy that was left behind: its digests may be old."""
    return name.casefold().endswith((".bak", ".old", ".orig", ".save", ".tmp", "~"))


def _look_inside(
    entry: door.Entry, batch_dir: Path, batch_files: checksums.Files, names: set[str], lists: Lists
) -> None:
    """Take a text file of any name for what its lines show: a list, or one that may be in it.

    Where every line holds a digest and a file of the batch it is a list like any other; where only
    some do (a log, a table of something else), or it is a backup, it is not compared, and told.
    """
    suffix = entry.name.rpartition(".")[2].casefold()
    if entry.kind or entry.problem or suffix in _NO_TEXT or not 0 < entry.size <= _LOOK_BYTES:
        return
    if entry.name.casefold().partition(".")[0] in _OTHER_STATEMENTS:
        return
    try:
        content = door.read_file(batch_dir / entry.path, batch_dir, _LOOK_BYTES)
    except OSError:
        return  # what may not be read is told where the files are sorted
    kind = checksums.Kind("", compared=True, single_file="")
    if not checksums.holds_digests(content):
        return
    joined = checksums.join(entry.path, checksums.parse(content, kind), kind, batch_files)
    joined.expected.pop(entry.path, None)
    whole = not (joined.bad or joined.missing or joined.conflicting or _is_old(entry.name))
    if not joined.expected or not whole:
        if checksums.names_beside_digests(content, names):
            lists.alike.append(entry.path)
        return
    lists.names.append(entry.path)
    _read_list(entry.path, kind, batch_dir, batch_files, lists)


def _read_list(
    name: str, kind: checksums.Kind, batch_dir: Path, batch_files: checksums.Files, lists: Lists
) -> None:
    try:
        content = door.read_file(batch_dir / name, batch_dir, checksums.MAX_BYTES)
    except OSError as problem:
        lists.doubt(name, f"it cannot be read: {problem.strerror}")
        return
    parsed = checksums.parse(content, kind)
    joined = checksums.join(name, parsed, kind, batch_files)
    joined.expected.pop(name, None)  # no list can state its own digest
    joined.conflicting.pop(name, None)
    lists.findings += [_bad_line(name, number, what) for number, what in joined.bad[:_LINES_TOLD]]
    lists.missing += [(name, path) for path in dict.fromkeys(joined.missing)]
    for path, numbers in joined.conflicting.items():
        where = " and ".join(str(number) for number in sorted(numbers)[:10])
        lists.conflicting.setdefault(path, f"{name}, lines {where}")
    for path, (algorithm, digest) in joined.expected.items():
        first_digest = lists.expected.setdefault(path, {}).setdefault(algorithm, digest)
        if first_digest != digest:
            lists.conflicting.setdefault(path, f"{name} and another list")
    if joined.bad:
        lists.doubt(name, f"{len(joined.bad)} of its lines cannot be read")
    elif not parsed.lines:
        lists.doubt(name, "it lists nothing")
    elif not joined.expected and not joined.conflicting:
        lists.doubt(name, "it names none of the files that are here")


def read_manifest(path: Path, algorithm: str) -> tuple[dict[str, str], list[Finding]]:
    """Return {path: hex digest} of a checksum list and what is wrong in it.

    For a list whose files are not at hand; see `checksums`. A path with two digests is a finding.
    """
    try:
        content = door.read_file(path, None, checksums.MAX_BYTES)
    except OSError as problem:
        return {}, [_bad_line(path.name, 1, f"the list cannot be read: {problem}")]
    listed, bad = checksums.plain_list(content, algorithm)
    return listed, [_bad_line(path.name, number, what) for number, what in bad]
