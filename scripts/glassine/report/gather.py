"""What the report shows, gathered from the files of a batch; bad records never raise here."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

import msgspec

from glassine.base import (
    corrections,
    files,
    identity,
    naming,
    rights,
    settings,
    target_results,
    wording,
)
from glassine.base import item_states as status
from glassine.base.errors import Finding, GlassineError
from glassine.base.item_states import ItemStatus
from glassine.intake import passed_over
from glassine.intake.given import CatalogueSettings
from glassine.report import deliveries

# How many items share one file of details beside the page.
DETAILS_A_FILE = 50

_STATE_WORDS = {
    "done": "done",
    "review": "to look at",
    "held": "held",
    "waiting": "waiting",
    "pending": "not yet run",
}
_BROKEN = (KeyError, TypeError, ValueError, AttributeError, IndexError)


@dataclass
class Item:
    """One item as the page shows it.

    masters: dicts of path, part, width, height, preview (address relative to the report, or
    None), frames; a frame has n, corners, ... and its pictures and measures.
    taken: earliest capture time as written in the master, or "".
    """

    status: ItemStatus
    title: str
    date: str
    material: str
    decay_level: int | None
    catalogue: list[tuple[str, str]]
    masters: list[dict[str, Any]]
    notes: list[Finding]
    bytes: int
    taken: str
    links: list[tuple[str, str]]
    correction: dict[str, Any] | None

    @property
    def item(self) -> str:
        return self.status.item

    @property
    def state_words(self) -> str:
        return _STATE_WORDS[self.status.state]

    @property
    def frames(self) -> list[dict[str, Any]]:
        return [frame for master in self.masters for frame in master["frames"]]


@dataclass
class Batch:
    """Everything the page shows of a batch."""

    batch: str
    title: str
    items: list[Item] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)
    problems: list[Finding] = field(default_factory=list)
    # When the step that failed for the batch as a whole told so (held.json).
    held_since: str = ""
    notes: list[Finding] = field(default_factory=list)
    other_files: list[str] = field(default_factory=list)
    targets: list[str] = field(default_factory=list)
    proof: dict[str, Any] | None = None
    rows_read: int = 0
    without_master: list[dict[str, Any]] = field(default_factory=list)
    delivered: deliveries.Deliveries = field(default_factory=deliveries.Deliveries)
    withdraw: list[dict[str, Any]] = field(default_factory=list)
    standing: dict[str, dict[str, Any]] = field(default_factory=dict)

    @property
    def statuses(self) -> list[ItemStatus]:
        return [item.status for item in self.items]

    @property
    def asks(self) -> list[Finding]:
        """The notes that a person should look at, of the batch as a whole."""
        return [note for note in self.notes if note.severity == "review"]

    def in_state(self, state: str) -> list[Item]:
        return [item for item in self.items if item.status.state == state]


def _proof(results: Path, batch: Batch) -> dict[str, Any] | None:
    """Return what the target captures say (targets.json), or None where there is nothing yet."""
    path = results / target_results.RECORD
    if not path.exists():
        return None
    try:
        proof: dict[str, Any] = files.read_json(path)
        proof["holds"] = _findings(proof["holds"], batch.batch)
        proof["targets"] = list(proof["targets"])
    except (GlassineError, KeyError, TypeError):
        batch.problems += _findings([{"what": f"{path.name} is damaged."}], str(path))
        return None
    return proof


def address(*parts: str) -> str:
    """Return a relative address of a file, each part percent-encoded (RFC 3986)."""
    return "/".join(quote(piece) for part in parts for piece in part.split("/"))


def _text(value: Any) -> str:
    return "" if value is None else str(value)


def _names(record: dict[str, Any], column: str, key: str) -> str:
    return "; ".join(_text(each.get(key)) for each in record.get(column) or [])


def _catalogue_rows(record: dict[str, Any]) -> list[tuple[str, str]]:
    stated = rights.resolved(record.get("rights"), None)
    rows = [
        ("Title", _text(record.get("title"))),
        ("Other title", _text(record.get("alternative"))),
        ("Description", _text(record.get("description"))),
        ("Date", _date_words(record)),
        ("Creator", _names(record, "creators", "name")),
        ("Subject", _names(record, "subjects", "term")),
        ("Place", _names(record, "places", "name")),
        ("Physical description", _text(record.get("physical"))),
        ("Material", _text(record.get("material"))),
        ("Decay level", _text(record.get("decay_level"))),
        ("Rights", stated.name or (stated.status if record.get("rights") else "")),
        ("Collection", _text(record.get("collection"))),
    ]
    return [(label, text) for label, text in rows if text]


def _date_words(record: dict[str, Any]) -> str:
    text = _text(record.get("date_text"))
    if text and record.get("date_understood") is False:
        kept = f"{record['edtf']} by its bounds" if record.get("edtf") else "no date"
        return f"{text} (not understood; {kept} was recorded)"
    return text or _text(record.get("edtf"))


def _frame_files(
    item: str, records: dict[str, Any], master: str, index: int
) -> dict[str, dict[str, Any]]:
    """Return the access image and thumbnail of a frame, with addresses."""
    found = {}
    for each in (records.get("embedded") or {}).get("files", []):
        if each["master"] == master and each["index"] == index:
            found[each["use"]] = {
                "src": address("..", "items", item, each["path"]),
                "w": each["width"],
                "h": each["height"],
                "bytes": each.get("bytes"),
                "sha256": each.get("sha256"),
            }
    return found


def _rendered(records: dict[str, Any], master: str, index: int) -> dict[str, Any]:
    for each in (records.get("render") or {}).get("frames", []):
        if each["master"] == master and each["index"] == index:
            return dict(each)
    return {}


def _measures(records: dict[str, Any], master: str, index: int) -> list[dict[str, Any]]:
    for each in (records.get("quality") or {}).get("frames", []):
        if each["master"] == master and each["index"] == index:
            return list(each["measures"])
    return []


def _tiles(item_dir: Path, rendered: dict[str, Any]) -> dict[str, Any] | None:
    """Return the tile set's own description (info.json), addressed relative to the report."""
    made = rendered.get("tiles")
    if not made:
        return None
    try:
        about = files.read_json(files.inside(item_dir, f"{made['path']}/info.json"))
    except (GlassineError, ValueError):
        return None  # the access image serves then
    where = address("..", "items", item_dir.name, made["path"])
    key = "@id" if "@id" in about else "id"
    return {**about, key: where}


