"""Intake: which files belong to which item, and what is known of each before a pixel is read.

Every regular file of the batch folder ends in exactly one place of intake.json: a master of an
item (ready, held or waiting), a target capture, a known companion (catalogue, checksums, facts)
or `other_files`. Nothing is left out silently.
"""

from __future__ import annotations

import fnmatch
import hashlib
import os
import re
import stat
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import jsonschema

from glassine import confine, declared, files, naming, settings
from glassine.apart import Apart
from glassine.errors import Finding, GlassineError
from glassine.model import KINDS, Facts

VERSION = "1"

MASTER_SUFFIXES = {".tif", ".tiff"}
# Pictures that are not masters: held, so that a person sees that they were not taken for any.
OTHER_PICTURE_SUFFIXES = {
    ".jpg", ".jpeg", ".png", ".jp2", ".jxl", ".webp", ".avif", ".heic", ".bmp", ".gif", ".dng",
    ".raw", ".psd", ".psb",
}  # fmt: skip
CATALOGUE_NAMES = ("catalogue.csv", "catalogue.jsonl", "catalogue.xml")
DIGEST_LENGTHS = {"md5": 32, "sha256": 64, "sha512": 128}
# A file changed within this time may still be on its way from the capture station.
RECENT_S = 600
# Time for looking for a label in one picture; a large master takes seconds.
LABEL_S = 120.0
_MANIFEST = re.compile(r"manifest-([a-z0-9]+)\.txt")
_MAX_MANIFEST_BYTES = 64 * 2**20

_FACT_PROPERTIES: dict[str, Any] = {
    "kind": {"enum": list(KINDS)},
    "polarity": {"enum": ["auto", "negative", "positive"]},
    "process": {"enum": ["auto", "colour", "monochrome"]},
    "emulsion_side": {"enum": ["away", "toward"]},
    "rotate": {"enum": [0, 90, 180, 270]},
    "crop": {"enum": ["picture", "object"]},
    "nominal_ppi": {"type": "number", "minimum": 10, "maximum": 50000},
    "required_ppi": {"type": "number", "minimum": 10, "maximum": 50000},
    "size_mm": {
        "type": "array",
        "items": {"type": "number", "exclusiveMinimum": 0, "maximum": 2000},
        "minItems": 2,
        "maxItems": 2,
    },
    "film_stock": {"type": "string", "maxLength": 100},
    "slopes": {
        "type": "array",
        "items": {"type": "number", "minimum": 0.1, "maximum": 4},
        "minItems": 3,
        "maxItems": 3,
    },
    "encoding": {"enum": ["srgb", "linear", "gamma-2.2", "gamma-1.8"]},
}

BATCH_SCHEMA: dict[str, Any] = {
    "type": "object",
    "additionalProperties": False,
    "properties": {
        "title": {"type": "string", "maxLength": 500},
        "operator": {
            "type": "object",
            "additionalProperties": False,
            "description": "Role ids (not names) of who captured and who checked.",
            "properties": {
                "capture": {"type": "string", "pattern": "^[A-Za-z0-9._-]{1,40}$"},
                "check": {"type": "string", "pattern": "^[A-Za-z0-9._-]{1,40}$"},
            },
        },
        "defaults": {
            "type": "object",
            "additionalProperties": False,
            "properties": _FACT_PROPERTIES,
        },
        "items": {
            "type": "array",
            "description": "Facts by item; `match` is a glob over item ids, later entries win.",
            "items": {
                "type": "object",
                "additionalProperties": False,
                "required": ["match"],
                "properties": {"match": {"type": "string", "maxLength": 200}, **_FACT_PROPERTIES},
            },
        },
        "targets": {
            "type": "array",
            "description": "Target captures: no items, but proof of the capture's quality.",
            "items": {
                "type": "object",
                "additionalProperties": False,
                "required": ["path", "description"],
                "properties": {
                    "path": {"type": "string", "maxLength": 500},
                    "description": {"type": "string", "maxLength": 500},
                    "flat_field": {"type": "string", "maxLength": 500},
                    "repeats": {
                        "type": "array",
                        "items": {"type": "string", "maxLength": 500},
                        "maxItems": 50,
                    },
                    "kind": {"enum": ["transmissive", "reflective"]},
                    "nominal_ppi": {"type": "number", "minimum": 10, "maximum": 50000},
                    "taken": {"type": "string", "maxLength": 40},
                },
            },
        },
    },
}


