"""The step itself: open each master, find its frames, apply what a person decided, write it down."""  # noqa: E501

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any, cast

import cv2
import msgspec
import numpy as np
import numpy.typing as npt

from glassine.base import files, naming, premis_event, processor, record_files
from glassine.base.errors import GlassineError
from glassine.base.model import (
    Corners,
    Facts,
    Frame,
    ItemGeometry,
    MasterGeometry,
    Measured,
    Polarity,
    Process,
)
from glassine.base.records.given import StatedMaster
from glassine.base.records.parts import Header, Resolution
from glassine.locate import catalogue_size, decisions, learned, orientation, stated
from glassine.locate.encoding import linear, table_of
from glassine.locate.given import LocateGiven
from glassine.locate.looks import geometry_of
from glassine.locate.scene import Master
from glassine.locate.shapes import angle_of, keystone_of
from glassine.locate.view import Floats
from glassine.masters import colour, developed, labels, opening, pixels, ranks

VERSION = "22"

# Long edge of the preview of a whole master that the report draws outlines on.
PREVIEW_LONG_EDGE = 1600
PREVIEW_QUALITY = 82
_PACKAGES = ("opencv-python-headless", "numpy", "pyvips")


def prepare() -> None:
    """Do once a process what would be done for each item."""
    processor.same_everywhere()
    record_files.prepare(schemas=("geometry",))
    premis_event.software(*_PACKAGES)
    learned.prepare()
    _shown_codes()


def locate_item(batch_dir: Path, item_dir: Path, given: LocateGiven) -> None:
    """Write geometry.json and previews/ of an item, one a master.

    Raises GlassineError for a master that cannot be read, or a correction that names a master
    the item does not have.
    """
    processor.same_everywhere()
    settings = given.settings.locate
    corrections = given.corrections or {}
    facts = {master.path: master.facts_or(given.facts) for master in given.masters}
    counting = [master.path for master in given.masters if master.superseded_by is None]
    _check_corrections(corrections, list(facts), counting, given.item)
    located = []
    encodings = {}
    for master in given.masters:
        path = master.path
        with processor.memory_reused():
            one, encoding = _locate_master(batch_dir, item_dir, master, facts[path], given)
        encodings[path] = msgspec.to_builtins(encoding.describe)
        located.append(one)
    before, digests = decisions.before(item_dir), decisions.digests(item_dir)
    found, decided = [], []
    for one, geometry in zip(located, stated.judged(located, given.item), strict=True):
        single = counting == [geometry.path]
        entries = _entries_of(corrections, geometry.path, single=single)
        rulings = decisions.rulings(geometry, entries, before, digests.get(geometry.path))
        decided += decisions.recorded(geometry.path, rulings)
        found.append(_ruled(geometry, rulings, corrections, one.facts, one.turn))
    detail = {
        "step": given.version,
        "facts": {path: each.as_dict() for path, each in facts.items()},
        "settings": settings,
        "corrections": corrections or None,
        "decisions": decided,
        "digests": digests,
        "encodings": encodings,
        **({} if given.size_mm is None else {"size_mm": list(given.size_mm)}),
    }
    event = premis_event.event(
        "frame location",
        detail,
        packages=_PACKAGES,
        operator=corrections.get("by") if corrections.get("frames") else None,
    )
    item = ItemGeometry(given.item, tuple(found), event)
    record_files.write(item_dir / "geometry.json", "geometry", item.as_dict())


def read_geometry(item_dir: Path) -> ItemGeometry:
    """Return the item's geometry.json. Raises GlassineError where it breaks its schema."""
    return ItemGeometry.from_dict(record_files.read(item_dir / "geometry.json", "geometry"))


def header_of(full: Path, master: StatedMaster) -> Header:
    """Return the header facts of a verified master. Raises GlassineError (see `read_header`).

    master: its entry in intake.json. `verify` has held what has more pixels than the settings
    allow; what has more than intake saw, and than they allow as they come, took its place since.
    """
    width, height = master.size_px or (0, 0)
    return opening.read_header(full, max(opening.MAX_PIXELS, width * height), shown=master.path)


