"""What the checksum lists name against what is there: missing, unlisted, conflicting, changed."""

from __future__ import annotations

import hashlib

from glassine.base import door, naming
from glassine.base.errors import Finding
from glassine.intake import beside, checksums, companions
from glassine.intake.model import Batch, Collector, is_master, is_picture

# A side file that a list names is compared up to this size.
_MAX_SIDE_BYTES = 256 * 2**20


def check_lists(batch: Batch, collector: Collector, others: list[str]) -> set[str]:
    """Compare what the checksum lists name with what is there.

    others: paths of the other files. Returns the masters of which `verify` must find that a list
    names them.
    """
    masters = beside.Masters(collector.owners())
    for path, name in _first_named(batch).items():
        _tell_missing(batch, collector, masters, name, path)
    collector.notes += batch.lists.findings
    must_be_listed: set[str] = set()
    if batch.lists.names:
        must_be_listed = _check_unlisted(batch, collector)
        _check_unlisted_captures(batch, collector)
    else:
        _tell_no_list(batch, collector, others)
    _tell_digests_elsewhere(batch, collector)
    _check_conflicts(batch, collector)
    _check_side_files(batch, collector)
    return must_be_listed


def _first_named(batch: Batch) -> dict[str, str]:
    """Return {path of what is not there: the first list that names it}."""
    first: dict[str, str] = {}
    for name, path in batch.lists.missing:
        first.setdefault(path, name)
    return first


def _tell_missing(
    batch: Batch, collector: Collector, masters: beside.Masters, list_name: str, path: str
) -> None:
    last = path.replace("\\", "/").rpartition("/")[2]
    # A preview that was left behind keeps no master from its turn.
    companion = not is_master(last) and masters.of(path) is not None
    if not (is_picture(last) or naming.is_raw(last)) or companion:
        collector.note(
            "intake.listed_missing",
            path,
            f"{list_name} names this file, but it is not in the batch folder.",
            "every file that the capture station listed.",
            "Copy it from the capture station, or correct the checksum list.",
            "review",
        )
        return
    parsed = batch.named(path.replace("\\", "/"))
    collector.hold(
        parsed.item if parsed else naming.stand_in(path),
        "intake.master_missing",
        path,
        "The checksum list names this master, but it is not in the batch folder.",
        "every master that the capture station listed.",
        "Copy it from the capture station, or correct the checksum list.",
    )


def _tell_no_list(batch: Batch, collector: Collector, others: list[str]) -> None:
    alike = [path for path in others if checksums.resembles(path)]
    for path in [path for path in alike if path not in batch.lists.alike][:5]:
        collector.note(
            "intake.look_alike",
            path,
            "No checksum list is there; this file may be one, and was not read.",
            "a list such as manifest-sha256.txt.",
            "Rename it, or move it out of the batch folder.",
            "review",
        )


def _tell_digests_elsewhere(batch: Batch, collector: Collector) -> None:
    for path in batch.lists.alike[:5]:
        collector.note(
            "intake.look_alike",
            path,
            "It holds digests of files of this batch, but is no checksum list in whole, or a "
            "backup of one: they were not compared.",
            "a checksum list, such as manifest-sha256.txt, with a digest and a path a line.",
            "Write the list anew at the capture station, or move the file out of the batch folder.",
            "review",
        )


def _check_unlisted(batch: Batch, collector: Collector) -> set[str]:
    """Say of each master that lists are there and none names it. It is held: at once where a
    list that may name it could not be read, else by `verify`, which tells also what else is
    wrong with it; by the settings it is for review. Returns the paths that `verify` holds."""
    doubtful = [f"{name} ({why})" for name, why in batch.lists.doubtful.items()]
    by_verify = batch.settings.intake.unlisted == "hold" and not doubtful
    must_be_listed = set()
    for item in collector.items.values():
        unlisted = [
            master.path
            for master in (item.masters if not item.waiting else [])
            if not master.expected and master.path not in batch.lists.conflicting
        ]
        if by_verify:
            must_be_listed.update(unlisted)
        else:
            item.findings += [_unlisted(path, doubtful) for path in unlisted]
    return must_be_listed


def _unlisted(path: str, doubtful: list[str]) -> Finding:
    return Finding(
        "intake.unlisted",
        path,
        "No checksum list vouches for this master"
        + (f": {'; '.join(doubtful[:3])}." if doubtful else "."),
        "a line for each master, since the batch has a checksum list.",
        "Write the checksum list anew at the capture station, or see that this "
        "file belongs to the batch.",
        "hold" if doubtful else "review",
    )


def _check_unlisted_captures(batch: Batch, collector: Collector) -> None:
    captures = {file.path: file for target in batch.targets for file in target.captures}
    for path, capture in captures.items():
        if not capture.expected:
            collector.note(
                "intake.unlisted",
                path,
                "No checksum list names this target capture.",
                "a line for each capture, since the batch has a checksum list.",
                "Write the checksum list anew at the capture station.",
                "review",
            )
    for calibration in collector.calibration:
        if not calibration.expected:
            collector.note(
                "intake.unlisted",
                calibration.path,
                "No checksum list names this calibration capture, and film is developed with it.",
                "a line for each capture, since the batch has a checksum list.",
                "Write the checksum list anew at the capture station.",
                "review",
            )


def _check_conflicts(batch: Batch, collector: Collector) -> None:
    owners = collector.owners()
    for path, where in batch.lists.conflicting.items():
        words = (
            "intake.list_conflict",
            path,
            f"The checksum lists state different digests of this file ({where}).",
            "one digest for each file.",
            "Write the checksum list anew at the capture station.",
        )
        if path in owners:
            collector.hold(owners[path], *words)
        else:
            collector.note(*words, "review")


def _check_side_files(batch: Batch, collector: Collector) -> None:
    """Compare the listed files that are no pictures; a changed one that the night goes by
    holds the batch."""
    leading = batch.companions - set(batch.lists.names) - {companions.CORRECTIONS_NAME}
    for entry in batch.listing.files:
        expected = batch.lists.expected.get(entry.path)
        if not expected or is_picture(entry.name) or entry.path in batch.raw_masters:
            continue
        why = _difference(batch, entry, expected)
        if not why:
            continue
        words = (
            "intake.side_file_changed",
            entry.path,
            f"The checksum list names this file, but {why}.",
            "the file that the capture station listed.",
            "Copy it again from the capture station; if it was changed on purpose, correct or "
            "remove its line in the checksum list.",
        )
        if entry.path in leading:
            collector.doubt(*words)
        else:
            collector.note(*words, "review")


def _difference(batch: Batch, entry: door.Entry, expected: dict[str, str]) -> str | None:
    path = batch.folder / entry.path
    for algorithm, digest in expected.items():
        try:
            with door.open_file(path, batch.folder, _MAX_SIDE_BYTES) as stream:
                actual = hashlib.file_digest(stream, algorithm).hexdigest()
        except OSError as problem:
            return f"it was not compared: {problem.strerror}"
        if actual != digest:
            return f"its {algorithm} is another ({actual})"
    return None
