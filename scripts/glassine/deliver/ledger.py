"""The ledger of all that was ever delivered: `deliveries/ledger.jsonl`, only ever added to.

One line of JSON a delivery, with its whole receipt, each with a digest of itself that the next line
repeats: a line that is changed, left out or put in between breaks the chain. It is a plain file and
no database: in fifty years a text editor and a digest are enough to read and check it, it grows by
appending alone, and a block that a disk spoils harms a line, not the file. Receipts can be made
again of it. It is written before the receipt of a delivery; no rule of the engine has it as output.
"""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
import json
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec

from glassine.base import files, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import BatchId
from glassine.base.records.receipt import Receipt
from glassine.deliver import receipt_files

NAME = "ledger.jsonl"
# What stands before the first line.
FIRST = "0" * 64
# A line longer than this is none of ours: a receipt of 100,000 items is about 40 MB.
MAX_LINE_BYTES = 256 * 2**20


@dataclass(frozen=True)
class Entry:
    """A line. number: from 1; time: xs:dateTime, UTC, of the delivery; digest: SHA-256 over what
    the line tells, with the digest of the line before it."""

    number: int
    time: str
    receipt: Receipt
    digest: str


@dataclass
class Ledger:
    """The lines up to the first that is not as it was written, and what is wrong with that one.

    unfinished: bytes at the end that are no whole line, as a killed run leaves them, or a disk that
    lost the end of the file. unended: the last line is whole but for its end of line.
    """

    entries: list[Entry] = field(default_factory=list)
    broken: Finding | None = None
    unfinished: int = 0
    unended: bool = False

    def receipt_of(self, delivery: str) -> Receipt | None:
        """Return the receipt of a delivery as it was last written, None where none is known."""
        for entry in reversed(self.entries):
            if entry.receipt.delivery == delivery:
                return entry.receipt
        return None


def path_of(deliveries_dir: Path) -> Path:
    return deliveries_dir / NAME


def read(deliveries_dir: Path) -> Ledger:
    """Return the ledger; an empty one where there is none yet. Raises OSError."""
    path = path_of(deliveries_dir)
    if not path.exists():
        return Ledger()
    with path.open("rb") as opened:
        return _read(path, opened.read())


def _read(path: Path, content: bytes) -> Ledger:
    ledger = Ledger()
    before = FIRST
    *lines, rest = content.split(b"\n")
    for number, line in enumerate(lines, 1):
        entry = _entry(line, number, before)
        if isinstance(entry, str):
            ledger.broken = _broken(path, number, entry)
            ledger.unfinished = len(rest)
            return ledger
        ledger.entries.append(entry)
        before = entry.digest
    last = _entry(rest, len(lines) + 1, before) if rest else ""
    if isinstance(last, Entry):
        ledger.entries.append(last)
        ledger.unended = True
    else:
        ledger.unfinished = len(rest)
    return ledger


def _entry(line: bytes, number: int, before: str) -> Entry | str:
    """Return what a line tells, or in words why it is not as it was written."""
    read_line = _alone(line)
    if isinstance(read_line, str):
        return read_line
    entry, previous = read_line
    if (entry.number, previous) != (number, before):
        return "it does not follow from the line before it"
    return entry


def _alone(line: bytes) -> tuple[Entry, str] | str:
    """Return what a line tells by itself, and the digest of the line that it says it follows; or in
    words why it is not as it was written."""
    if len(line) > MAX_LINE_BYTES:
        return "it is longer than any that was written"
    try:
        content = json.loads(line.decode("utf-8"))
        entry, digest = content["entry"], str(content["digest"])
        if _digest(entry) != digest:
            return "its digest is another"
        receipt = receipt_files.taken(entry["receipt"])
        number, previous = entry["number"], str(entry["previous"])
        return Entry(number, str(entry["time"]), receipt, digest), previous
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return "it cannot be read"


def _digest(entry: dict[str, Any]) -> str:
    return hashlib.sha256(files.canonical(entry).encode()).hexdigest()


def _line(number: int, before: str, receipt: Receipt) -> tuple[bytes, str]:
    """Return a line and its digest."""
    entry: dict[str, Any] = {
        "number": number,
        "previous": before,
        "receipt": msgspec.to_builtins(receipt),
        "time": receipt.time,
    }
    digest = _digest(entry)
    return files.canonical({"digest": digest, "entry": entry}).encode(), digest


