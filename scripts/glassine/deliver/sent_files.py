"""What of the deliveries was sent to object storage, and where to: `receipts/sent/<file>.json`.

These files are what makes an object that is gone from the storage be missed: what was never sent is
not there either. They lie with the receipts and are no output of the engine.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from glassine.base import files, record_files
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.sent import SentFile
from glassine.deliver import receipt_files

FOLDER = "sent"
_SUFFIX = ".json"


@dataclass
class Sent:
    """The files of a batch that were sent, by their names, and records of some that are damaged."""

    files: list[SentFile] = field(default_factory=list)
    damaged: list[Finding] = field(default_factory=list)


def path_of(deliveries_dir: Path, name: str) -> Path:
    """Return where it is written that a file was sent. Raises ValueError for a name that leads out
    of the folder."""
    folder = deliveries_dir / receipt_files.FOLDER / FOLDER
    return files.inside(folder, f"{name}{_SUFFIX}")


def note(deliveries_dir: Path, sent: SentFile) -> None:
    """Write that a file was sent. The same again changes nothing."""
    path = path_of(deliveries_dir, sent.name)
    if not path.exists() or load(deliveries_dir, sent.name) != sent:
        path.parent.mkdir(parents=True, exist_ok=True)
        record_files.save(path, "sent", sent)


def load(deliveries_dir: Path, name: str) -> SentFile:
    """Return what is known of a file that was sent. Raises GlassineError."""
    return record_files.load(path_of(deliveries_dir, name), "sent", SentFile)


def known(deliveries_dir: Path, name: str) -> SentFile | None:
    """Return what is known of a file that was sent, None where that cannot be read."""
    try:
        return load(deliveries_dir, name)
    except GlassineError:
        return None


def read(deliveries_dir: Path, batch: str) -> Sent:
    """Return what was sent of a batch."""
    sent = Sent()
    folder = deliveries_dir / receipt_files.FOLDER / FOLDER
    for path in sorted(folder.glob(f"{batch}*{_SUFFIX}")):
        try:
            each = load(deliveries_dir, path.name.removesuffix(_SUFFIX))
        except GlassineError as problem:
            sent.damaged += [_damaged(path, finding) for finding in problem.findings]
            continue
        if each.batch == batch:
            sent.files.append(each)
    return sent


def _damaged(path: Path, found: Finding) -> Finding:
    return Finding(
        "audit.sent",
        str(path),
        f"It cannot be read what was sent to object storage: {found.what}",
        "the file as `scripts/nightly send` wrote it.",
        "Move it away and run scripts/nightly send: it is written anew, with what is there.",
    )
