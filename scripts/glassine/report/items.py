"""An item as the page shows it, gathered from its line of intake.json and its records."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from glassine.base import files, item_states, naming, rights, wording
from glassine.base.access import OPEN
from glassine.base.errors import Finding, GlassineError
from glassine.base.item_states import ItemStatus
from glassine.report import films, views
from glassine.report.shown import Frame, Item, Master, PictureFile, address

# What reading a record that is not as a step wrote it may raise.
BROKEN = (
    KeyError, TypeError, ValueError, AttributeError, IndexError, msgspec.ValidationError,
)  # fmt: skip


@dataclass(frozen=True)
class _Records:
    """The records of an item as the page reads them; an absent one is empty."""

    fixity: views.Fixity
    geometry: views.Geometry
    render: views.Rendering
    quality: views.Quality
    embedded: views.Embedded

    def verified(self, path: str) -> views.VerifiedMaster:
        masters = (master for master in self.fixity.masters if master.path == path)
        return next(masters, views.VerifiedMaster(path=path))

    def located(self, path: str) -> views.LocatedMaster:
        masters = (master for master in self.geometry.masters if master.path == path)
        return next(masters, views.LocatedMaster(path=path))

    def tiles(self, master: str, index: int) -> views.Tiles | None:
        rendered = (frame for frame in self.render.frames if _is(frame, master, index))
        return next((frame.tiles for frame in rendered), None)

    def film(self, master: str, index: int) -> str:
        """Return in words the film that a frame was rendered with, "" where none is shared."""
        rendered = (frame for frame in self.render.frames if _is(frame, master, index))
        notes = [frame.tone.film for frame in rendered if frame.tone and frame.tone.film]
        return films.words(notes[0]) if notes else ""

    def measures(self, master: str, index: int) -> list[views.Measure]:
        measured = (frame for frame in self.quality.frames if _is(frame, master, index))
        return next((frame.measures for frame in measured), [])


def _is(
    record: views.RenderedFrame | views.MeasuredFrame | views.EmbeddedFile, master: str, index: int
) -> bool:
    return record.master == master and record.index == index


def _read_records(state: ItemStatus) -> tuple[_Records, list[str]]:
    """Return the records of an item, and what in them cannot be read."""
    damaged: list[str] = []

    def record(name: str, kind: type[views.Kind]) -> views.Kind:
        view, parts = views.take(state.records.get(name, {}), kind)
        damaged.extend(f"{name}.json at {part}" for part in parts)
        return view

    records = _Records(
        record("fixity", views.Fixity),
        record("geometry", views.Geometry),
        record("render", views.Rendering),
        record("quality", views.Quality),
        record("embedded", views.Embedded),
    )
    return records, damaged


# The catalogue's row


def _catalogue_rows(row: views.Row) -> list[tuple[str, str]]:
    stated = rights.resolved(row.rights, None)
    level = "" if row.decay_level is None else str(row.decay_level)
    rows = [
        ("Title", row.title),
        ("Other title", row.alternative),
        ("Description", row.description),
        ("Date", _date_words(row)),
        ("Creator", _names(row.creators)),
        ("Subject", "; ".join(subject.term or "" for subject in row.subjects or [])),
        ("Place", _names(row.places)),
        ("Physical description", row.physical),
        ("Material", row.material),
        ("Decay level", level),
        ("Rights", stated.name or (stated.status if row.rights else "")),
        ("Collection", row.collection),
        (
            "Further identifiers",
            "; ".join(f"{each.type}: {each.value}" for each in row.identifiers or []),
        ),
    ]
    return [(label, text) for label, text in rows if text]


def _access_rows(row: views.Row, embedded: views.Embedded) -> list[tuple[str, str]]:
    """Return who may see an item, as its pictures were made; and an embargo that has ended."""
    detail = embedded.event.detail if embedded.event else None
    access = detail.access if detail and detail.access else OPEN
    until = row.access.until if row.access else ""
    rows = []
    if access.is_restricted:
        words = (access.pictures_in_words(), access.delivered_in_words())
        told = " ".join(filter(None, words))
        rows.append(("Access", f"{access.sentence_if_restricted()}. {told}"))
        if access.doubt:
            rows.append(("Restricted for the words", access.doubt))
    if embedded.files and until and not access.until:
        rows.append(("Embargo", f"ended with {until}"))
    return rows


def _names(named: list[views.Name] | None) -> str:
    return "; ".join(entry.name or "" for entry in named or [])


def _date_words(row: views.Row) -> str:
    if row.date_text and row.date_understood is False:
        kept = f"{row.edtf} by its bounds" if row.edtf else "no date"
        return f"{row.date_text} (not understood; {kept} was recorded)"
    return row.date_text or row.edtf or ""


# Masters and frames


def _frame_files(item: str, records: _Records, master: str, index: int) -> dict[str, PictureFile]:
    """Return the pictures of a frame by their use, with addresses."""
    return {
        file.use: PictureFile(
            src=address("..", "items", item, file.path),
            w=file.width,
            h=file.height,
            bytes=file.bytes,
            sha256=file.sha256,
        )
        for file in records.embedded.files
        if _is(file, master, index)
    }


def _tiles(item_dir: Path, tiles: views.Tiles | None) -> dict[str, Any] | None:
    """Return the tile set's own description (info.json), addressed relative to the report."""
    if tiles is None:
        return None
    try:
        about = files.read_json(files.inside(item_dir, f"{tiles.path}/info.json"))
    except (GlassineError, ValueError):
        return None  # the access image serves then
    where = address("..", "items", item_dir.name, tiles.path)
    key = "@id" if "@id" in about else "id"
    return {**about, key: where}