def _broken(path: Path, number: int, why: str) -> Finding:
    return Finding(
        "ledger.chain",
        str(path),
        f"Line {number:,} of the ledger is not as it was written: {why}.",
        "lines that each repeat the digest of the line before it.",
        "Bring the file back from a backup, or make it again from the receipts and bags that are "
        "here: scripts/ledger rebuild. Until then nothing is delivered.",
    )


@contextlib.contextmanager
def _locked(deliveries_dir: Path) -> Iterator[int]:
    """Yield the open ledger, held by this process alone: batches are delivered side by side."""
    deliveries_dir.mkdir(parents=True, exist_ok=True)
    handle = os.open(path_of(deliveries_dir), os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield handle
    finally:
        os.close(handle)


def add(deliveries_dir: Path, receipts: list[Receipt]) -> None:
    """Add receipts that the ledger does not have yet, in this order.

    The same receipt is not added twice: a run that was killed between ledger and receipt goes on.
    Raises GlassineError where the chain is broken, OSError.
    """
    with _locked(deliveries_dir) as handle:
        content = os.pread(handle, os.fstat(handle).st_size, 0)
        ledger = _read(path_of(deliveries_dir), content)
        if ledger.broken:
            raise GlassineError([ledger.broken])
        kept = {files.canonical(msgspec.to_builtins(entry.receipt)) for entry in ledger.entries}
        new = [
            receipt
            for receipt in receipts
            if files.canonical(msgspec.to_builtins(receipt)) not in kept
        ]
        end = len(content) - ledger.unfinished
        if ledger.unfinished:
            os.ftruncate(handle, end)
        _append(handle, end, ledger, new)


def _append(handle: int, end: int, ledger: Ledger, receipts: list[Receipt]) -> None:
    if ledger.unended:
        end = _written(handle, b"\n", end)
    for line in _lines(ledger.entries, receipts):
        end = _written(handle, line, end)
    os.fsync(handle)


def _lines(entries: list[Entry], receipts: list[Receipt]) -> Iterator[bytes]:
    """Yield the lines of receipts that follow entries, each with its end of line."""
    before = entries[-1].digest if entries else FIRST
    for number, receipt in enumerate(receipts, len(entries) + 1):
        line, before = _line(number, before, receipt)
        yield line + b"\n"


def _written(handle: int, content: bytes, at: int) -> int:
    """Write all of the content at a place of the file; return the place behind it."""
    piece = memoryview(content)
    while piece:
        written = os.pwrite(handle, piece, at)
        piece, at = piece[written:], at + written
    return at


def contradictions(deliveries_dir: Path, receipts: list[Receipt]) -> list[Finding]:
    """Return a finding where the chain is broken, and for each receipt that the ledger has
    otherwise: then one of the two was changed."""
    ledger = read(deliveries_dir)
    if ledger.broken:
        return [ledger.broken]
    path = path_of(deliveries_dir)
    return [
        Finding(
            "ledger.differs",
            str(receipt_files.receipt_path(deliveries_dir, receipt.delivery)),
            f"This receipt does not say what {path} says of {receipt.delivery}.",
            "the receipt as the ledger has it.",
            "Find out who changed it. To have it as the ledger has it, move both copies of the "
            "receipt away and run again.",
        )
        for receipt in receipts
        if ledger.receipt_of(receipt.delivery) not in (None, receipt)
    ]


def take_in(deliveries_dir: Path, receipts: list[Receipt]) -> list[Finding]:
    """Add receipts that the ledger lacks, and say so: of deliveries before there was a ledger, or
    lines that were lost at its end. Raises GlassineError where the chain is broken."""
    known = {entry.receipt.delivery for entry in read(deliveries_dir).entries}
    lacking = [receipt for receipt in receipts if receipt.delivery not in known]
    if not lacking:
        return []
    add(deliveries_dir, lacking)
    return [
        Finding(
            "ledger.added",
            str(path_of(deliveries_dir)),
            f"The ledger had no line of {wording.some([each.delivery for each in lacking], 10)}; "
            "it was added from the receipt.",
            "a line for each delivery.",
            "Nothing where these deliveries are older than the ledger. Else lines at its end were "
            "lost: look at the disk, and at who may write there.",
            "note",
        )
    ]


def without_receipt(deliveries_dir: Path, batch: BatchId, receipts: list[Receipt]) -> list[Finding]:
    """Return a finding for each delivery of a batch that the ledger has and no receipt tells of any
    more: the batch is delivered as if that had never been, and its name may come again."""
    here = {receipt.delivery for receipt in receipts}
    entries = [each for each in read(deliveries_dir).entries if each.receipt.batch == batch]
    times = {each.receipt.delivery: each.time for each in entries}
    return [
        Finding(
            "ledger.delivered_before",
            str(receipt_files.receipt_path(deliveries_dir, delivery)),
            f"{delivery} was delivered on {time[:10]}, as the ledger says; its receipts and the "
            "list of deliveries in the results are gone, and the batch is delivered as if for the "
            "first time.",
            "the receipts of all deliveries, or a person's decision to deliver anew.",
            "Where that was decided, tell the repository that a delivery of the same name comes "
            "again. Else bring the receipts back and withdraw what was delivered twice.",
            "review",
        )
        for delivery, time in times.items()
        if delivery not in here
    ]


def receipt_made_again(path: Path) -> Finding:
    """Return the note of a receipt that was written again from the ledger."""
    return Finding(
        "ledger.receipt",
        str(path),
        "No copy of this receipt could be used; it was written again from the ledger.",
        "a disk that keeps what was written.",
        "Look at the disk that holds the deliveries.",
        "note",
    )


def begun(deliveries_dir: Path) -> list[Finding]:
    """Return a finding where the ledger ends with a part of a line."""
    ledger = read(deliveries_dir)
    if ledger.broken or not ledger.unfinished:
        return []
    return [
        Finding(
            "ledger.begun",
            str(path_of(deliveries_dir)),
            f"The last {ledger.unfinished:,} bytes of the ledger are a part of a line: a run was "
            "killed while it wrote, or the disk lost the end of the file.",
            "lines that are whole.",
            "Where a run was killed, nothing: the next delivery writes over it. Else look for the "
            "delivery that the part names, and bring its receipt back.",
        )
    ]


def rebuilt(deliveries_dir: Path, receipts: list[Receipt], aside: Path) -> list[Finding]:
    """Write the ledger anew, the damaged one kept as `aside`; return what a person should look at.

    What stood in sound lines before the damage is kept as it was. Receipts that are in none of them
    follow, the earliest first, with those of lines behind the damage that are sound by themselves:
    of a delivery that was carried away they may be all that is left. Nothing vouches for these but
    their own digest, so the deliveries that only they tell of are named.
    """
    path = path_of(deliveries_dir)
    content = path.read_bytes() if path.exists() else b""
    sound = [entry.receipt for entry in _read(path, content).entries]
    behind = _behind(content, sound)
    known = {receipt.delivery for receipt in [*sound, *behind]}
    later = [*behind, *(receipt for receipt in receipts if receipt.delivery not in known)]
    later.sort(key=lambda receipt: (receipt.time, receipt.batch, receipt.revision))
    if path.exists():
        files.write_bytes(aside, content)
    try:
        files.write_bytes(path, b"".join(_lines([], [*sound, *later])))
    except OSError:
        aside.unlink(missing_ok=True)
        raise
    with_receipt = {receipt.delivery for receipt in receipts}
    alone = [receipt.delivery for receipt in behind if receipt.delivery not in with_receipt]
    return _taken_over(path, alone) if alone else []


def _behind(content: bytes, sound: list[Receipt]) -> list[Receipt]:
    """Return the receipts of lines that are sound by themselves behind the first that is not."""
    behind: list[Receipt] = []
    for line in content.split(b"\n")[len(sound) :]:
        read_line = _alone(line)
        if isinstance(read_line, tuple) and read_line[0].receipt not in [*sound, *behind]:
            behind.append(read_line[0].receipt)
    return behind


def _taken_over(path: Path, names: list[str]) -> list[Finding]:
    return [
        Finding(
            "ledger.behind",
            str(path),
            f"Taken over from lines behind the damage, and no receipt tells of them: "
            f"{wording.some(names, 20)}.",
            "a receipt of each delivery.",
            "See that these were delivered from here (the repository knows). A line of another "
            "ledger does not belong in this one: bring the ledger back from a backup then.",
        )
    ]
