"""What the collections system needs to link its records to the pictures: a CSV and a JSON file.

They travel in the bag (tag files in delivery/) and stand beside the receipt. CSV: one row a
file; JSON: one entry an item with its files. Texts that a spreadsheet would take for a formula
are made harmless.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec
from msgspec import UNSET, UnsetType

from glassine.base import alternates, files, persistent, record_files
from glassine.base.access import Access
from glassine.base.records import Given
from glassine.base.records.embedded import Embedded, EmbeddedFile
from glassine.base.records.fixity import Fixity, VerifiedMaster
from glassine.base.records.package import Package, PackagedFile
from glassine.base.records.quality import Quality
from glassine.base.records.receipt import LackingItem, WithdrawnPart
from glassine.base.records.render import Rendering
from glassine.deliver.given import UnfinishedItem
from glassine.deliver.shapes import Elsewhere

COLUMNS = (
    "item",
    "state",
    "quality",
    "use",
    "file",
    "master",
    "frame",
    "width_px",
    "height_px",
    "bytes",
    "sha256",
    "sha512",
    "format",
    "iiif_manifest",
    "iiif_image",
    "captured",
    "processed",
    "delivered",
    "delivery",
    "bag",
    "reason",
    "persistent_ids",
    "access",
    "title",
    "date",
)
# The state of an item that the delivery has; its masters may be kept back, and with them all files.
DELIVERED = "delivered"
_WORST = ("fail", "review", "not measured", "pass")
# What the common spreadsheets read as the beginning of a formula (common practice, no source).
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")


class FileRow(Given, frozen=True, kw_only=True):
    """A delivered master, raw file or picture. Lists of earlier versions may lack some fields.

    file: its path in the package. master: path of the master that it is or comes from, of a raw
    file that of the picture developed from it; frame: of it, from 1, None of a master or raw file.
    format: PRONOM id. captured: EXIF's time with its offset. delivery, bag: that have the file,
    where this one refers to it and does not hold it.
    """

    use: str
    file: str = ""
    master: str
    frame: int | None = None
    width_px: int | None = None
    height_px: int | None = None
    bytes: int = 0
    sha256: str
    sha512: str = ""
    format: str = ""
    iiif_image: str = ""
    captured: str = ""
    delivery: str | UnsetType = UNSET
    bag: str | UnsetType = UNSET


class ItemRow(Given, frozen=True, kw_only=True):
    """An item of a hand-over list; without files where it was not delivered.

    quality: the worst verdict of its frames. processed: when its pictures got their metadata.
    reason: why it lacks, or is withdrawn, in a sentence. persistent_ids: ARK, DOI, Handle, URN, one
    blank between them; absent where it has none.
    access: who may see it, where not all. title, date: as the catalogue has them, absent where it
    has none.
    """

    item: str
    state: str = ""
    quality: str | UnsetType = UNSET
    iiif_manifest: str | UnsetType = UNSET
    processed: str | UnsetType = UNSET
    bag: str | UnsetType = UNSET
    reason: str | UnsetType = UNSET
    persistent_ids: str | UnsetType = UNSET
    access: str | UnsetType = UNSET
    title: str | UnsetType = UNSET
    date: str | UnsetType = UNSET
    files: tuple[FileRow, ...] = ()


def harmless(text: str) -> str:
    """Return `text` so that no spreadsheet takes it for a formula.

    >>> harmless("=HYPERLINK(1)")
    "'=HYPERLINK(1)"
    """
    return "'" + text if text.startswith(_FORMULA) else text


@dataclass(frozen=True)
class Records:
    """What the steps recorded of an item. manifest: the address of its presentation manifest, ""
    where it has none."""

    embedded: Embedded
    fixity: Fixity
    render: Rendering
    quality: Quality
    manifest: str


def describe_item(item_dir: Path, package: Package, bag: str) -> ItemRow:
    """Return one delivered item: its files with digests and sizes, its manifest, its dates.

    bag: the name of the bag that it goes into.
    """
    embedded = record_files.load(item_dir / "embedded.json", "embedded", Embedded)
    records = Records(
        embedded,
        record_files.load(item_dir / "fixity.json", "fixity", Fixity),
        record_files.load(item_dir / "render" / "render.json", "render", Rendering),
        record_files.load(item_dir / "quality.json", "quality", Quality),
        _manifest(item_dir) if access_of(embedded).public != "none" else "",
    )
    return described(package.item, records, package.files, bag)


def described(item: str, records: Records, packaged: Iterable[PackagedFile], bag: str) -> ItemRow:
    """Return one delivered item by what the steps recorded and the package holds of it."""
    written = {file.path: file for file in records.embedded.files}
    verified = {master.path: master for master in records.fixity.masters}
    developed_from = {
        master.source.path: master
        for master in records.fixity.masters
        if master.source is not UNSET
    }
    allowed = access_of(records.embedded)
    images = (
        {(frame.master, frame.index): frame.iiif_id for frame in records.render.frames}
        if allowed.public == "all"
        else {}
    )
    rows = []
    for entry in packaged:
        source = entry.source.partition(":")[2]
        if entry.use == "master":
            rows.append(_master(entry, verified[source.removeprefix("developed/")]))
        elif entry.use == "raw":
            rows.append(_raw(entry, developed_from[source]))
        elif entry.use in ("access", "thumb", *alternates.USES):
            rows.append(_derivative(entry, written[source], images))
    verdicts = {frame.verdict for frame in records.quality.frames}
    return ItemRow(
        item=item,
        state=DELIVERED,
        quality=next((verdict for verdict in _WORST if verdict in verdicts), ""),
        iiif_manifest=records.manifest,
        processed=records.embedded.event.time,
        bag=bag,
        persistent_ids=_persistent_ids(records.embedded) or UNSET,
        access=allowed.in_full() if allowed.is_restricted else UNSET,
        title=_of_row(records.embedded, "title") or UNSET,
        date=_of_row(records.embedded, "date_text") or UNSET,
        files=tuple(rows),
    )


def with_places(row: ItemRow, places: dict[str, Elsewhere]) -> ItemRow:
    """Return the row of a later version of an object, each file with where it lies."""
    rows = []
    for file in row.files:
        place = places[file.file]
        rows.append(
            msgspec.structs.replace(
                file,
                file=place.path,
                delivery=place.delivery or UNSET,
                bag=place.bag or UNSET,
            )
        )
    return msgspec.structs.replace(row, files=tuple(rows))


def _persistent_ids(embedded: Embedded) -> str:
    """Return the persistent identifiers of the catalogue's row that the pictures were given."""
    row = (embedded.event.detail or {}).get("catalogue") or {}
    listed = row.get("identifiers") or []
    return " ".join(each["value"] for each in listed if each["type"] in persistent.SCHEMES)


