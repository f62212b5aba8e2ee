"""What is known of each item of a batch at the moment of a handover, from its records alone.

Addresses are those that the item's IIIF manifest publishes, and no others: what is kept from the
public there is not handed over by another way.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import msgspec
from msgspec import UNSET

from glassine.base import files, hashing, intake_file, item_states, persistent, record_files
from glassine.base.errors import GlassineError
from glassine.base.film_format import format_of
from glassine.base.model import ItemGeometry
from glassine.base.records.catalogue import CatalogueRow
from glassine.base.records.corrections import Correction, Withdrawal
from glassine.base.records.embedded import Embedded
from glassine.base.records.fixity import Fixity, VerifiedMaster
from glassine.base.records.package import Package
from glassine.base.records.quality import Quality
from glassine.base.records.receipt import Receipt
from glassine.base.records.render import RenderedFrame, Rendering
from glassine.deliver.handover import access_of

_MM_PER_INCH = 25.4
_WORST = ("fail", "review", "not measured", "pass")
WITHDRAWN, GONE = "withdrawn", "gone"


@dataclass(frozen=True)
class MasterFacts:
    """file: its path in the package, empty where it is in none. captured: EXIF's time."""

    path: str
    file: str
    sha256: str
    sha512: str
    bytes: int
    captured: str


@dataclass(frozen=True)
class FrameFacts:
    """A frame that has pictures. film_frame: its number on the film, "" where not known. ppi: in
    the plane of the object. width_mm, height_mm: of the frame; None where the scale is not known.
    access_file, access_sha256: of the access image in the package. Addresses are empty where the
    manifest has none."""

    master: str
    index: int
    label: str
    width_px: int | None
    height_px: int | None
    ppi: float | None
    width_mm: float | None
    height_mm: float | None
    film_frame: str = ""
    access_file: str = ""
    access_sha256: str = ""
    access_url: str = ""
    thumbnail_url: str = ""
    image_url: str = ""


@dataclass(frozen=True)
class ItemFacts:
    """An item. state: one of `item_states.STATES`, withdrawn or gone. reasons: why a person is
    to look, what holds it, or why it is withdrawn. delivery: the one that has it as it is now,
    and when that was made. formats: names of the sizes of its sheets, plates or slides; films:
    kinds of film by the codes in its margin; transcription: writing that was seen, each text
    once. access: who may see it, where not all. withdrawn: words of what was withdrawn of it."""

    batch: str
    item: str
    state: str
    reasons: tuple[str, ...] = ()
    row: CatalogueRow | None = None
    persistent: tuple[persistent.PersistentId, ...] = ()
    quality: str = ""
    decisions: tuple[str, ...] = ()
    decided_by: str = ""
    decided: str = ""
    access: str = ""
    manifest_url: str = ""
    masters: tuple[MasterFacts, ...] = ()
    frames: tuple[FrameFacts, ...] = ()
    formats: tuple[str, ...] = ()
    films: tuple[str, ...] = ()
    transcription: tuple[str, ...] = ()
    delivery: str = ""
    delivered: str = ""
    bag: str = ""
    processed: str = ""
    withdrawn: tuple[str, ...] = ()


@dataclass(frozen=True)
class Delivered:
    """An item in the last delivery that has it. package_digest: of its package there."""

    delivery: str
    time: str
    bag: str
    package_digest: str


