"""The records of an item when its own is written, gathered from the steps' files."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path

import msgspec
from msgspec import UNSET

from glassine.base import (
    access,
    alternates,
    files,
    persistent,
    raw_keep,
    record_files,
    rights,
    target_results,
)
from glassine.base.errors import GlassineError
from glassine.base.markup import xml_id
from glassine.base.model import Frame, ItemGeometry, ItemId, MasterGeometry
from glassine.base.records.catalogue import CatalogueRow
from glassine.base.records.developed import Developed
from glassine.base.records.embedded import Embedded, EmbeddedFile
from glassine.base.records.fixity import Fixity, VerifiedMaster
from glassine.base.records.given import Institution
from glassine.base.records.parts import Event
from glassine.base.records.quality import Quality
from glassine.base.records.render import Alternate, RenderedFrame, Rendering, Tiles
from glassine.base.vocabulary import DIGEST_NAMES
from glassine.embed import tiff
from glassine.record.given import RecordGiven
from glassine.record.targets import Target, Targets

# Where the records of the steps lie in a package, and in the folder of an item.
PROVENANCE = {
    "metadata/developed.json": "developed.json",
    "metadata/embedded.json": "embedded.json",
    "metadata/fixity.json": "fixity.json",
    "metadata/geometry.json": "geometry.json",
    "metadata/quality.json": "quality.json",
    "metadata/render.json": "render/render.json",
    "metadata/targets.json": target_results.RECORD,
}
_RAW_MIME = "image/x-camera-raw"
JSON_FORMAT = ("JSON", None, "fmt/817")
# What a record calls each use of a derivative, and its media type.
_USES = {"access": "access", "thumb": "thumbnail", **dict.fromkeys(alternates.USES, "alternate")}
_MIMES = {
    "webp": "image/webp",
    "avif": "image/avif",
    "jp2": "image/jp2",
    **dict.fromkeys(alternates.TIFFS, "image/tiff"),
}


@dataclass(frozen=True)
class FileEntry:
    """One file of the package. path: in the package; digests: {"sha256": hex, "sha512": hex}.

    format: name, version and PRONOM id. tree: of the tiles that an info.json stands for. kind:
    which of the alternates it is, made: what render.json says of it; coding: how a TIFF of them
    holds its picture. level: of a file that is recorded and not in the package, a word of
    `raw_keep`.
    """

    path: str
    use: str
    mime: str
    bytes: int
    digests: dict[str, str]
    format: tuple[str, str | None, str | None]
    created: str
    derived_from: str | None = None
    original_name: str | None = None
    tree: Tiles | None = None
    kind: str | None = None
    made: Alternate | None = None
    coding: tiff.Coding | None = None
    level: str = ""

    @property
    def id(self) -> str:
        return xml_id("file", self.path)


@dataclass
class ItemRecords:
    """Records of the steps, and the package's files in a fixed order. beside: files that are
    recorded and not in the package, by the path that they would have."""

    given: RecordGiven
    fixity: Fixity
    geometry: ItemGeometry
    render: Rendering
    quality: Quality
    embedded: Embedded
    targets: Targets | None = None
    developed: Developed | None = None
    files: dict[str, FileEntry] = field(default_factory=dict)
    beside: dict[str, FileEntry] = field(default_factory=dict)

    @property
    def recorded(self) -> dict[str, FileEntry]:
        """Return all files that the record tells of, in the package or not."""
        return {**self.files, **self.beside}

    @property
    def item(self) -> ItemId:
        return self.given.item

    @property
    def objid(self) -> str:
        """Return what names the item in its METS: its number, or the identifier of the kind that
        the settings name. Raises GlassineError where it has none of these, or several."""
        kind = self.given.settings.records.objid
        if kind == "item":
            return self.item
        values = [each.value for each in self.row.identifiers if each.type == kind]
        if len(set(values)) == 1:
            return values[0]
        name = persistent.NAMES[kind]
        has = f"several: {', '.join(values)}" if values else "none"
        raise GlassineError.because(
            "record.objid",
            self.item,
            f"Its METS is to be named by its {name} (`records.objid`), and it has {has}.",
            f"one {name} of the item.",
            f"Put the {name} into the catalogue and export again, have ARKs made "
            "(`identifiers.mint`), or set `records.objid` to `item`.",
        )

    @property
    def row(self) -> CatalogueRow:
        return self.given.row

    @property
    def institution(self) -> Institution:
        return self.given.institution

    @property
    def captures(self) -> tuple[Target, ...]:
        """Return the target captures of the batch."""
        return self.targets.targets if self.targets else ()

    @property
    def rights(self) -> rights.Rights:
        """Return the item's rights; what the catalogue leaves open comes from the settings."""
        return self.given.rights

    @property
    def access(self) -> access.Access:
        """Return who may see the item."""
        return self.given.access

    def operator(self, master: str) -> str | None:
        """Return the role id of who captured a master, where batch.yaml states it."""
        named = (entry.facts.operator for entry in self.given.masters if entry.path == master)
        return next(named, None)

    def of_use(self, use: str) -> list[FileEntry]:
        """Return the files of a use that the record tells of, in the package or not."""
        return [entry for entry in self.recorded.values() if entry.use == use]

    @property
    def located_event(self) -> Event | None:
        """Return the event of locate, None where an earlier version left none."""
        event = self.geometry.event
        return msgspec.convert(event, Event) if event.get("time") else None

    def located(self, master: str) -> MasterGeometry | None:
        """Return what locate measured on a master; None where it knows nothing of it."""
        return next((entry for entry in self.geometry.masters if entry.path == master), None)

    def located_frame(self, frame: RenderedFrame) -> Frame | None:
        """Return what locate measured of a frame of render.json."""
        master = self.located(frame.master)
        frames = master.frames if master else ()
        return next((entry for entry in frames if entry.index == frame.index), None)

    def frames_of(self, master: str) -> list[RenderedFrame]:
        """Return the entries of render.json for the frames of a master, by index."""
        frames = [frame for frame in self.render.frames if frame.master == master]
        return sorted(frames, key=lambda frame: frame.index)


