"""Rules on what a record says of files, held against the files themselves."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from pathlib import Path

from msgspec import UNSET

from glassine.base import files, record_files
from glassine.base.errors import Finding
from glassine.base.records.fixity import Fixity, VerifiedMaster
from glassine.record.parsed import Hashed, ParsedRecord, finding
from glassine.record.rules import digests

# Folders of a package whose files the record must list, and the folder whose files it does not:
# tiles are many, they stand in the record by one digest over all.
_IN_PACKAGE = "metadata/fixity.json"
_LISTED = ("access", "thumbs", "alternates", "masters", "raw", "metadata")


def item_name(record: ParsedRecord) -> Iterator[Finding]:
    item_names = record.texts("//mods:mods/mods:identifier[@type='local'][1]")
    if not record.item or record.item not in item_names:
        yield finding(
            "item",
            record.name,
            f"OBJID is {record.item!r}, MODS names {item_names}.",
            "the same item number in METS and MODS.",
        )
    if record.objid not in {record.item, *record.texts("//mods:mods/mods:identifier")}:
        yield finding(
            "item",
            record.name,
            f"OBJID is {record.objid!r}, which MODS does not name.",
            "an identifier of the item that MODS names too.",
        )
    fixity = record.item_dir / "fixity.json"
    if not record.standing_in and not fixity.is_file():
        fixity = record.item_dir / "metadata" / "fixity.json"
    if fixity.is_file():
        item = files.read_json(fixity).get("item")
        if item != record.item:
            yield finding(
                "item", record.name, f"OBJID is {record.item!r}.", f"{item!r}, as fixity.json says."
            )


def on_disk(record: ParsedRecord) -> Iterator[Finding]:
    """Files must be there, with the size and digests that the record gives them."""
    masters = _verified_masters(record)
    for path, file in record.files.items():
        if record.is_kept_back(path):
            if record.real(path) is not None:
                words = "The record says that it is kept back, but it is there."
                yield finding("kept_back", path, words, "no such file.")
            continue
        premis = record.wrapped(file, "PREMIS:OBJECT")
        stated_digests = [("SHA-256", file.get("CHECKSUM") or "")]
        if premis is not None:
            fixity = "premis:objectCharacteristics/premis:fixity"
            stated_digests += digests(record, premis, fixity, "premis").items()
        now = _size_and_digests(
            record, path, {algorithm for algorithm, _ in stated_digests}, masters
        )
        if now is None:
            yield finding("missing", path, "The record lists it, but it is not there.", "the file.")
            continue
        size, actual = now
        if str(size) != file.get("SIZE"):
            yield finding(
                "size", path, f"It has {size} bytes.", f"{file.get('SIZE')} bytes, as recorded."
            )
        for algorithm, digest in sorted(set(stated_digests)):
            if algorithm in actual and actual[algorithm] != digest:
                yield finding(
                    "digest",
                    path,
                    f"Its {algorithm} is {actual[algorithm]}.",
                    f"{digest}, as the record says.",
                )


def beside(record: ParsedRecord) -> Iterator[Finding]:
    """What is recorded and not in the package must have the digests that verify or develop took."""
    place = record.item_dir / "fixity.json"
    masters = _verified_masters(record, place if place.is_file() else place.parent / _IN_PACKAGE)
    for path, premis in record.beside().items():
        stated = digests(record, premis, "premis:objectCharacteristics/premis:fixity", "premis")
        known = masters.get(path)
        if known is None:
            yield finding(
                "beside_unknown",
                path,
                "fixity.json does not know it.",
                "the digests of verify or develop.",
            )
        elif stated != {"SHA-256": known.digests.sha256, "SHA-512": known.digests.sha512}:
            yield finding(
                "digest",
                path,
                "The record has other digests of it than fixity.json.",
                f"SHA-256 {known.digests.sha256}.",
            )


_HASHES = {"SHA-256": "sha256", "SHA-512": "sha512"}


def _size_and_digests(
    record: ParsedRecord, path: str, algorithms: set[str], masters: dict[str, VerifiedMaster]
) -> Hashed | None:
    """Return size in bytes and digests, as {"SHA-256": hex}, of a file of the package.

    masters: see `_verified_masters`; they are not read again. None where there is no such file.
    """
    if path in record.hashed:
        size, file_digests = record.hashed[path]
        return size, {
            name: file_digests[short] for name, short in _HASHES.items() if short in file_digests
        }
    real = record.real(path)
    if real is not None:
        return _hashed(real, algorithms)
    if path in masters:
        verified = masters[path].digests
        return masters[path].bytes, {"SHA-256": verified.sha256, "SHA-512": verified.sha512}
    return None


def _hashed(path: Path, algorithms: Iterable[str]) -> Hashed:
    hashes = {name: hashlib.new(_HASHES[name]) for name in algorithms if name in _HASHES}
    size = 0
    with path.open("rb") as handle:
        while block := handle.read(2**20):
            size += len(block)
            for digest in hashes.values():
                digest.update(block)
    return size, {name: digest.hexdigest() for name, digest in hashes.items()}


def _verified_masters(record: ParsedRecord, path: Path | None = None) -> dict[str, VerifiedMaster]:
    """Return {path in the package: entry} of the masters in fixity.json, by default the one of an
    item's folder."""
    path = path or record.item_dir / "fixity.json"
    if not path.is_file():
        return {}
    fixity = record_files.load(path, "fixity", Fixity)
    raws = [entry.source for entry in fixity.masters if entry.source is not UNSET]
    return {
        **{f"masters/{entry.path}": entry for entry in fixity.masters},
        **{f"raw/{entry.path}": entry for entry in raws},
    }


def unlisted(record: ParsedRecord) -> Iterator[Finding]:
    there = {
        path.relative_to(record.item_dir).as_posix()
        for folder in _LISTED
        for path in sorted((record.item_dir / folder).rglob("*"))
        if path.is_file()
    }
    there |= {
        path.relative_to(record.item_dir).as_posix()
        for path in (record.item_dir / "iiif").glob("*/info.json")
    }
    there |= set(_verified_masters(record)) - set(record.beside())
    for path in sorted(there - set(record.files)):
        yield finding(
            "unlisted", path, "It is there, but the record does not list it.", "only listed files."
        )


def tile_trees(record: ParsedRecord) -> Iterator[Finding]:
    """The digest over all tiles of a picture, taken again from disk."""
    if not record.tiles:
        return
    for path, file in record.files.items():
        premis = record.wrapped(file, "PREMIS:OBJECT")
        folder = record.item_dir / Path(path).parent
        if not path.startswith("iiif/") or premis is None or not folder.is_dir():
            continue
        recorded = record.texts(
            "premis:significantProperties/premis:significantPropertiesValue", premis
        )
        tiles = {
            tile.relative_to(folder).as_posix(): _hashed(tile, ("SHA-256",))[1]["SHA-256"]
            for tile in folder.rglob("*")
            if tile.is_file()
        }
        lines = "".join(f"{name} {tiles[name]}\n" for name in sorted(tiles))
        digest = hashlib.sha256(lines.encode()).hexdigest()
        if recorded[:2] != [digest, str(len(tiles))]:
            yield finding(
                "tiles",
                folder.name,
                f"Its {len(tiles)} tiles have the digest {digest}.",
                f"{recorded[:2]}, as the record says.",
            )