def _frame(
    item_dir: Path, state: ItemStatus, records: _Records, master: str, frame: views.LocatedFrame
) -> Frame:
    return Frame(
        n=frame.index,
        corners=[[round(x, 2), round(y, 2)] for x, y in frame.corners],
        angle=round(frame.angle_deg, 3),
        rotate=frame.rotate,
        mirror=bool(frame.mirror),
        polarity=frame.polarity,
        process=frame.process,
        blank=bool(frame.blank),
        exclude=bool(frame.excluded),
        confidence=round(frame.confidence, 3),
        state=frame.state,
        seen=_seen(frame, state.told_with(master, frame.index)),
        source=frame.source,
        reasons=frame.reasons,
        files=_frame_files(item_dir.name, records, master, frame.index),
        tiles=_tiles(item_dir, records.tiles(master, frame.index)),
        measures=records.measures(master, frame.index),
        film=records.film(master, frame.index),
        film_frame=frame.film_frame,
    )


def _seen(frame: views.LocatedFrame, told: list[str]) -> dict[str, Any] | None:
    """Return what was measured of a frame, and what a person is told who looks at it (see
    `shown.Frame`)."""
    measured = frame.measured if frame.source == "correction" else frame
    if measured is None:
        return {"reasons": told}
    if isinstance(measured, msgspec.UnsetType):
        return None
    if isinstance(measured, views.Measured):  # they decided before, and were told of these
        keys = [item_states.Reason(text).key for text in measured.reasons]
        told = list(dict.fromkeys([*told, *keys]))
    return {
        "corners": [[round(x, 2), round(y, 2)] for x, y in measured.corners],
        "polarity": measured.polarity,
        "process": measured.process,
        "blank": bool(measured.blank),
        "reasons": told,
    }


def _decided(detail: views.LocateDetail, path: str) -> list[dict[str, Any]]:
    """Return the decisions about a master that were not applied to the frame of their number."""
    entries = (detail.corrections.frames if detail.corrections else None) or []
    return [
        {"entry": entry, "on": ruling.on}
        for ruling in detail.decisions or []
        if ruling.master == path and ruling.on != ruling.frame
        for entry in entries
        if entry["frame"] == ruling.frame and entry.get("master") in (None, path)
    ]