def gather(item_dir: Path, given: RecordGiven) -> ItemRecords:
    """Return what the steps wrote into the item's folder.

    Raises GlassineError where a record is not as its type says.
    """
    records = ItemRecords(
        given=given,
        fixity=record_files.load(item_dir / "fixity.json", "fixity", Fixity),
        geometry=ItemGeometry.from_dict(files.read_json(item_dir / "geometry.json")),
        render=record_files.load(item_dir / "render" / "render.json", "render", Rendering),
        quality=record_files.load(item_dir / "quality.json", "quality", Quality),
        embedded=_of_package(record_files.load(item_dir / "embedded.json", "embedded", Embedded)),
        targets=_targets(item_dir / target_results.RECORD),
        developed=_developed(item_dir / "developed.json", given),
    )
    made = {each.name: each for frame in records.render.frames for each in frame.alternates}
    entries = [
        *(_master(entry, given) for entry in records.fixity.masters),
        *(_raw(each.source, given) for each in records.fixity.masters if each.source is not UNSET),
        *(_derivative(item_dir, entry, records.embedded, made) for entry in records.embedded.files),
        *_tiles(item_dir, records.render),
        *_provenance(item_dir, records),
    ]
    records.files = {entry.path: entry for entry in entries if not entry.level}
    records.beside = {entry.path: entry for entry in entries if entry.level}
    return records


def _developed(path: Path, given: RecordGiven) -> Developed | None:
    """Return how the item's raw masters were developed, None where it has none."""
    if not any(master.raw for master in given.masters):
        return None
    return record_files.load(path, "developed", Developed)


def _of_package(embedded: Embedded) -> Embedded:
    """Return the record without pictures that stay out of the package."""
    kept = [file for file in embedded.files if not access.stays(file.path)]
    return msgspec.structs.replace(embedded, files=kept)


def _targets(path: Path) -> Targets | None:
    """Return what the batch's target captures say, None where there are none."""
    return record_files.load(path, "targets", Targets) if path.exists() else None