@dataclass(frozen=True)
class _File:
    """One directory entry: `path` relative to the batch folder (escaped where not UTF-8)."""

    path: str
    name: str
    size: int
    mtime_ns: int
    mode: int
    problem: str | None


@dataclass
class _Item:
    item: str
    masters: list[dict[str, Any]] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    waiting: bool = False
    labels: list[dict[str, Any]] = field(default_factory=list)


def _entries(batch_dir: Path) -> list[_File]:
    """Return every entry below the batch folder that is no folder, sorted by path."""
    found = []
    for folder, folders, names in os.walk(os.fsencode(batch_dir), followlinks=False):
        folders.sort()
        links = [
            name
            for name in folders
            if os.path.islink(os.path.join(folder, name))  # noqa: PTH114, PTH118
        ]
        for raw in sorted([*names, *links]):
            full = os.path.join(folder, raw)  # noqa: PTH118 - names may be bytes that are no text
            relative = os.path.relpath(full, os.fsencode(batch_dir))
            try:
                status = os.lstat(full)
            except OSError:
                continue  # gone since the listing: not in the batch any more
            shown = relative.decode("utf-8", "backslashreplace")
            found.append(
                _File(
                    path=shown,
                    name=Path(shown).name,
                    size=status.st_size,
                    mtime_ns=status.st_mtime_ns,
                    mode=status.st_mode,
                    problem=_entry_problem(relative, status.st_mode),
                )
            )
    return found


def _entry_problem(relative: bytes, mode: int) -> str | None:
    if stat.S_ISLNK(mode):
        return "it is a symbolic link"
    if not stat.S_ISREG(mode):
        return "it is a device, pipe, socket or folder"
    for part in relative.split(b"/"):
        problem = naming.name_problem(os.fsdecode(part))
        if problem:
            return problem
    return None


def fingerprint(batch_dir: Path, extra: list[Path]) -> str:
    """Return a digest of names, sizes and times below the batch folder and of `extra` files.

    It changes when anything intake depends on may have changed, without reading contents.
    """
    digest = hashlib.sha256()
    for entry in _entries(batch_dir):
        digest.update(repr((entry.path, entry.size, entry.mtime_ns, entry.mode)).encode())
    for path in extra:
        status = path.stat() if path.exists() else None
        digest.update(repr((str(path), status and (status.st_size, status.st_mtime_ns))).encode())
    return digest.hexdigest()


def read_batch_facts(path: Path) -> dict[str, Any]:
    """Return batch.yaml, checked. Raises GlassineError with one finding per mistake."""
    if not path.exists():
        return {}
    loaded = settings.read_yaml(path) or {}
    found = settings.problems(loaded, BATCH_SCHEMA, path.name)
    if found:
        raise GlassineError(found)
    checked: dict[str, Any] = loaded
    return checked


def facts_of(item: str, batch: dict[str, Any]) -> Facts:
    """Return what batch.yaml says of an item: defaults, then each matching entry in order."""
    known: dict[str, Any] = dict(batch.get("defaults", {}))
    for entry in batch.get("items", []):
        if fnmatch.fnmatchcase(item, entry["match"]):
            known.update({key: value for key, value in entry.items() if key != "match"})
    known["operator"] = batch.get("operator", {}).get("capture")
    return Facts.from_dict(known)


