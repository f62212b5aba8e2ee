"""List and check all that belongs to an item's package; nothing is copied yet.

Every byte is read again from disk and compared with what the step that wrote it noted, so that
a file damaged since then holds the item instead of being delivered. Only a master that the same
process has just read and compared (`masters_read` in what the step is given) is not read twice.
"""

from __future__ import annotations

import hashlib
import shutil
import unicodedata
from pathlib import Path

import msgspec
from msgspec import UNSET

from glassine import __version__
from glassine.base import (
    access,
    alternates,
    clock,
    files,
    hashing,
    premis_event,
    raw_keep,
    record_files,
    target_results,
)
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import ItemGeometry
from glassine.base.records.embedded import Embedded
from glassine.base.records.fixity import Fixity, VerifiedMaster
from glassine.base.records.given import Institution
from glassine.base.records.package import Package, PackagedFile, Use
from glassine.base.records.parts import Event
from glassine.base.records.render import Rendering, Tiles
from glassine.pack import layouts
from glassine.pack.given import Companion, Master, PackGiven, Settings

VERSION = "1"
RECORDS = {"METS.xml": "METS.xml", "manifest.json": "manifest.json"}
# Records of the steps: what repeats the derivatives travels with them.
METADATA = {
    "metadata/embedded.json": "embedded.json",
    "metadata/fixity.json": "fixity.json",
    "metadata/geometry.json": "geometry.json",
    "metadata/quality.json": "quality.json",
    "metadata/render.json": "render/render.json",
}
MAX_PATH_BYTES = 240


def _finding(what: str, path: str, words: str, expected: str, next_step: str) -> Finding:
    return Finding(f"pack.{what}", path, words, expected, next_step)


def _digest(path: Path, algorithm: str) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, algorithm).hexdigest()


def _raw_file(master: Master) -> Master:
    """Return the raw file that a master was developed from, as intake saw it."""
    return msgspec.structs.replace(master, path=master.raw or master.path)


