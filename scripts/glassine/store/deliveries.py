"""What goes to object storage: bags, what is handed over with them, and last their receipts."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import Literal

import msgspec

from glassine.base import clock, files
from glassine.base.errors import Finding, GlassineError
from glassine.base.hashing import sha256_of
from glassine.base.records.sent import SentFile
from glassine.deliver import sent_files
from glassine.store import known_digest, mark_of, url

# Beside each object that was sent: its digest, as sha256sum writes it.
DIGEST_SUFFIX = ".sha256"


Kind = Literal["bag", "handover", "receipt"]
State = Literal["absent", "unproved", "there", "differs", "gone"]


class DeliveredFile(msgspec.Struct, frozen=True, kw_only=True):
    """A file to send. A receipt is sent when all else of its delivery is there."""

    delivery: str
    name: str
    kind: Kind


class ComparedFile(DeliveredFile, frozen=True, kw_only=True):
    """A file compared with the storage. state: see `standing`."""

    sha256: str | None
    state: State


class SendList(msgspec.Struct, frozen=True, kw_only=True):
    """send.json of a batch."""

    files: list[ComparedFile]


def delivered_files(deliveries_dir: Path, batch: str) -> list[DeliveredFile]:
    """Return the files of a batch's deliveries.

    A delivery in folders is left out where a later one stands in for it. Raises GlassineError
    where it is the one that counts: an object is a file.
    """
    from glassine.deliver import step as deliver

    receipts = deliver.sound_receipts(deliveries_dir, batch)
    replaced = {receipt.replaces for receipt in receipts}
    delivered: list[DeliveredFile] = []
    for receipt in receipts:
        name = receipt.delivery
        if receipt.form == "folder" and name in replaced:
            continue
        if receipt.form == "folder":
            raise GlassineError.because(
                "send.folder",
                deliveries_dir / name,
                "This delivery is a folder, and a folder cannot be sent as one object.",
                "a delivery in the form `tar` or `zip`.",
                "Set `delivery.form` to `tar`; the next night delivers the batch so, then send.",
            )
        kinds: dict[str, Kind] = {bag.name: "bag" for bag in receipt.bags}
        kinds |= dict.fromkeys(receipt.handover, "handover")
        kinds[f"{name}.receipt.json"] = "receipt"
        delivered += [
            DeliveredFile(delivery=name, name=file, kind=kind) for file, kind in kinds.items()
        ]
    return delivered


def standing(there: bool, stated: str | None, here: str | None) -> State:
    """Decide on a delivered file: "absent" (send it), "unproved" (read it back), "there" (leave
    it), "differs" (refuse) or "gone" (it is neither here nor known to be there).

    there: whether the storage has the object; stated: the digest beside it; here: the file's own,
    None where it was carried away since.
    """
    if stated and here and stated != here:
        return "differs"
    if there and stated:
        return "there"
    if here is None:
        return "gone"
    return "unproved" if there else "absent"


def read_stated(path: Path) -> str:
    """Return the digest of an object `<name>.sha256`. Raises GlassineError where it holds none."""
    with contextlib.suppress(OSError, UnicodeDecodeError, IndexError, ValueError):
        word = path.read_bytes()[:200].decode("ascii").split()[0]
        if len(bytes.fromhex(word)) == 32:
            return word.lower()
    raise GlassineError.because(
        "send.stated",
        path.name,
        "The object beside the delivery does not hold a SHA-256.",
        "64 hexadecimal digits and the file's name.",
        "Find out who wrote it; remove it, and the next `send` reads the delivery back.",
    )


def stated_line(name: str, sha256: str) -> str:
    return f"{sha256}  {name}\n"


_REFUSED = {
    "differs": (
        "The storage has another object of this name; it was not touched.",
        "no object of this name, or the very file.",
        "Find out which of both is right, and move the other one away.",
    ),
    "gone": (
        "The receipt names this file, but it is neither here nor proved to be in the storage.",
        "the file beside its receipt until it was sent.",
        "Bring it back into deliveries/, then send again.",
    ),
}


def compare(
    deliveries_dir: Path,
    state: Path,
    delivered: list[DeliveredFile],
    there: list[str],
    stated: dict[str, Path],
) -> SendList:
    """Return what is to be sent.

    delivered: see `delivered_files`; there: names of the objects that the storage has; stated:
    {name: copy of the digest beside it}. A bag is validated before it is sent. Raises
    GlassineError, with every finding.
    """
    from glassine.deliver import bag

    compared, findings = [], []
    for entry in delivered:
        name = entry.name
        path = files.inside(deliveries_dir, name)
        here = known_digest(path, mark_of(state, "sent", name)) if path.is_file() else None
        stated_sha256 = read_stated(stated[name]) if name in stated else None
        decided = standing(name in there, stated_sha256, here)
        if decided in _REFUSED:
            findings.append(Finding(f"send.{decided}", str(path), *_REFUSED[decided]))
        if decided == "absent" and entry.kind == "bag":
            findings += bag.validate(path)
        compared.append(
            ComparedFile(
                delivery=entry.delivery,
                name=name,
                kind=entry.kind,
                sha256=here or stated_sha256,
                state=decided,
            )
        )
    if findings:
        raise GlassineError(findings)
    return SendList(files=compared)


def offer(path: Path, sha256: str, mark: Path, offered: Path) -> None:
    """Lay a delivered file where the plugin takes it from, as a link: it may be large. Raises
    GlassineError where it is not the file any more that was compared."""
    if known_digest(path, mark) != sha256:
        raise GlassineError.because(
            "send.changed",
            path,
            "The file changed while it was to be sent.",
            f"SHA-256 {sha256}.",
            "Validate the delivery (scripts/validate_delivery.py), then send again.",
        )
    offered.parent.mkdir(parents=True, exist_ok=True)
    offered.unlink(missing_ok=True)
    offered.symlink_to(path.absolute())


def note_there(deliveries_dir: Path, batch: str, base: str, listed: SendList) -> None:
    """Note of each file that is in the storage that it was sent, for the audit, where that is not
    noted yet: it was sent by a version that did not. base: address of the deliveries."""
    from glassine.deliver import step as deliver

    times = {each.delivery: each.time for each in deliver.sound_receipts(deliveries_dir, batch)}
    for entry in listed.files:
        if entry.state != "there" or entry.sha256 is None:
            continue
        address = url(base, batch, entry.name)
        known = sent_files.known(deliveries_dir, entry.name)
        if known and (known.address, known.sha256) == (address, entry.sha256):
            continue
        path = files.inside(deliveries_dir, entry.name)
        sent_files.note(
            deliveries_dir,
            SentFile(
                batch=batch,
                delivery=entry.delivery,
                name=entry.name,
                address=address,
                bytes=path.stat().st_size if path.is_file() else 0,
                sha256=entry.sha256,
                proved=times[entry.delivery],
            ),
        )


def note_proved(
    deliveries_dir: Path,
    batch: str,
    delivery: str,
    name: str,
    address: str,
    copy: Path,
    sha256: str,
) -> None:
    """Note that a file was sent and read back from the storage just now. copy: what came back."""
    sent_files.note(
        deliveries_dir,
        SentFile(
            batch=batch,
            delivery=delivery,
            name=name,
            address=address,
            bytes=copy.stat().st_size,
            sha256=sha256,
            proved=clock.now_text(),
        ),
    )


def prove(copy: Path, name: str, sha256: str) -> None:
    """Raise GlassineError unless an object that was found there and read back is the file."""
    if sha256_of(copy) != sha256:
        raise GlassineError([Finding("send.differs", name, *_REFUSED["differs"])])
