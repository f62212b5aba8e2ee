"""Intake: which files belong to which item, and what is known of each before a pixel is read.

Every entry of the batch folder ends in exactly one place of intake.json: a master of an item
(ready, held or waiting), a finding that says why it is none, a target capture, a known companion
(catalogue, checksums, facts) or `other_files`. Nothing is left out silently, and nothing is opened
but by `door`. What makes the whole batch uncertain holds each of its items.
"""

from __future__ import annotations

import functools
import hashlib
import os
import posixpath
import re
import time
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

import jsonschema

from glassine.base import corrections, door, files, naming, sandbox, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.helper_process import Apart
from glassine.intake import batch_facts, batch_lists, checksums, companions, twins
from glassine.masters import header_size, holes

VERSION = "4"

MASTER_SUFFIXES = naming.MASTER_SUFFIXES
# Pictures that are not masters: held, so that a person sees that they were not taken for any.
OTHER_PICTURE_SUFFIXES = {
    ".jpg", ".jpeg", ".png", ".jp2", ".jxl", ".webp", ".avif", ".heic", ".bmp", ".gif", ".dng",
    ".raw", ".psd", ".psb",
}  # fmt: skip
# Folders in which captures of targets lie (common practice, no source).
_TARGET_FOLDERS = {"target", "targets", "chart", "charts", "calibration"}
# A file changed within this time may still be on its way from the capture station.
RECENT_S = 600
# Time for looking for a label in one picture; a large master takes seconds.
LABEL_S = 120.0
# A side file that a list names is compared up to this size.
_MAX_SIDE_BYTES = 256 * 2**20


@dataclass
class _Item:
    item: str
    masters: list[dict[str, Any]] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    waiting: bool = False
    labels: list[dict[str, Any]] = field(default_factory=list)


def fingerprint(batch_dir: Path, extra: list[Path]) -> str:
    """Return a digest of names, sizes, times and rights below the batch folder and in `extra`.

    It changes when anything intake depends on may have changed, without reading contents.
    """
    digest = hashlib.sha256(repr(batch_dir.is_symlink()).encode())
    for mark in door.listing(batch_dir).marks():
        digest.update(mark.encode())
    for path in extra:
        digest.update(repr((str(path), _state(path))).encode())
    return digest.hexdigest()


def _state(path: Path) -> tuple[int, int, int] | str:
    try:
        status = path.stat()
    except OSError as problem:
        return str(problem.strerror)
    return status.st_size, status.st_mtime_ns, status.st_mode


