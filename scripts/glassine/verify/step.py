"""Fixity: one read of each master gives its digests, compared with the capture station's list."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, ParamSpec, TypeVar

import msgspec

from glassine.base import files, naming, record_files
from glassine.base.errors import Finding, GlassineError
from glassine.base.premis_event import event, software
from glassine.base.records.fixity import Fixity, VerifiedMaster
from glassine.base.records.given import Master
from glassine.base.records.parts import Event, FindingNote, Header
from glassine.masters import fixity
from glassine.masters.opened import Opened, opened, state
from glassine.verify.given import Settings, VerifyGiven

if TYPE_CHECKING:
    from glassine.masters.holes import Range

VERSION = "6"

# A file larger than so many times the pixels that the settings allow is not read to its end.
_MOST_TIMES = 2
_MOST_BESIDE_BYTES = 64 * 2**20
# Findings after which a digest would be hours of reading for nothing.
_NOT_READ = ("verify.not_read", "masters.too_long", "masters.too_large", "masters.too_thin")


_Asked = ParamSpec("_Asked")
_Answer = TypeVar("_Answer")


def _collected(
    findings: list[Finding],
    question: Callable[_Asked, _Answer],
    *asked: _Asked.args,
    **named: _Asked.kwargs,
) -> _Answer | None:
    """Return the answer, or None with what was found wrong added to `findings`."""
    try:
        return question(*asked, **named)
    except GlassineError as error:
        findings += error.findings
        return None


def _check_worth_reading(held: Opened, path: str, limit_px: int) -> None:
    """Raise where a file is so large or so empty that its digest would cost hours for nothing."""
    from glassine.masters import holes

    size = held.first.st_size
    most = 6 * limit_px * _MOST_TIMES + _MOST_BESIDE_BYTES  # three samples of two bytes a pixel
    if size > most or holes.is_hollow(held.handle, size):
        raise GlassineError.because(
            "verify.not_read",
            path,
            f"The file has {size} bytes, of which {held.first.st_blocks * 512} are on the disk; "
            "it was not read to its end.",
            "a master whose bytes are on the disk, and not more of them than a picture needs.",
            "Copy the master again from the capture station, or move the file out of the batch.",
        )


def _check_written(held: Opened, runs: list[Range], path: str) -> None:
    """Raise where a master that no checksum list names seems not to have been written whole."""
    from glassine.masters import holes, opening

    size = held.first.st_size
    what = holes.missing(runs, holes.holes(held.handle, size), opening.layout_of(held.content))
    if what:
        raise GlassineError.because(
            "verify.not_written",
            path,
            f"{what[0].upper()}{what[1:]}, and no checksum list names this master: its copy may "
            "have broken off or be under way.",
            "pixels that were all written.",
            "Copy the master again from the capture station; if it is truly so black there, list "
            "its digest in manifest-sha256.txt.",
        )


def _dark_note(runs: list[Range], held: Opened, path: str) -> list[Finding]:
    from glassine.masters import holes, opening

    count = holes.dark_end(runs, opening.layout_of(held.content))
    if not count:
        return []
    return [
        Finding(
            "verify.note_dark_end",
            path,
            f"The last {count} bytes of its pixels are exactly zero; no checksum list names it.",
            "a border that is black on the film's holder too.",
            "Look at the picture's lower edge; a checksum list makes this certain.",
            "note",
        )
    ]


def _clock_note(header: Header, written: str, path: str) -> list[Finding]:
    """Return a note where the header's time of capture is later than the file's own.

    written: when the file was written, UTC. A day is allowed, as cameras keep local time.
    """
    captured_at = header.capture.taken or ""
    try:
        late = datetime.fromisoformat(captured_at) - datetime.fromisoformat(written[:-1])
    except ValueError:
        return []  # cameras without a clock write zeros or blanks
    if late <= timedelta(days=1):
        return []
    return [
        Finding(
            "verify.note_clock",
            path,
            f"Its header says that it was captured on {captured_at}, which is later than the "
            f"file was written ({written}).",
            "a time of capture that has been; it stands in the records.",
            "Set the clock of the camera or the capture station.",
            "review",
        )
    ]


def _verify_opened(
    held: Opened, master: Master, settings: Settings, findings: list[Finding]
) -> VerifiedMaster | None:
    """Return the whole fixity entry of an open master, or None with what is wrong in `findings`."""
    from glassine.masters import (  # the image library is not needed by who asks for digests
        holes,
        opening,
        pixels,
    )
    from glassine.masters.notes import notes_on

    path, shown = held.path, master.path
    limit = settings.intake.max_pixels
    before = len(findings)
    _collected(findings, _check_worth_reading, held, shown, limit)
    # What is wrong with a header is told together with a wrong digest: that a file is cut short
    # tells more than that its digest differs.
    header = _collected(findings, opening.read_header, path, limit, shown, content=held.content)
    if any(finding.code in _NOT_READ for finding in findings[before:]):
        return None
    pages = holes.ZeroPages()
    required = settings.verify.require_manifest or master.must_be_listed
    checked = _collected(findings, fixity.verify_opened, held, master, required, pages.feed)
    if header is None or checked is None:
        return None
    runs = pages.runs(held.handle, held.first.st_size)
    notes = notes_on(header, shown) + _clock_note(header, checked.mtime, shown)
    if not checked.listed:
        _collected(findings, _check_written, held, runs, shown)
        notes += _dark_note(runs, held, shown)
    decoded = _collected(
        findings,
        opening.prove_pixels,
        path,
        content=held.content,
        shown=shown,
        most_bytes=pixels.MAX_DECODED_BYTES,
    )
    if not held.is_unchanged():
        findings += fixity.changed(shown).findings
    elif decoded is not None and not findings:
        pixels.hand_on(decoded, state(held.first), header)
    return _verified(master, checked, header, notes)


def _verified(
    master: Master, checked: fixity.Checked, header: Header, notes: list[Finding]
) -> VerifiedMaster:
    return VerifiedMaster(
        path=master.path,
        part=master.part,
        bytes=checked.bytes,
        mtime=checked.mtime,
        digests=checked.digests,
        expected=master.expected,
        verdict="match" if checked.listed else "unlisted",
        header=header,
        notes=[msgspec.convert(note.as_dict(), FindingNote) for note in notes],
    )


def _verify_raw(
    held: Opened, master: Master, settings: Settings, findings: list[Finding]
) -> VerifiedMaster | None:
    """Do as `_verify_opened` with a camera raw file: it is decoded whole."""
    from glassine.masters import raws

    path, shown = held.path, master.path
    limit = settings.intake.max_pixels
    before = len(findings)
    _collected(findings, _check_worth_reading, held, shown, limit)
    if len(findings) > before:
        return None
    raw = _collected(findings, raws.read, path, limit, held.content, shown)
    required = settings.verify.require_manifest or master.must_be_listed
    checked = _collected(findings, fixity.verify_opened, held, master, required)
    if raw is None or checked is None:
        return None
    lossy = settings.raw.lossy
    notes = raws.notes_on(raw.header, shown, listed=checked.listed, lossy=lossy)
    notes += _clock_note(raw.header, checked.mtime, shown)
    findings += [note for note in notes if note.severity == "hold"]
    if not held.is_unchanged():
        findings += fixity.changed(shown).findings
    return _verified(master, checked, raw.header, notes)


def _verify_one(
    batch_dir: Path, master: Master, settings: Settings, findings: list[Finding]
) -> VerifiedMaster | None:
    from glassine.masters import opening

    path = files.inside(batch_dir, master.path)
    try:
        with opened(path) as held:
            if naming.is_raw(master.path):
                return _verify_raw(held, master, settings, findings)
            return _verify_opened(held, master, settings, findings)
    except OSError as problem:
        if naming.is_raw(master.path):
            findings += fixity.unreadable(master.path, problem).findings
            return None
        limit = settings.intake.max_pixels
        _collected(findings, opening.read_header, path, limit, master.path)
        findings += fixity.unreadable(master.path, problem).findings
        return None


def prepare() -> None:
    """Do once a process what would be done for each item."""
    from glassine.masters import opening

    opening.prepare()
    record_files.prepare(Fixity)
    software()


def verify_item(batch_dir: Path, item_dir: Path, given: VerifyGiven) -> None:
    """Write fixity.json of an item: digests, comparison, header facts of each master.

    Raises GlassineError with every finding of all its masters; first those that intake made.
    """
    if given.findings:
        raise GlassineError(list(given.findings))
    entries: list[VerifiedMaster] = []
    findings: list[Finding] = []
    for master in given.masters:
        entry = _verify_one(batch_dir, master, given.settings, findings)
        if entry:
            entries.append(entry)
    if findings:
        raise GlassineError(findings)
    fixity_event = event(
        "fixity check", {"algorithms": list(fixity.ALGORITHMS), "version": VERSION}
    )
    record = Fixity(item=given.item, masters=entries, event=msgspec.convert(fixity_event, Event))
    record_files.save(item_dir / "fixity.json", "fixity", record)