def _frame(
    item_dir: Path, records: dict[str, Any], master: dict[str, Any], frame: dict[str, Any]
) -> dict[str, Any]:
    path, index = master["path"], frame["index"]
    rendered = _rendered(records, path, index)
    return {
        "n": index,
        "corners": [[round(float(x), 2), round(float(y), 2)] for x, y in frame["corners"]],
        "angle": round(float(frame["angle_deg"]), 3),
        "rotate": frame.get("rotate", 0),
        "mirror": bool(frame.get("mirror")),
        "polarity": frame["polarity"],
        "process": frame["process"],
        "blank": bool(frame.get("blank")),
        "exclude": bool(frame.get("excluded")),
        "confidence": round(float(frame.get("confidence", 0)), 3),
        "state": frame["state"],
        "seen": _seen(frame),
        "source": frame.get("source", "measured"),
        "reasons": [str(reason) for reason in frame.get("reasons", [])],
        "files": _frame_files(item_dir.name, records, path, index),
        "tiles": _tiles(item_dir, rendered),
        "measures": _measures(records, path, index),
    }


def _seen(frame: dict[str, Any]) -> dict[str, Any] | None:
    """Return what was measured of a frame, which a decision about it keeps (`seen` in
    corrections.yaml): {} where a person added it, None where the record does not say."""
    corrected = frame.get("source") == "correction"
    measured = frame.get("measured", {}) if corrected else frame
    if measured is None:
        return {}
    if not measured:
        return None
    return {
        "corners": [[round(float(x), 2), round(float(y), 2)] for x, y in measured["corners"]],
        **{key: measured[key] for key in ("polarity", "process", "blank")},
    }


def _decided(detail: dict[str, Any], path: str) -> list[dict[str, Any]]:
    """Return the decisions about a master that were not applied to the frame of their number.

    detail: of the event of geometry.json. Each is {"entry", "on": the frame's number, or None}.
    """
    elsewhere = [
        each
        for each in detail.get("decisions") or []
        if each["master"] == path and each["on"] != each["frame"]
    ]
    entries = (detail.get("corrections") or {}).get("frames") or []
    return [
        {"entry": entry, "on": each["on"]}
        for each in elsewhere
        for entry in entries
        if entry["frame"] == each["frame"] and entry.get("master") in (None, path)
    ]


def _preview(item_dir: Path, item: str, path: str) -> str | None:
    name = f"{Path(path).stem}.jpg"
    if not (item_dir / "previews" / name).is_file():
        return None
    return address("..", "items", item, "previews", name)


def _located(records: dict[str, Any], path: str) -> dict[str, Any]:
    for master in (records.get("geometry") or {}).get("masters", []):
        if master["path"] == path:
            return dict(master)
    return {}


