"""All that is known of an item when its record is written, gathered from the steps' files."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from glassine.base import alternates, files, rights, target_results
from glassine.base.errors import GlassineError
from glassine.base.markup import xml_id
from glassine.base.vocabulary import DIGEST_NAMES
from glassine.embed import tiff

# Where the records of the steps lie in a package, and in the folder of an item.
PROVENANCE = {
    "metadata/embedded.json": "embedded.json",
    "metadata/fixity.json": "fixity.json",
    "metadata/geometry.json": "geometry.json",
    "metadata/quality.json": "quality.json",
    "metadata/render.json": "render/render.json",
    "metadata/targets.json": target_results.RECORD,
}
JSON_FORMAT = ("JSON", None, "fmt/817")
# What a record calls each use of a derivative, and its media type.
_USES = {"access": "access", "thumb": "thumbnail", **dict.fromkeys(alternates.USES, "alternate")}
_MIMES = {"webp": "image/webp", "avif": "image/avif", "pyramid": "image/tiff", "crop": "image/tiff"}


@dataclass(frozen=True)
class FileFacts:
    """One file of the package. path: in the package; digests: {"sha256": hex, "sha512": hex}.

    kind: which of the alternates it is; coding: how a TIFF of them holds its picture.
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
    tree: dict[str, Any] | None = None
    kind: str | None = None
    coding: tiff.Coding | None = None

    @property
    def id(self) -> str:
        return xml_id("file", self.path)


@dataclass
class ItemFacts:
    """Records of the steps, and the package's files in a fixed order."""

    item: str
    given: dict[str, Any]
    fixity: dict[str, Any]
    geometry: dict[str, Any]
    render: dict[str, Any]
    quality: dict[str, Any]
    embedded: dict[str, Any]
    targets: dict[str, Any] | None = None
    files: dict[str, FileFacts] = field(default_factory=dict)

    @property
    def record(self) -> dict[str, Any]:
        return self.given.get("catalogue") or {}

    @property
    def institution(self) -> dict[str, Any]:
        return self.given.get("institution") or {}

    @property
    def rights(self) -> rights.Rights:
        """Return the item's rights; what the catalogue leaves open comes from the settings."""
        defaults = self.given.get("settings", {}).get("rights")
        return rights.resolved(self.record.get("rights"), defaults)

    def operator(self, master: str) -> str | None:
        """Return the role id of who captured a master, where batch.yaml states it."""
        known: dict[str, Any] = self.given.get("facts") or {}
        for each in self.given.get("masters") or []:
            if each["path"] == master:
                known = each.get("facts") or known
        return known.get("operator")

    def of_use(self, use: str) -> list[FileFacts]:
        return [entry for entry in self.files.values() if entry.use == use]

    def located(self, master: str) -> dict[str, Any]:
        """Return what locate found on a master; {} where it knows nothing of it."""
        return next((each for each in self.geometry["masters"] if each["path"] == master), {})

    def shown(self, master: str) -> list[dict[str, Any]]:
        """Return the entries of render.json for the frames of a master, by index."""
        found = [frame for frame in self.render["frames"] if frame["master"] == master]
        return sorted(found, key=lambda frame: frame["index"])


def gather(item_dir: Path, given: dict[str, Any]) -> ItemFacts:
    """Return what the steps wrote into the item's folder. Raises GlassineError for bad JSON."""
    facts = ItemFacts(
        item=given["item"],
        given=given,
        fixity=files.read_json(item_dir / "fixity.json"),
        geometry=files.read_json(item_dir / "geometry.json"),
        render=files.read_json(item_dir / "render" / "render.json"),
        quality=files.read_json(item_dir / "quality.json"),
        embedded=files.read_json(item_dir / "embedded.json"),
        targets=_targets(item_dir / target_results.RECORD),
    )
    found = [
        *(_master(entry) for entry in facts.fixity["masters"]),
        *(_derivative(item_dir, entry, facts.embedded) for entry in facts.embedded["files"]),
        *_tiles(item_dir, facts.render),
        *_provenance(item_dir, facts),
    ]
    facts.files = {entry.path: entry for entry in found}
    return facts


def _targets(path: Path) -> dict[str, Any] | None:
    """Return what the batch's target captures say, or None where there are none."""
    return files.read_json(path) if path.exists() else None


def read_file(
    path: Path, package_path: str, use: str, mime: str, created: str, **more: Any
) -> FileFacts:
    """Return the facts of a small file, its digests computed now."""
    content = path.read_bytes()
    digests = {name: hashlib.new(name, content).hexdigest() for name in ("sha256", "sha512")}
    return FileFacts(package_path, use, mime, len(content), digests, JSON_FORMAT, created, **more)


def _master(entry: dict[str, Any]) -> FileFacts:
    header = entry["header"]
    return FileFacts(
        path=f"masters/{entry['path']}",
        use="master",
        mime="image/tiff",
        bytes=entry["bytes"],
        digests={name: value for name, value in entry["digests"].items() if name in DIGEST_NAMES},
        format=(header["format_name"], header.get("format_version"), header.get("puid")),
        created=entry["mtime"],
        original_name=entry["path"],
    )


def _derivative(item_dir: Path, entry: dict[str, Any], embedded: dict[str, Any]) -> FileFacts:
    use = entry["use"]
    return FileFacts(
        path=entry["path"],
        use=_USES[use],
        mime=_MIMES.get(use, "image/jpeg"),
        bytes=entry["bytes"],
        digests={"sha256": entry["sha256"], "sha512": entry["sha512"]},
        format=(entry["format_name"], entry["format_version"], entry["puid"]),
        created=embedded["event"]["time"],
        derived_from=f"masters/{entry['master']}",
        kind=use if use in alternates.USES else None,
        coding=_coding(item_dir / entry["path"]) if use in alternates.TIFFS else None,
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


def _tiles(item_dir: Path, render: dict[str, Any]) -> list[FileFacts]:
    found = []
    for frame in render["frames"]:
        tiles = frame.get("tiles")
        if tiles:
            path = f"{tiles['path']}/info.json"
            found.append(
                read_file(
                    item_dir / path,
                    path,
                    "tiles",
                    "application/json",
                    render["event"]["time"],
                    derived_from=f"masters/{frame['master']}",
                    tree=tiles,
                )
            )
    return found


def _provenance(item_dir: Path, facts: ItemFacts) -> list[FileFacts]:
    made = {
        "metadata/embedded.json": facts.embedded,
        "metadata/fixity.json": facts.fixity,
        "metadata/geometry.json": facts.geometry,
        "metadata/quality.json": facts.quality,
        "metadata/render.json": facts.render,
        **({"metadata/targets.json": facts.targets} if facts.targets else {}),
    }
    return [
        read_file(
            item_dir / PROVENANCE[path],
            path,
            "provenance",
            "application/json",
            _time(record, facts),
        )
        for path, record in made.items()
    ]


def _time(record: dict[str, Any], facts: ItemFacts) -> str:
    found: str = (record.get("event") or {}).get("time") or facts.fixity["event"]["time"]
    return found
