"""What happened to an item, from the exposure of its masters to its record."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

import msgspec
from msgspec import UNSET

from glassine import __version__
from glassine.base import alternates, premis_event
from glassine.base.model import Frame
from glassine.base.records import parts
from glassine.base.records.corrections import Correction
from glassine.base.records.developed import DevelopedMaster
from glassine.base.records.fixity import VerifiedMaster
from glassine.base.records.parts import Header
from glassine.base.records.quality import MeasuredFrame
from glassine.base.records.render import RenderedFrame
from glassine.base.tone import Negative, Positive
from glassine.record import capture_time, mix
from glassine.record.item_records import FileEntry, ItemRecords
from glassine.record.premis import Agent, Event, History, object_name

EXECUTED, DECIDED, OWNS = "executing program", "implementer", "responsible organization"
RAN_ON = "processor"

Agents = tuple[tuple[Agent, str], ...]


def _json(value: Any) -> str:
    return json.dumps(value, sort_keys=True, ensure_ascii=False, allow_nan=False)


def _software(event: parts.Event) -> Agents:
    used = event.software or {"glassine": __version__}
    agents = [(Agent("software", name, used[name]), EXECUTED) for name in sorted(used)]
    if event.processor:
        note = "architecture of the processor; another may round a last bit otherwise"
        agents.append((Agent("hardware", event.processor, note=note), RAN_ON))
    return tuple(agents)


def _people(event: parts.Event) -> Agents:
    return ((person(event.operator), DECIDED),) if event.operator else ()


def person(role: str) -> Agent:
    """Return a person by role id; names of people do not go into records."""
    return Agent("person", role, note="role id of the institution")


def _by(event: parts.Event) -> Agents:
    return _software(event) + _people(event)


def camera(header: Header) -> Agent | None:
    """Return the capture device as the master's EXIF names it."""
    capture = header.capture
    names = [name for name in (capture.make, capture.model) if name]
    if not names:
        return None
    note = f"serial number {capture.serial}" if capture.serial else None
    return Agent("hardware", " ".join(names), note=note)


def _names(records: ItemRecords, paths: Iterable[str]) -> tuple[str, ...]:
    return tuple(object_name(records.item, path) for path in paths)


def of_item(records: ItemRecords, now: parts.Event) -> History:
    """Return the history of an item. now: the event of writing this record."""
    history = History()
    masters = records.of_use("master")
    verified = {f"masters/{entry.path}": entry for entry in records.fixity.masters}
    arrived = [_arrived(records, entry, verified[entry.path]) for entry in masters]
    for entry, fixity in arrived:
        _captured(history, records, entry, fixity.header)
    _taken_in(history, records, [entry for entry, _ in arrived])
    for entry, fixity in arrived:
        _verified(history, records, entry, fixity)
    _developed(history, records)
    _located(history, records, masters)
    _corrected(history, records, masters)
    _rendered(history, records, masters)
    _measured(history, records)
    _proved(history, records)
    _embedded(history, records)
    _recorded(history, records, now)
    return history


def _arrived(
    records: ItemRecords, entry: FileEntry, verified: VerifiedMaster
) -> tuple[FileEntry, VerifiedMaster]:
    """Return the file that came from the camera: the master, or the raw file it was made from."""
    if verified.source is UNSET:
        return entry, verified
    return records.recorded[f"raw/{verified.source.path}"], verified.source


def _developed(history: History, records: ItemRecords) -> None:
    """Tell how raw files became the pictures that are the masters."""
    developed = records.developed
    if developed is None:
        return
    event = developed.event
    for master in developed.masters:
        name = object_name(records.item, f"masters/{master.path}")
        how = msgspec.to_builtins(master)
        del how["dead_pixels"]  # developed.json has them
        history.tell(
            Event(
                f"{name}#development",
                event.type,
                event.time,
                event.outcome,
                detail=_json({**event.detail, "development": how}),
                note=_developed_from(master),
                agents=_by(event),
                sources=_names(records, (f"raw/{master.source}",)),
                outcomes=(name,),
            )
        )


def _developed_from(master: DevelopedMaster) -> str:
    """Return in words what a development rests on."""
    used = [f"{each.role} capture {each.path}" for each in master.calibration]
    light = ", ".join(used) or "no capture of the bare light table"
    return (
        f"developed from the camera's raw file with {light}; colours by {_colours_by(master)}; "
        f"{master.dead} pixels filled"
        f"{f', {master.lone} of them found in this capture alone' if master.lone else ''}"
    )


