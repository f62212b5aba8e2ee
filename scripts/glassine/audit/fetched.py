"""Which masters lie in object storage, as `fetch` found them: `receipts/fetched/<batch>.json`.

The note lies with the receipts, so that masters are read again when batch folder and results of a
closed batch were moved away. What is in the storage does not say what should be.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from glassine.base import files, record_files
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.fetched import FetchedFile, FetchedMasters
from glassine.base.records.sent import SentFile
from glassine.deliver import receipt_files

FOLDER = "fetched"


@dataclass
class Fetched:
    """The masters of a batch that came from object storage, and why the note cannot be read."""

    files: list[FetchedFile] = field(default_factory=list)
    damaged: list[Finding] = field(default_factory=list)


def path_of(deliveries_dir: Path, batch: str) -> Path:
    """Return where it is written. Raises ValueError for a name that leads out of the folder."""
    return files.inside(deliveries_dir / receipt_files.FOLDER / FOLDER, f"{batch}.json")


def batches(deliveries_dir: Path) -> set[str]:
    """Return the batches of which masters came from object storage."""
    return {path.stem for path in (deliveries_dir / receipt_files.FOLDER / FOLDER).glob("*.json")}


def read(deliveries_dir: Path, batch: str) -> Fetched:
    """Return what came of a batch."""
    path = path_of(deliveries_dir, batch)
    if not path.exists():
        return Fetched()
    try:
        return Fetched(record_files.load(path, "fetched", FetchedMasters).files)
    except GlassineError as problem:
        return Fetched(damaged=[_damaged(path, finding) for finding in problem.findings])


def note(deliveries_dir: Path, batch: str, listed: list[FetchedFile]) -> None:
    """Write which masters of a batch lie in object storage. The same again changes nothing."""
    path = path_of(deliveries_dir, batch)
    record = FetchedMasters(batch=batch, files=sorted(listed, key=lambda each: each.path))
    if read(deliveries_dir, batch).files != record.files:
        path.parent.mkdir(parents=True, exist_ok=True)
        record_files.save(path, "fetched", record)


def as_sent(batch: str, file: FetchedFile) -> SentFile:
    """Return a master as what is read again in object storage."""
    return SentFile(
        batch=batch,
        delivery="masters",
        name=file.path,
        address=file.address,
        bytes=file.bytes,
        sha256=file.sha256,
        proved=file.proved,
    )


def _damaged(path: Path, found: Finding) -> Finding:
    return Finding(
        "audit.fetched",
        str(path),
        f"It cannot be read which masters lie in object storage: {found.what}",
        "the file as `scripts/nightly fetch` wrote it.",
        "Move it away and run scripts/nightly fetch with the batch: it is written anew.",
    )
