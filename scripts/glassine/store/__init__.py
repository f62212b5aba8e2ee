"""Masters that come from object storage, and deliveries that go there.

The engine's storage plugin carries the objects (rules/store.smk); only `objects`, by which the
audit reads them again, opens a connection. This module holds what both ways share: addresses,
digests and what is remembered of them.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import msgspec

from glassine.base import files
from glassine.base.errors import GlassineError
from glassine.base.hashing import sha256_of


def url(base: str, *parts: str) -> str:
    """Return the address of an object below `base`.

    >>> url("s3://masters/", "b-1", "a.tif")
    's3://masters/b-1/a.tif'
    """
    return "/".join([base.rstrip("/"), *parts])


def state_dir(working_dir: Path, batch: str) -> Path:
    """Return the folder of what is remembered of a batch's objects."""
    return working_dir / "results" / batch / "store"


def begin(working_dir: Path, batches: list[str]) -> None:
    """Forget what earlier runs found in the storage, so that this one looks again, and remove the
    copies that the plugin of a killed run left. Only for the process that holds the run's lock."""
    for batch in batches:
        for name in ("fetch.json", "send.json"):
            (state_dir(working_dir, batch) / name).unlink(missing_ok=True)
    shutil.rmtree(working_dir / ".snakemake" / "storage", ignore_errors=True)


def known_digest(path: Path, mark: Path) -> str:
    """Return the SHA-256 of a file, read only where size or time are other than `mark` says."""
    status = path.stat()
    remembered = marked(mark)
    if remembered and (remembered.bytes, remembered.mtime_ns) == (
        status.st_size,
        status.st_mtime_ns,
    ):
        return remembered.sha256
    digest = sha256_of(path)
    remember(mark, status, digest)
    return digest


class Remembered(msgspec.Struct, frozen=True, kw_only=True):
    """What is remembered of a file. bytes, mtime_ns: of it when its digest was taken."""

    bytes: int
    mtime_ns: int
    sha256: str


def remember(mark: Path, status: os.stat_result, sha256: str) -> None:
    """Write at `mark` what a file is; status: of it."""
    remembered = Remembered(bytes=status.st_size, mtime_ns=status.st_mtime_ns, sha256=sha256)
    files.write_json(mark, msgspec.to_builtins(remembered))


def marked(mark: Path) -> Remembered | None:
    """Return what was remembered of a file, if anything."""
    if not mark.exists():
        return None
    try:
        return msgspec.convert(files.read_json(mark), Remembered)
    except (GlassineError, msgspec.ValidationError):
        return None


def mark_of(state: Path, kind: str, name: str) -> Path:
    """Return where the digest of a file is remembered; kind: "fetched" or "sent"."""
    return state / kind / name / "digest.json"


def told(working_dir: Path, batch: str, moves: list[str]) -> list[str]:
    """Return what an operator is told of a batch at the end of a run that only moved files."""
    state = state_dir(working_dir, batch)
    lines = []
    if "fetch" in moves and (state / "fetch.json").exists():
        record = files.read_json(state / "fetch.json")
        due = [entry["path"] for entry in record["due"]]
        came = sum(mark_of(state, "fetched", path).exists() for path in due)
        lines.append(
            f"{batch}: {came} of {len(due)} files fetched, {record['kept']} were here already"
        )
    if "send" in moves and (state / "send.json").exists():
        listed = files.read_json(state / "send.json")["files"]
        due_count = sum(entry["state"] != "there" for entry in listed)
        lines.append(
            f"{batch}: {due_count} files to send, {len(listed) - due_count} were there already"
            if listed
            else f"{batch}: nothing is delivered yet, and nothing was sent"
        )
    return lines
