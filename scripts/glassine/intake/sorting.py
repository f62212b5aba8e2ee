"""Which entry of a batch folder becomes what: a master, refused, a companion or another file."""

from __future__ import annotations

import os
from pathlib import PurePosixPath

from glassine.base import door, naming
from glassine.base.errors import Finding
from glassine.base.helper_process import Apart
from glassine.base.records.intake import CalibrationEntry, LeftOut
from glassine.intake import at_rest, beside, identity, ways
from glassine.intake.model import Batch, Collector, Master, is_master, is_picture
from glassine.masters import header_size


def sort_files(batch: Batch, collector: Collector, reader: Apart) -> list[str]:
    """Put every entry into one place; return the paths of other files.

    reader: reads labels in pictures, in a process of its own.
    """
    changing = at_rest.growing(batch)
    others: list[str] = []
    refused: list[Finding] = []
    beside_masters: list[door.Entry] = []
    arrived = []
    for entry in batch.listing.files:
        if entry.path in batch.target_paths:
            continue
        if entry.path in batch.calibration_roles and entry.problem is None:
            _calibrate(batch, collector, entry, at_rest.why_not(batch, entry, changing))
        elif entry.path in batch.raw_masters:
            if entry.problem:
                refused.append(_refusal(entry, entry.problem))
            else:
                arrived.append(identity.Arrived(entry, at_rest.why_not(batch, entry, changing)))
        elif is_picture(entry.name):
            if entry.problem:
                refused.append(_refusal(entry, entry.problem))
            elif is_master(entry.name) and entry.path not in batch.tiffs_beside:
                arrived.append(identity.Arrived(entry, at_rest.why_not(batch, entry, changing)))
            else:
                beside_masters.append(entry)
        elif beside.is_raw(entry.name) and entry.problem is None:
            beside_masters.append(entry)
        elif entry.path not in batch.companions:
            _sort_other(batch, entry, others, refused)
    owners = ways.resolve(batch, collector, arrived, identity.Sight(batch, reader))
    for each in arrived:
        _take(batch, collector, each.entry, each.waits, owners[each.path])
    for entry in beside.place(batch, collector, beside_masters):
        if is_picture(entry.name) or next(collector.masters(), None):
            _hold_other_picture(batch, collector, entry)
        else:  # raw files alone are told of the batch as one
            _sort_other(batch, entry, others, refused)
    _tell_raws_alone(batch, collector)
    refused += [
        _refusal(entry, "it is a folder")
        for entry in batch.listing.folders
        if is_picture(entry.name) and entry.path not in batch.companions
    ]
    refused += [_vanished(path, why) for path, why in batch.listing.vanished.items()]
    _hold_refused(batch, collector, refused)
    return sorted(others)


def _tell_raws_alone(batch: Batch, collector: Collector) -> None:
    """Say of raw masters in a batch whose other raw files go with TIFFs: a TIFF may be missing."""
    every = list(collector.items.values())
    if not any(each.kind == "raw" for item in every for each in item.companions):
        return
    for item in every:
        item.findings += [
            Finding(
                "intake.raw_alone",
                master.path,
                "It has no TIFF of its name, which other raw files of this batch have: it is "
                "developed here.",
                "a TIFF beside each raw file of the batch, or beside none.",
                "See whether its TIFF was left behind at the capture station; else nothing.",
                "review",
            )
            for master in item.masters
            if naming.is_raw(master.path)
        ]


def _sort_other(batch: Batch, entry: door.Entry, others: list[str], refused: list[Finding]) -> None:
    finding = _why_no_other(batch, entry)
    if finding is None:
        others.append(entry.path)
    else:
        refused.append(finding)


def _take(
    batch: Batch,
    collector: Collector,
    entry: door.Entry,
    waits: str | None,
    owner: identity.Identity,
) -> None:
    """Add a master to its item; waits: why it is not at rest yet."""
    item = collector.item(owner.item)
    item.labels += owner.labels
    item.roll = item.roll or owner.roll
    item.place = item.place or owner.place or (owner.sequence if owner.roll else None)
    expected = dict(batch.lists.expected.get(entry.path, {}))
    if owner.left_out is not None:
        item.left_out.append(
            LeftOut(
                path=entry.path,
                bytes=entry.size,
                mtime_ns=entry.mtime_ns,
                expected=expected,
                why=owner.left_out,
            )
        )
        return
    size_px = None if waits else _size_px(batch, entry)
    item.masters.append(
        Master(
            path=entry.path,
            part=owner.part,
            sequence=owner.sequence,
            size_bytes=entry.size,
            mtime_ns=entry.mtime_ns,
            place=entry.place,
            expected=expected,
            size_px=size_px,
            waits=bool(waits),
            take=owner.take,
            identified=owner.identified,
        )
    )
    if waits:
        item.findings.append(
            Finding(
                "intake.waiting",
                entry.path,
                f"{waits} It waits for the next night.",
                "a file that has come to rest.",
                "Nothing: the next night takes it.",
                "note",
            )
        )