def _locate_master(
    batch_dir: Path,
    item_dir: Path,
    master: StatedMaster,
    facts: Facts,
    given: LocateGiven,
) -> tuple[stated.Located, colour.Encoding]:
    path = master.path
    full = developed.picture_of(batch_dir, item_dir, path, master.raw)
    header = header_of(full, master)
    encoding, table = _read_encoding(full, path, header.samples, facts)
    with pixels.opened(full, header, scratch=item_dir) as source:
        reduced, reduction = source.reduced, source.reduction
        whole = Master(reduced, reduction, source.region, source.width, source.height, table)
        section = given.settings.locate
        shown = stated.shows_whole(master.part, facts)
        geometry = geometry_of(whole, facts, ppi_of(header.resolution), section, whole=shown)
        geometry = catalogue_size.hinted(geometry, given.size_mm)
    preview = preview_of(reduced, table)
    _write_preview(item_dir / "previews" / naming.preview_name(path), preview)
    assumed = colour.assumption(encoding)
    geometry = replace(
        geometry,
        path=path,
        labels=tuple(_labels(preview, geometry.width)),
        notes=geometry.notes + ((assumed,) if assumed else ()),
    )
    profiled = encoding.describe.by == "profile"
    if stated.shows_whole(master.part, facts) or master.superseded_by is not None:
        geometry = stated.whole(master, facts, geometry)
    one = stated.Located(master.part, facts, header.orientation, profiled, geometry)
    more = orientation.suggestions(preview, geometry, facts, header.orientation, one.turn)
    shape = orientation.notches(preview, geometry)
    noted = replace(geometry, notes=geometry.notes + more, notches=shape)
    corner = orientation.corner_cut(preview, geometry)
    return replace(one, geometry=noted, suggested=more, corner=corner), encoding


def _read_encoding(
    full: Path, path: str, bands: int, facts: Facts
) -> tuple[colour.Encoding, Floats]:
    """Return how the master's codes become light, as every step reads it, and as a table.

    Raises GlassineError, which names the master, where its profile cannot be used.
    """
    icc = opening.icc_profile(opening.open_image(full))
    try:
        encoding = colour.encoding_of(icc, facts.encoding, 16, bands)
        return encoding, table_of(encoding)
    except GlassineError as problem:
        named = [
            replace(each, path=path) if each.code == "tone.profile" else each
            for each in problem.findings
        ]
        raise GlassineError(named) from problem


def ppi_of(resolution: Resolution | None) -> float | None:
    """Return pixels per inch from the header's resolution, or None where it says none.

    It is a hint, no more: much software writes 72, 96 or 300 without knowing (see `scale`).
    """
    if not resolution or resolution.unit not in ("in", "cm"):
        return None
    factor = 2.54 if resolution.unit == "cm" else 1.0
    x, y = resolution.x * factor, resolution.y * factor
    if not math.isfinite(x + y) or min(x, y) <= 0 or abs(x - y) > 0.02 * max(x, y):
        return None
    return (x + y) / 2


def preview_of(reduced: npt.NDArray[Any], table: Floats) -> npt.NDArray[np.uint8]:
    """Return the whole master as seen, (h, w, 3) uint8 sRGB, long edge at most 1600 px."""
    light = linear(reduced, table)
    factor = min(1.0, PREVIEW_LONG_EDGE / max(light.shape[:2]))
    size = (max(1, round(light.shape[1] * factor)), max(1, round(light.shape[0] * factor)))
    area = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
    small = np.asarray(area, np.float32).reshape(size[1], size[0], -1)
    white = max(float(ranks.percentile(small, 99.5)), 1e-4)
    small /= np.float32(white)
    np.clip(small, 0, 1, out=small)
    small *= np.float32(65535)
    out = _shown_codes()[np.rint(small, out=small).astype(np.uint16)]
    return np.repeat(out, 3, 2) if out.shape[2] == 1 else out


