"""Masters that are the same bytes under several names, found with as little reading as can be."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass
from pathlib import Path

from glassine.base import door

# Blocks looked at of files of one size; grain and noise part any two captures here already.
_BLOCK = 16 * 1024
# The strongest first.
_ALGORITHMS = ("sha512", "sha256", "sha1", "md5")


@dataclass(frozen=True)
class Master:
    """A master: path in the batch, size in bytes, device and inode, digests as listed."""

    path: str
    size: int
    place: tuple[int, int]
    expected: dict[str, str]


@dataclass(frozen=True)
class Twins:
    """Paths of one file (linked: several names of one inode) or of files with the same bytes."""

    paths: tuple[str, ...]
    linked: bool


def _alike(
    masters: Iterable[Master], key_of: Callable[[Master], Hashable | None]
) -> list[list[Master]]:
    groups: dict[Hashable, list[Master]] = {}
    for master in masters:
        key = key_of(master)
        if key is not None:
            groups.setdefault(key, []).append(master)
    return [group for group in groups.values() if len(group) > 1]


def find(batch_dir: Path, masters: list[Master]) -> list[Twins]:
    """Return the groups of masters that are one and the same.

    Files of one size are compared by three blocks; only where these agree by all their bytes, or
    by the digests that a checksum list states of them. What cannot be read is left to `verify`.
    """
    linked = _alike(masters, lambda master: master.place)
    twins = [Twins(tuple(member.path for member in group), linked=True) for group in linked]
    firsts = list({master.place: master for master in reversed(masters)}.values())
    whole = [master for master in firsts if master.size > 0]
    for sized in _alike(whole, lambda master: master.size):
        for alike in _alike(sized, lambda master: _sample(batch_dir, master)):
            for same in _alike(alike, _way_to_tell(batch_dir, alike)):
                paths = sorted(member.path for member in same)
                twins.append(Twins(tuple(paths), linked=False))
    return twins


def _way_to_tell(batch_dir: Path, masters: list[Master]) -> Callable[[Master], Hashable | None]:
    for name in _ALGORITHMS:
        if all(name in master.expected for master in masters):
            return lambda master: master.expected[name]
    return lambda master: _digest(batch_dir, master)


def _sample(batch_dir: Path, master: Master) -> bytes | None:
    middle = max(0, (master.size - _BLOCK) // 2)
    digest = hashlib.sha256()
    try:
        with door.open_file(batch_dir / master.path, batch_dir) as stream:
            for start in (0, middle, max(0, master.size - _BLOCK)):
                stream.seek(start)
                digest.update(stream.read(_BLOCK))
    except OSError:
        return None
    return digest.digest()


def _digest(batch_dir: Path, master: Master) -> bytes | None:
    try:
        with door.open_file(batch_dir / master.path, batch_dir) as stream:
            return hashlib.file_digest(stream, "sha256").digest()
    except OSError:
        return None
