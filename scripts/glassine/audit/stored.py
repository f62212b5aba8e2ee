"""Deliveries in object storage: what was sent there is looked for, and read again in its turn.

Three things stand for an object: what `send` noted of it when it had read it back, the digest that
lies beside it, and its bytes. What could not be asked for or read is no damage, and was not read.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from pathlib import Path

from glassine.audit.objects import Storage, Unreachable
from glassine.base import wording
from glassine.base.errors import Finding
from glassine.base.records.sent import SentFile

# The code of what could not be read, which is no damage.
UNREAD = "audit.store_unavailable"
_BESIDE = ".sha256"
_DIGEST_BYTES = 4096
# So many objects are named in a finding.
_NAMED = 10


def odd(files: Iterable[SentFile], storage: Storage) -> set[str]:
    """Return the names of the files that are not in the storage, or of another size than was sent.

    Raises Unreachable where that cannot be asked for."""
    sizes: dict[str, dict[str, int]] = {}
    names = set()
    for each in files:
        folder, _, name = each.address.rpartition("/")
        if folder not in sizes:
            sizes[folder] = storage.sizes(f"{folder}/")
        size = sizes[folder].get(name)
        if size is None or (each.bytes and size != each.bytes):
            names.add(each.name)
    return names


def read(
    sent: SentFile,
    storage: Storage,
    sound: Callable[[], Path | None],
    *,
    is_master: bool = False,
) -> tuple[int, list[Finding]]:
    """Read an object; return the bytes read, and what is not as it was sent.

    sound: returns the file itself, where it is here and read and found sound; asked for where the
    object is not. is_master: whether it came from there; then no digest lies beside it, as the
    batch's own list has it. Raises Unreachable where it cannot be read to its end."""
    size = storage.size(sent.address)
    if size is None:
        return 0, [_finding("The storage has no such object.", sent, sound(), is_master)]
    if sent.bytes and size != sent.bytes:
        what = f"The object has {size:,} bytes, and had {sent.bytes:,}."
        return 0, [_finding(what, sent, sound(), is_master)]
    digest = hashlib.sha256()
    count = 0
    for piece in storage.pieces(sent.address):
        digest.update(piece)
        count += len(piece)
    if count != size:
        raise Unreachable(f"{count:,} of {size:,} bytes came", whole=False)
    findings = []
    if digest.hexdigest() != sent.sha256:
        what = f"Its bytes are not those that were there: SHA-256 {digest.hexdigest()}."
        findings.append(_finding(what, sent, sound(), is_master))
    if not is_master and (wrong := _beside(sent, storage)):
        findings.append(wrong)
    return count, findings


def _beside(sent: SentFile, storage: Storage) -> Finding | None:
    """Compare the digest that lies beside an object, by which a receiver judges it."""
    address = f"{sent.address}{_BESIDE}"
    size = storage.size(address)
    content = b"" if not size or size > _DIGEST_BYTES else b"".join(storage.pieces(address))
    if content.split(b" ", 1)[0].strip().lower() == sent.sha256.encode():
        return None
    return Finding(
        "audit.stored_digest",
        address,
        "The digest beside the object is not there."
        if size is None
        else "The digest beside the object is not the one that was written there.",
        f"SHA-256 {sent.sha256}.",
        "Find out who changed it; remove it, and scripts/nightly send reads the object back and "
        "writes it again.",
    )


def _finding(what: str, sent: SentFile, local: Path | None, is_master: bool) -> Finding:
    if local is None:
        next_step = (
            "Bring a sound copy back, of a master from a backup or a delivery, of a delivery from "
            "the repository's copy; nothing is sent again by itself."
        )
    elif is_master:
        next_step = (
            f"The file {local} was read just now and is sound. Keep the damaged object under "
            "another name, and put this file in its place."
        )
    else:
        next_step = (
            f"The file {local} was read just now and is sound. Keep the damaged object under "
            f"another name, remove it and {sent.name}{_BESIDE} in the storage, then run "
            "scripts/nightly send."
        )
    return Finding("audit.stored", sent.address, what, f"SHA-256 {sent.sha256}.", next_step)


def unread(batch: str, reason: str, names: list[str]) -> Finding:
    """Return the finding that objects of a batch could not be read. names: of them."""
    return Finding(
        UNREAD,
        batch,
        f"In object storage {len(names):,} of its files could not be read "
        f"({wording.some(sorted(names), _NAMED)}): {reason}. Nothing is known of damage to them.",
        "a storage that answers, and keys in the environment that may list and read there.",
        "Check the network, `store.endpoint_url` and the keys; the next night asks again.",
    )