def _verified(records: dict[str, Any], path: str) -> dict[str, Any]:
    for master in (records.get("fixity") or {}).get("masters", []):
        if master["path"] == path:
            return dict(master)
    return {}


def _master(item_dir: Path, state: ItemStatus, known: dict[str, Any]) -> dict[str, Any]:
    """Return what the page shows of a master; `known` is its line of intake.json."""
    path = str(known["path"])
    located = _located(state.records, path)
    detail = ((state.records.get("geometry") or {}).get("event") or {}).get("detail") or {}
    verified = _verified(state.records, path)
    header = verified.get("header") or {}
    size = known.get("size_px") or [header.get("width"), header.get("height")]
    digests = verified.get("digests") or {}
    return {
        "path": path,
        "part": known.get("part"),
        "bytes": int(known.get("bytes") or 0),
        "width": located.get("width") or size[0],
        "height": located.get("height") or size[1],
        "kind": located.get("kind") or (known.get("facts") or {}).get("kind"),
        "ppi": located.get("ppi"),
        "ppi_source": located.get("ppi_source"),
        "notes": [str(note) for note in located.get("notes", [])],
        "preview": _preview(item_dir, state.item, path),
        "sha256": digests.get("sha256"),
        # Of the capture that the frames were found on: verify may have read another since.
        "seen_sha256": (detail.get("digests") or {}).get(path),
        "decided": _decided(detail, path),
        # Of a master that failed since, an older record says nothing.
        "verdict": None if status.fails_verify(state) else verified.get("verdict"),
        "read": state.last_read,
        "taken": _text((header.get("capture") or {}).get("taken")),
        "frames": [
            _frame(item_dir, state.records, located, frame) for frame in located.get("frames", [])
        ],
    }


def _bare_master(known: Any) -> dict[str, Any]:
    path = _text(known.get("path")) if isinstance(known, dict) else _text(known)
    return {
        "path": path, "part": None, "bytes": 0, "width": None, "height": None, "kind": None,
        "ppi": None, "ppi_source": None, "notes": [], "preview": None, "sha256": None,
        "verdict": None, "read": None, "taken": "", "frames": [],
    }  # fmt: skip


def _masters(item_dir: Path, state: ItemStatus, entry: dict[str, Any]) -> list[dict[str, Any]]:
    shown = []
    for known in entry.get("masters") or []:
        try:
            shown.append(_master(item_dir, state, known))
        except _BROKEN as problem:
            shown.append(_bare_master(known))
            _mark_damaged(state, item_dir, problem)
    return shown


def _mark_damaged(state: ItemStatus, where: Path, problem: Exception) -> None:
    """Turn the item to `held`: a record whose content cannot be shown is a damaged record."""
    state.state = "held"
    state.step = state.step or "report"
    state.findings.append(
        Finding(
            "report.record",
            str(where),
            f"A record of this item is damaged: {wording.why(problem)}.",
            "records as the steps of the night wrote them.",
            "Remove the item's folder in the results, not in the masters; the next run makes it "
            "again.",
        )
    )


def _links(item_dir: Path, item: str) -> list[tuple[str, str]]:
    known = [
        ("Preservation record (METS)", "METS.xml"),
        ("IIIF manifest", "manifest.json"),
        ("Frames found", "geometry.json"),
        ("Measures", "quality.json"),
        ("Checksums", "fixity.json"),
    ]
    return [
        (label, address("..", "items", item, name))
        for label, name in known
        if (item_dir / name).is_file()
    ]


def _master_notes(state: ItemStatus) -> list[Any]:
    """Return what `verify` noted of masters that it accepted."""
    masters = state.records.get("fixity", {}).get("masters")
    listed = masters if isinstance(masters, list) else []
    return [note for each in listed if isinstance(each, dict) for note in each.get("notes") or []]


def _render_notes(state: ItemStatus) -> list[Any]:
    """Return what `render` could not do as the settings ask, each once."""
    event = state.records.get("render", {}).get("event")
    detail = event.get("detail") if isinstance(event, dict) else None
    noted = detail.get("notes") if isinstance(detail, dict) else None
    texts = dict.fromkeys(str(text) for text in noted) if isinstance(noted, list) else {}
    told = {
        "code": "render.note",
        "expected": "what the settings ask for.",
        "next_step": "Nothing, where the picture is right; else state it in batch.yaml.",
        "severity": "note",
    }
    return [{**told, "what": text} for text in texts]


