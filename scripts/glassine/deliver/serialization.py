"""Bring a bag's files to where they belong: a folder, a tar file or a zip file.

Each carrier takes up what an interrupted one left. Payload files are hashed while they are
copied, one read, and must be what their package says.
"""

from __future__ import annotations

import calendar
import errno
import fcntl
import io
import os
import stat
import struct
import tarfile
import time as clock_time
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from itertools import chain, islice
from pathlib import Path
from typing import BinaryIO, Protocol

from glassine.base import files, hashing, workers
from glassine.base.errors import Finding, GlassineError
from glassine.base.hashing import Digests

# ioctl(2) FICLONE: share the blocks of another file (Btrfs, XFS).
_FICLONE = 0x40049409
_TAR_BLOCK = 512
_TAR_END = bytes(2 * _TAR_BLOCK)
_LOCAL_HEADER = struct.Struct("<4s5H3L2H")  # APPNOTE.TXT 6.3.10, section 4.3.7
_ZIP64_FROM = 2**31


@dataclass(frozen=True, slots=True)
class Source:
    """A payload file: its path in the bag, where it lies now, and what it must be. There may be a
    million of them.

    content: what makes its bytes, of a file that is made for the bag; place and origin then are
    what it is made from.
    """

    path: str
    place: str
    digests: Digests
    content: Callable[[], bytes] | None = None

    @property
    def origin(self) -> Path:
        return Path(self.place)

    def open(self) -> BinaryIO:
        """Return the file opened. Raises OSError."""
        if self.content is not None:
            return io.BytesIO(self.content())
        return open(self.place, "rb", buffering=0)  # noqa: PTH123


class Sources(Protocol):
    """The payload files of a bag in the order of their paths, each time anew: not all are held."""

    def __iter__(self) -> Iterator[Source]: ...


# No read ends with these; a write that does names no file.
_ONLY_WRITING = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EROFS})
# So many files are handed over to the processes of a job at one time.
_HANDED = 2**13


class Carrier(Protocol):
    """Make the bag `part`, with the folder `top` at the top of an archive.

    trusting: whether files that an interrupted run finished are believed by their size.
    Raises GlassineError for each source that is not what its package says.
    """

    def __call__(
        self,
        part: Path,
        top: str,
        time: str,
        tags: dict[str, bytes],
        sources: Sources,
        *,
        trusting: bool,
    ) -> None: ...


def carrier(form: str, copy: str) -> Carrier:
    """Return the carrier of a form (folder, tar, zip); copy: copy, reflink or hardlink.

    What it made is synced, but may still be in the system's memory: see `forget`.
    """
    if form == "tar":
        return _tar
    if form == "zip":
        return _zip
    return _FolderCarrier(copy)


def _changed(source: Source, digests: Digests) -> Finding:
    return Finding(
        "delivery.changed",
        str(source.origin),
        f"The file is no longer what package.json says: SHA-256 {digests.sha256}, "
        f"{digests.bytes} bytes.",
        f"SHA-256 {source.digests.sha256}, {source.digests.bytes} bytes.",
        "Look at the disk; a damaged derivative is made again when its item's results are "
        "deleted, a damaged master has to be copied again from the capture station.",
    )


def _unreadable(source: Source, problem: OSError) -> Finding:
    return Finding(
        "delivery.unreadable",
        str(source.origin),
        f"The file cannot be read: {problem.strerror or problem}.",
        "every file that package.json lists.",
        "Look at the disk and the share, then run again; what is copied stays.",
    )


def _of_the_bag(source: Source, problem: OSError) -> bool:
    """Return whether what could not be done is to write the bag, not to read the file."""
    named_other = bool(problem.filename) and Path(problem.filename) != source.origin
    return named_other or problem.errno in _ONLY_WRITING


def _require(findings: list[Finding]) -> None:
    if findings:
        raise GlassineError(findings)


