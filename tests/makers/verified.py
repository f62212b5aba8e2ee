"""fixity.json of masters that are there, as verify writes it of files that no list names."""

from __future__ import annotations

from pathlib import Path

from glassine.base import record_files
from glassine.base.records.fixity import Fixity, VerifiedMaster
from glassine.base.records.parts import Digests, Event
from glassine.masters import fixity, opening


def verified(path: Path, part: str | None = None) -> VerifiedMaster:
    """Return the entry of a sound master in the batch's folder itself."""
    digests, count = fixity.digests(path)
    return VerifiedMaster(
        path=path.name,
        part=part,
        bytes=count,
        mtime="2026-03-17T10:00:00Z",
        digests=Digests(**digests),
        expected={},
        verdict="unlisted",
        header=opening.read_header(path),
    )


def write(item_dir: Path, item: str, masters: list[VerifiedMaster]) -> None:
    event = Event(
        type="fixity check",
        time="2026-03-18T02:00:00Z",
        outcome="success",
        detail={},
        software={},
        operator=None,
    )
    record = Fixity(item=item, masters=masters, event=event)
    record_files.save(item_dir / "fixity.json", "fixity", record)