# Texts of EXIF by their tags (Exif 2.32, 4.6.4).
_EMBEDDED_NAMES = {
    "exif:269": "EXIF DocumentName",
    "exif:270": "EXIF ImageDescription",
    "exif:315": "EXIF Artist",
    "exif:33432": "EXIF Copyright",
}


def _iptc(name: str) -> str:
    return "IPTC " + str(name).removeprefix("iim:")


def _shortened(state: ItemStatus) -> list[dict[str, Any]]:
    """Return what is told of texts that EXIF or IPTC could hold only in part."""
    detail = ((state.records.get("embedded") or {}).get("event") or {}).get("detail") or {}
    listed = detail.get("shortened")
    names = {name for each in (listed or {}).values() for name in each}
    if not names:
        return []
    shown = ", ".join(sorted(_EMBEDDED_NAMES.get(name) or _iptc(name) for name in names))
    return [
        {
            "code": "embed.shortened",
            "path": state.item,
            "what": f"These fields of the pictures hold only the beginning of a text: {shown}.",
            "expected": "texts as short as IPTC-IIM and EXIF allow; XMP holds them whole.",
            "next_step": "Nothing, unless a reader of these fields needs all of it.",
            "severity": "note",
        }
    ]


def _item(results: Path, entry: dict[str, Any]) -> Item:
    item_dir = results / "items" / naming.check_item(str(entry["item"]))
    state = status.item_status(entry, item_dir)
    record = entry.get("catalogue") or {}
    masters = _masters(item_dir, state, entry)
    level = record.get("decay_level")
    told = [
        *(entry.get("findings") or []),
        *_master_notes(state),
        *_render_notes(state),
        *_shortened(state),
    ]
    notes = [status.finding(each, state.item) for each in told]
    return Item(
        status=state,
        title=_text(record.get("title")),
        date=_text(record.get("date_text")),
        material=_text(record.get("material")),
        decay_level=level if isinstance(level, int) else None,
        catalogue=_catalogue_rows(record),
        masters=masters,
        notes=[finding for finding in notes if finding.severity == "note"],
        bytes=sum(master["bytes"] for master in masters),
        taken=min((master["taken"] for master in masters if master["taken"]), default=""),
        links=_links(item_dir, state.item),
        correction=entry.get("corrections"),
    )


def _safe_item(results: Path, entry: Any, number: int) -> Item:
    """Return the item, or a held stand-in that says that its line in intake.json is damaged."""
    try:
        return _item(results, entry)
    except _BROKEN as problem:
        name = _text(entry.get("item")) if isinstance(entry, dict) else ""
        state = ItemStatus(name or f"(entry {number})", state="held")
        _mark_damaged(state, results / "intake.json", problem)
        return Item(state, "", "", "", None, [], [], [], 0, "", [], None)


def _findings(given: Any, where: str) -> list[Finding]:
    listed = given if isinstance(given, list) else []
    return [status.finding(each, where) for each in listed]


def _read(path: Path, batch: Batch) -> dict[str, Any]:
    """Return a record of the batch; a damaged one is a problem that the page shows."""
    try:
        record = files.read_json(path)
    except GlassineError as problem:
        batch.problems += problem.findings
        return {}
    return record if isinstance(record, dict) else {}


def _gather_deliveries(batch: Batch, results: Path, given: dict[str, Any]) -> None:
    """Put in what is to be said of the deliveries; what cannot be told is a problem."""
    own = given["settings"].get("delivery", {})
    folder = Path(given["deliveries"])
    try:
        batch.delivered = deliveries.gather(
            results, folder, batch.batch, batch.statuses, batch.withdraw, own
        )
    except GlassineError as problem:
        batch.problems += problem.findings
    except (OSError, *_BROKEN) as problem:
        batch.problems.append(
            Finding(
                "report.deliveries",
                str(folder),
                f"It cannot be found out what was delivered: {wording.why(problem)}.",
                "receipts, packages and records as the night wrote them.",
                "Check the disk of the deliveries and the receipts; do not delete any.",
            )
        )
    if batch.delivered.dropped:  # the same items, told with what was delivered of them
        batch.problems = [each for each in batch.problems if each.code != "run.items_gone"]
    batch.problems += batch.delivered.problems
    batch.notes += batch.delivered.notes


def _standing(batch_dir: Path | None, items: list[Item]) -> dict[str, dict[str, Any]]:
    """Return the corrections that stand, of items of other batches' names too."""
    if batch_dir is not None:
        path = batch_dir / corrections.FILE_NAME
        try:
            standing = corrections.read(path).corrections if path.exists() else {}
            return {item: msgspec.to_builtins(each) for item, each in standing.items()}
        except GlassineError:
            pass  # intake tells it as a problem of the batch; what it last read serves here
    return {item.item: item.correction for item in items if item.correction}