def read_manifest(path: Path, algorithm: str) -> tuple[dict[str, str], list[Finding]]:
    """Return {path: hex digest} of a checksum list and what is wrong in it.

    Lines are "<hex> <blanks> <path>", with an optional "*" before the path.
    """
    listed: dict[str, str] = {}
    found: list[Finding] = []

    def bad(number: int, what: str) -> None:
        found.append(
            Finding(
                "intake.manifest_line",
                f"{path.name}, line {number}",
                what,
                f"{DIGEST_LENGTHS[algorithm]} hexadecimal digits, blanks and a path in the batch.",
                "Write the checksum list anew at the capture station.",
                "note",
            )
        )

    if path.stat().st_size > _MAX_MANIFEST_BYTES:
        bad(1, f"The list is larger than {_MAX_MANIFEST_BYTES} bytes and was not read.")
        return listed, found
    text = path.read_bytes().decode("utf-8-sig", "backslashreplace")
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        match = re.fullmatch(r"([0-9A-Fa-f]+)\s+\*?(.+?)\s*", line)
        if match is None or len(match[1]) != DIGEST_LENGTHS[algorithm]:
            bad(number, "The line is no checksum line.")
            continue
        name = match[2].removeprefix("./")
        if listed.get(name, match[1].lower()) != match[1].lower():
            bad(number, f"{name} is listed twice with different digests; none of them is trusted.")
            listed[name] = "conflicting"
            continue
        listed[name] = match[1].lower()
    return listed, found


def _manifests(
    entries: list[_File], batch_dir: Path
) -> tuple[dict[str, dict[str, str]], list[Finding]]:
    expected: dict[str, dict[str, str]] = {}
    found: list[Finding] = []
    for entry in entries:
        match = _MANIFEST.fullmatch(entry.path)
        if match is None or entry.problem:
            continue
        if match[1] not in DIGEST_LENGTHS:
            found.append(
                Finding(
                    "intake.manifest_algorithm",
                    entry.path,
                    f"The algorithm {match[1]!r} is not known here.",
                    "md5, sha256 or sha512.",
                    "Ask the capture station for one of these; the list was not used.",
                    "note",
                )
            )
            continue
        listed, problems = read_manifest(batch_dir / entry.path, match[1])
        found += problems
        for name, digest in listed.items():
            expected.setdefault(name, {})[match[1]] = digest
    return expected, found


def _unidentified(path: str) -> str:
    """Return the stand-in id of a file that tells no item; the same for the same path."""
    return "unidentified-" + hashlib.sha256(path.encode()).hexdigest()[:8]


