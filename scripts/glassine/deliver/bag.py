"""BagIt 1.0 (RFC 8493): the tag files of a bag, and a strict check of a finished one.

The check reads a bag as a folder, a tar or a zip file, and every byte of it. It is stricter
than the RFC where a delivery of ours has no reason for the laxer form: both manifests must be
there and complete, every tag file listed, no link, no fetch.txt.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import stat
import tarfile
import unicodedata
import zipfile
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from itertools import pairwise
from pathlib import Path, PurePosixPath
from typing import BinaryIO, Protocol

from glassine.base import hashing, workers
from glassine.base.errors import Finding, GlassineError
from glassine.base.hashing import Digests

DECLARATION = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
ALGORITHMS = {"sha256": 64, "sha512": 128}
PAYLOAD = "data/"
# What is signed, and the signature: no manifest can list it (see `signing`).
SIGNED = "tagmanifest-sha512.txt"
SIGNATURE = f"{SIGNED}.sig"
# A manifest of a million files is about 200 MB; more is no delivery of ours.
MAX_TAG_BYTES = 512 * 2**20
_DECLARED = re.compile(
    r"BagIt-Version: (\d+\.\d+)(?:\r\n|\n|\r)Tag-File-Character-Encoding: (\S+)(?:\r\n|\n|\r)?"
)
_LINE = re.compile(r"([0-9A-Fa-f]+)[ \t]+(\S.*)")
_MANIFEST = re.compile(r"(tag)?manifest-(.+)\.txt")
_RESENT = "Have the delivery sent again; do not take in this one."


def encoded_path(path: str) -> str:
    """Return `path` with %, CR and LF percent-encoded, and nothing else (section 2.1.3).

    >>> encoded_path("data/50%.tif")
    'data/50%25.tif'
    """
    return path.replace("%", "%25").replace("\r", "%0D").replace("\n", "%0A")


def decoded_path(path: str) -> str:
    """Return what `encoded_path` was given."""
    return re.sub(
        "%(25|0D|0A)",
        lambda match: {"25": "%", "0D": "\r", "0A": "\n"}[match[1].upper()],
        path,
        flags=re.IGNORECASE,
    )


def manifest(entries: dict[str, str]) -> str:
    """Return a manifest of {path: hex digest}, sorted by path, two blanks between."""
    return "".join(manifest_line(path, entries[path]) for path in sorted(entries))


def manifest_line(path: str, digest: str) -> str:
    """Return the line of a file in a manifest."""
    return f"{digest}  {encoded_path(path)}\n"


def info(tags: Iterable[tuple[str, str]]) -> str:
    """Return bag-info.txt of (label, value), in the order given (section 2.2.2)."""
    return "".join(f"{label}: {' '.join(value.split())}\n" for label, value in tags)


def parsed_info(text: str) -> list[tuple[str, str]]:
    """Return (label, value) of bag-info.txt. Raises ValueError with the line that is none."""
    labels: list[tuple[str, str]] = []
    for number, line in enumerate(_lines(text), 1):
        if line[:1] in (" ", "\t") and labels:
            labels[-1] = (labels[-1][0], f"{labels[-1][1]} {line.strip()}")
        elif ":" in line and not line[:1].isspace() and line.split(":", 1)[0].strip():
            label, value = line.split(":", 1)
            labels.append((label.strip(), value.strip()))
        elif line.strip():
            raise ValueError(f"line {number} has no label")
    return labels


def _lines(text: str) -> list[str]:
    """Return the lines ended by LF, CR or CRLF (section 2.1.1); not those of `splitlines`."""
    return list(_each_line(text))


def _each_line(text: str) -> Iterator[str]:
    """Yield what `_lines` returns, without a copy of a long text."""
    begin = 0
    for end in re.finditer(r"\r\n|\n|\r", text):
        yield text[begin : end.start()]
        begin = end.end()
    yield text[begin:]


class Store(Protocol):
    """A bag's files by their path in it; `odd` names what is neither file nor folder."""

    files: dict[str, int]
    odd: list[tuple[str, str]]

    def open(self, path: str) -> contextlib.AbstractContextManager[BinaryIO]: ...

    def close(self) -> None: ...