def _preview(item_dir: Path, path: str) -> str | None:
    name = naming.preview_name(path)
    if not (item_dir / "previews" / name).is_file():
        return None
    return address("..", "items", item_dir.name, "previews", name)


def _master(
    item_dir: Path, state: ItemStatus, records: _Records, listed: views.ListedMaster
) -> Master:
    """Return what the page shows of a master. listed: its line of intake.json."""
    located, verified = records.located(listed.path), records.verified(listed.path)
    header = verified.header or views.Header()
    width, height = listed.size_px or (header.width, header.height)
    return Master(
        path=listed.path,
        part=listed.part,
        sequence=listed.sequence,
        mtime_ns=listed.mtime_ns,
        bytes=listed.bytes or 0,
        width=located.width or width,
        height=located.height or height,
        kind=located.kind or (listed.facts.kind if listed.facts else None),
        ppi=located.ppi,
        ppi_source=located.ppi_source,
        notes=located.notes,
        preview=_preview(item_dir, listed.path) if listed.path else None,
        sha256=verified.digests.sha256 if verified.digests else None,
        seen_sha256=(records.geometry.detail.digests or {}).get(listed.path),
        decided=_decided(records.geometry.detail, listed.path),
        # Of a master that failed since, an older record says nothing.
        verdict=None if item_states.fails_verify(state) else verified.verdict,
        read=state.last_read,
        taken=(header.capture.taken if header.capture else None) or "",
        frames=[_frame(item_dir, state, records, listed.path, frame) for frame in located.frames],
        edges=_edges(located),
    )


# A table of slides has some thirty pieces.
_MOST_EDGES = 60


def _edges(located: views.LocatedMaster) -> list[list[list[float]]]:
    """Return the corners of the pieces on a master, and of the film itself; what is no piece is
    left out: they are a help to the hand that draws."""
    pieces = located.pieces if isinstance(located.pieces, list | tuple) else []
    quads = [each.get("corners") for each in pieces if isinstance(each, dict)]
    found = []
    for quad in [*quads, located.object_corners]:
        try:
            corners = msgspec.convert(quad, list[tuple[float, float]])
        except msgspec.ValidationError:
            continue
        if len(corners) == 4 and all(math.isfinite(value) for point in corners for value in point):
            found.append([[round(x, 1), round(y, 1)] for x, y in corners])
    return found[:_MOST_EDGES]


def _masters(
    item_dir: Path, state: ItemStatus, records: _Records, listed: list[Any]
) -> tuple[list[Master], list[str]]:
    """Return the masters of an item, and what in their lines of intake.json cannot be read."""
    shown, damaged = [], []
    for number, line in enumerate(listed, 1):
        master, parts = views.take(line, views.ListedMaster)
        if not master.path and not parts:
            parts = ["path"]
        damaged += [f"intake.json at masters.{number}.{part}" for part in parts]
        try:
            shown.append(_master(item_dir, state, records, master))
        except BROKEN as problem:
            shown.append(Master(path=master.path))
            damaged.append(f"{master.path}: {wording.why(problem)}")
    return shown, damaged


def _mark_damaged(state: ItemStatus, where: Path, what: str) -> None:
    """Turn the item to `held`: a record whose content cannot be shown is a damaged record."""
    state.state = "held"
    state.step = state.step or "report"
    state.findings.append(
        Finding(
            "report.record",
            str(where),
            f"A record of this item is damaged: {what}.",
            "records as the steps of the night wrote them.",
            "Remove the item's folder in the results, not in the masters; the next run makes it "
            "again.",
        )
    )


# Links and notes


def _links(item_dir: Path) -> list[tuple[str, str]]:
    files_of = [
        ("Preservation record (METS)", "METS.xml"),
        ("IIIF manifest", "manifest.json"),
        ("Frames found", "geometry.json"),
        ("Measures", "quality.json"),
        ("Checksums", "fixity.json"),
    ]
    return [
        (label, address("..", "items", item_dir.name, name))
        for label, name in files_of
        if (item_dir / name).is_file()
    ]


