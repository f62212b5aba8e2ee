"""Develop: a raw master becomes a 16-bit TIFF that all steps after work on, by numbers alone.

Levels, the light of the bare table, pixels that do not work, then colours for each pixel by LibRaw,
and the camera's matrix as the picture's profile. Nothing in it depends on what the picture shows.
fixity.json then holds the TIFF as the master, and the raw file as what it was made from.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import cv2
import msgspec
import numpy as np
import numpy.typing as npt
from msgspec import UNSET

from glassine.base import clock, files, hashing, naming, processor, record_files
from glassine.base.errors import Finding, GlassineError
from glassine.base.premis_event import event
from glassine.base.records.developed import Developed, DevelopedMaster, StoredField
from glassine.base.records.fixity import Fixity, VerifiedMaster
from glassine.base.records.parts import Digests, Event, FindingNote
from glassine.develop import (
    colours,
    demosaic,
    doubts,
    flat,
    lone,
    mosaic,
    output,
    profile,
    session,
    shots,
    stored,
)
from glassine.develop.flat import Field, Mask
from glassine.develop.given import CameraProfile, DevelopGiven
from glassine.develop.session import Light, Session
from glassine.masters import opening, raws
from glassine.masters.developed import FOLDER
from glassine.masters.opened import opened
from glassine.masters.raws import Raw

VERSION = "3"
RECORD = "developed.json"
# Where the bare table stands in the picture, of full scale: room for noise above it.
_TABLE = 0.9
# Share of samples at the sensor's white level from which on a person should look.
_AT_WHITE = 0.01
_OVER = 0.0005
# Rows of the picture that are written together: they stay in the processor's cache.
_ROWS = 64
_PACKAGES = ("rawpy", "numpy", "opencv-python-headless", "tifffile")


@dataclass(frozen=True)
class Plan:
    """How a raw master is developed. gains: of red, green, blue; table: see DevelopedMaster.
    profile: of the camera, None for the file's own matrix."""

    method: str
    output: str
    gains: tuple[float, float, float]
    table: float | None
    field: Field | None
    dead: Mask | None
    profile: CameraProfile | None = None


@dataclass(frozen=True)
class Picture:
    """A raw capture as it was developed. light: the light capture that held for it."""

    developed: DevelopedMaster
    light: Light | None
    findings: list[Finding]


@dataclass
class _Made:
    masters: list[DevelopedMaster]
    entries: list[VerifiedMaster]
    fields: list[StoredField]
    looks: list[shots.Look]


def develop_item(batch_dir: Path, item_dir: Path, given: DevelopGiven) -> None:
    """Write developed/ and developed.json of an item, and its TIFFs into fixity.json.

    Raises GlassineError where a raw file is not what verify saw, cannot be developed, or lacks what
    the settings require, and where several are exposures of one capture.
    """
    processor.same_everywhere()
    verified = record_files.load(item_dir / "fixity.json", "fixity", Fixity)
    calibrations = Session(batch_dir, given)
    made = _Made([], [], [], [])
    with files.replacing_folder(item_dir / FOLDER) as folder:
        for entry in verified.masters:
            raw_entry = entry if entry.source is UNSET else entry.source
            if raw_entry.header.raw is UNSET:
                made.entries.append(entry)
            else:
                _develop_one(batch_dir, folder, given, calibrations, raw_entry, made)
    several = [shots.finding(group) for group in shots.sets(made.looks)]
    if several:
        raise GlassineError(several)
    detail = {
        "settings": msgspec.to_builtins(given.settings.raw),
        "version": VERSION,
        "libraw": raws.software(),
    }
    what = msgspec.convert(event("derivation", detail, packages=_PACKAGES), Event)
    record = Developed(item=given.item, event=what, masters=made.masters, fields=made.fields)
    fixity = Fixity(item=verified.item, masters=made.entries, event=verified.event)
    record_files.save(item_dir / "fixity.json", "fixity", fixity)
    record_files.save(item_dir / RECORD, "developed", record)


def _develop_one(
    batch_dir: Path,
    folder: Path,
    given: DevelopGiven,
    calibrations: Session,
    entry: VerifiedMaster,
    made: _Made,
) -> None:
    raw = _read(files.inside(batch_dir, entry.path), entry, given)
    if entry.path not in {each.path for each in given.masters if each.superseded_by}:
        made.looks.append(shots.look_at(raw, entry.path, entry.part))
    path = naming.developed_path(entry.path)
    _check_free(path, entry.path, made)
    target = files.inside(folder, path)
    target.parent.mkdir(parents=True, exist_ok=True)
    picture = picture_of(raw, entry.path, given, calibrations, target)
    light = picture.light
    if light and light.kept and light.kept not in made.fields:
        made.fields.append(light.kept)
    made.masters.append(
        msgspec.structs.replace(
            picture.developed,
            path=path,
            light=made.fields.index(light.kept) if light and light.kept else None,
        )
    )
    made.entries.append(_verified(target, path, entry, picture.findings))