@dataclass(frozen=True)
class Known:
    """What is known of the batch as a whole: where each item was delivered last, and
    what was withdrawn of it."""

    batch: str
    delivered: dict[str, Delivered] = field(default_factory=dict)
    withdrawals: dict[str, list[Withdrawal]] = field(default_factory=dict)

    @classmethod
    def of(cls, intake: dict[str, Any], receipts: tuple[Receipt, ...]) -> Known:
        """receipts: first delivery first."""
        delivered = {
            str(each.item): Delivered(receipt.delivery, receipt.time, each.bag, each.package_digest)
            for receipt in receipts
            for each in receipt.items
        }
        withdrawals: dict[str, list[Withdrawal]] = {}
        for each in msgspec.convert(intake.get("withdraw", []), list[Withdrawal]):
            withdrawals.setdefault(str(each.item), []).append(each)
        return cls(str(intake["batch"]), delivered, withdrawals)

    def of_item(self, item: str) -> list[Any]:
        """Return all of it that is told of an item, as JSON."""
        return [
            msgspec.to_builtins(self.delivered.get(item)),
            msgspec.to_builtins(self.withdrawals.get(item, [])),
        ]

    def withdrawn_whole(self) -> dict[str, Withdrawal]:
        return {
            item: each
            for item, listed in self.withdrawals.items()
            for each in listed
            if not isinstance(each.master, str) and not isinstance(each.frames, int)
        }


def of_batch(
    results_batch_dir: Path,
    receipts: tuple[Receipt, ...],
    earlier: dict[str, tuple[str, ...]],
    is_same: Callable[[dict[str, Any], Path, list[Any]], bool] = lambda entry, folder, known: False,
) -> Iterator[ItemFacts]:
    """Yield the facts of each item, in the order of intake.json, then of those that are withdrawn
    or gone. Items that are due, and that no step has looked at since, are left out: they follow
    when they are done.

    earlier: {item handed over before: its persistent identifiers, as `scheme value`}. is_same: says
    of an item, as intake.json has it, of its folder and of what receipts and withdrawals tell,
    whether it is as it was; it is left out then, and nothing of it is read. Raises GlassineError
    where intake.json cannot be read.
    """
    intake = intake_file.read(results_batch_dir / "intake.json").value
    known = Known.of(intake, receipts)
    whole = known.withdrawn_whole()
    listed = {str(entry["item"]) for entry in intake["items"]}
    for entry in intake["items"]:
        item = str(entry["item"])
        item_dir = results_batch_dir / "items" / item
        if item in whole:
            yield _withdrawn(known, whole[item], _row(entry))
        elif not is_same(entry, item_dir, known.of_item(item)):
            status = item_states.item_status(entry, item_dir)
            if status.state != "pending":
                yield _item(known, entry, status, item_dir)
    for item in sorted(({*earlier} | ({*whole} & {*known.delivered})) - listed):
        if item in whole:
            yield _withdrawn(known, whole[item], None, earlier.get(item, ()))
        else:
            yield _gone(known, item, earlier[item])


def _row(entry: dict[str, Any]) -> CatalogueRow | None:
    row = entry.get("catalogue")
    return msgspec.convert(row, CatalogueRow) if row else None


def persistent_of(row: CatalogueRow | None) -> tuple[persistent.PersistentId, ...]:
    """Return the persistent identifiers of a row."""
    return tuple(
        persistent.PersistentId(each.type, each.value)
        for each in (row.identifiers if row else [])
        if each.type in persistent.SCHEMES
    )


def _known_before(written: tuple[str, ...]) -> tuple[persistent.PersistentId, ...]:
    pairs = [each.split(" ", 1) for each in written]
    return tuple(
        persistent.PersistentId(scheme, value)
        for scheme, value in pairs
        if scheme in persistent.SCHEMES
    )


def _withdrawn(
    known: Known, entry: Withdrawal, row: CatalogueRow | None, before: tuple[str, ...] = ()
) -> ItemFacts:
    return ItemFacts(
        batch=known.batch,
        item=str(entry.item),
        state=WITHDRAWN,
        reasons=(f"{entry.reason} ({entry.by}, {entry.when})",),
        row=row,
        persistent=persistent_of(row) or _known_before(before),
    )


def _gone(known: Known, item: str, before: tuple[str, ...]) -> ItemFacts:
    return ItemFacts(
        batch=known.batch,
        item=item,
        state=GONE,
        reasons=("It is no longer in the batch folder, and nobody has withdrawn it.",),
        persistent=_known_before(before),
    )