def _verify_notes(fixity: views.Fixity, item: str) -> list[Finding]:
    """Return what `verify` noted of masters that it accepted."""
    return [
        item_states.finding(note, item) for master in fixity.masters for note in master.notes or []
    ]


def render_notes(render: views.Rendering, item: str) -> list[Finding]:
    """Return what `render` could not do as the settings ask, each once."""
    detail = render.event.detail if render.event else None
    note = {
        "code": "render.note",
        "expected": "what the settings ask for.",
        "next_step": "Nothing, where the picture is right; else state it in batch.yaml.",
        "severity": "note",
    }
    texts = dict.fromkeys((detail.notes if detail else None) or [])
    return [item_states.finding({**note, "what": text}, item) for text in texts]


# Texts of EXIF by their tags (Exif 2.32, 4.6.4).
_EMBEDDED_NAMES = {
    "exif:269": "EXIF DocumentName",
    "exif:270": "EXIF ImageDescription",
    "exif:315": "EXIF Artist",
    "exif:33432": "EXIF Copyright",
}


def _iptc(name: str) -> str:
    return "IPTC " + name.removeprefix("iim:")


def _shortened(embedded: views.Embedded, item: str) -> list[Finding]:
    """Return what is told of texts that EXIF or IPTC could hold only in part."""
    detail = embedded.event.detail if embedded.event else None
    by_picture = (detail.shortened if detail else None) or {}
    names = {name for fields in by_picture.values() for name in fields}
    if not names:
        return []
    shown = ", ".join(sorted(_EMBEDDED_NAMES.get(name) or _iptc(name) for name in names))
    return [
        Finding(
            "embed.shortened",
            item,
            f"These fields of the pictures hold only the beginning of a text: {shown}.",
            "texts as short as IPTC-IIM and EXIF allow; XMP holds them whole.",
            "Nothing, unless a reader of these fields needs all of it.",
            "note",
        )
    ]


def _item(results: Path, line: dict[str, Any]) -> Item:
    item_dir = results / "items" / naming.check_item(str(line["item"]))
    entry, in_line = views.take(line, views.Entry)
    state = item_states.item_status(line, item_dir)
    records, damaged = _read_records(state)
    damaged = [*(f"intake.json at {part}" for part in in_line), *damaged]
    row = entry.catalogue or views.Row()
    masters, in_masters = _masters(item_dir, state, records, entry.masters or [])
    damaged += in_masters
    if damaged:
        _mark_damaged(state, item_dir, wording.listed(damaged))
    notes = [
        *(item_states.finding(note, state.item) for note in entry.findings or []),
        *_verify_notes(records.fixity, state.item),
        *render_notes(records.render, state.item),
        *_shortened(records.embedded, state.item),
    ]
    return Item(
        status=state,
        title=row.title or "",
        date=row.date_text or "",
        material=row.material or "",
        decay_level=row.decay_level,
        catalogue=[*_catalogue_rows(row), *_access_rows(row, records.embedded)],
        masters=masters,
        notes=[finding for finding in notes if finding.severity == "note"],
        bytes=sum(master.bytes for master in masters),
        taken=min((master.taken for master in masters if master.taken), default=""),
        links=_links(item_dir),
        correction=entry.corrections,
    )


def gather_item(results: Path, line: Any, number: int) -> Item:
    """Return an item, or a held stand-in that says that its line of intake.json is damaged.

    results: `results/<batch>/`. number: of the line, from 1.
    """
    try:
        return _item(results, line)
    except BROKEN as problem:
        item = line.get("item") if isinstance(line, dict) else None
        state = ItemStatus(str(item) if item else f"(entry {number})", state="held")
        _mark_damaged(state, results / "intake.json", wording.why(problem))
        return Item(state)