def picture_of(
    raw: Raw, path: str, given: DevelopGiven, calibrations: Session, target: Path
) -> Picture:
    """Write the picture of a raw capture with what its session has for it, and say how it was made.

    path: of the raw file, in the batch folder; target: of the picture, in a folder that is there.
    Raises GlassineError where it cannot be developed, or lacks what the settings require.
    """
    light, findings = calibrations.light_for(raw.header, path)
    held = [finding for finding in findings if finding.severity == "hold"]
    if held:
        raise GlassineError(held)
    dark = calibrations.dark_for(raw.header)
    findings += session.dark_doubts(dark, raw.header.capture, path) if dark else []
    plan, more = _planned(raw, path, given, light, dark.hot if dark else None)
    developed, bright = _made(raw, plan, target, path)
    findings += doubts.brighter(bright, light.file.path, path) if light else []
    findings += [*more, *_full_notes(raw, path), *_picture_notes(developed, path)]
    findings += [*_pixel_notes(developed, path), *_size_notes(raw, path)]
    used = [each.file for each in (light, dark) if each is not None]
    return Picture(msgspec.structs.replace(developed, calibration=used), light, findings)


def _check_free(path: str, source: str, made: _Made) -> None:
    """Raise where two raw files would be developed to one picture."""
    others = {each.path.casefold(): each for each in made.entries}
    other = others.get(path.casefold())
    if other is None:
        return
    named = other.path if other.source is UNSET else other.source.path
    raise GlassineError.because(
        "develop.names",
        source,
        f"{source} and {named} would both be developed to {path}.",
        "one raw file of each name.",
        "Move the one that is not the master out of the batch folder.",
    )


def _read(path: Path, entry: VerifiedMaster, given: DevelopGiven) -> Raw:
    """Return the raw file, read through one opening; its digest must be that of verify."""
    try:
        with opened(path) as held:
            raw = raws.read(path, given.settings.intake.max_pixels, held.content, entry.path)
            digest = hashing.sha256_of(held.content)
            unchanged = held.is_unchanged()
    except OSError as problem:
        raise GlassineError.because(
            "develop.unreadable",
            entry.path,
            f"The raw file cannot be read: {problem.strerror or problem}.",
            "the file that was verified.",
            "Check the disk, the share and the rights, then run again.",
        ) from problem
    if digest != entry.digests.sha256 or not unchanged:
        raise GlassineError.because(
            "develop.digest",
            entry.path,
            f"The raw file has changed since it was verified: its SHA-256 is now {digest}.",
            f"SHA-256 {entry.digests.sha256}, as fixity.json holds it.",
            "Restore it from a copy whose digest is the one expected, and check the disk.",
        )
    return raw


def _planned(
    raw: Raw, path: str, given: DevelopGiven, light: Light | None, hot: Mask | None
) -> tuple[Plan, list[Finding]]:
    gains, table, findings = gains_of(raw, path, light)
    dead = light.dead if light else None
    if hot is not None:
        dead = hot if dead is None else dead | hot
    field_ = light.field if light else None
    method = _method(path, given)
    chosen = profile.choose(given.settings.raw.profiles, raw.header.capture, field_)
    findings += _profile_notes(chosen, path)
    how = Plan(method, given.settings.raw.output, gains, table, field_, dead, chosen.profile)
    return how, findings


def _profile_notes(chosen: profile.Choice, path: str) -> list[Finding]:
    if chosen.why_not:
        return [
            Finding(
                "develop.profile",
                path,
                f"The profile of this camera does not hold for it: {chosen.why_not}. It is "
                "developed with the colours that the file states.",
                "a profile of the same camera, lens and lamp.",
                "Capture the target anew and make a profile of it (scripts/profile-camera).",
                "review",
            )
        ]
    if chosen.profile is not None and chosen.profile.kind == "reflective":
        return [
            Finding(
                "develop.profile_reflective",
                path,
                f"The profile of this camera was fitted on {chosen.profile.target}, which is no "
                "film: on film its colours are 1.6 to 3 times further off than on that target.",
                "a profile from a film target on the same lamp.",
                "Make one of a film target, where colours of film matter.",
                "note",
            )
        ]
    return []