@lru_cache(maxsize=1)
def _shown_codes() -> npt.NDArray[np.uint8]:
    """Return the 8-bit sRGB code of each linear 16-bit code."""
    codes = colour.linear_to_srgb(np.arange(65536) / 65535)
    return (codes * 255 + 0.5).astype(np.uint8)


def _write_preview(path: Path, rgb: npt.NDArray[np.uint8]) -> None:
    done, data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, PREVIEW_QUALITY])
    if not done:
        raise GlassineError.because(
            "locate.preview",
            path,
            "The preview could not be encoded.",
            "a JPEG of the whole master.",
            "Report this with the log; the master itself is untouched.",
        )
    files.write_bytes(path, bytes(data))


def _labels(preview: npt.NDArray[np.uint8], width: int) -> list[dict[str, Any]]:
    """Read bar-coded labels in the preview; corners in master px."""
    scale = width / preview.shape[1]
    found = labels.read(np.ascontiguousarray(preview[..., 1]))
    for label in found:
        label["corners"] = [[x * scale, y * scale] for x, y in label["corners"]]
    return found


def _check_corrections(
    corrections: dict[str, Any], paths: list[str], counting: list[str], item: str
) -> None:
    """Raise where a correction names no master of the item, or one frame twice.

    An item of one master needs no `master:`; with and without it the same frame is meant.
    counting: the masters that no other took the place of.
    """
    for entry in _frames_of(corrections):
        name = entry.get("master")
        if name is None and len(counting) != 1:
            raise GlassineError.because(
                "locate.correction",
                "corrections.yaml",
                f"The correction of frame {entry['frame']} of {item} names no master.",
                f"one of {', '.join(paths)}, since the item has several masters.",
                "Add `master:` to it.",
            )
        if name is not None and name not in paths:
            raise GlassineError.because(
                "locate.correction",
                "corrections.yaml",
                f"The correction of frame {entry['frame']} names the master {name}, "
                f"which {item} does not have.",
                f"one of {', '.join(paths)}.",
                "Correct `master:`.",
            )
    named = [
        (entry.get("master") or counting[0], entry["frame"]) for entry in _frames_of(corrections)
    ]
    for path, frame in named:
        if named.count((path, frame)) > 1:
            raise GlassineError.because(
                "locate.correction",
                "corrections.yaml",
                f"Frame {frame} of {path} stands twice, with and without `master:`, so it is not "
                "clear which entry holds.",
                "one entry a frame.",
                "Put both into one.",
            )


def _frames_of(corrections: dict[str, Any]) -> list[dict[str, Any]]:
    return corrections.get("frames") or []


def _entries_of(corrections: dict[str, Any], path: str, single: bool) -> list[dict[str, Any]]:
    """Return the entries about a master. single: whether it is the only one of its item."""
    return [
        entry
        for entry in _frames_of(corrections)
        if entry.get("master") == path or (entry.get("master") is None and single)
    ]


def corrected(
    geometry: MasterGeometry,
    corrections: dict[str, Any],
    facts: Facts,
    single: bool,
    turn: tuple[int, bool] = (0, False),
    before: decisions.Before | None = None,
    sha256: str | None = None,
) -> MasterGeometry:
    """Return the geometry with what a person decided put over it, and said in the reasons.

    turn: how frames of the master are turned (clockwise degrees, mirrored), for added ones.
    before: the record before this one. sha256: of the master, where known.
    """
    entries = _entries_of(corrections, geometry.path, single)
    rulings = decisions.rulings(geometry, entries, before or decisions.Before(), sha256)
    return _ruled(geometry, rulings, corrections, facts, turn)