def _below(root: str) -> Iterator[str]:
    """Yield the paths of all that lies below a folder. Raises OSError."""

    def refuse(problem: OSError) -> None:
        raise problem

    for folder, folders, names in os.walk(root, onerror=refuse):
        yield from (f"{folder}/{name}" for name in (*folders, *names))


class FolderStore:
    """A bag as a folder."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.odd: list[tuple[str, str]] = []
        sizes: list[tuple[str, int]] = []
        for path in _below(os.fspath(root)):  # no Path each: there may be a million
            relative = path[len(os.fspath(root)) + 1 :]
            state = os.lstat(path)
            if stat.S_ISREG(state.st_mode):
                sizes.append((relative, state.st_size))
            elif not stat.S_ISDIR(state.st_mode):
                self.odd.append((relative, "a link or device, no file"))
        self.odd.sort()
        sizes.sort()
        self.files: dict[str, int] = dict(sizes)

    def open(self, path: str) -> contextlib.AbstractContextManager[BinaryIO]:
        return (self.root / path).open("rb")

    def close(self) -> None:
        """Nothing is kept open."""


class _ArchiveStore:
    """What tar and zip share: one folder at the top, each name once, nothing outside it."""

    def __init__(self) -> None:
        self.files: dict[str, int] = {}
        self.odd: list[tuple[str, str]] = []
        self.top: str | None = None

    def add(self, name: str, size: int, kind: str) -> str | None:
        """Take in a member; return its path in the bag where it is a file, else None."""
        parts = PurePosixPath(name).parts
        if not parts or name.startswith("/") or ".." in parts or "\\" in name:
            self.odd.append((name, "a name that leads out of the archive"))
            return None
        self.top = self.top or parts[0]
        if parts[0] != self.top:
            self.odd.append((name, f"stands beside the folder {self.top}, which must be alone"))
            return None
        path = "/".join(parts[1:])
        if kind == "folder":
            return None
        if kind != "file" or not path:
            self.odd.append((path or name, "a link or device, no file"))
            return None
        if path in self.files:
            self.odd.append((path, "stands twice in the archive"))
            return None
        self.files[path] = size
        return path


class TarStore(_ArchiveStore):
    """A bag as an uncompressed tar file. Raises tarfile.TarError, OSError."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.members: dict[str, tarfile.TarInfo] = {}
        self.archive = tarfile.open(path, "r:")  # noqa: SIM115 (kept open for `open`)
        try:
            self.take_in(path.stat().st_size)
        except (OSError, tarfile.TarError):
            self.archive.close()
            raise

    def take_in(self, size: int) -> None:
        end = 0
        for member in self.archive:
            kind = "file" if member.isreg() else "folder" if member.isdir() else "other"
            name = self.add(member.name, member.size, kind)
            if name is not None:
                self.members[name] = member
            end = member.offset_data + member.size
        if size < end + 1024:
            raise tarfile.ReadError("the archive is cut short")

    def open(self, path: str) -> contextlib.AbstractContextManager[BinaryIO]:
        opened = self.archive.extractfile(self.members[path])
        assert opened is not None  # a regular member
        return opened  # type: ignore[return-value]

    def close(self) -> None:
        self.archive.close()