def _colours_by(master: DevelopedMaster) -> str:
    if master.matrix_from == "file":
        return "the file's own matrix"
    if master.target_kind == "reflective":
        return (
            f"a matrix fitted on the reflective target {master.target}, which is 1.6 to 3 times "
            "further off on film"
        )
    return f"a matrix fitted on the film target {master.target}"


def _captured(history: History, records: ItemRecords, entry: FileEntry, header: Header) -> None:
    when, device = capture_time.taken(header), camera(header)
    if when is None:
        return
    agents = [(device, "capture device")] if device else []
    operator = records.operator(entry.original_name or "")
    agents += [(person(operator), DECIDED)] if operator else []
    settings = {
        name: value
        for name, value in msgspec.structs.asdict(header.capture).items()
        if value is not None and name not in ("make", "model", "serial", "taken", "offset")
    }
    name = object_name(records.item, entry.path)
    history.tell(
        Event(
            f"{name}#capture",
            "capture",
            when,
            "success",
            detail=_json({"camera": settings}) if settings else None,
            agents=tuple(agents),
            outcomes=(name,),
        )
    )


def _identity(records: ItemRecords) -> dict[str, Any]:
    """Return what told the item of each master, and which captures do not count."""
    given = records.given
    told = {
        "identified": {
            master.path: msgspec.to_builtins(master.identified)
            for master in given.masters
            if master.identified is not None
        },
        "superseded": {
            master.path: master.superseded_by
            for master in given.masters
            if master.superseded_by is not None
        },
        "left_out": {each.path: each.why for each in given.left_out or ()},
    }
    return {key: value for key, value in told.items() if value}


def _taken_in(history: History, records: ItemRecords, masters: list[FileEntry]) -> None:
    event = records.fixity.event
    owner = records.institution.name
    who = [*_by(event), *([(Agent("organization", owner), OWNS)] if owner else [])]
    history.tell(
        Event(
            f"{records.item}#ingestion",
            "ingestion",
            event.time,
            "success",
            detail=_json(
                {"batch": records.given.batch, "masters": len(masters), **_identity(records)}
            ),
            agents=tuple(who),
            outcomes=_names(records, ("", *(entry.path for entry in masters))),
        )
    )


def _verified(
    history: History, records: ItemRecords, entry: FileEntry, verified: VerifiedMaster
) -> None:
    """Tell of a master's digests, their comparison, and what its format is."""
    event = records.fixity.event
    name = object_name(records.item, entry.path)
    history.tell(
        Event(
            f"{name}#digests",
            "message digest calculation",
            event.time,
            "success",
            detail=_json({"algorithms": sorted(msgspec.to_builtins(verified.digests))}),
            agents=_by(event),
            outcomes=(name,),
        )
    )
    if verified.expected:
        history.tell(
            Event(
                f"{name}#fixity",
                "fixity check",
                event.time,
                "pass" if verified.verdict == "match" else "fail",
                detail=_json({"compared": sorted(verified.expected)}),
                note="compared with the checksum list of the capture station",
                agents=_by(event),
                sources=(name,),
            )
        )
    history.tell(
        Event(
            f"{name}#format",
            "format identification",
            event.time,
            "success",
            note=" ".join(part for part in entry.format if part),
            agents=_by(event),
            sources=(name,),
        )
    )


def _located(history: History, records: ItemRecords, masters: list[FileEntry]) -> None:
    event = records.located_event
    if event is None:
        return
    frames = {
        master.path: [_frame_detail(frame) for frame in master.frames]
        for master in records.geometry.masters
    }
    history.tell(
        Event(
            f"{records.item}#geometry",
            event.type,
            event.time,
            event.outcome,
            detail=_json({"settings": event.detail, "frames": frames}),
            note="corners of each frame in pixels of its master",
            agents=_by(event),
            sources=_names(records, (entry.path for entry in masters)),
        )
    )


def _frame_detail(frame: Frame) -> dict[str, Any]:
    """Return what an event's detail says of a frame, ready for JSON."""
    names = ("index", "corners", "confidence", "state", "source", "reasons")
    return {name: getattr(frame, name) for name in names}