def read_file(
    path: Path,
    package_path: str,
    use: str,
    mime: str,
    created: str,
    derived_from: str | None = None,
    tree: Tiles | None = None,
) -> FileEntry:
    """Return the entry of a small file, its digests computed now."""
    content = path.read_bytes()
    return FileEntry(
        path=package_path,
        use=use,
        mime=mime,
        bytes=len(content),
        digests={name: hashlib.new(name, content).hexdigest() for name in ("sha256", "sha512")},
        format=JSON_FORMAT,
        created=created,
        derived_from=derived_from,
        tree=tree,
    )


def _master(entry: VerifiedMaster, given: RecordGiven) -> FileEntry:
    header = entry.header
    digests: dict[str, str] = msgspec.to_builtins(entry.digests)
    return FileEntry(
        path=f"masters/{entry.path}",
        use="master",
        mime="image/tiff",
        bytes=entry.bytes,
        digests={name: value for name, value in digests.items() if name in DIGEST_NAMES},
        format=(header.format_name, header.format_version, header.puid),
        created=entry.mtime,
        derived_from=f"raw/{entry.source.path}" if entry.source is not UNSET else None,
        original_name=entry.path,
        level=raw_keep.of_picture(given.keep) if entry.source is not UNSET else "",
    )


def _raw(entry: VerifiedMaster, given: RecordGiven) -> FileEntry:
    """Return the raw file that a master was developed from."""
    header = entry.header
    digests: dict[str, str] = msgspec.to_builtins(entry.digests)
    return FileEntry(
        path=f"raw/{entry.path}",
        use="raw",
        mime="image/x-adobe-dng" if entry.path.lower().endswith(".dng") else _RAW_MIME,
        bytes=entry.bytes,
        digests={name: value for name, value in digests.items() if name in DIGEST_NAMES},
        format=(header.format_name, header.format_version, header.puid),
        created=entry.mtime,
        original_name=entry.path,
        level=raw_keep.of_raw(given.keep),
    )


def _derivative(
    item_dir: Path, entry: EmbeddedFile, embedded: Embedded, made: dict[str, Alternate]
) -> FileEntry:
    """Return the entry of a picture. made: what render.json says of alternates, by name."""
    use = entry.use
    return FileEntry(
        path=entry.path,
        use=_USES[use],
        mime=_MIMES.get(use, "image/jpeg"),
        bytes=entry.bytes,
        digests={"sha256": entry.sha256, "sha512": entry.sha512},
        format=(entry.format_name, entry.format_version, entry.puid),
        created=embedded.event.time,
        derived_from=f"masters/{entry.master}",
        kind=use if use in alternates.USES else None,
        made=made.get(entry.path.rpartition("/")[2]),
        coding=_coding(item_dir / entry.path) if use in alternates.TIFFS else None,
    )


def _coding(path: Path) -> tiff.Coding:
    try:
        return tiff.coding(path)
    except (OSError, ValueError) as problem:
        raise GlassineError.because(
            "record.alternate",
            path,
            f"This TIFF cannot be read: {problem}.",
            "the file that embed wrote.",
            "Delete alternates/ and embedded.json of this item and run again.",
        ) from problem


def _tiles(item_dir: Path, render: Rendering) -> list[FileEntry]:
    entries = []
    for frame in render.frames:
        if frame.tiles:
            path = f"{frame.tiles.path}/info.json"
            entries.append(
                read_file(
                    item_dir / path,
                    path,
                    "tiles",
                    "application/json",
                    render.event.time,
                    derived_from=f"masters/{frame.master}",
                    tree=frame.tiles,
                )
            )
    return entries


def _provenance(item_dir: Path, records: ItemRecords) -> list[FileEntry]:
    """Return the records of the steps; the targets' has no event, and the time of the first."""
    times = {
        **({"metadata/developed.json": records.developed.event.time} if records.developed else {}),
        "metadata/embedded.json": records.embedded.event.time,
        "metadata/fixity.json": records.fixity.event.time,
        "metadata/geometry.json": (records.located_event or records.fixity.event).time,
        "metadata/quality.json": records.quality.event.time,
        "metadata/render.json": records.render.event.time,
        **({"metadata/targets.json": records.fixity.event.time} if records.targets else {}),
    }
    return [
        read_file(item_dir / PROVENANCE[path], path, "provenance", "application/json", time)
        for path, time in times.items()
    ]
