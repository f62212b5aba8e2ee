"""SHA-256 and SHA-512 of a file in one read, and of a file while it is copied."""

from __future__ import annotations

import ctypes
import hashlib
import os
import struct
from collections.abc import Iterator, MutableMapping
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Protocol

from glassine.base import threads

CHUNK = 4 * 2**20


@dataclass(frozen=True, slots=True)
class Digests:
    """bytes: size as read; sha256, sha512: lower-case hex."""

    bytes: int
    sha256: str
    sha512: str


_PACKED = struct.Struct("<Q32s64s")


def packed(digests: Digests) -> bytes:
    """Return digests as 104 bytes, a quarter of what they take as an object."""
    return _PACKED.pack(digests.bytes, bytes.fromhex(digests.sha256), bytes.fromhex(digests.sha512))


def unpacked(content: bytes) -> Digests:
    """Return what `packed` was given."""
    size, first, second = _PACKED.unpack(content)
    return Digests(size, first.hex(), second.hex())


class Kept(MutableMapping[str, Digests]):
    """Digests of many files by their paths, kept packed: there may be a million."""

    def __init__(self) -> None:
        self._packed: dict[str, bytes] = {}

    def take(self, path: str, content: bytes) -> None:
        """Take in the packed digests of a file."""
        self._packed[path] = content

    def __getitem__(self, path: str) -> Digests:
        return unpacked(self._packed[path])

    def __setitem__(self, path: str, digests: Digests) -> None:
        self._packed[path] = packed(digests)

    def __delitem__(self, path: str) -> None:
        del self._packed[path]

    def __contains__(self, path: object) -> bool:
        return path in self._packed

    def __iter__(self) -> Iterator[str]:
        return iter(self._packed)

    def __len__(self) -> int:
        return len(self._packed)


@cache
def _helper() -> Executor:
    return threads.helper()


def forget_helper() -> None:
    """Let a process that was forked have no helper: the thread of its parent is not in it."""
    _helper.cache_clear()


class _Both:
    """The two digests of a stream; large pieces are worked on by a helper too."""

    def __init__(self) -> None:
        self.count = 0
        self.first = hashlib.sha256()
        self.second = hashlib.sha512()

    def update(self, piece: memoryview) -> None:
        self.count += len(piece)
        if len(piece) < 2**18:  # a thread costs more than it saves
            self.first.update(piece)
            self.second.update(piece)
            return
        other = _helper().submit(self.second.update, piece)
        self.first.update(piece)
        other.result()

    def digests(self) -> Digests:
        return Digests(self.count, self.first.hexdigest(), self.second.hexdigest())


class Readable(Protocol):
    def readinto(self, buffer: bytearray, /) -> int | None: ...


class Writable(Protocol):
    def write(self, piece: memoryview, /) -> object: ...


def _piece_of(stream: object) -> int:
    """Return how many bytes are read at a time: of a small file no more than it has, as room for a
    large piece costs more than to read it."""
    try:
        size = os.fstat(stream.fileno()).st_size  # type: ignore[attr-defined]
    except (AttributeError, OSError):  # a stream of an archive, or in memory
        return CHUNK
    return max(2**12, min(CHUNK, size + 1))


def of_stream(stream: Readable, target: Writable | None = None) -> Digests:
    """Return the digests of all that `stream` gives; write it to `target` on the way, if given."""
    both = _Both()
    buffer = bytearray(_piece_of(stream))
    view = memoryview(buffer)
    while count := stream.readinto(buffer):
        both.update(view[:count])
        if target is not None:
            target.write(view[:count])
    return both.digests()


def of_file(path: Path) -> Digests:
    """Return the digests of the file as it is on disk now. Raises OSError."""
    size = path.stat().st_size
    if size <= CHUNK:
        content = path.read_bytes()
        both = _Both()
        both.update(memoryview(content))
        return both.digests()
    with path.open("rb", buffering=0) as opened:
        return of_stream(opened)


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of the file as it is on disk now, where that alone is asked for. Raises
    OSError."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def of_bytes(content: bytes) -> Digests:
    return Digests(
        len(content), hashlib.sha256(content).hexdigest(), hashlib.sha512(content).hexdigest()
    )


def of_tree(digests: dict[str, str]) -> str:
    """Return the SHA-256 over the sorted lines `path sha256` of {path: sha256}."""
    lines = "".join(f"{path} {digests[path]}\n" for path in sorted(digests))
    return hashlib.sha256(lines.encode()).hexdigest()


def sync(folder: Path) -> None:
    """Return when all that was written to the folder's file system is on the disk (syncfs(2))."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        libc = ctypes.CDLL(None, use_errno=True)
        if not hasattr(libc, "syncfs") or libc.syncfs(handle) != 0:
            os.sync()
    finally:
        os.close(handle)


def forget(path: Path) -> None:
    """Let the system drop its copy of a synced file from memory, so that the next read is of the
    disk (posix_fadvise(2); a wish, not an order)."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
    finally:
        os.close(handle)