def _corrected(history: History, records: ItemRecords, masters: list[FileEntry]) -> None:
    """Tell that a person decided, by role id, and what exactly."""
    decided = [
        (master.path, frame.index)
        for master in records.geometry.masters
        for frame in master.frames
        if frame.source == "correction"
    ]
    if not records.given.corrections and not decided:
        return
    correction = records.given.corrections or Correction()
    of_frames = {path for path, _ in decided}
    touched = [entry.path for entry in masters if not of_frames or entry.original_name in of_frames]
    frames = msgspec.to_builtins(correction.frames)
    history.tell(
        Event(
            f"{records.item}#correction",
            "correction",
            correction.when or (records.located_event or records.fixity.event).time,
            "success",
            detail=_json({"frames": frames, "decided": decided}),
            note=correction.note,
            agents=((person(correction.by), DECIDED),) if correction.by else (),
            sources=_names(records, touched),
        )
    )


def _rendered(history: History, records: ItemRecords, masters: list[FileEntry]) -> None:
    by_frame: dict[tuple[str, int], list[str]] = {}
    for file in records.embedded.files:
        by_frame.setdefault((file.master, file.index), []).append(file.path)
    for entry in masters:
        name = object_name(records.item, entry.path)
        frames = [
            frame for frame in records.frames_of(entry.original_name or "") if not frame.skipped
        ]
        if frames:
            _decoded(history, records.render.event, name)
        for frame in frames:
            tiles = [f"{frame.tiles.path}/info.json"] if frame.tiles else []
            paths = [*by_frame.get((frame.master, frame.index), []), *tiles]
            if mix.captured(records):
                crops = [path for path in paths if records.files[path].kind == "crop"]
                _untoned(history, records, name, frame, crops, "crop", _AS_CAPTURED)
                paths = [path for path in paths if path not in crops]
            kept = [p for p in paths if p not in tiles and _is_uninverted(records, p)]
            own = [path for path in kept if _is_of_own_space(records, path)]
            paths = [path for path in paths if path not in kept]
            kept = [path for path in kept if path not in own]
            _untoned(history, records, name, frame, kept, "uninverted", _NOT_INVERTED)
            _untoned(history, records, name, frame, own, "uninverted-sets", _SETS_NOT_INVERTED)
            _pictured(history, records, name, frame, paths)


def _decoded(history: History, event: parts.Event, master: str) -> None:
    history.tell(
        Event(
            f"{master}#decoding",
            "validation",
            event.time,
            "success",
            note="decoded without an error or warning",
            agents=_by(event),
            sources=(master,),
        )
    )


_AS_CAPTURED = "cropped and straightened in one resampling; tone and profile as captured"
_NOT_INVERTED = (
    "cropped and straightened in one resampling, converted to sRGB through the master's profile, "
    "not inverted; reduced and encoded"
)

_SETS_NOT_INVERTED = (
    "cropped and straightened in one resampling, converted through the master's profile to that of "
    "the file, not inverted; encoded"
)


def _is_uninverted(records: ItemRecords, path: str) -> bool:
    entry = records.files[path]
    return entry.kind == alternates.UNINVERTED or bool(entry.made and entry.made.tone is not UNSET)


def _is_of_own_space(records: ItemRecords, path: str) -> bool:
    """Return whether a negative as captured is a TIFF, or a JPEG of another space than sRGB."""
    made = records.files[path].made
    return made is not None and not (made.use == alternates.UNINVERTED and made.space is UNSET)


def _untoned(
    history: History,
    records: ItemRecords,
    master: str,
    frame: RenderedFrame,
    paths: list[str],
    what: str,
    note: str,
) -> None:
    """Tell how a frame's pictures came about that no tone was set of, where there are some."""
    event = records.render.event
    if paths:
        history.tell(
            Event(
                f"{master}#frame-{frame.index}-{what}",
                "image modification",
                event.time,
                event.outcome,
                detail=_json({"frame": frame.index, "settings": event.detail}),
                note=note,
                agents=_by(event),
                sources=(master,),
                outcomes=_names(records, sorted(paths)),
            )
        )


def _pictured(
    history: History, records: ItemRecords, master: str, frame: RenderedFrame, paths: list[str]
) -> None:
    """Tell how a frame became pictures: what was done to the image, and the files written."""
    event, index = records.render.event, frame.index
    outcomes = _names(records, paths)
    history.tell(
        Event(
            f"{master}#frame-{index}-image",
            "image modification",
            event.time,
            event.outcome,
            detail=_json({"frame": index, "tone": msgspec.to_builtins(frame.tone)}),
            note="cropped and straightened in one resampling, then the tone set"
            f"{_of_film(frame)}{_restored(frame)}",
            agents=_by(event),
            sources=(master,),
            outcomes=outcomes,
        )
    )
    history.tell(
        Event(
            f"{master}#frame-{index}-files",
            event.type,
            event.time,
            event.outcome,
            detail=_json({"frame": index, "settings": event.detail}),
            note="reduced and encoded",
            agents=_by(event),
            sources=(master,),
            outcomes=outcomes,
        )
    )