def _item(
    known: Known, entry: dict[str, Any], status: item_states.ItemStatus, item_dir: Path
) -> ItemFacts:
    """Return the facts of an item that is in the batch; of one that is held or waits, what the
    catalogue and the findings say: nothing vouches for its pictures of another night."""
    row = _row(entry)
    correction = msgspec.convert(entry["corrections"], Correction) if entry["corrections"] else None
    facts = ItemFacts(
        batch=known.batch,
        item=status.item,
        state=status.state,
        reasons=_reasons(status),
        row=row,
        persistent=persistent_of(row),
        decisions=_decisions(correction),
        decided_by=(correction.by or "") if correction else "",
        decided=(correction.when or "") if correction else "",
        withdrawn=_parts_withdrawn(known, status.item),
    )
    if status.state not in ("done", "review"):
        return facts
    try:
        return _with_pictures(known, facts, item_dir)
    except GlassineError as error:
        texts = tuple(finding.sentence() for finding in error.findings)
        return replace(facts, state="held", reasons=texts)


def _reasons(status: item_states.ItemStatus) -> tuple[str, ...]:
    if status.state == "waiting":
        return ("Its masters are not yet at rest; a later night takes them.",)
    if status.state == "held":
        return tuple(f"{each.what} {each.next_step} [{each.code}]" for each in status.findings)
    reasons = []
    for reason in status.reasons:
        frame = f", frame {reason.frame}" if reason.frame is not None else ""
        where = f"{reason.master}{frame}: " if reason.master else ""
        reasons.append(f"{where}{reason.text}")
    return tuple(dict.fromkeys(reasons))


def _decisions(correction: Correction | None) -> tuple[str, ...]:
    """Return what a person decided, frame by frame, in words."""
    if correction is None:
        return ()
    words = [correction.note] if correction.note else []
    for frame in correction.frames:
        said = {
            name: value
            for name, value in msgspec.to_builtins(frame).items()
            if name not in ("frame", "master", "seen") and value is not None
        }
        parts = [_decision(name, value) for name, value in sorted(said.items())]
        master = f"{frame.master}, " if isinstance(frame.master, str) and frame.master else ""
        words.append(f"{master}frame {frame.frame}: {', '.join(parts) or 'seen'}")
    return tuple(words)


def _decision(name: str, value: Any) -> str:
    if name == "corners":
        return "corners set"
    if isinstance(value, bool):
        return name if value else f"not {name}"
    return f"{name} {value}"


def _parts_withdrawn(known: Known, item: str) -> tuple[str, ...]:
    texts = []
    for each in known.withdrawals.get(item, []):
        what = f"master {each.master}" if isinstance(each.master, str) else ""
        if isinstance(each.frames, int):
            what = f"all but {each.frames} frames of a master"
        texts.append(f"{what}: {each.reason} ({each.by}, {each.when})")
    return tuple(texts)


@dataclass
class _Published:
    """What the manifest of an item publishes: its own address, and all that it names."""

    manifest: str = ""
    named: set[str] = field(default_factory=set)

    @classmethod
    def of(cls, path: Path) -> _Published:
        content = files.read_json(path) if path.is_file() else {}
        published = cls(str(content.get("id") or ""))
        pending: list[Any] = [content]
        while pending:
            value = pending.pop()
            if isinstance(value, dict):
                ids = (value.get("id"), value.get("@id"))
                published.named.update(each for each in ids if isinstance(each, str))
                pending += value.values()
            elif isinstance(value, list):
                pending += value
        return published

    def beside(self, path: str) -> str:
        """Return the address of a file of the item's folder, empty where it is not published."""
        address = f"{self.manifest.removesuffix('/manifest.json')}/{path}"
        return address if self.manifest and address in self.named else ""

    def service(self, iiif_id: str) -> str:
        ends = f"/{iiif_id}"
        return next((each for each in sorted(self.named) if each.endswith(ends)), "")


