"""Fixity: one read of each master gives its digests, compared with the capture station's list."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from glassine import contracts, files
from glassine.errors import Finding, GlassineError
from glassine.events import event

VERSION = "4"

ALGORITHMS = ("sha256", "sha512")
_BLOCK_BYTES = 4 * 2**20


def digests(path: Path, algorithms: tuple[str, ...] = ALGORITHMS) -> tuple[dict[str, str], int]:
    """Return ({algorithm: hex digest}, bytes) of a file, read once.

    algorithms: names hashlib knows (FIPS 180-4 for the SHA-2 family); each is worked out in a
    thread of its own. Raises OSError.
    """
    hashes = {name: hashlib.new(name, usedforsecurity=False) for name in algorithms}
    count = 0
    with path.open("rb") as handle, ThreadPoolExecutor(len(hashes)) as pool:
        while block := handle.read(_BLOCK_BYTES):
            count += len(block)
            for done in [pool.submit(digest.update, block) for digest in hashes.values()]:
                done.result()
    return {name: digest.hexdigest() for name, digest in hashes.items()}, count


def _unchanged(path: Path, master: dict[str, Any]) -> bool:
    status = path.stat()
    same: bool = (status.st_size, status.st_mtime_ns) == (master["bytes"], master["mtime_ns"])
    return same


def _changed(path: str) -> GlassineError:
    return GlassineError.because(
        "verify.changed",
        path,
        "The master changed while it was being read (size or time differ from intake).",
        "a file at rest.",
        "Wait until the capture station has finished; the next run takes it.",
    )


def verify_master(path: Path, master: dict[str, Any], require_manifest: bool) -> dict[str, Any]:
    """Return the fixity entry of one master, without its header.

    Raises GlassineError where the file is gone, unreadable, changing, not as listed, or (where
    `require_manifest`) not listed at all.
    """
    expected: dict[str, str] = master["expected"]
    try:
        if not _unchanged(path, master):
            raise _changed(master["path"])
        found, count = digests(path, tuple(dict.fromkeys([*ALGORITHMS, *expected])))
        if count != master["bytes"] or not _unchanged(path, master):
            raise _changed(master["path"])
    except OSError as problem:
        raise GlassineError.because(
            "verify.unreadable",
            master["path"],
            f"The master cannot be read: {problem.strerror or problem}.",
            "a readable file where intake found it.",
            "Check the disk, the share and the rights, then run again.",
        ) from problem
    wrong = [name for name, digest in sorted(expected.items()) if found[name] != digest]
    if wrong:
        raise GlassineError(
            [
                Finding(
                    "verify.digest",
                    master["path"],
                    f"Its {name} is {found[name]}: the file is not what the capture station wrote.",
                    f"{expected[name]} as the checksum list says.",
                    "Copy the master again from the capture station; if the list is wrong, "
                    "write it anew there.",
                )
                for name in wrong
            ]
        )
    if require_manifest and not expected:
        raise GlassineError.because(
            "verify.unlisted",
            master["path"],
            "No checksum list names this master.",
            "a line for it in manifest-sha256.txt (verify.require_manifest is set).",
            "Write the checksum list at the capture station.",
        )
    return {
        "path": master["path"],
        "part": master["part"],
        "bytes": count,
        "mtime": datetime.fromtimestamp(master["mtime_ns"] / 1e9, UTC).strftime(
            "%Y-%m-%dT%H:%M:%SZ"
        ),
        "digests": {name: found[name] for name in sorted(found)},
        "expected": expected,
        "verdict": "match" if expected else "unlisted",
    }


def _collected(
    findings: list[Finding], question: Callable[..., dict[str, Any]], *asked: Any
) -> dict[str, Any] | None:
    """Return the answer, or None with what was found wrong added to `findings`."""
    try:
        return question(*asked)
    except GlassineError as error:
        findings += error.findings
        return None


def verify_item(batch_dir: Path, item_dir: Path, given: dict[str, Any]) -> None:
    """Write fixity.json of an item: digests, comparison, header facts of each master.

    Raises GlassineError with every finding of all its masters; first those that intake made.
    """
    from glassine import masters  # the image library is not needed where the digest is wrong

    if given["findings"]:
        raise GlassineError([Finding(**finding) for finding in given["findings"]])
    entries: list[dict[str, Any]] = []
    findings: list[Finding] = []
    for master in given["masters"]:
        path = files.inside(batch_dir, master["path"])
        limit = given["settings"]["intake"]["max_pixels"]
        required = given["settings"]["verify"]["require_manifest"]
        # Both are asked even where the first fails: that a file is cut short tells more than
        # that its digest differs.
        header = _collected(findings, masters.read_header, path, limit, master["path"])
        entry = _collected(findings, verify_master, path, master, required)
        if header and entry:
            notes = [note.as_dict() for note in masters.notes(header, master["path"])]
            entries.append({**entry, "header": header, "notes": notes})
    if findings:
        raise GlassineError(findings)
    record = {
        "item": given["item"],
        "masters": entries,
        "event": event(
            "fixity check",
            {"algorithms": list(ALGORITHMS), "version": VERSION},
            operator=None,
        ),
    }
    contracts.write(item_dir / "fixity.json", "fixity", record)