class _Packing:
    """One item on its way into package.json; collects files and findings."""

    def __init__(self, batch_dir: Path, item_dir: Path, given: PackGiven) -> None:
        self.batch_dir = batch_dir
        self.item_dir = item_dir
        self.given = given
        self.placed: list[PackagedFile] = []
        self.folders: dict[tuple[str, str], Path] = {}
        self.findings: list[Finding] = []

    def add(self, path: str, source: str, use: Use) -> PackagedFile | None:
        """Hash a file and take it into the list; None with a finding where it is not there."""
        kind, _, relative = source.partition(":")
        try:
            digests = hashing.of_file(self.inside(kind, relative))
        except (OSError, ValueError) as problem:
            self.findings.append(
                _finding(
                    "missing",
                    relative,
                    f"It cannot be read: {problem}.",
                    "every file that the steps before noted.",
                    "Look at the disk; delete this item's results and run again.",
                )
            )
            return None
        entry = PackagedFile(
            path=path,
            source=source,
            bytes=digests.bytes,
            sha256=digests.sha256,
            sha512=digests.sha512,
            use=use,
        )
        self.placed.append(entry)
        return entry

    def inside(self, kind: str, relative: str) -> Path:
        """Return the file's path; ValueError where it or a folder on the way is a link out."""
        root = self.batch_dir if kind == "master" else self.item_dir
        folder, _, name = relative.rpartition("/")
        if (kind, folder) not in self.folders:  # resolving costs more than hashing a tile
            self.folders[kind, folder] = files.inside(root, folder) if folder else root
        path = self.folders[kind, folder] / name
        return files.inside(root, relative) if path.is_symlink() or name == ".." else path

    def expect(self, entry: PackagedFile | None, sha256: str, sha512: str, noted_in: str) -> None:
        """Compare a file as it is now with the digests noted when it was written."""
        if entry is None:
            return
        recorded = {"sha256": sha256, "sha512": sha512}
        wrong = [name for name, digest in recorded.items() if digest != getattr(entry, name)]
        if wrong:
            self.findings.append(
                _finding(
                    "digest",
                    entry.source.partition(":")[2],
                    f"It is not what {noted_in} notes: {', '.join(wrong)} differ.",
                    f"{wrong[0]} {recorded[wrong[0]]}.",
                    "Look at the disk and the memory of this machine; "
                    "delete this item's results and run again.",
                )
            )

    def masters(self) -> None:
        listed = {master.path: master for master in self.given.masters}
        fixity = record_files.load(self.item_dir / "fixity.json", "fixity", Fixity)
        verified = {master.path: master for master in fixity.masters}
        for path in sorted(set(listed) ^ set(verified)):
            self.findings.append(
                _finding(
                    "masters",
                    path,
                    "Intake and fixity.json do not name the same masters.",
                    "the same masters in both.",
                    "Delete fixity.json of this item and run again.",
                )
            )
        for path in sorted(set(listed) & set(verified)):
            if self.given.access.deliver == "records":
                self.kept_back(listed[path])
                continue
            if listed[path].raw is not None:
                self.developed(listed[path], verified[path])
                continue
            unchanged = self.unchanged(listed[path])
            if unchanged and self.given.masters_read:
                self.add_read(path, verified[path])
            else:
                entry = self.add(f"masters/{path}", f"master:{path}", "master")
                digests = verified[path].digests
                self.expect(entry, digests.sha256, digests.sha512, "fixity.json")

    def kept_back(self, master: Master) -> None:
        """Look at a master that the package leaves out: its record still says what it is."""
        self.unchanged(master if master.raw is None else _raw_file(master))

    def developed(self, master: Master, verified: VerifiedMaster) -> None:
        """Take in a picture that was developed here, and the raw file that it was made from, as
        far as the settings deliver them; what they do not is read and compared all the same."""
        entry = self.add(f"masters/{master.path}", f"item:developed/{master.path}", "master")
        digests = verified.digests
        self.expect(entry, digests.sha256, digests.sha512, "fixity.json")
        if entry is not None and raw_keep.of_picture(self.given.keep):
            self.placed.remove(entry)
        source = verified.source
        if source is UNSET or master.raw is None:
            self.findings.append(
                _finding(
                    "masters",
                    master.path,
                    "fixity.json does not name the raw file that it was developed from.",
                    "the raw file and its digests.",
                    "Delete fixity.json of this item and run again.",
                )
            )
            return
        self.unchanged(_raw_file(master))
        entry = self.add(f"raw/{master.raw}", f"master:{master.raw}", "raw")
        self.expect(entry, source.digests.sha256, source.digests.sha512, "fixity.json")
        if entry is not None and raw_keep.of_raw(self.given.keep):
            self.placed.remove(entry)

    def add_read(self, path: str, verified: VerifiedMaster) -> None:
        """Take in a master that this process has just read whole and found as noted."""
        digests = verified.digests
        self.placed.append(
            PackagedFile(
                path=f"masters/{path}",
                source=f"master:{path}",
                bytes=verified.bytes,
                sha256=digests.sha256,
                sha512=digests.sha512,
                use="master",
            )
        )

    def unchanged(self, master: Master) -> bool:
        """Return whether size and time are as intake saw them; a finding where they are not."""
        try:
            state = (self.batch_dir / master.path).stat()
        except OSError:
            return False  # reading it tells why
        same = (state.st_size, state.st_mtime_ns) == (master.bytes, master.mtime_ns)
        if not same:
            self.findings.append(
                _finding(
                    "changed",
                    master.path,
                    "Its size or time changed since intake.",
                    f"{master.bytes} bytes, as intake saw it.",
                    "Find out who writes in the masters' folder; run again when it is settled.",
                )
            )
        return same

    def companions(self) -> None:
        """Take in previews and raw files that the settings deliver; the lists vouch for them."""
        if self.given.access.deliver == "records":
            return  # pictures of what is kept back
        for companion in self.given.companions:
            self.unchanged(companion)
            path = f"companions/{companion.path}"
            entry = self.add(path, f"master:{companion.path}", "companion")
            if entry is not None:
                self.as_listed(entry, companion)

    def as_listed(self, entry: PackagedFile, companion: Companion) -> None:
        path = self.inside("master", companion.path)
        for algorithm, expected in companion.expected.items():
            digest = getattr(entry, algorithm, None) or _digest(path, algorithm)
            if digest != expected:
                self.findings.append(
                    _finding(
                        "companion",
                        companion.path,
                        f"The checksum list states another {algorithm} of it ({digest}).",
                        f"{algorithm} {expected}.",
                        "Copy it again from the capture station, or let `intake.previews` and "
                        "`intake.raws` not deliver such files.",
                    )
                )

    def derivatives(self) -> None:
        embedded = record_files.load(self.item_dir / "embedded.json", "embedded", Embedded)
        listed = {file.path: file for file in embedded.files if not access.stays(file.path)}
        for path, derivative in sorted(listed.items()):
            entry = self.add(path, f"item:{path}", derivative.use)
            self.expect(entry, derivative.sha256, derivative.sha512, "embedded.json")
        for folder in ("access", "thumbs", alternates.FOLDER):
            for path in self.present(folder):
                if path not in listed:
                    self.findings.append(self.unlisted(path, "embedded.json"))

    def present(self, folder: str) -> list[str]:
        root = self.item_dir / folder
        return [f"{folder}/{path}" for path in layouts.tree_paths(root)] if root.is_dir() else []

    def unlisted(self, path: str, record: str) -> Finding:
        return _finding(
            "unlisted",
            path,
            f"This file is not one that {record} notes.",
            "only files that the steps wrote.",
            "Move it out of the item's folder in the results, and run again.",
        )

    def tiles(self, settings: Settings) -> None:
        kinds = {
            master.path: master.kind
            for master in ItemGeometry.from_dict(
                files.read_json(self.item_dir / "geometry.json")
            ).masters
        }
        render = record_files.load(self.item_dir / "render" / "render.json", "render", Rendering)
        folders = {frame.tiles.path: frame.tiles for frame in render.frames if frame.tiles}
        include = {
            frame.tiles.path: settings.of_master(kinds[frame.master], frame.part).include_tiles
            for frame in render.frames
            if frame.tiles
        }
        present: dict[str, list[str]] = {folder: [] for folder in folders}
        for path in self.present("iiif"):
            folder = "/".join(path.split("/")[:2])
            if folder in present:
                present[folder].append(path)
            else:
                self.findings.append(self.unlisted(path, "render.json"))
        for folder, tile_set in sorted(folders.items()):
            if include[folder]:
                entries = [self.add(path, f"item:{path}", "tile") for path in present[folder]]
                self.same_tiles(folder, tile_set, [entry for entry in entries if entry is not None])
            else:  # the record names this one for all of them
                self.add(f"{folder}/info.json", f"item:{folder}/info.json", "tile")

    def same_tiles(self, folder: str, tiles: Tiles, entries: list[PackagedFile]) -> None:
        parts = {entry.path.removeprefix(folder + "/"): entry.sha256 for entry in entries}
        if hashing.of_tree(parts) != tiles.sha256:
            self.findings.append(
                _finding(
                    "tiles",
                    folder,
                    f"The {len(entries)} tiles are not the {tiles.count} that render wrote.",
                    f"digest {tiles.sha256} over all of them.",
                    "Look at the disk; delete render/ and iiif/ of this item and run again.",
                )
            )

    def names(self) -> None:
        paths: dict[str, str] = {}
        for entry in self.placed:
            problem = path_problem(entry.path)
            folded = unicodedata.normalize("NFC", entry.path).casefold()
            if not problem and folded in paths:
                problem = f"it differs from {paths[folded]} only in case or normalization"
            paths[folded] = entry.path
            if problem:
                self.findings.append(
                    _finding(
                        "name",
                        entry.path,
                        f"This name cannot go into a delivery: {problem}.",
                        "a short name in NFC, without %, line ends, backslash or colon.",
                        "Rename the file at the capture station and take it in again.",
                    )
                )

    def mets(self) -> None:
        from glassine.record.check import check_record  # needs lxml and the record's schemas

        # Tiles were read and compared above; alternates can be as large as the masters.
        path = self.item_dir / "METS.xml"
        hashed = {
            entry.path: (entry.bytes, {"sha256": entry.sha256, "sha512": entry.sha512})
            for entry in self.placed
            if entry.use in alternates.USES
        }
        self.findings += check_record(path, self.item_dir, hashed=hashed, tiles=False)