def _uncaptured(rows: dict[str, Any], given: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the catalogue rows that have no master yet, most decayed first."""
    listed = rows.get("without_master") or []
    known = _catalogue_records(given) if any(isinstance(each, str) for each in listed) else {}
    shown = []
    for each in listed:
        record = each if isinstance(each, dict) else known.get(_text(each)) or {}
        level = record.get("decay_level")
        shown.append(
            {
                "item": _text(record.get("item") or each),
                "title": _text(record.get("title")),
                "material": _text(record.get("material")),
                "decay_level": level if isinstance(level, int) else None,
            }
        )
    return sorted(shown, key=decay_order)


def decay_order(row: dict[str, Any]) -> tuple[int, bool, str]:
    """Sort key: highest level first, nitrate before others of its level, then by id."""
    level = row["decay_level"]
    return (-(level if level is not None else -1), row["material"] != "nitrate", row["item"])


def _catalogue_records(given: dict[str, Any]) -> dict[str, dict[str, Any]]:
    if not given.get("masters"):
        return {}
    from glassine.intake import side_files
    from glassine.intake.catalogue import reading as catalogue

    stated = {"catalogue": settings.load({})["catalogue"], **given["settings"]}
    configured = msgspec.convert(stated, CatalogueSettings)
    path = side_files.catalogue_path(Path(given["masters"]), configured)
    try:
        root = None if configured.catalogue.path else Path(given["masters"])
        found = catalogue.read_catalogue(path, configured, root) if path else None
    except (GlassineError, OSError, *_BROKEN):
        return {}  # told by intake; the list then shows ids alone
    return msgspec.to_builtins(found.records) if found else {}


def _placeholders(given: dict[str, Any]) -> list[Finding]:
    """Return what is told where film of one's own has the names of the worked example."""
    config = {**given.get("settings", {}), "institution": given.get("institution") or {}}
    masters = given.get("masters")
    found = identity.placeholders(config, Path(masters)) if masters else None
    return [found] if found else []


def _passed_over(results: Path, intake: dict[str, Any], given: dict[str, Any]) -> list[Finding]:
    """Return what a run tells of a batch without items, and of items that are gone."""
    known = {_text(each.get("item")) for each in intake["items"] if isinstance(each, dict)}
    known |= passed_over.withdrawn(intake)
    found = (
        passed_over.without_items(results.name, Path(given.get("masters") or results.name), intake),
        passed_over.items_gone(results.name, results, known),
    )
    return [problem.finding for problem in found if problem is not None]


def gather(results: Path, given: dict[str, Any]) -> Batch:
    """Return everything the page shows of a batch.

    results: `results/<batch>/`; given: see `report.write_report`.
    """
    batch = Batch(str(given["batch"]), str(given["batch"]))
    intake = _read(results / "intake.json", batch)
    if (results / "held.json").exists():
        held = _read(results / "held.json", batch)
        batch.problems += [
            each
            for each in _findings(held.get("findings"), batch.batch)
            if not (given.get("deliveries") and deliveries.is_over(each))
        ]
        batch.held_since = _text(held.get("time"))
    batch.title = _text(intake.get("title")) or batch.batch
    entries = intake.get("items")
    if isinstance(entries, list):
        batch.problems += _passed_over(results, intake, given)
    for number, entry in enumerate(entries if isinstance(entries, list) else [], 1):
        batch.items.append(_safe_item(results, entry, number))
    batch.counts = status.counts([item.status for item in batch.items])
    batch.notes = _findings(intake.get("notes"), batch.batch) + _placeholders(given)
    batch.other_files = [_text(name) for name in intake.get("other_files") or []]
    batch.targets = [
        _text(each.get("path")) if isinstance(each, dict) else _text(each)
        for each in intake.get("targets") or []
    ]
    batch.proof = _proof(results, batch) if batch.targets else None
    rows = intake.get("rows") if isinstance(intake.get("rows"), dict) else {}
    batch.rows_read = int(rows.get("read") or 0) if rows else 0
    batch.without_master = _uncaptured(rows or {}, given)
    withdraw = intake.get("withdraw")
    listed = withdraw if isinstance(withdraw, list) else []
    batch.withdraw = [each for each in listed if isinstance(each, dict) and each.get("item")]
    if given.get("deliveries"):
        _gather_deliveries(batch, results, given)
    folder = Path(given["masters"]) if given.get("masters") else None
    batch.standing = _standing(folder, batch.items)
    return batch