def _master(verified: VerifiedMaster, in_package: dict[str, str]) -> MasterFacts:
    """Return what is told of a master: of a picture that is not in the package, its raw file.
    in_package: {path at its source: path in the package}."""
    developed = in_package.get(f"developed/{verified.path}")
    file = in_package.get(verified.path, developed or "")
    told = verified
    if not file and verified.source is not UNSET:
        told, file = verified.source, in_package.get(verified.source.path, "")
    capture = verified.header.capture
    return MasterFacts(
        path=verified.path,
        file=file,
        sha256=told.digests.sha256,
        sha512=told.digests.sha512,
        bytes=told.bytes,
        captured=(capture.taken or "") + (capture.offset or ""),
    )


def _with_pictures(known: Known, facts: ItemFacts, item_dir: Path) -> ItemFacts:
    fixity = record_files.load(item_dir / "fixity.json", "fixity", Fixity)
    render = record_files.load(item_dir / "render" / "render.json", "render", Rendering)
    embedded = record_files.load(item_dir / "embedded.json", "embedded", Embedded)
    package = record_files.load(item_dir / "package.json", "package", Package)
    quality = record_files.load(item_dir / "quality.json", "quality", Quality)
    geometry = ItemGeometry.from_dict(files.read_json(item_dir / "geometry.json"))
    sizes = [format_of(master) for master in geometry.masters]
    stocks = [edge.stock for master in geometry.masters for edge in master.edges]
    texts = [each for master in geometry.masters for each in master.seen_text]
    allowed = access_of(embedded)
    # A manifest of before may still lie there.
    closed = allowed.public == "none"
    published = _Published() if closed else _Published.of(item_dir / "manifest.json")
    in_package = {entry.source.partition(":")[2]: entry.path for entry in package.files}
    verdicts = {frame.verdict for frame in quality.frames}
    delivery = _delivery(known, facts.item, package)
    return replace(
        facts,
        quality=next((verdict for verdict in _WORST if verdict in verdicts), ""),
        access=allowed.in_full() if allowed.is_restricted else "",
        manifest_url=published.manifest,
        masters=tuple(_master(each, in_package) for each in fixity.masters),
        frames=tuple(
            _frame(frame, embedded, published, in_package)
            for frame in render.frames
            if not frame.skipped
        ),
        formats=tuple(dict.fromkeys(size.name for size in sizes if size is not None)),
        films=tuple(dict.fromkeys(stock for stock in stocks if stock)),
        transcription=tuple(dict.fromkeys(each.text for each in texts)),
        delivery=delivery[0],
        delivered=delivery[1],
        bag=delivery[2],
        processed=embedded.event.time,
    )


def _delivery(known: Known, item: str, package: Package) -> tuple[str, str, str]:
    """Return name, time and bag of the delivery that has the item as it is now; empty for none."""
    last = known.delivered.get(item)
    digest = hashing.of_tree({entry.path: entry.sha256 for entry in package.files})
    if last is None or last.package_digest != digest:
        return ("", "", "")
    return (last.delivery, last.time, last.bag)


def _frame(
    frame: RenderedFrame, embedded: Embedded, published: _Published, in_package: dict[str, str]
) -> FrameFacts:
    made = {
        file.use: file
        for file in embedded.files
        if (file.master, file.index) == (frame.master, frame.index)
    }
    access, thumb = made.get("access"), made.get("thumb")
    return FrameFacts(
        master=frame.master,
        index=frame.index,
        label=frame.label or f"frame {frame.index}",
        film_frame=frame.film_frame or "",
        width_px=frame.width,
        height_px=frame.height,
        ppi=round(frame.ppi, 1) if frame.ppi else None,
        width_mm=_mm(frame.width, frame.ppi),
        height_mm=_mm(frame.height, frame.ppi),
        access_file=in_package.get(access.path, "") if access else "",
        access_sha256=access.sha256 if access else "",
        access_url=published.beside(access.path) if access else "",
        thumbnail_url=published.beside(thumb.path) if thumb else "",
        image_url=published.service(frame.iiif_id) if frame.tiles else "",
    )


def _mm(pixels: int | None, ppi: float | None) -> float | None:
    """Return a length in mm, to a tenth, of `pixels` at `ppi` pixels per inch."""
    return round(pixels / ppi * _MM_PER_INCH, 1) if pixels and ppi else None