def _ruled(
    geometry: MasterGeometry,
    rulings: list[decisions.Ruling],
    corrections: dict[str, Any],
    facts: Facts,
    turn: tuple[int, bool],
) -> MasterGeometry:
    frames = {frame.index: frame for frame in geometry.frames}
    for ruling in rulings:
        entry, index = ruling.entry, ruling.on
        if index is None:
            continue
        frame = frames.get(index)
        if frame is None:
            if not entry.get("corners"):
                raise GlassineError.because(
                    "locate.correction",
                    "corrections.yaml",
                    f"Frame {index} of {geometry.path} is to be changed, but there is no "
                    f"such frame ({len(geometry.frames)} found) and no corners are given.",
                    "corners for a frame that is to be added, or the number of a found frame.",
                    "Look at the frame numbers in the report and correct the entry.",
                )
            frame = _new_frame(index, facts, geometry, turn)
        decided = _decided(frame, entry, corrections, geometry)
        frames[frame.index] = replace(decided, measured=_measured(frames.get(frame.index)))
    held = [str(ruling.entry["frame"]) for ruling in rulings if ruling.on is None]
    if held and not frames:
        raise GlassineError.because(
            "locate.correction",
            geometry.path,
            "No frame was found on it, so what corrections.yaml decides about its frames "
            f"({', '.join(held)}) is not applied.",
            "the frames that were there when a person decided about them.",
            "Draw its frames on the review page, or correct or delete the entries.",
        )
    whole = replace(geometry, frames=tuple(frames[k] for k in sorted(frames)))
    return decisions.marked(whole, rulings)


def _measured(frame: Frame | None) -> Measured | None:
    """Return what was found of a frame, which its correction would otherwise hide."""
    if frame is None:
        return None
    return Measured(
        frame.corners,
        frame.polarity,
        frame.process,
        frame.blank,
        frame.confidence,
        frame.state,
        frame.reasons,
    )


def _new_frame(index: int, facts: Facts, geometry: MasterGeometry, turn: tuple[int, bool]) -> Frame:
    other = geometry.frames[0] if geometry.frames else None
    polarity: Polarity = other.polarity if other else "positive"
    if facts.polarity in ("negative", "positive"):
        polarity = cast(Polarity, facts.polarity)
    process: Process = other.process if other else "colour"
    if facts.process in ("colour", "monochrome"):
        process = cast(Process, facts.process)
    zero: Corners = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))
    return Frame(
        index,
        zero,
        0.0,
        polarity,
        process,
        rotate=turn[0],
        mirror=turn[1],
        process_stated=facts.process != "auto",
    )


def _decided(
    frame: Frame, entry: dict[str, Any], corrections: dict[str, Any], geometry: MasterGeometry
) -> Frame:
    """Return the frame as a person decided; what they left alone stays as measured."""
    by = corrections.get("by") or "a person"
    when = corrections.get("when")
    changes: dict[str, Any] = {}
    if entry.get("corners"):
        corners = np.array(entry["corners"], float)
        inside = (corners >= -1).all() and (
            corners <= (geometry.width + 1, geometry.height + 1)
        ).all()
        if not inside:
            raise GlassineError.because(
                "locate.correction",
                "corrections.yaml",
                f"The corners of frame {entry['frame']} leave the master "
                f"({geometry.width} x {geometry.height} px).",
                "corners inside the master, in its own pixels.",
                "Draw the frame again on the report's page.",
            )
        changes["corners"] = tuple((float(x), float(y)) for x, y in corners)
        changes["angle_deg"] = angle_of(corners)
        changes["keystone_deg"] = keystone_of(corners)
        changes["sides"] = ()
    for key in ("rotate", "mirror", "polarity", "process", "blank"):
        if entry.get(key) is not None:
            changes[key] = entry[key]
    if "process" in changes:
        changes["process_stated"] = True
    if entry.get("exclude") is not None:
        changes["excluded"] = entry["exclude"]
    told = ", ".join(
        sorted(
            key
            for key in entry
            if key not in ("master", "frame", "accept", "seen") and entry[key] is not None
        )
    )
    seen = "accepted" if entry.get("accept") else "confirmed"
    reason = f"{f'{told} decided' if told else seen} by {by}" + (f" on {when}" if when else "")
    note = corrections.get("note")
    reasons = (reason, *([f"note: {note}"] if note else []))
    return replace(
        frame, source="correction", state="ok", confidence=1.0, reasons=reasons, **changes
    )