def _of_row(embedded: Embedded, key: str) -> str:
    """Return a text of the catalogue's row that the pictures were given, "" where it has none."""
    return str(((embedded.event.detail or {}).get("catalogue") or {}).get(key) or "")


def access_of(embedded: Embedded) -> Access:
    """Return who may see an item, as its pictures were made."""
    return msgspec.convert(embedded.event.detail.get("access", {}), Access)


def _manifest(item_dir: Path) -> str:
    return files.read_json(item_dir / "manifest.json").get("id") or ""


def _master(entry: PackagedFile, verified: VerifiedMaster) -> FileRow:
    header = verified.header
    return FileRow(
        use="master",
        file=entry.path,
        master=verified.path,
        width_px=header.width,
        height_px=header.height,
        bytes=entry.bytes,
        sha256=entry.sha256,
        sha512=entry.sha512,
        format=header.puid or "",
        captured=(header.capture.taken or "") + (header.capture.offset or ""),
    )


def _raw(entry: PackagedFile, master: VerifiedMaster) -> FileRow:
    """Return the row of a raw file. master: the picture that was developed from it."""
    source = master if master.source is UNSET else master.source
    return msgspec.structs.replace(_master(entry, source), use="raw", master=master.path)


def _derivative(
    entry: PackagedFile, written: EmbeddedFile, images: dict[tuple[str, int], str]
) -> FileRow:
    return FileRow(
        use=entry.use,
        file=entry.path,
        master=written.master,
        frame=written.index,
        width_px=written.width,
        height_px=written.height,
        bytes=entry.bytes,
        sha256=entry.sha256,
        sha512=entry.sha512,
        format=written.puid,
        iiif_image=images.get((written.master, written.index), ""),
    )


def why_lacking(entry: UnfinishedItem) -> str:
    """Return why the delivery lacks an item, in a sentence."""
    reasons = [f"{finding.path}: {finding.what} [{finding.code}]" for finding in entry.findings]
    return " ".join(reasons)


def lacking_row(entry: LackingItem) -> ItemRow:
    """Return the row of an item that the delivery lacks."""
    return ItemRow(item=entry.item, state=entry.state, reason=entry.reason)


def withdrawn_row(entry: WithdrawnPart) -> ItemRow:
    """Return one item that is no longer delivered, or a part of it, with who said so and why."""
    part = f"Master {entry.master}: " if entry.master else ""
    if entry.frames is not None:
        part = f"{entry.frames} frames of a master are left: "
    had = f" Was in {entry.delivery}." if entry.delivery else ""
    reason = f"{part}{entry.reason} ({entry.by}, {entry.when}).{had}"
    return ItemRow(item=entry.item, state="withdrawn", reason=reason)


def as_json(rows: list[ItemRow], delivery: str, time: str) -> bytes:
    value = {"delivery": delivery, "delivered": time, "items": msgspec.to_builtins(rows)}
    return files.dump_json(value).encode("utf-8")


def as_csv(rows: list[ItemRow], delivery: str, time: str) -> bytes:
    """Return the CSV: RFC 4180, UTF-8, one header row; a lacking item has a row without a file."""
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    for item in rows:
        shared: dict[str, Any] = msgspec.to_builtins(item)
        entries = shared.pop("files")
        shared |= {"delivery": delivery, "delivered": time if entries else ""}
        for entry in entries or [{}]:
            row = {**shared, **entry}
            writer.writerow(
                {
                    key: harmless(value) if isinstance(value, str) else value
                    for key, value in row.items()
                }
            )
    return text.getvalue().encode("utf-8")