def _method(path: str, given: DevelopGiven) -> str:
    """Return LibRaw's method: by the setting, else one that is true to grain in grey film, or needs
    no balance by the film's base in colour (measured on drawn scenes)."""
    stated = given.settings.raw.demosaic
    if stated != "auto":
        return stated.upper()
    facts = next((m.facts for m in given.masters if m.path == path and m.facts), given.facts)
    return "AAHD" if facts is not None and facts.process == "monochrome" else "DHT"


def gains_of(
    raw: Raw, path: str, light: Light | None
) -> tuple[tuple[float, float, float], float | None, list[Finding]]:
    """Return gains of red, green and blue, where the bare table stands, and what is to be told.

    With a light capture samples are over its light, and the table stands at _TABLE of full scale;
    where the film was exposed so much longer that the table itself would clip, the sensor's white
    level in its darkest colour stands at full scale, so that nothing is lost. Without one the
    camera's own balance is taken, its largest gain 1.
    """
    if light is None or light.field is None:
        balance = raw.balance or (1.0, 1.0, 1.0)
        most = max(balance)
        red, green, blue = (value / most for value in balance)
        return (red, green, blue), None, []
    peak = light.field.peak
    one, other = session.exposure_of(raw.header.capture), light.exposure
    if one is None or other is None:
        level = min(peak)
        return (level, level, level), level, [_unknown_exposure(path, light.file.path)]
    longer = one / other
    if longer * max(peak) <= 1.0:
        gain = _TABLE / longer
        return (gain, gain, gain), _TABLE, []
    level = min(peak)
    return (level, level, level), level * longer, []


def _unknown_exposure(path: str, light: str) -> Finding:
    return Finding(
        "develop.exposure",
        path,
        f"Its header or that of {light} does not say the exposure: how bright the film is against "
        "the bare table is not known.",
        "exposure time and ISO in both headers.",
        "Nothing, where both were exposed alike.",
        "review",
    )


def make(raw: Raw, plan: Plan, target: Path, path: str) -> DevelopedMaster:
    """Write the picture and return how it was made, but for its path, light and calibration.

    path: of the raw file. Raises GlassineError where it cannot be developed.
    """
    return _made(raw, plan, target, path)[0]


def _made(raw: Raw, plan: Plan, target: Path, path: str) -> tuple[DevelopedMaster, float]:
    """Do as `make`; return too what share of it is brighter than the bare table."""
    if raw.matrix is None and plan.profile is None:
        raise GlassineError.because(
            "develop.no_matrix",
            path,
            "Neither the file nor LibRaw has a colour matrix of this camera.",
            "a raw file with a colour matrix (as DNG has).",
            "Convert the raw files to DNG with their camera's matrix, or bring developed TIFFs.",
        )
    to_xyz = _to_xyz(raw, plan)
    how = colours.output_of(plan.output, to_xyz)
    limit = plan.table * doubts.BRIGHTER if plan.table and plan.field else None
    corrected = mosaic.corrected(raw, plan.field, plan.gains, plan.dead, limit)
    filled = alone = 0
    dead = plan.dead if plan.dead is not None else np.zeros(raw.sensor.shape[:2], bool)
    if raw.pattern is not None:
        # A site that stands at the sensor's value of the light capture is the gain, over its light.
        level = plan.gains if plan.field is not None else None
        apart = lone.found(corrected.codes, raw.pattern, level, dead)
        alone = int(np.count_nonzero(apart))
        dead = np.logical_or(dead, apart, out=apart)
        filled = mosaic.repair(corrected.codes, dead, raw.pattern)
    height, width = corrected.codes.shape[:2]
    table = colours.looked_up(how, _light(np.arange(mosaic.FULL + 1, dtype=np.uint16)))
    bands = (_written(band, how, table) for band in _colours(corrected.codes, raw, plan))
    header = raw.header
    output.write(target, (width, height), bands, how.icc, header.orientation, header.capture)
    made = DevelopedMaster(
        path=path,
        source=path,
        method=plan.method if raw.pattern is not None else "none",
        gains=plan.gains,
        table=plan.table,
        output=plan.output,
        matrix=[[round(float(value), 9) for value in row] for row in to_xyz],
        matrix_from="file" if plan.profile is None else "target",
        target=plan.profile.target if plan.profile else "",
        target_kind=plan.profile.kind if plan.profile else "",
        black=[float(value) for value in raw.black.ravel()],
        white=raw.white,
        light=None,
        dead=filled,
        lone=alone,
        dead_pixels=stored.packed_pixels(dead),
        over=round(corrected.over, 9),
        at_white=round(corrected.at_white, 9),
    )
    # What ended above full scale is told as that.
    return made, 0.0 if _is_over(made) else corrected.brighter