def _label_identity(
    path: Path, pattern: re.Pattern[str], max_pixels: int, reader: Apart
) -> tuple[str | None, list[dict[str, Any]]]:
    """Return the item that a label in the picture names, and the labels seen.

    reader: decodes the picture in a process of its own: what crashes it or hangs shows no label,
    and `verify` tells what is wrong with the file.
    """
    size = declared.size_px(path)
    if size is None or size[0] * size[1] > max_pixels:
        return None, []
    memory_bytes = confine.memory_for(16 * (size[0] * size[1] // 10**6))
    found = reader.ask(str(path), seconds=LABEL_S, memory_bytes=memory_bytes) or []
    items = set()
    for label in found:
        text = label["text"].strip()
        parsed = naming.parse(f"{text}.tif", pattern)
        if parsed is not None:
            items.add(str(parsed.item))
    return (items.pop() if len(items) == 1 else None), found


def _growing(batch_dir: Path, entries: list[_File], watch_s: float) -> set[str]:
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


def _waits(entry: _File, growing: set[str], min_age_minutes: float) -> str | None:
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
        path
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
        self.facts = read_batch_facts(batch_dir / "batch.yaml")
        self.entries = _entries(batch_dir)
        self.expected, self.notes = _manifests(self.entries, batch_dir)
        self.corrections = self._read_corrections()
        self.withdrawals = self._read_withdrawals()
        self.items: dict[str, _Item] = {}
        self.others: list[str] = []
        self.targets = [self._target(target) for target in self.facts.get("targets", [])]
        self.catalogue = self._read_catalogue()

    def _read_corrections(self) -> dict[str, Any]:
        from glassine import corrections

        path = self.batch_dir / "corrections.yaml"
        return corrections.read_corrections(path) if path.exists() else {}

    def _read_withdrawals(self) -> list[dict[str, Any]]:
        from glassine import corrections

        path = self.batch_dir / "corrections.yaml"
        return corrections.read_withdrawals(path) if path.exists() else []

    def _read_catalogue(self) -> Any:
        from glassine import catalogue

        path = catalogue_path(self.batch_dir, self.settings)
        return catalogue.read_catalogue(path, self.settings) if path else None

    def _target(self, target: dict[str, Any]) -> dict[str, Any]:
        """Return a target of batch.yaml with what is known of each of its captures."""
        wanted = target_files([target])
        captures = [
            {
                "path": entry.path,
                "part": None,
                "bytes": entry.size,
                "mtime_ns": entry.mtime_ns,
                "expected": self.expected.get(entry.path, {}),
            }
            for entry in self.entries
            if entry.path in wanted and entry.problem is None
        ]
        return {**target, "captures": captures}

    def _item(self, item: str) -> _Item:
        return self.items.setdefault(item, _Item(item))

    def _hold(self, item: str, code: str, path: str, what: str, expected: str, step: str) -> None:
        self._item(item).findings.append(Finding(code, path, what, expected, step))

    def sort_files(self) -> None:
        """Put every file into one place."""
        settings_ = self.settings["intake"]
        growing = _growing(
            self.batch_dir,
            [entry for entry in self.entries if entry.problem is None],
            settings_["watch_s"],
        )
        target_paths = target_files(self.targets)
        for entry in self.entries:
            suffix = Path(entry.name).suffix.lower()
            if entry.path in target_paths:
                continue
            if suffix in MASTER_SUFFIXES | OTHER_PICTURE_SUFFIXES:
                self._take(entry, _waits(entry, growing, settings_["min_age_minutes"]))
            elif not self._is_companion(entry):
                self.others.append(entry.path)

    def _is_companion(self, entry: _File) -> bool:
        return (
            entry.path in {*CATALOGUE_NAMES, "batch.yaml", "corrections.yaml"}
            or _MANIFEST.fullmatch(entry.path) is not None
        )

    def _take(self, entry: _File, waits: str | None) -> None:
        if entry.problem:
            self._hold(
                _unidentified(entry.path),
                "intake.entry",
                entry.path,
                f"This file is not taken in: {entry.problem}.",
                "a regular file with a plain UTF-8 name (normal form C, without % and controls).",
                "Copy or rename it properly at the capture station; nothing was read or changed.",
            )
            return
        if Path(entry.name).suffix.lower() not in MASTER_SUFFIXES:
            stem = naming.parse(Path(entry.name).stem + ".tif", self.pattern)
            self._hold(
                _unidentified(entry.path) if stem is None else str(stem.item),
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
            "expected": self.expected.pop(entry.path, {}),
            "size_px": None if waits else declared.size_px(self.batch_dir / entry.path),
        }
        found = self._item(item)
        found.masters.append(record)
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
        self, entry: _File, waits: bool
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
                        f"a name that matches {self.pattern.pattern}",
                        "Please confirm; rename the file when convenient.",
                        "review",
                    )
                )
                return item, None, None, seen
        stand_in = _unidentified(entry.path)
        self._hold(
            stand_in,
            "naming.off_template",
            entry.path,
            "Its name does not tell the item"
            + ("." if not seen else f", and the labels seen ({len(seen)}) name no single item."),
            f"a name that matches {self.pattern.pattern}",
            "Rename the file, or name its item under `identity` in corrections.yaml.",
        )
        return stand_in, None, None, seen

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
                if len(paths) > 1 and not item.item.startswith("unidentified-"):
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

    def check_manifest(self) -> None:
        """Hold items whose masters a manifest lists but the folder lacks."""
        suffixes = MASTER_SUFFIXES | OTHER_PICTURE_SUFFIXES
        present = {entry.path for entry in self.entries}
        for name in sorted(self.expected):
            if name in present or Path(name).suffix.lower() not in suffixes:
                continue
            parsed = naming.parse(Path(name).name, self.pattern)
            shown = naming.name_problem(name.replace("/", "")) is None
            self._hold(
                str(parsed.item) if parsed else _unidentified(name),
                "intake.master_missing",
                name if shown else repr(name),
                "The checksum list names this master, but it is not in the batch folder.",
                "every master that the capture station listed.",
                "Copy it from the capture station, or correct the checksum list.",
            )

    def join_catalogue(self) -> dict[str, Any]:
        """Hold items without a sound row; return what the report says of the rows."""
        if self.catalogue is None:
            return {"read": 0, "without_master": [], "catalogue": None}
        for item in [entry for entry in self.items if not entry.startswith("unidentified-")]:
            bad = self.catalogue.bad_items.get(item)
            if bad is not None:
                self._item(item).findings.append(bad)
            elif item not in self.catalogue.records and self.settings["catalogue"]["required"]:
                self._hold(
                    item,
                    "catalogue.no_row",
                    item,
                    "The catalogue has no row for this item.",
                    f"a row whose item id is {item}.",
                    "Add the row to the catalogue extract, or correct the file name.",
                )
        self._check_claims()
        self.notes += self.catalogue.findings
        without = sorted(set(self.catalogue.records) - set(self.items))
        return {
            "read": self.catalogue.rows_read,
            "without_master": without,
            "catalogue": catalogue_path(self.batch_dir, self.settings).name,  # type: ignore[union-attr]
        }

    def _check_claims(self) -> None:
        """Hold items whose rows name a master that another row names too."""
        claims: dict[str, list[str]] = {}
        for item, record in self.catalogue.records.items():
            for name in record.get("masters") or []:
                claims.setdefault(name, []).append(item)
        owner = {
            master["path"]: item.item for item in self.items.values() for master in item.masters
        }
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

    def result(self) -> dict[str, Any]:
        self.sort_files()
        self.check_parts()
        self.check_manifest()
        rows = self.join_catalogue()
        return {
            "batch": self.given["batch"],
            "title": self.facts.get("title", self.given["batch"]),
            "facts": {key: self.facts[key] for key in ("operator",) if key in self.facts},
            "items": [self._as_dict(self.items[item]) for item in sorted(self.items)],
            "notes": [finding.as_dict() for finding in self.notes],
            "rows": rows,
            "other_files": self.others,
            "targets": self.targets,
            "withdraw": self.withdrawals,
            "corrections_without_item": sorted(set(self.corrections) - set(self.items)),
        }

    def _as_dict(self, item: _Item) -> dict[str, Any]:
        held = any(finding.severity == "hold" for finding in item.findings)
        state = "held" if held else "waiting" if item.waiting else "ready"
        record = self.catalogue.records.get(item.item) if self.catalogue else None
        return {
            "item": item.item,
            "state": state,
            "masters": sorted(item.masters, key=lambda master: str(master["path"])),
            "facts": facts_of(item.item, self.facts).as_dict(),
            "catalogue": record,
            "corrections": self.corrections.get(item.item),
            "labels": item.labels,
            "findings": [finding.as_dict() for finding in item.findings],
        }


def catalogue_path(batch_dir: Path, settings_: dict[str, Any]) -> Path | None:
    """Return the catalogue of a batch: as configured, else the batch folder's own, else None."""
    configured = settings_["catalogue"]["path"]
    if configured:
        return Path(configured)
    for name in CATALOGUE_NAMES:
        if (batch_dir / name).is_file():
            return batch_dir / name
    return None


def take_in(batch_dir: Path, given: dict[str, Any]) -> dict[str, Any]:
    """Return what is known of the batch before a pixel is read (the content of intake.json).

    given: {"batch", "settings": {naming, intake, catalogue}}. Raises GlassineError where the
    batch as a whole cannot be taken in: batch.yaml, corrections.yaml or the catalogue unreadable.
    """
    if not batch_dir.is_dir():
        raise GlassineError.because(
            "intake.no_folder",
            batch_dir,
            "There is no such batch folder.",
            "a folder of masters.",
            "Correct `masters` or `batches` in config/config.yaml.",
        )
    # Pixels are needed only for names off the template: the reader starts when it is asked.
    with Apart("glassine.labels:read_master") as label_reader:
        result = _Intake(batch_dir, given, label_reader).result()
    jsonschema.validate(result, files.read_schema("intake"))
    return result