class ZipStore(_ArchiveStore):
    """A bag as a zip file. Raises zipfile.BadZipFile, OSError."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.archive = zipfile.ZipFile(path)
        self.members: dict[str, zipfile.ZipInfo] = {}
        for member in self.archive.infolist():
            mode = member.external_attr >> 16
            plain = not mode or stat.S_IFMT(mode) in (0, stat.S_IFREG)
            kind = "folder" if member.is_dir() else "file" if plain else "other"
            name = self.add(member.filename, member.file_size, kind)
            if name is not None:
                self.members[name] = member

    @contextlib.contextmanager
    def open(self, path: str) -> Iterator[BinaryIO]:
        with self.archive.open(self.members[path]) as opened:
            yield opened  # type: ignore[misc]

    def close(self) -> None:
        self.archive.close()


def open_store(path: Path) -> Store:
    """Return the bag at `path`. Raises GlassineError for what cannot be read as one."""
    try:
        if path.is_dir():
            return FolderStore(path)
        if zipfile.is_zipfile(path):
            return ZipStore(path)
        return TarStore(path)
    except (OSError, tarfile.TarError, zipfile.BadZipFile, ValueError) as problem:
        raise GlassineError.because(
            "bag.unreadable",
            path,
            f"This is no bag that can be read: {problem}.",
            "a folder, a tar file or a zip file with one bag.",
            _RESENT,
        ) from problem


def tag_file(path: Path, name: str) -> bytes | None:
    """Return a tag file of a bag, None where there is no bag or no such file in it."""
    try:
        store = open_store(path)
    except GlassineError:
        return None
    try:
        if store.files.get(name, MAX_TAG_BYTES) >= MAX_TAG_BYTES:
            return None
        with store.open(name) as opened:
            return opened.read()
    finally:
        store.close()


def _plain_name(path: str) -> str:
    """Return what two names have in common that some file systems do not tell apart."""
    return unicodedata.normalize("NFC", path).casefold()


@dataclass
class _Shown:
    """What a payload manifest shows: files that it lists and that are not there, that are there and
    that it does not list, and of other bytes."""

    missing: set[str] = field(default_factory=set)
    unlisted: set[str] = field(default_factory=set)
    changed: set[str] = field(default_factory=set)


class _Check:
    """One reading of a bag; collects every finding."""

    def __init__(self, store: Store, where: str) -> None:
        self.store = store
        self.where = where
        self.findings: list[Finding] = []
        self.read = hashing.Kept()
        self._unread: set[str] = set()

    def note(self, code: str, path: str, what: str, expected: str) -> None:
        finding_path = f"{self.where}/{path}" if path else self.where
        finding_path = finding_path.encode("utf-8", "backslashreplace").decode()
        self.findings.append(Finding(f"bag.{code}", finding_path, what, expected, _RESENT))

    def digests(self, path: str) -> Digests | None:
        if path in self._unread:
            return None
        if path not in self.read:
            try:
                with self.store.open(path) as opened:
                    self.read[path] = hashing.of_stream(opened)  # type: ignore[arg-type]
            except (OSError, zipfile.BadZipFile, tarfile.TarError, EOFError) as problem:
                self.note("unreadable", path, f"It cannot be read: {problem}.", "a whole file.")
                self._unread.add(path)
                return None
        return self.read[path]

    def text(self, path: str) -> str | None:
        """Return a tag file's text, or None with a finding."""
        if not self._may_be_read(path):
            return None
        try:
            with self.store.open(path) as opened:
                content = opened.read()
            if content.startswith(b"\xef\xbb\xbf"):
                raise ValueError("it begins with a byte-order mark")
            return content.decode("utf-8")
        except (OSError, ValueError, zipfile.BadZipFile, tarfile.TarError) as problem:
            self.note("encoding", path, f"It cannot be read: {problem}.", "UTF-8 without a mark.")
            return None

    def run(self) -> list[Finding]:
        for path, what in self.store.odd:
            self.note("link", path, f"This is {what}.", "files and folders, each once.")
        self.declaration()
        self.names()
        self.payload()
        self.tags()
        self.info()
        if "fetch.txt" in self.store.files:
            what = "Files are still to be fetched from elsewhere."
            self.note("fetch", "fetch.txt", what, "a bag with all its files (section 3).")
        return self.findings

    def declaration(self) -> None:
        text = self.text("bagit.txt")
        if text is None:
            if "bagit.txt" not in self.store.files:
                self.note("declaration", "bagit.txt", "It is missing.", "bagit.txt (2.1.1).")
            return
        declared = _DECLARED.fullmatch(text)
        if declared is None or declared[1] != "1.0" or declared[2] != "UTF-8":
            what = "It does not declare BagIt 1.0 in UTF-8 on exactly two lines."
            self.note("declaration", "bagit.txt", what, "the two lines of section 2.1.1.")

    def names(self) -> None:
        """Sections 5.1 and 6.1.1: names that differ only in case or normalization."""
        for path in self.store.files:
            if not unicodedata.is_normalized("NFC", path):
                self.note("name", path, "The name is not in form NFC.", "Unicode form NFC.")
        # Only what has the hash of another is compared by itself: there may be a million names.
        hashes = sorted(hash(_plain_name(path)) for path in self.store.files)
        twice = {one for one, other in pairwise(hashes) if one == other}
        paths: dict[str, str] = {}
        for path in self.store.files if twice else ():
            key = _plain_name(path)
            if hash(key) not in twice:
                continue
            if key in paths:
                what = f"The name differs from {paths[key]} only in case or normalization."
                self.note("name", path, what, "names that every file system tells apart (6.1.1).")
            paths[key] = path
        if not any(path.startswith(PAYLOAD) for path in self.store.files):
            self.note("payload", "data", "There is no payload.", "a folder data/ (2.1.2).")

    def lines(self, path: str, algorithm: str, tags: bool) -> Iterator[tuple[str, str]]:
        """Yield (path, digest) of each line of a manifest, as it is read; what is no proper line
        becomes a finding."""
        for number, line in enumerate(self.text_lines(path), 1):
            if not line:
                continue
            match = _LINE.fullmatch(line)
            if match is None or len(match[1]) != ALGORITHMS[algorithm]:
                what = f"Line {number} is no digest and path."
                self.note("manifest_line", path, what, "`digest  path` (2.1.3).")
                continue
            name = decoded_path(match[2])
            if not self._inside(name, tags):
                what = f"Line {number} names {name!r}, which this manifest may not list."
                self.note("manifest_path", path, what, "paths below data/, none outside (5.1).")
                continue
            yield name, match[1].lower()

    def text_lines(self, path: str) -> Iterator[str]:
        """Yield the lines of a tag file without their ends; none is held but the one at hand."""
        if not self._may_be_read(path):
            return
        try:
            with self.store.open(path) as opened:
                text = io.TextIOWrapper(opened, "utf-8", newline=None)
                for number, line in enumerate(text):
                    if number == 0 and line.startswith("\ufeff"):
                        raise ValueError("it begins with a byte-order mark")
                    yield line.rstrip("\n")
        except (OSError, EOFError, ValueError, zipfile.BadZipFile, tarfile.TarError) as problem:
            self.note("encoding", path, f"It cannot be read: {problem}.", "UTF-8 without a mark.")

    def _may_be_read(self, path: str) -> bool:
        if path not in self.store.files:
            return False
        if self.store.files[path] > MAX_TAG_BYTES:
            self.note("tag_size", path, "It is far too large.", f"at most {MAX_TAG_BYTES} bytes.")
            return False
        return True

    def listed(self, path: str, algorithm: str) -> dict[str, str]:
        """Return {path: digest} of a tag manifest."""
        digests: dict[str, str] = {}
        for name, digest in self.lines(path, algorithm, tags=True):
            if name in digests:
                self._twice(path, name)
            digests[name] = digest
        return digests

    def _twice(self, path: str, name: str) -> None:
        what = f"It lists {name} a second time."
        self.note("manifest_twice", path, what, "every file exactly once (2.1.3).")

    @staticmethod
    def _inside(name: str, tags: bool) -> bool:
        parts = name.split("/")
        plain = not ({"", ".", ".."} & set(parts)) and "\\" not in name and not name.startswith("~")
        if not plain:
            return False
        if tags:
            return not name.startswith(PAYLOAD) and not name.startswith("tagmanifest-")
        return name.startswith(PAYLOAD)

    def payload(self) -> None:
        """Hold the payload against each manifest of it, a line at a time."""
        present = sorted(path for path in self.store.files if path.startswith(PAYLOAD))
        shown: dict[str, _Shown] = {}
        for name in sorted(self.store.files):
            match = _MANIFEST.fullmatch(name)
            if match and match[2] not in ALGORITHMS:
                what = f"The algorithm {match[2]!r} is none of ours."
                self.note("algorithm", name, what, "sha256 and sha512, in lower case (2.4).")
            elif match and not match[1]:
                shown[match[2]] = self._held_against(name, match[2], present)
        for algorithm in ALGORITHMS:
            if algorithm not in shown:
                name = f"manifest-{algorithm}.txt"
                self.note("manifest_missing", name, "It is missing.", "both payload manifests.")
        self._tell_payload(present, shown)

    def _held_against(self, path: str, algorithm: str, present: list[str]) -> _Shown:
        """Return what a payload manifest shows of the payload. present: its paths, sorted."""
        shown = _Shown()
        named = bytearray(len(present))
        place = -1
        for name, digest in self.lines(path, algorithm, tags=False):
            place += 1  # manifests are sorted as a rule
            if place >= len(present) or present[place] != name:
                place = bisect_left(present, name)
            if place >= len(present) or present[place] != name:
                if name in shown.missing:
                    self._twice(path, name)
                shown.missing.add(name)
                continue
            if named[place]:
                self._twice(path, name)
            named[place] = 1
            digests = self.digests(present[place])
            if digests is not None and getattr(digests, algorithm) != digest:
                shown.changed.add(name)
        shown.unlisted = {
            name for name, is_named in zip(present, named, strict=True) if not is_named
        }
        return shown

    def _tell_payload(self, present: list[str], shown: dict[str, _Shown]) -> None:
        everything = [*shown.values()]
        for path in sorted(set().union(*(each.missing for each in everything))):
            self.note("payload_missing", path, "It is listed but not there.", "the file.")
        nowhere = (
            set.intersection(*(each.unlisted for each in everything)) if everything else {*present}
        )
        for path in sorted(nowhere):
            self.note("payload_unlisted", path, "No manifest lists it.", "only listed files (3).")
        for algorithm, each in shown.items():
            for path in sorted(each.unlisted - nowhere):
                what = f"manifest-{algorithm}.txt does not list it."
                self.note("manifest_incomplete", path, what, "every file in every manifest.")
        for path in sorted(set().union(*(each.changed for each in everything))):
            self._differs(path, [name for name, each in shown.items() if path in each.changed])

    def compare(self, path: str, expected: dict[str, str | None]) -> None:
        digests = self.digests(path)
        if digests is None:
            return
        wrong = [
            algorithm
            for algorithm, digest in expected.items()
            if digest is not None and getattr(digests, algorithm) != digest
        ]
        if wrong:
            self._differs(path, wrong)

    def _differs(self, path: str, algorithms: list[str]) -> None:
        code = "payload_changed" if path.startswith(PAYLOAD) else "tag_changed"
        what = f"Its bytes are not those listed ({', '.join(algorithms)} differ)."
        self.note(code, path, what, "the bytes that were delivered.")

    def tags(self) -> None:
        lists = {}
        for algorithm in ALGORITHMS:
            name = f"tagmanifest-{algorithm}.txt"
            if name in self.store.files:
                lists[algorithm] = self.listed(name, algorithm)
            else:
                self.note("tag_manifest_missing", name, "It is missing.", "both tag manifests.")
        everywhere = set().union(*lists.values()) if lists else set()
        present = {
            path for path in self.store.files if not path.startswith((PAYLOAD, "tagmanifest-"))
        }
        known = {f"tagmanifest-{algorithm}.txt" for algorithm in ALGORITHMS} | {SIGNATURE}
        for path in sorted(self.store.files):
            if path.startswith("tagmanifest-") and path not in known:
                what = "It is neither a tag manifest of ours nor its signature."
                self.note("tag_unlisted", path, what, "only files that a manifest lists.")
        for path in sorted(everywhere - present):
            self.note("tag_missing", path, "It is listed but not there.", "the tag file.")
        for path in sorted(present):
            for algorithm, listed in lists.items():
                if path not in listed:
                    what = f"tagmanifest-{algorithm}.txt does not list it."
                    self.note("tag_unlisted", path, what, "every tag file in both.")
            self.compare(path, {name: listed.get(path) for name, listed in lists.items()})

    def info(self) -> None:
        text = self.text("bag-info.txt")
        if text is None:
            if "bag-info.txt" not in self.store.files:
                self.note("info", "bag-info.txt", "It is missing.", "bag-info.txt with its tags.")
            return
        try:
            tags = parsed_info(text)
        except ValueError as problem:
            what = f"It cannot be read: {problem}."
            self.note("info", "bag-info.txt", what, "`label: value` lines (2.2.2).")
            return
        oxum = [value for label, value in tags if label.lower() == "payload-oxum"]
        sizes = [size for path, size in self.store.files.items() if path.startswith(PAYLOAD)]
        expected = f"{sum(sizes)}.{len(sizes)}"
        if oxum != [expected]:
            what = f"Payload-Oxum is {', '.join(oxum) or 'missing'}."
            self.note("oxum", "bag-info.txt", what, f"{expected}, once (2.2.2).")