def _to_xyz(raw: Raw, plan: Plan) -> npt.NDArray[np.float64]:
    """Return the matrix from balanced camera colours to XYZ of D50, as the record keeps it."""
    if plan.profile is not None:
        return np.round(np.array(plan.profile.matrix), 9)
    assert raw.matrix is not None
    return colours.to_connection_space(raw.matrix)


def _colours(
    codes: npt.NDArray[np.uint16], raw: Raw, plan: Plan
) -> Iterator[npt.NDArray[np.uint16]]:
    if raw.pattern is None:
        for top in range(0, codes.shape[0], _ROWS):
            yield codes[top : top + _ROWS]
        return
    for _, band in demosaic.bands(codes, raw.pattern, plan.method):
        yield from (band[top : top + _ROWS] for top in range(0, band.shape[0], _ROWS))


def _written(
    band: npt.NDArray[np.uint16], how: colours.Output, table: npt.NDArray[np.uint16] | None
) -> npt.NDArray[np.uint16]:
    if table is None:
        return colours.written(_light(band), how)
    return np.asarray(cv2.LUT(np.ascontiguousarray(band), table[None]), np.uint16)


def _light(codes: npt.NDArray[np.uint16]) -> npt.NDArray[np.float32]:
    """Return light of a corrected mosaic's codes, 1 is full scale."""
    light = codes.astype(np.float32)
    light -= np.float32(mosaic.OFFSET)
    light *= np.float32(1 / (mosaic.FULL - mosaic.OFFSET))
    return light


def _picture_notes(made: DevelopedMaster, path: str) -> list[Finding]:
    findings = []
    if made.at_white > _AT_WHITE:
        findings.append(
            Finding(
                "develop.clipped",
                path,
                f"{made.at_white:.1%} of the sensor's samples reached its white level.",
                f"at most {_AT_WHITE:.0%}, and none of the film's.",
                "Nothing, where these are the bare table; else capture it again, exposed less.",
                "review",
            )
        )
    if _is_over(made):
        findings.append(
            Finding(
                "develop.over",
                path,
                f"{made.over:.2%} of its samples are brighter than the bare table and ended at "
                "full scale, though the sensor held them.",
                "light no brighter than the bare table's.",
                "See that the light capture is of the same lamp, and capture it again.",
                "review",
            )
        )
    return findings


def _is_over(made: DevelopedMaster) -> bool:
    return made.over > made.at_white + _OVER


def _full_notes(raw: Raw, path: str) -> list[Finding]:
    if raw.pattern is None:
        return []
    at = doubts.full_below(flat.planes_of(raw), raw.black, raw.white)
    return [doubts.full_told(at, raw.white, path)] if at else []


def _pixel_notes(made: DevelopedMaster, path: str) -> list[Finding]:
    if not made.lone:
        return []
    return [
        Finding(
            "develop.pixels",
            path,
            f"{made.lone} pixels shine in dense film as no lens draws a point, and show in no "
            "calibration capture: they do not work, and were filled from those about them.",
            "a capture in the dark, which shows such pixels wherever they lie.",
            "Capture the dark at the start of each session (dark.dng): in thin film they are not "
            "found otherwise.",
            "note",
        )
    ]


def _size_notes(raw: Raw, path: str) -> list[Finding]:
    height, width = raw.sensor.shape[:2]
    if height % 2 == 0 and width % 2 == 0:
        return []
    return [
        Finding(
            "develop.odd_size",
            path,
            f"Its sensor has {width} x {height} pixels: the last column or row, which has no whole "
            "pattern of colours, is left out of the picture.",
            "an even number of pixels on each side.",
            "Nothing; the raw file keeps all of them.",
            "note",
        )
    ]


def _verified(
    target: Path, path: str, source: VerifiedMaster, findings: list[Finding]
) -> VerifiedMaster:
    """Return the entry of the TIFF in fixity.json. Its camera's facts are those of the raw file."""
    header = opening.read_header(target, opening.MAX_PIXELS * 4, path)
    digests = hashing.of_file(target)
    notes = [msgspec.convert(finding.as_dict(), FindingNote) for finding in findings]
    now = datetime.fromisoformat(clock.now_text()).astimezone(UTC)
    return VerifiedMaster(
        path=path,
        part=source.part,
        bytes=digests.bytes,
        mtime=now.strftime("%Y-%m-%dT%H:%M:%SZ"),
        digests=Digests(sha256=digests.sha256, sha512=digests.sha512),
        expected={},
        verdict=source.verdict,
        header=msgspec.structs.replace(header, capture=source.header.capture),
        notes=[*source.notes, *notes],
        source=source,
    )