class _FolderCarrier:
    """Copies, or where the file system can, shares blocks (reflink) or the file itself (hardlink).

    What cannot be shared is copied.
    """

    def __init__(self, copy: str) -> None:
        self.copy = copy
        self._folder = ""  # the last one that was made

    def __call__(
        self,
        part: Path,
        top: str,
        time: str,
        tags: dict[str, bytes],
        sources: Sources,
        *,
        trusting: bool,
    ) -> None:
        self._folder = ""
        part.mkdir(exist_ok=True)
        if any(part.iterdir()):
            _remove_others(part, {source.path for source in sources} | set(tags))
        work = partial(self.brought, part, trusting)
        left = iter(sources)
        findings: list[Finding] = []
        while some := list(islice(left, _HANDED)):
            brought = workers.each(work, some, lambda source: source.digests.bytes)
            findings += [finding for finding in brought if finding is not None]
        _require(findings)
        for path, content in tags.items():
            files.write_bytes(part / path, content)
        hashing.sync(part)

    def brought(self, part: Path, trusting: bool, source: Source) -> Finding | None:
        """See that a file is in the bag; None, or a finding where it cannot be."""
        target = f"{part}/{source.path}"
        if _is_there(target, source.digests, trusting):
            return None
        try:
            return self.bring(source, target)
        except OSError as problem:
            if _of_the_bag(source, problem):
                raise
            return _unreadable(source, problem)

    def bring(self, source: Source, target: str) -> Finding | None:
        """Bring one file; None, or a finding where it is not what it must be.

        There may be a million: no Path is made of each, and its folder is made once.
        """
        folder, _, name = target.rpartition("/")
        if folder != self._folder:
            os.makedirs(folder, exist_ok=True)  # noqa: PTH103
            self._folder = folder
        is_file = source.content is None
        if self.copy == "hardlink" and is_file and _linked(source.place, target):
            digests = hashing.of_file(Path(target))
            if digests != source.digests:
                os.unlink(target)  # noqa: PTH108
                return _changed(source, digests)
            return None
        return self._copied(source, f"{folder}/{files.TEMPORARY_PREFIX}{name[:200]}", target)

    def _copied(self, source: Source, temporary: str, target: str) -> Finding | None:
        is_file = source.content is None
        done = False
        try:
            with source.open() as opened, open(temporary, "wb") as written:  # noqa: PTH123
                shares = self.copy == "reflink" and is_file
                if shares and _cloned(opened.fileno(), written.fileno()):
                    digests = hashing.of_stream(opened)  # type: ignore[arg-type]
                else:
                    digests = hashing.of_stream(opened, written)  # type: ignore[arg-type]
            if digests != source.digests:
                return _changed(source, digests)
            origin_state = os.stat(source.place)  # noqa: PTH116
            os.utime(temporary, ns=(origin_state.st_mtime_ns, origin_state.st_mtime_ns))
            os.rename(temporary, target)  # noqa: PTH104
            done = True
        finally:
            if not done:
                Path(temporary).unlink(missing_ok=True)
        return None


def _is_there(target: str, digests: Digests, trusting: bool) -> bool:
    """Return whether an earlier run brought the file; it has its name only when whole."""
    try:
        state = os.lstat(target)
    except OSError:
        return False
    if not stat.S_ISREG(state.st_mode) or state.st_size != digests.bytes:
        return False
    return trusting or hashing.of_file(Path(target)) == digests


def _remove_others(part: Path, paths: set[str]) -> None:
    root = os.fspath(part)
    for folder, folders, names in os.walk(root, topdown=False):
        for name in folders:
            path = f"{folder}/{name}"
            if os.path.islink(path):  # noqa: PTH114 - no Path each: there may be a million
                os.unlink(path)  # noqa: PTH108
            elif not os.listdir(path):  # noqa: PTH208
                os.rmdir(path)  # noqa: PTH106
        for name in names:
            if f"{folder}/{name}"[len(root) + 1 :] not in paths:
                os.unlink(f"{folder}/{name}")  # noqa: PTH108


def _linked(origin: str, target: str) -> bool:
    Path(target).unlink(missing_ok=True)
    try:
        os.link(origin, target)
    except OSError:  # another file system, or one without hard links
        return False
    return True


def _cloned(origin: int, target: int) -> bool:
    try:
        fcntl.ioctl(target, _FICLONE, origin)
    except OSError:  # a file system that cannot share blocks
        return False
    return True


def _seconds(time: str) -> int:
    return calendar.timegm(clock_time.strptime(time, "%Y-%m-%dT%H:%M:%SZ"))


def _tar_header(name: str, size: int, seconds: int) -> bytes:
    """Return the header of a member, the same whenever it is made (POSIX pax format)."""
    member = tarfile.TarInfo(name)
    member.size = size
    member.mtime = seconds
    member.mode = 0o644
    return member.tobuf(tarfile.PAX_FORMAT, "utf-8", "surrogateescape")


def _carry(
    source: Source | bytes, write: Callable[[Source | bytes], Digests], findings: list[Finding]
) -> bool:
    """Write a tag file or a payload file; False with a finding where it is not what it must be."""
    if isinstance(source, bytes):
        write(source)
        return True
    try:
        digests = write(source)
    except OSError as problem:
        if _of_the_bag(source, problem):
            raise
        findings.append(_unreadable(source, problem))
        return False
    if digests != source.digests:
        findings.append(_changed(source, digests))
        return False
    return True


def _entries(tags: dict[str, bytes], sources: Sources) -> Iterator[tuple[str, int, Source | bytes]]:
    """Yield (path, size, what) in the order of an archive: tag files first, then payload."""
    for path, content in tags.items():
        yield path, len(content), content
    for source in sources:
        yield source.path, source.digests.bytes, source