def _size_px(batch: Batch, entry: door.Entry) -> list[int] | None:
    path = batch.folder / entry.path
    if naming.is_raw(entry.name):
        return header_size.raw_size_px(path, batch.folder)
    return header_size.size_px(path, batch.folder)


def _calibrate(batch: Batch, collector: Collector, entry: door.Entry, waits: str | None) -> None:
    """Take a raw capture of the bare table or the dark; one that is still written is told, and the
    night after takes it."""
    if waits:
        collector.note(
            "intake.calibration_waiting",
            entry.path,
            f"{waits} Raw captures of tonight are developed without it.",
            "a calibration capture that has come to rest.",
            "Nothing: the next night takes it, and develops what it holds for anew.",
            "review",
        )
        return
    role = batch.calibration_roles[entry.path]
    what = "the bare light table" if role == "light" else "the dark"
    collector.note(
        "intake.calibration",
        entry.path,
        f"By its name this is the session's capture of {what}, and no item.",
        "calibration captures that no row of the catalogue names.",
        "Nothing; where it is a capture of film, rename it, or change `raw.light_names` and "
        "`raw.dark_names`.",
    )
    collector.calibration.append(
        CalibrationEntry(
            role=role,
            path=entry.path,
            bytes=entry.size,
            mtime_ns=entry.mtime_ns,
            expected=dict(batch.lists.expected.get(entry.path, {})),
        )
    )


def _hold_other_picture(batch: Batch, collector: Collector, entry: door.Entry) -> None:
    parsed = batch.named(str(PurePosixPath(entry.path).with_suffix(".tif")))
    item = naming.stand_in(entry.path) if parsed is None else parsed.item
    if entry.path in batch.tiffs_beside:
        collector.hold(
            item,
            "intake.tiff_beside",
            entry.path,
            "This TIFF lies beside raw files of its name, which are the masters "
            "(`raw.with_tiff`); which it goes with is not certain, or the settings hold it.",
            "one raw file of its name.",
            "Move the raw file that is not the capture out of the batch folder, or this TIFF.",
        )
        return
    if not beside.is_raw(entry.name) and beside.begins_as_tiff(batch, entry):
        collector.item(item).findings.append(_hidden_master(batch, entry))
        return
    collector.hold(
        item,
        "intake.not_a_master",
        entry.path,
        "This is a camera raw file beside TIFF masters of its name; which it goes with is not "
        "certain, or the settings hold it."
        if beside.is_raw(entry.name)
        else "This picture is no TIFF and is not taken for a master.",
        "masters as TIFF files (.tif, .tiff), and beside them only pictures of their names.",
        "Bring the TIFF master, or move this file out of the batch folder.",
    )


def _why_no_other(batch: Batch, entry: door.Entry) -> Finding | None:
    """Return why a file that is no master by its name is no other file either: it may be a master
    by its content, or cannot be looked into."""
    if entry.kind:
        return _refusal(entry, f"it is {entry.kind}")
    if not entry.readable:
        return _refusal(entry, "the night's user may not read it")
    try:
        with door.open_file(batch.folder / os.fsdecode(entry.raw), batch.folder) as stream:
            head = stream.read(4)
    except OSError as problem:
        return _refusal(entry, f"it cannot be read: {problem.strerror}")
    return _hidden_master(batch, entry) if head in header_size.TIFF_HEADS else None


def _hidden_master(batch: Batch, entry: door.Entry) -> Finding:
    near = naming.nearest(entry.name, batch.scheme)
    rename = f"Rename it to {near}" if near else "Give it the ending .tif"
    return Finding(
        "intake.not_a_master",
        entry.path,
        "By its content this is a TIFF or a raw picture, but its name does not end in .tif.",
        "masters as TIFF files (.tif, .tiff), and no other pictures.",
        f"{rename} if it is a master, else move it out of the batch folder; it may also be a "
        "copy that was broken off.",
    )


def _refusal(entry: door.Entry, why: str) -> Finding:
    return Finding(
        "intake.entry",
        entry.path,
        f"This file is not taken in: {why}.",
        "a regular file, readable, with a plain UTF-8 name (normal form C, without % and "
        "controls).",
        "Copy or rename it properly at the capture station, or give the night's user the right "
        "to read it; nothing was read or changed.",
    )


def _vanished(path: str, why: str) -> Finding:
    return Finding(
        "intake.vanished",
        path,
        f"This name was listed, but there was no file to it: {why}.",
        "a file at rest.",
        "See that nothing is still writing or moving files in the batch folder; the next night "
        "looks again.",
    )


def _hold_refused(batch: Batch, collector: Collector, refused: list[Finding]) -> None:
    """Hold the item that lacks what was refused, else a stand-in."""
    for finding in refused:
        parsed = batch.named(finding.path)
        owner = collector.items.get(parsed.item) if parsed else None
        item = owner.item if owner and owner.masters else naming.stand_in(finding.path)
        collector.item(item).findings.append(finding)