def _label_identity(
    path: Path, root: Path, pattern: re.Pattern[str], max_pixels: int, reader: Apart
) -> tuple[str | None, list[dict[str, Any]]]:
    """Return the item that a label in the picture names, and the labels seen.

    reader: decodes the picture in a process of its own: what crashes it or hangs shows no label,
    and `verify` tells what is wrong with the file.
    """
    size = header_size.size_px(path, root)
    if size is None or size[0] * size[1] > max_pixels:
        return None, []
    memory_bytes = sandbox.memory_for(16 * (size[0] * size[1] // 10**6))
    found = reader.ask(str(path), str(max_pixels), seconds=LABEL_S, memory_bytes=memory_bytes) or []
    items = set()
    for label in found:
        text = label["text"].strip()
        parsed = naming.parse(f"{text}.tif", pattern)
        if parsed is not None:
            items.add(str(parsed.item))
    return (items.pop() if len(items) == 1 else None), found


def _growing(batch_dir: Path, entries: list[door.Entry], watch_s: float) -> set[str]:
    """Return the recently changed files that change while being watched."""
    now = time.time()
    recent = [entry for entry in entries if now - entry.mtime_ns / 1e9 < RECENT_S]
    if not recent or watch_s <= 0:
        return set()
    time.sleep(watch_s)
    changed = set()
    for entry in recent:
        try:
            status = (batch_dir / entry.path).lstat()
        except OSError:
            changed.add(entry.path)
            continue
        if (status.st_size, status.st_mtime_ns) != (entry.size, entry.mtime_ns):
            changed.add(entry.path)
    return changed


def _waits(entry: door.Entry, growing: set[str], min_age_minutes: float) -> str | None:
    if entry.path in growing:
        return "It is still being written."
    age_min = (time.time() - entry.mtime_ns / 1e9) / 60
    # A time in the future (a wrong clock) says nothing about age.
    if 0 <= age_min < min_age_minutes:
        return f"It was changed {age_min:.0f} minutes ago, less than {min_age_minutes:g}."
    return None


def target_files(targets: list[dict[str, Any]]) -> set[str]:
    """Return the paths of all captures that belong to targets: they are no items."""
    return {
        posixpath.normpath(path)
        for target in targets
        for path in (target["path"], target.get("flat_field"), *target.get("repeats", []))
        if path
    }


class _Intake:
    """The joining of one batch; `result` gives intake.json."""

    def __init__(self, batch_dir: Path, given: dict[str, Any], label_reader: Apart) -> None:
        self.batch_dir = batch_dir
        self.label_reader = label_reader
        self.given = given
        self.settings = given["settings"]
        self.pattern = naming.compile_pattern(self.settings["naming"]["pattern"])
        self.listing = _open_listing(batch_dir)
        self.notes: list[Finding] = []
        # What makes the whole batch uncertain: it holds each item.
        self.doubts: list[Finding] = []
        # Entries of which some were found to say something of the batch, and are no `other_files`.
        self.companions: set[str] = set()
        # What cannot be taken in, with the finding that says why.
        self.refused: list[tuple[str, Finding]] = []
        self.lists = batch_lists.read_lists(self.listing, batch_dir)
        self.companions.update(self.lists.names)
        self.facts = self._read_facts()
        self.statements = batch_facts.Statements(self.facts)
        decided = self._corrections_file()
        self.corrections = corrections.read_corrections(decided) if decided else {}
        self.withdrawals = corrections.read_withdrawals(decided) if decided else []
        self.items: dict[str, _Item] = {}
        self.places: dict[str, tuple[int, int]] = {}  # device and inode of each master
        self.others: list[str] = []
        self.targets = [self._target(target) for target in self.facts.get("targets", [])]
        self.catalogue = self._read_catalogue()

    def _read_facts(self) -> dict[str, Any]:
        chosen = companions.facts(self.listing)
        entry = self._statement(chosen, companions.FACTS_NAME, "what the studio states of the film")
        if entry is None:
            return {}
        if entry.path != companions.FACTS_NAME:
            self._tell_name(entry.path, companions.FACTS_NAME)
        if entry.size == 0:
            self._note(
                "intake.empty",
                entry.path,
                "This file is empty and states nothing.",
                "the facts of the batch, or no such file.",
                "Check that it was copied whole.",
                "review",
            )
        return batch_facts.read_batch_facts(self.batch_dir / entry.path)

    def _corrections_file(self) -> Path | None:
        """Return corrections.yaml, or None where there is none that may be read."""
        chosen = companions.corrections(self.listing)
        name = companions.CORRECTIONS_NAME
        entry = self._statement(chosen, name, "what a person decided")
        if entry is not None and entry.path != name:
            self._doubt_look_alike([entry.path], name, "what a person decided")
            return None
        return self.batch_dir / entry.path if entry else None

    def _read_catalogue(self) -> Any:
        from glassine.intake.catalogue import reading as catalogue

        chosen = companions.catalogue(self.listing)
        self.companions.update(entry.path for entry in chosen.entries)
        configured = self.settings["catalogue"]["path"]
        if configured:
            for entry in chosen.entries:
                self._note(
                    "catalogue.not_used",
                    entry.path,
                    "This catalogue is not read: the settings name another.",
                    f"{configured}, as `catalogue.path` says.",
                    "Nothing, where that is so; else set `catalogue.path` to null.",
                )
            return catalogue.read_catalogue(Path(configured), self.settings)
        if not self._has_catalogue(chosen):
            return None
        path = chosen.entries[0].path
        if path not in companions.CATALOGUE_NAMES:
            self._tell_name(path, "catalogue.csv, .jsonl or .xml")
        root = self.batch_dir
        return catalogue.read_catalogue(root / path, self.settings, root)

    def _has_catalogue(self, chosen: companions.Chosen) -> bool:
        """Return whether the batch folder has one catalogue; else say what follows."""
        names = ", ".join(entry.path for entry in chosen.entries)
        entry = chosen.only
        if len(chosen.entries) > 1:
            self._doubt(
                "catalogue.two",
                names,
                f"There are {len(chosen.entries)} catalogues, and nothing says which one holds.",
                "one catalogue in the batch folder.",
                "Move the others out of the batch folder, or name the right one in "
                "`catalogue.path`.",
            )
        elif entry is not None and entry.kind:
            self._doubt(
                "catalogue.not_a_file",
                entry.path,
                f"The catalogue is no file: it is {entry.kind}. It was not opened.",
                "a regular file.",
                "Put the catalogue itself into the batch folder.",
            )
        elif entry is None:
            self._tell_no_catalogue(chosen.alike)
        return entry is not None and not entry.kind

    def _tell_no_catalogue(self, alike: tuple[str, ...]) -> None:
        shown = wording.some(alike, 5)
        near = f" These may be meant, and were not read: {shown}." if alike else ""
        given = (
            "catalogue.none",
            alike[0] if alike else "catalogue.csv",
            f"The batch folder has no catalogue.{near}",
            f"one of {', '.join(companions.CATALOGUE_NAMES)} in the batch folder itself.",
            "Export the catalogue as CSV under that name, or set `catalogue.path`; where a batch "
            "needs none, set `catalogue.required` to false.",
        )
        if self.settings["catalogue"]["required"]:
            self._doubt(*given)
        else:
            self._note(*given, "review" if alike else "note")

    def _statement(self, chosen: companions.Chosen, name: str, says: str) -> door.Entry | None:
        """Return the regular file that is meant by `name`, or None; what is doubtful is told."""
        self.companions.update(entry.path for entry in chosen.entries)
        entry = chosen.only
        if len(chosen.entries) > 1:
            self._doubt(
                "intake.side_file_twice",
                ", ".join(each.path for each in chosen.entries),
                f"Several files may be {name}, and nothing says which one holds.",
                f"one {name}.",
                "Move the others out of the batch folder.",
            )
            return None
        if entry is None:
            if chosen.alike:
                self._doubt_look_alike(list(chosen.alike), name, says)
            return None
        for path in chosen.alike:
            self._note(
                "intake.look_alike",
                path,
                f"This file was not read: {entry.path} is there.",
                f"{says} in {name} alone.",
                "See that nothing is in it that should hold, then move it out of the batch folder.",
                "review",
            )
        if entry.kind:
            self._doubt(
                "intake.side_file",
                entry.path,
                f"This is no file: it is {entry.kind}. It was not opened.",
                f"a regular file that tells {says}.",
                "Put the file itself into the batch folder.",
            )
            return None
        return entry

    def _doubt_look_alike(self, paths: list[str], name: str, says: str) -> None:
        self._doubt(
            "intake.look_alike",
            wording.some(paths, 5),
            f"There is no {name}, but this may be meant for it, and was not read.",
            f"{says} in a file named {name}.",
            f"Rename it to {name}, or move it out of the batch folder.",
        )

    def _tell_name(self, path: str, expected: str) -> None:
        self._note(
            "intake.side_name",
            path,
            "This file was read, though its name is not quite as expected.",
            f"{expected}.",
            "Rename it when convenient.",
        )

    def _doubt(self, code: str, path: str, what: str, expected: str, step: str) -> None:
        self.doubts.append(Finding(code, path, what, expected, step))

    def _note(
        self, code: str, path: str, what: str, expected: str, step: str, severity: str = "note"
    ) -> None:
        self.notes.append(Finding(code, path, what, expected, step, severity))

    def _target(self, target: dict[str, Any]) -> dict[str, Any]:
        """Return a target of batch.yaml with what is known of each of its captures."""
        wanted = target_files([target])
        self.companions.add(posixpath.normpath(target["description"]))
        captures = [
            {
                "path": entry.path,
                "part": None,
                "bytes": entry.size,
                "mtime_ns": entry.mtime_ns,
                "expected": self.lists.expected.get(entry.path, {}),
            }
            for entry in self.listing.files
            if entry.path in wanted and entry.problem is None
        ]
        return {**target, "captures": captures}

    def _item(self, item: str) -> _Item:
        return self.items.setdefault(item, _Item(item))

    def _hold(self, item: str, code: str, path: str, what: str, expected: str, step: str) -> None:
        self._item(item).findings.append(Finding(code, path, what, expected, step))

    def sort_files(self) -> None:
        """Put every entry into one place."""
        settings_ = self.settings["intake"]
        growing = _growing(
            self.batch_dir,
            [entry for entry in self.listing.files if entry.problem is None],
            settings_["watch_s"],
        )
        target_paths = target_files(self.targets)
        pictures = MASTER_SUFFIXES | OTHER_PICTURE_SUFFIXES
        for entry in self.listing.files:
            if entry.path in target_paths:
                continue
            if _suffix(entry.name) in pictures:
                waits = _waits(entry, growing, settings_["min_age_minutes"])
                if waits is None and entry.problem is None:
                    waits = self._arrives(entry)
                self._take(entry, waits)
            elif entry.path not in self.companions:
                self._set_aside(entry)
        for entry in self.listing.folders:
            if _suffix(entry.name) in pictures and entry.path not in self.companions:
                self._refuse(entry, "it is a folder")
        for path, why in self.listing.vanished.items():
            self.refused.append((path, _vanished(path, why)))
        self._hold_refused()

    def _arrives(self, entry: door.Entry) -> str | None:
        """Return why a master that has just changed is not whole yet, or None."""
        if _suffix(entry.name) not in MASTER_SUFFIXES:
            return None
        listed = bool(self.lists.expected.get(entry.path))
        return holes.arriving(self.batch_dir / entry.path, listed)

    def _refuse(self, entry: door.Entry, why: str) -> None:
        finding = Finding(
            "intake.entry",
            entry.path,
            f"This file is not taken in: {why}.",
            "a regular file, readable, with a plain UTF-8 name (normal form C, without % and "
            "controls).",
            "Copy or rename it properly at the capture station, or give the night's user the right "
            "to read it; nothing was read or changed.",
        )
        self.refused.append((entry.path, finding))

    def _hold_refused(self) -> None:
        """Hold the item that lacks what was refused, else a stand-in."""
        for path, finding in self.refused:
            parsed = naming.parse(PurePosixPath(path).name, self.pattern)
            owner = self.items.get(str(parsed.item)) if parsed else None
            item = owner.item if owner and owner.masters else naming.stand_in(path)
            self._item(item).findings.append(finding)

    def _set_aside(self, entry: door.Entry) -> None:
        """List a file that is no master by its name, unless it may be one by its content."""
        if entry.kind:
            self._refuse(entry, f"it is {entry.kind}")
            return
        if not entry.readable:
            self._refuse(entry, "the night's user may not read it")
            return
        try:
            with door.open_file(self.batch_dir / os.fsdecode(entry.raw), self.batch_dir) as stream:
                head = stream.read(4)
        except OSError as problem:
            self._refuse(entry, f"it cannot be read: {problem.strerror}")
            return
        if head in header_size.TIFF_HEADS:
            self._refuse_hidden(entry)
        else:
            self.others.append(entry.path)

    def _refuse_hidden(self, entry: door.Entry) -> None:
        near = naming.nearest(entry.name, self.pattern)
        rename = f"Rename it to {near}" if near else "Give it the ending .tif"
        finding = Finding(
            "intake.not_a_master",
            entry.path,
            "By its content this is a TIFF or a raw picture, but its name does not end in .tif.",
            "masters as TIFF files (.tif, .tiff), and no other pictures.",
            f"{rename} if it is a master, else move it out of the batch folder; it may also be a "
            "copy that was broken off.",
        )
        self.refused.append((entry.path, finding))

    def _take(self, entry: door.Entry, waits: str | None) -> None:
        if entry.problem:
            self._refuse(entry, entry.problem)
            return
        if _suffix(entry.name) not in MASTER_SUFFIXES:
            stem = naming.parse(PurePosixPath(entry.name).stem + ".tif", self.pattern)
            self._hold(
                naming.stand_in(entry.path) if stem is None else str(stem.item),
                "intake.not_a_master",
                entry.path,
                "This picture is no TIFF and is not taken for a master.",
                "masters as TIFF files (.tif, .tiff).",
                "Bring the TIFF master, or move this file out of the batch folder.",
            )
            return
        item, part, sequence, seen = self._identify(entry, waits is not None)
        record = {
            "path": entry.path,
            "part": part,
            "sequence": sequence,
            "bytes": entry.size,
            "mtime_ns": entry.mtime_ns,
            "expected": dict(self.lists.expected.get(entry.path, {})),
            "size_px": None
            if waits
            else header_size.size_px(self.batch_dir / entry.path, self.batch_dir),
        }
        found = self._item(item)
        found.masters.append(record)
        self.places[entry.path] = entry.place
        found.labels += seen
        if waits:
            found.waiting = True
            found.findings.append(
                Finding(
                    "intake.waiting",
                    entry.path,
                    waits,
                    "a file that has come to rest.",
                    "Nothing: the next night takes it.",
                    "note",
                )
            )

    def _identify(
        self, entry: door.Entry, waits: bool
    ) -> tuple[str, str | None, str | None, list[dict[str, Any]]]:
        forced = self._forced_identity(entry.path)
        if forced:
            return forced, None, None, []
        parsed = naming.parse(entry.name, self.pattern)
        if parsed is not None:
            return str(parsed.item), parsed.part, parsed.sequence, []
        seen: list[dict[str, Any]] = []
        if self.settings["intake"]["labels"] == "when_needed" and not waits:
            item, seen = _label_identity(
                self.batch_dir / entry.path,
                self.batch_dir,
                self.pattern,
                self.settings["intake"]["max_pixels"],
                self.label_reader,
            )
            if item is not None:
                self.notes.append(
                    Finding(
                        "intake.label_identity",
                        entry.path,
                        f"Its name is off the template; the label in the picture says {item}.",
                        self._name_words(),
                        "Please confirm; rename the file when convenient.",
                        "review",
                    )
                )
                return item, None, None, seen
        stand_in = naming.stand_in(entry.path)
        near = naming.nearest(entry.name, self.pattern)
        more = ""
        if seen:
            more = f", and the labels seen ({len(seen)}) name no single item"
        if near:
            more += f"; it differs only by blanks, marks or case from {near}"
        rename = f"Rename the file to {near}" if near else "Rename the file"
        self._hold(
            stand_in,
            "naming.off_template",
            entry.path,
            f"Its name does not tell the item{more}.",
            self._name_words(),
            f"{rename}, or name its item under `identity` in corrections.yaml.",
        )
        return stand_in, None, None, seen

    @functools.cached_property
    def _example(self) -> str | None:
        """A name on the template, of this batch where one is: a master's, else of a row's item."""
        names = [entry.name for entry in self.listing.files]
        rows = self.catalogue.records if self.catalogue else {}
        names += [f"{item}.tif" for item in rows]
        return next((name for name in names if naming.parse(name, self.pattern)), None)

    def _name_words(self) -> str:
        """Return in words what a name should be like."""
        like = f", such as {self._example}" if self._example else ""
        return (
            f"a file name as the studio agreed{like}; the rule is `naming.pattern` in "
            "config/config.yaml."
        )

    def _forced_identity(self, path: str) -> str | None:
        for item, correction in self.corrections.items():
            identity = correction.get("identity")
            if identity and identity.get("master") == path:
                return str(identity.get("item", item))
        return None

    def check_parts(self) -> None:
        """Hold items whose masters contradict each other, and items whose ids collide."""
        for item in self.items.values():
            places: dict[tuple[str | None, str | None], list[str]] = {}
            for master in item.masters:
                places.setdefault((master["part"], master["sequence"]), []).append(master["path"])
            for paths in places.values():
                if len(paths) > 1 and not naming.is_stand_in(item.item):
                    self._hold(
                        item.item,
                        "intake.two_masters",
                        paths[0],
                        f"{len(paths)} masters claim the same place: {', '.join(paths)}.",
                        "one master per part and sequence of an item.",
                        "Move the wrong one out of the batch folder, or give it a part name.",
                    )
        for group in naming.collisions(list(self.items)):
            for item_id in group:
                self._hold(
                    item_id,
                    "intake.names_collide",
                    item_id,
                    f"These items differ only in case: {', '.join(group)}.",
                    "ids that stay apart on every file system.",
                    "Rename the masters of one of them.",
                )

    def check_lists(self) -> None:
        """Compare what the checksum lists name with what is there."""
        told = set()
        for name, path in self.lists.missing:
            if path not in told:
                told.add(path)
                self._tell_missing(name, path)
        self.notes += self.lists.findings
        if self.lists.names:
            self._check_unlisted()
        else:
            self._tell_no_list()
        self._tell_digests_elsewhere()
        self._check_conflicts()
        self._check_side_files()

    def _tell_missing(self, list_name: str, path: str) -> None:
        last = path.replace("\\", "/").rpartition("/")[2]
        if _suffix(last) not in MASTER_SUFFIXES | OTHER_PICTURE_SUFFIXES:
            self._note(
                "intake.listed_missing",
                path,
                f"{list_name} names this file, but it is not in the batch folder.",
                "every file that the capture station listed.",
                "Copy it from the capture station, or correct the checksum list.",
                "review",
            )
            return
        parsed = naming.parse(last, self.pattern)
        self._hold(
            str(parsed.item) if parsed else naming.stand_in(path),
            "intake.master_missing",
            path,
            "The checksum list names this master, but it is not in the batch folder.",
            "every master that the capture station listed.",
            "Copy it from the capture station, or correct the checksum list.",
        )

    def _tell_no_list(self) -> None:
        alike = [path for path in self.others if checksums.resembles(path)]
        for path in [path for path in alike if path not in self.lists.alike][:5]:
            self._note(
                "intake.look_alike",
                path,
                "No checksum list is there; this file may be one, and was not read.",
                "a list such as manifest-sha256.txt.",
                "Rename it, or move it out of the batch folder.",
                "review",
            )

    def _tell_digests_elsewhere(self) -> None:
        for path in self.lists.alike[:5]:
            self._note(
                "intake.look_alike",
                path,
                "It holds digests of files of this batch, but is no checksum list in whole, or a "
                "backup of one: they were not compared.",
                "a checksum list, such as manifest-sha256.txt, with a digest and a path a line.",
                "Write the list anew at the capture station, or move the file out of the batch "
                "folder.",
                "review",
            )

    def _check_unlisted(self) -> None:
        """Say of each master that lists are there and none names it. It is held: at once where a
        list that may name it could not be read, else by `verify`, which tells also what else is
        wrong with it; by the settings it is for review."""
        doubtful = [f"{name} ({why})" for name, why in self.lists.doubtful.items()]
        must_be_listed = self.settings["intake"]["unlisted"] == "hold"
        for item in list(self.items.values()):
            for master in item.masters:
                path = master["path"]
                if master["expected"] or path in self.lists.conflicting or item.waiting:
                    continue
                if must_be_listed and not doubtful:
                    master["must_be_listed"] = True
                    continue
                item.findings.append(
                    Finding(
                        "intake.unlisted",
                        path,
                        "No checksum list vouches for this master"
                        + (f": {'; '.join(doubtful[:3])}." if doubtful else "."),
                        "a line for each master, since the batch has a checksum list.",
                        "Write the checksum list anew at the capture station, or see that this "
                        "file belongs to the batch.",
                        "hold" if doubtful else "review",
                    )
                )
        captures = {each["path"]: each for target in self.targets for each in target["captures"]}
        for path, capture in captures.items():
            if not capture["expected"]:
                self._note(
                    "intake.unlisted",
                    path,
                    "No checksum list names this target capture.",
                    "a line for each capture, since the batch has a checksum list.",
                    "Write the checksum list anew at the capture station.",
                    "review",
                )

    def _owners(self) -> dict[str, str]:
        return {
            master["path"]: item.item for item in self.items.values() for master in item.masters
        }

    def _check_conflicts(self) -> None:
        owners = self._owners()
        for path, where in self.lists.conflicting.items():
            given = (
                "intake.list_conflict",
                path,
                f"The checksum lists state different digests of this file ({where}).",
                "one digest for each file.",
                "Write the checksum list anew at the capture station.",
            )
            if path in owners:
                self._hold(owners[path], *given)
            else:
                self._note(*given, "review")

    def _check_side_files(self) -> None:
        """Compare the listed files that are no pictures; a changed one that the night goes by
        holds the batch."""
        pictures = MASTER_SUFFIXES | OTHER_PICTURE_SUFFIXES
        leading = self.companions - set(self.lists.names) - {companions.CORRECTIONS_NAME}
        for entry in self.listing.files:
            expected = self.lists.expected.get(entry.path)
            if not expected or _suffix(entry.name) in pictures:
                continue
            why = self._difference(entry, expected)
            if not why:
                continue
            given = (
                "intake.side_file_changed",
                entry.path,
                f"The checksum list names this file, but {why}.",
                "the file that the capture station listed.",
                "Copy it again from the capture station; if it was changed on purpose, correct or "
                "remove its line in the checksum list.",
            )
            if entry.path in leading:
                self._doubt(*given)
            else:
                self._note(*given, "review")

    def _difference(self, entry: door.Entry, expected: dict[str, str]) -> str | None:
        path = self.batch_dir / entry.path
        for algorithm, digest in expected.items():
            try:
                with door.open_file(path, self.batch_dir, _MAX_SIDE_BYTES) as stream:
                    found = hashlib.file_digest(stream, algorithm).hexdigest()
            except OSError as problem:
                return f"it was not compared: {problem.strerror}"
            if found != digest:
                return f"its {algorithm} is another ({found})"
        return None

    def check_twins(self) -> None:
        """Hold items whose masters are the same file, or the same bytes, as another master."""
        owners, masters = {}, []
        for item in self.items.values():
            for master in item.masters if not item.waiting else []:
                path = master["path"]
                owners[path] = item.item
                place = self.places[path]
                masters.append(twins.Master(path, master["bytes"], place, master["expected"]))
        for same in twins.find(self.batch_dir, masters):
            names = wording.some(same.paths, 5)
            kind = "one file under several names (hard links)" if same.linked else "the same bytes"
            for item_id in sorted({owners[path] for path in same.paths}):
                self._hold(
                    item_id,
                    "intake.same_bytes",
                    next(path for path in same.paths if owners[path] == item_id),
                    f"These masters are {kind}: {names}.",
                    "a capture of its own for each master.",
                    "Find out which name is right, and move the others out of the batch folder.",
                )

    def check_folders(self) -> None:
        """Say of folders below the batch that look like batches or like folders of targets."""
        for folder, names in companions.nested(self.listing).items():
            inside = [
                (item, master["path"])
                for item in self.items.values()
                for master in item.masters
                if master["path"].startswith(f"{folder}/")
            ]
            given = (
                f"{folder} looks like a batch of its own; {', '.join(names)} was not read.",
                "side files in the batch folder itself.",
                "Move that folder beside the batch folder, or its side files out of it.",
            )
            for item, path in inside:
                item.findings.append(Finding("intake.nested_batch", path, *given))
            if not inside:
                self._note("intake.nested_batch", names[0], *given, "review")
        for item in self.items.values():
            for master in item.masters:
                folders = {part.casefold() for part in PurePosixPath(master["path"]).parts[:-1]}
                if folders & _TARGET_FOLDERS:
                    item.findings.append(
                        Finding(
                            "intake.in_targets",
                            master["path"],
                            "It lies among target captures, but batch.yaml names it under no "
                            "target: it is taken for a master.",
                            "masters and targets in folders of their own.",
                            "Name it under `targets` in batch.yaml, or confirm that it is a master "
                            "by moving it.",
                            "review",
                        )
                    )

    def check_targets(self) -> None:
        """Hold items of the catalogue whose master batch.yaml takes for a target."""
        records = self.catalogue.records if self.catalogue else {}
        for path in sorted(target_files(self.targets)):
            parsed = naming.parse(PurePosixPath(path).name, self.pattern)
            if parsed is not None and str(parsed.item) in records:
                self._hold(
                    str(parsed.item),
                    "intake.target_is_item",
                    path,
                    "batch.yaml calls this file a target capture, the catalogue an item.",
                    "a file that is one or the other.",
                    "Correct `targets` in batch.yaml, or the catalogue.",
                )

    def hold_by_doubts(self) -> None:
        """Hold each item that has a master for what makes the whole batch uncertain."""
        for finding in self.doubts:
            owners = [item for item in self.items.values() if item.masters]
            for item in owners or [self._item(naming.stand_in(finding.path))]:
                item.findings.append(finding)

    def join_catalogue(self) -> dict[str, Any]:
        """Hold items without a sound row; return what the report says of the rows."""
        if self.catalogue is None:
            return {"read": 0, "without_master": [], "catalogue": None}
        for item in [entry for entry in self.items if not naming.is_stand_in(entry)]:
            self._item(item).findings += self.catalogue.for_review.get(item, [])
            bad = self.catalogue.bad_items.get(item)
            if bad is not None:
                self._item(item).findings.append(bad)
            elif item not in self.catalogue.records:
                self._item(item).findings.append(
                    Finding(
                        "catalogue.no_row",
                        item,
                        "The catalogue has no row for this item.",
                        f"a row whose item id is {item}.",
                        "Add the row to the catalogue extract, or correct the file name.",
                        "hold" if self.settings["catalogue"]["required"] else "review",
                    )
                )
        self._check_claims()
        self._check_named_masters()
        self.notes += self.catalogue.findings
        without = sorted(set(self.catalogue.records) - set(self.items))
        return {
            "read": self.catalogue.rows_read,
            "without_master": without,
            "catalogue": catalogue_path(self.batch_dir, self.settings).name,  # type: ignore[union-attr]
        }

    def _check_named_masters(self) -> None:
        """Hold items whose rows name masters that are not here: a part of them is missing."""
        here = {each.path.casefold() for each in self.listing.files}
        here |= {PurePosixPath(path).name for path in here}
        here |= {PurePosixPath(path).stem for path in here}
        here |= {str(each.get("master") or "").casefold() for each in self.withdrawals}
        for item, record in self.catalogue.records.items():
            if item not in self.items:
                continue  # told with the rows that have no master at all
            for name in dict.fromkeys(record.get("masters") or []):
                if name.replace("\\", "/").casefold() not in here:
                    self._hold(
                        item,
                        "catalogue.master_missing",
                        name,
                        "The catalogue row of this item names this master, but it is not in the "
                        "batch folder.",
                        "every master that the row names.",
                        "Copy it from the capture station, or correct the `masters` column of the "
                        "catalogue.",
                    )

    def _check_claims(self) -> None:
        """Hold items whose rows name a master that another row names too."""
        claims: dict[str, list[str]] = {}
        for item, record in self.catalogue.records.items():
            for name in record.get("masters") or []:
                claims.setdefault(name, []).append(item)
        owner = self._owners()
        for name, items in sorted(claims.items()):
            rows = sorted({*items, *([owner[name]] if name in owner else [])})
            if len(rows) < 2:
                continue
            for item in rows:
                if item in self.items or name in owner:
                    self._hold(
                        item,
                        "catalogue.master_of_two",
                        name,
                        f"This master is claimed by {len(rows)} items: {', '.join(rows)}.",
                        "one item for each master.",
                        "Correct the `masters` column of the catalogue, or the file name.",
                    )

    def state_facts(self) -> None:
        """Put the facts that batch.yaml states of each master on it, and say what had no effect."""
        for item in self.items.values():
            for master in item.masters:
                stated = self.statements.facts_of(item.item, master["part"])
                master["facts"] = stated.facts.as_dict()
                item.findings += batch_facts.of_no_effect(master["path"], master["part"], stated)

    def check_statements(self) -> None:
        """Say what batch.yaml and corrections.yaml state of something that is not here."""
        masters = [
            (item.item, master["part"])
            for item in self.items.values()
            if not naming.is_stand_in(item.item)
            for master in item.masters
        ]
        paths = {master["path"] for item in self.items.values() for master in item.masters}
        present = {entry.path for entry in self.listing.files if entry.problem is None}
        stocks = self.settings.get("tone", {}).get("film_stocks", {})
        self.notes += self.statements.without_master(masters)
        self.notes += batch_facts.unknown_stocks(self.facts, stocks)
        self.notes += batch_facts.target_findings(self.facts, present)
        self.notes += corrections.about_nothing(self.corrections, set(self.items), paths)

    def corrections_without_item(self) -> list[str]:
        return sorted(set(self.corrections) - set(self.items))

    def result(self) -> dict[str, Any]:
        self.sort_files()
        self.check_parts()
        self.check_lists()
        self.check_twins()
        self.check_folders()
        self.check_targets()
        rows = self.join_catalogue()
        self.state_facts()
        self.check_statements()
        self.hold_by_doubts()
        if not self.items:
            self._tell_empty()
        return {
            "batch": self.given["batch"],
            "title": self.facts.get("title", self.given["batch"]),
            "facts": {key: self.facts[key] for key in ("operator",) if key in self.facts},
            "default_facts": self.statements.default_facts().as_dict(),
            "items": [self._as_dict(self.items[item]) for item in sorted(self.items)],
            "notes": [finding.as_dict() for finding in self.notes],
            "rows": rows,
            "other_files": self.others,
            "targets": self.targets,
            "withdraw": self.withdrawals,
            "corrections_without_item": self.corrections_without_item(),
        }

    def _tell_empty(self) -> None:
        self._note(
            "intake.no_masters",
            self.given["batch"],
            "This batch folder holds no master.",
            "TIFF masters (.tif, .tiff).",
            "Check that the disk or share is there, and that the capture station has written.",
            "review",
        )

    def _as_dict(self, item: _Item) -> dict[str, Any]:
        held = any(finding.severity == "hold" for finding in item.findings)
        state = "held" if held else "waiting" if item.waiting else "ready"
        record = self.catalogue.records.get(item.item) if self.catalogue else None
        return {
            "item": item.item,
            "state": state,
            "masters": sorted(item.masters, key=lambda master: str(master["path"])),
            "catalogue": record,
            "corrections": self.corrections.get(item.item),
            "labels": item.labels,
            "findings": [finding.as_dict() for finding in item.findings],
        }


def catalogue_path(batch_dir: Path, settings_: dict[str, Any]) -> Path | None:
    """Return the catalogue of a batch: as configured, else the batch folder's own, else None."""
    configured = settings_["catalogue"]["path"]
    return Path(configured) if configured else companions.catalogue_path(batch_dir)


def _open_listing(batch_dir: Path) -> door.Listing:
    """Return all that lies in the batch folder. Raises GlassineError where a part of it is closed:
    any item may have a master there."""
    listing = door.listing(batch_dir)
    if listing.closed:
        raise GlassineError(
            [
                Finding(
                    "intake.closed",
                    str(batch_dir if folder == "." else batch_dir / folder),
                    f"This folder cannot be listed: {why}. The batch is held, since masters may "
                    "lie in it.",
                    "a folder that the night's user may list and enter.",
                    "Give the night's user the right to it, see that the disk or share is sound, "
                    "or move the folder out of the batch folder.",
                )
                for folder, why in sorted(listing.closed.items())
            ]
        )
    return listing


def _vanished(path: str, why: str) -> Finding:
    return Finding(
        "intake.vanished",
        path,
        f"This name was listed, but there was no file to it: {why}.",
        "a file at rest.",
        "See that nothing is still writing or moving files in the batch folder; the next night "
        "looks again.",
    )


def _suffix(name: str) -> str:
    return PurePosixPath(name).suffix.lower()


def take_in(batch_dir: Path, given: dict[str, Any]) -> dict[str, Any]:
    """Return what is known of the batch before a pixel is read (the content of intake.json).

    given: {"batch", "settings": {naming, intake, catalogue}}. Raises GlassineError where the
    batch as a whole cannot be taken in: batch.yaml, corrections.yaml or the catalogue unreadable.
    """
    if batch_dir.is_symlink():
        raise GlassineError.because(
            "intake.link",
            batch_dir,
            "This batch folder is a symbolic link; it was not followed.",
            "the folder itself, or a disk or share mounted there.",
            "Move or mount the folder there, or let `masters` in the settings name the folder in "
            "which it lies.",
        )
    if not batch_dir.is_dir():
        raise GlassineError.because(
            "intake.no_folder",
            batch_dir,
            "There is no such batch folder.",
            "a folder of masters.",
            "Correct `masters` or `batches` in config/config.yaml.",
        )
    # Pixels are needed only for names off the template: the reader starts when it is asked.
    with Apart("glassine.masters.labels:read_master") as label_reader:
        result = _Intake(batch_dir, given, label_reader).result()
    jsonschema.validate(result, files.read_schema("intake"))
    return result