def _stream(what: Source | bytes, target: hashing.Writable) -> Digests:
    if isinstance(what, bytes):
        target.write(memoryview(what))
        return hashing.of_bytes(what)
    with what.open() as opened:
        return hashing.of_stream(opened, target)  # type: ignore[arg-type]


def _tar(
    part: Path,
    top: str,
    time: str,
    tags: dict[str, bytes],
    sources: Sources,
    *,
    trusting: bool,
) -> None:
    """Write members whose places are known beforehand; go on behind the last whole one."""
    part.touch()
    there = part.stat().st_size if trusting else 0
    seconds = _seconds(time)
    findings: list[Finding] = []
    with part.open("r+b") as target:
        at = 0
        for path, size, what in _entries(tags, sources):
            header = _tar_header(f"{top}/{path}", size, seconds)
            end = at + len(header) + -(-size // _TAR_BLOCK) * _TAR_BLOCK
            if end > there:
                target.seek(at)
                target.truncate()
                target.write(header)
                if not _carry(what, lambda what: _stream(what, target), findings):
                    break
                target.write(bytes(-size % _TAR_BLOCK))
                there = 0
            at = end
        target.seek(at)
        target.truncate()
        if not findings:
            target.write(_TAR_END)
        target.flush()
        os.fsync(target.fileno())
    _require(findings)


def _zip_member(name: str, size: int, seconds: int) -> zipfile.ZipInfo:
    moment = clock_time.gmtime(max(seconds, 315532800))[:6]  # zip begins in 1980
    member = zipfile.ZipInfo(name, moment)
    member.file_size = size
    member.external_attr = 0o100644 << 16
    member.create_system = 3
    member.compress_type = zipfile.ZIP_STORED
    return member


def _whole_member(opened: BinaryIO, name: str, size: int, what: Source | bytes) -> int | None:
    """Return the CRC-32 of the member at the current place if it is whole, else None.

    Its bytes are read and compared; the place is then behind it.
    """
    head = opened.read(_LOCAL_HEADER.size)
    if len(head) < _LOCAL_HEADER.size:
        return None
    signature, _, flags, method, _, _, crc, _, _, name_size, extra_size = _LOCAL_HEADER.unpack(head)
    if signature != b"PK\3\4" or method != 0 or flags & 8:
        return None
    if opened.read(name_size) != name.encode():
        return None
    opened.seek(extra_size, os.SEEK_CUR)
    begins = opened.tell()
    digests = hashing.of_stream(_Limited(opened, size))
    opened.seek(begins + size)
    expected = hashing.of_bytes(what) if isinstance(what, bytes) else what.digests
    return int(crc) if digests == expected else None


class _Limited:
    """The next `count` bytes of a stream."""

    def __init__(self, stream: BinaryIO, count: int) -> None:
        self.stream = stream
        self.left = count

    def readinto(self, buffer: bytearray) -> int:
        piece = self.stream.read(min(len(buffer), self.left))
        buffer[: len(piece)] = piece
        self.left -= len(piece)
        return len(piece)


def _zip(
    part: Path,
    top: str,
    time: str,
    tags: dict[str, bytes],
    sources: Sources,
    *,
    trusting: bool,
) -> None:
    """Write stored members; keep those that an interrupted run finished, which are read again."""
    part.touch()
    seconds = _seconds(time)
    findings: list[Finding] = []
    with part.open("r+b") as target:
        entries: Iterator[tuple[str, int, Source | bytes]] = _entries(tags, sources)
        whole_members: list[zipfile.ZipInfo] = []
        at = 0
        for path, size, what in entries:
            crc = _whole_member(target, f"{top}/{path}", size, what)
            if crc is None:
                entries = chain([(path, size, what)], entries)
                break
            member = _zip_member(f"{top}/{path}", size, seconds)
            member.header_offset, member.CRC, member.compress_size = at, crc, size
            whole_members.append(member)
            at = target.tell()
        target.seek(at)
        target.truncate()
        with zipfile.ZipFile(target, "w", zipfile.ZIP_STORED, allowZip64=True) as archive:
            for member in whole_members:
                archive.filelist.append(member)
                archive.NameToInfo[member.filename] = member
            for path, size, what in entries:
                member = _zip_member(f"{top}/{path}", size, seconds)
                with archive.open(member, "w", force_zip64=size >= _ZIP64_FROM) as opened:
                    done = _carry(what, lambda what: _stream(what, opened), findings)
                if not done:
                    break
        os.fsync(target.fileno())
    if findings:
        os.truncate(part, at)  # a central directory would make it look finished
    _require(findings)