def _restored(frame: RenderedFrame) -> str:
    """Return words about faded dyes that were made up for, empty where nobody asked for it."""
    if not isinstance(frame.tone, Positive) or frame.tone.restored is UNSET:
        return ""
    if frame.tone.restoration is None:
        return "; no fading of its dyes was found that could be made up for"
    return "; faded dyes were made up for by an estimate (restored in the detail)"


def _of_film(frame: RenderedFrame) -> str:
    """Return what is to be said of the film that a frame was rendered with, "" where none is."""
    film = frame.tone.film if isinstance(frame.tone, Negative) else UNSET
    if film is UNSET:
        return ""
    return (
        f" with the values of the film {film.name}, pooled from {film.frames} frames of "
        f"{film.masters} masters"
    )


# The worst first.
PACKAGES = ("lxml",)
_OUTCOMES = ("fail", "review", "not measured", "pass")


def _measured(history: History, records: ItemRecords) -> None:
    event = records.quality.event
    verdicts = [frame.verdict for frame in records.quality.frames]
    if not verdicts:
        return
    masters = sorted({frame.master for frame in records.quality.frames})
    history.tell(
        Event(
            f"{records.item}#quality",
            "quality review",
            event.time,
            next(word for word in _OUTCOMES if word in verdicts),
            detail=_json([_measures_detail(frame) for frame in records.quality.frames]),
            note="measured by program against the limits of the settings",
            agents=_software(event),
            sources=_names(records, (f"masters/{path}" for path in masters)),
        )
    )


def _measures_detail(frame: MeasuredFrame) -> dict[str, Any]:
    """Return what an event's detail says of a frame's measures, ready for JSON."""
    return {
        "master": frame.master,
        "frame": frame.index,
        "verdict": frame.verdict,
        "measures": {
            measure.name: [measure.value, measure.unit, measure.verdict]
            for measure in frame.measures
        },
    }


def _proved(history: History, records: ItemRecords) -> None:
    """Tell of the target captures that show how good the rig was on the day."""
    masters = [f"masters/{master.path}" for master in records.fixity.masters]
    for target in records.captures:
        event = target.event
        history.tell(
            Event(
                f"{records.item}#target-{target.target}",
                event.type,
                event.time,
                event.outcome,
                detail=_json(event.detail),
                note="capture target of the batch measured against published tables",
                agents=_software(event),
                sources=_names(records, masters),
            )
        )


def _embedded(history: History, records: ItemRecords) -> None:
    event, written = records.embedded.event, records.embedded.files
    if not written:
        return
    detail = {
        name: value
        for name, value in event.detail.items()
        if name not in ("catalogue", "institution")  # both stand in this record already
    }
    described = [file.path for file in written if file.use not in alternates.WITHOUT_TEXTS]
    history.tell(
        Event(
            f"{records.item}#embedding",
            event.type,
            event.time,
            event.outcome,
            detail=_json(detail),
            note="metadata spliced in beside the encoded picture, whose bytes stay as they were",
            agents=_by(event),
            outcomes=_names(records, described),
        )
    )
    history.tell(
        Event(
            f"{records.item}#derivative-digests",
            "message digest calculation",
            event.time,
            "success",
            detail=_json({"algorithms": ["sha256", "sha512"]}),
            note="of each derivative as it stands in the package",
            agents=_software(event),
            sources=_names(records, (file.path for file in written)),
        )
    )


def _recorded(history: History, records: ItemRecords, now: parts.Event) -> None:
    history.tell(
        Event(
            f"{records.item}#record",
            now.type,
            now.time,
            now.outcome,
            detail=_json(now.detail),
            agents=_by(now),
            outcomes=(object_name(records.item),),
        )
    )


def now(detail: dict[str, Any]) -> parts.Event:
    """Return the event of writing the record."""
    done = premis_event.event("metadata creation", detail, packages=PACKAGES)
    return msgspec.convert(done, parts.Event)