@dataclass(frozen=True)
class Reading:
    """A bag that was read: what is wrong with it, its files, and the digests of those read."""

    findings: list[Finding]
    store: Store
    digests: Mapping[str, Digests]


@contextlib.contextmanager
def reading(path: Path, *, forget: bool = False) -> Iterator[Reading]:
    """Give the reading of the bag at `path`, every byte of it, with its files still open.

    forget: let the system drop its own copy of what was written and synced before it is read.
    Section numbers in the findings are those of RFC 8493. Raises GlassineError for what cannot
    be opened as a folder, tar or zip file.
    """
    store = open_store(path)
    try:
        if forget and not path.is_dir():
            hashing.forget(path)
        check = _Check(store, path.name)
        if isinstance(store, FolderStore):
            _take_digests(check, store, forget=forget)
        yield Reading(check.run(), store, check.read)
    finally:
        store.close()


def _take_digests(check: _Check, store: FolderStore, *, forget: bool) -> None:
    """Take in the digests of a folder's files, read by all processes of the job; one that cannot be
    read is left out, and told where it is asked for by itself."""
    paths = sorted(store.files)
    known = workers.each(partial(_read, store.root, forget), paths, store.files.__getitem__)
    for path, digests in zip(paths, known, strict=True):
        if digests:
            check.read.take(path, digests)


def _read(root: Path, forget: bool, path: str) -> bytes | None:
    """Return the digests of a file, packed: they come from another process."""
    try:
        with open(f"{root}/{path}", "rb", buffering=0) as opened:  # noqa: PTH123 - of a million
            if forget:
                os.posix_fadvise(opened.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
            return hashing.packed(hashing.of_stream(opened))
    except OSError:
        return None


def validate(path: Path, *, forget: bool = False) -> list[Finding]:
    """Return everything that keeps the bag at `path` from being complete and valid; forget: see
    `reading`."""
    try:
        with reading(path, forget=forget) as bag_reading:
            return bag_reading.findings
    except GlassineError as error:
        return error.findings