def path_problem(path: str) -> str | None:
    """Return why a path cannot stand in a bag that every file system can hold, or None.

    RFC 8493 sections 2.1.3, 5.1 and 6.1 name the traps; the project refuses them at the door.
    """
    if any(ord(letter) < 32 or ord(letter) == 127 for letter in path):
        return "it holds a control character or line end"
    for letter in '%\\:*?"<>|':
        if letter in path:
            return f"it holds {letter!r}"
    if unicodedata.normalize("NFC", path) != path:
        return "it is not in Unicode form NFC"
    parts = path.split("/")
    if path.startswith(("/", "~")) or {"", ".", ".."} & set(parts):
        return "it leads out of its folder"
    if any(part.endswith((" ", ".")) for part in parts):
        return "a part of it ends in a blank or a dot"
    if len(path.encode()) > MAX_PATH_BYTES:
        return f"it is longer than {MAX_PATH_BYTES} bytes"
    return None


def prepare() -> None:
    """Do once a process what would be done for each item."""
    record_files.prepare(Package)
    layouts.all_layouts()


def pack_item(batch_dir: Path, item_dir: Path, given: PackGiven) -> None:
    """Write package.json of the item (schema: schemas/package.schema.json).

    Raises GlassineError with every finding: a file missing, changed since its step, not noted, or
    with a name no delivery can hold; a changed master; a record that the project's own checks do
    not pass.
    """
    packing = _Packing(batch_dir, item_dir, given)
    proof = (
        {f"metadata/{target_results.RECORD}": target_results.RECORD}
        if (item_dir / target_results.RECORD).exists()
        else {}
    )
    if any(master.raw for master in given.masters):
        proof["metadata/developed.json"] = "developed.json"
    records = dict(RECORDS)
    if given.access.public == "none":
        del records["manifest.json"]
    for path, source in {**records, **METADATA, **proof}.items():
        packing.add(path, f"item:{source}", "record" if path in RECORDS else "metadata")
    if packing.findings:
        raise GlassineError(packing.findings)
    packing.masters()
    packing.companions()
    packing.derivatives()
    packing.tiles(given.settings)
    packing.names()
    packing.mets()
    held = [finding for finding in packing.findings if finding.severity == "hold"]
    if held:
        raise GlassineError(held)
    _write(item_dir, given, packing.placed)


def _write(item_dir: Path, given: PackGiven, placed: list[PackagedFile]) -> None:
    settings = given.settings.package
    layout = layouts.get(settings.profile)
    shutil.rmtree(item_dir / layouts.OWN_FOLDER, ignore_errors=True)
    embedded = record_files.load(item_dir / "embedded.json", "embedded", Embedded)
    schema_dir = given.settings.records.schema_dir
    context = layouts.Context(
        item=given.item,
        item_dir=item_dir,
        institution=msgspec.convert(embedded.event.detail.get("institution", {}), Institution),
        time=clock.now_text(),
        software=f"Glassine {__version__}",
        schema_dir=Path(schema_dir) if schema_dir else None,
    )
    detail = {"settings": msgspec.to_builtins(settings), "step": VERSION}
    done = premis_event.event("information package creation", detail)
    package = Package(
        item=given.item,
        profile=settings.profile,
        event=msgspec.convert(done, Event),
        files=sorted(layout.lay_out(placed, context), key=lambda entry: entry.path),
    )
    record_files.save(item_dir / "package.json", "package", package)
