"""One read of a master gives its digests, compared with the capture station's list."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from glassine.base import threads
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.given import Master
from glassine.base.records.parts import Digests
from glassine.masters.opened import Opened, opened

ALGORITHMS = ("sha256", "sha512")
_BLOCK_BYTES = 4 * 2**20


def digests(
    path: Path,
    algorithms: tuple[str, ...] = ALGORITHMS,
    watch: Callable[[memoryview], None] = lambda block: None,
) -> tuple[dict[str, str], int]:
    """Return ({algorithm: hex digest}, bytes) of a file, read once.

    algorithms: names hashlib knows (FIPS 180-4 for the SHA-2 family); the first is worked out
    here, the others by a helper. watch: is shown each block of 4 MiB on the way, which is written
    over after it. Raises OSError.
    """
    hashes = {name: hashlib.new(name, usedforsecurity=False) for name in algorithms}
    count = 0
    first, *others = hashes.values()
    # One piece of memory for all blocks: the system clears each that it hands out.
    room = memoryview(bytearray(_BLOCK_BYTES))
    with path.open("rb") as handle, threads.helper() as helper:
        while read := handle.readinto(room):
            block = room[:read]
            count += read
            under_way = [helper.submit(digest.update, block) for digest in others]
            first.update(block)
            watch(block)
            for done in under_way:
                done.result()
    return {name: digest.hexdigest() for name, digest in hashes.items()}, count


def changed(path: str) -> GlassineError:
    return GlassineError.because(
        "verify.changed",
        path,
        "The master changed while it was being read, or another file took its place: size, time "
        "or place on the disk differ.",
        "a file at rest.",
        "Wait until the capture station has finished; the next run takes it.",
    )


def unreadable(path: str, problem: OSError) -> GlassineError:
    return GlassineError.because(
        "verify.unreadable",
        path,
        f"The master cannot be read: {problem.strerror or problem}.",
        "a readable file where intake found it.",
        "Check the disk, the share and the rights, then run again.",
    )


@dataclass(frozen=True)
class Checked:
    """What one read of a master gave. mtime: ISO 8601, UTC; listed: whether digests are known."""

    bytes: int
    mtime: str
    digests: Digests
    listed: bool


def verify_master(path: Path, master: Master, require_manifest: bool) -> Checked:
    """Return the digests of one master, compared with those that are expected.

    Raises GlassineError where the file is gone, unreadable, changing, not as listed, or (where
    `require_manifest`) not listed at all.
    """
    try:
        with opened(path) as held:
            return verify_opened(held, master, require_manifest)
    except OSError as problem:
        raise unreadable(master.path, problem) from problem


def verify_opened(
    held: Opened,
    master: Master,
    require_manifest: bool,
    watch: Callable[[memoryview], None] = lambda block: None,
) -> Checked:
    """Do as `verify_master` with a master that is open. watch: is shown each block that is read.

    Raises OSError where it cannot be read.
    """
    expected = master.expected
    if not held.is_as_noted(master.bytes, master.mtime_ns):
        raise changed(master.path)
    names = tuple(dict.fromkeys([*ALGORITHMS, *expected]))
    actual, count = digests(held.content, names, watch)
    if count != master.bytes or not held.is_unchanged():
        raise changed(master.path)
    wrong = [name for name, digest in sorted(expected.items()) if actual[name] != digest]
    if wrong:
        raise GlassineError(
            [
                Finding(
                    "verify.digest",
                    master.path,
                    f"Its {name} is {actual[name]}: the file is not what the capture station "
                    "wrote.",
                    f"{expected[name]} as the checksum list says.",
                    "Copy the master again from the capture station; if the list is wrong, "
                    "write it anew there.",
                )
                for name in wrong
            ]
        )
    if require_manifest and not expected:
        raise GlassineError([unlisted(master.path)])
    written = datetime.fromtimestamp(master.mtime_ns / 1e9, UTC)
    return Checked(
        count, written.strftime("%Y-%m-%dT%H:%M:%SZ"), Digests(**actual), listed=bool(expected)
    )


def unlisted(path: str) -> Finding:
    """Return what is told of a master that no checksum list names, where one must."""
    return Finding(
        "verify.unlisted",
        path,
        "No checksum list names this master.",
        "a line for it in a checksum list of the batch, as manifest-sha256.txt.",
        "Write the checksum list anew at the capture station, or take the file out of the "
        "batch folder; where lists are known to name only some masters, set intake.unlisted "
        "to review (and verify.require_manifest to false).",
    )
