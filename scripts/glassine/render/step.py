"""Pictures of an item's frames: one decode of each master, one resampling of each frame.

The way of a frame: where its pixels come from (`placed`), tone planned from the reduced master,
then bands of rows, each warped, toned to 8 bits and cut into tiles in one go by a few threads;
the rest (smaller levels, access image, thumbnail, whole picture) is made from the 8-bit
picture. The master's digest is taken meanwhile and must be that of verify.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, replace
from pathlib import Path

import msgspec
from msgspec import UNSET, UnsetType

from glassine.base import files, hashing, naming, processor, record_files, threads
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import Frame, ItemGeometry
from glassine.base.premis_event import event, software
from glassine.base.records.fixity import Fixity
from glassine.base.records.parts import Event
from glassine.base.records.quality import BaseLight, Measure, MeasuredFrame, Quality
from glassine.base.records.render import (
    Alternate,
    Orientation,
    RenderedFrame,
    Rendering,
)
from glassine.base.tone import AnyTone, Negative, Positive
from glassine.masters import colour, developed, opening, pixels
from glassine.masters.opened import Opened, opened
from glassine.render import encoded, fading, pictures, placing, quality, sets, tone
from glassine.render.given import PictureSet, RenderGiven, Settings, for_public
from glassine.render.pictures import Shot, Whole
from glassine.render.work import RecordedMaster, Work, names_of

VERSION = "13"

# Long edge of the picture that quality is measured on.
MEASURED_LONG_EDGE = 1000
_PACKAGES = ("pyvips-binary", "opencv-python-headless", "numpy")


def prepare() -> None:
    """Do once a process what would be done for each item."""
    record_files.prepare(Rendering, Quality)
    software(*_PACKAGES)
    quality.prepare()
    colour.srgb_profile()


def render_item(batch_dir: Path, item_dir: Path, given: RenderGiven) -> None:
    """Write render/ (JPEGs and render.json), quality.json and iiif/ of an item.

    Reads geometry.json and fixity.json. Everything is written beside its final place and
    renamed at the end, render/ last. Raises GlassineError where a master is not what verify
    saw, does not decode, or where two pictures would have one name.
    """
    processor.same_everywhere()
    settings = given.chosen()
    masters = _recorded_masters(batch_dir, item_dir, given)
    _check_names(masters, given, settings)
    with (
        files.replacing_folder(item_dir / "render") as files_dir,
        files.replacing_folder(item_dir / "iiif") as iiif_dir,
        threads.pool(ready=processor.same_everywhere) as pool,
    ):
        work = Work(given.item, settings, files_dir, iiif_dir, pool, caption=given.caption)
        rendered: list[RenderedFrame] = []
        measured: list[MeasuredFrame] = []
        for master in masters:
            chosen = for_public(settings.of_master(master.geometry.kind, master.part), given.public)
            for frame in _render_master(master, replace(work, settings=chosen)):
                rendered.append(frame.rendered)
                measured += [frame.measured] if frame.measured else []
        what = derivation(given, work.notes)
        rendering = Rendering(item=given.item, event=what, frames=rendered)
        record_files.save(files_dir / "render.json", "render", rendering)
        measures = Quality(item=given.item, event=what, frames=measured)
        record_files.save(item_dir / "quality.json", "quality", measures)


def derivation(given: RenderGiven, notes: list[str]) -> Event:
    """Return the event that render.json tells: what the pictures rest on, beside their masters."""
    detail = {"settings": given.settings_recorded(), "version": VERSION, "notes": notes}
    if given.public.public != "all":
        detail["public"] = msgspec.to_builtins(given.public)
    if given.caption:
        detail["caption"] = given.caption
    if given.films:
        detail["films"] = msgspec.to_builtins(given.films)
    return msgspec.convert(event("derivation", detail, packages=_PACKAGES), Event)


# ------------------------------------------------------------------ what there is to do


def _recorded_masters(batch_dir: Path, item_dir: Path, given: RenderGiven) -> list[RecordedMaster]:
    geometry = ItemGeometry.from_dict(files.read_json(item_dir / "geometry.json"))
    verified = record_files.load(item_dir / "fixity.json", "fixity", Fixity)
    fixity = {entry.path: entry for entry in verified.masters}
    located = {entry.path: entry for entry in geometry.masters}
    masters = []
    for stated in given.masters:
        if stated.path not in fixity or stated.path not in located:
            raise GlassineError.because(
                "render.records",
                stated.path,
                "fixity.json or geometry.json of the item does not know this master.",
                "records made from the same masters.",
                "Delete both files in the item's results; the next run makes them again.",
            )
        path = developed.picture_of(batch_dir, item_dir, stated.path, stated.raw)
        facts = stated.facts_or(given.facts)
        masters.append(
            RecordedMaster(
                path,
                stated.part,
                fixity[stated.path],
                located[stated.path],
                facts,
                given.films_of(stated.path),
                sequence=stated.sequence,
            )
        )
    return masters


def _check_names(masters: list[RecordedMaster], given: RenderGiven, settings: Settings) -> None:
    """Raise where two pictures of the item would have the same name."""
    item, template = given.item, settings.naming.derivative
    place_of: dict[str, str] = {}
    master_at: dict[str, RecordedMaster] = {}
    findings = []
    for master in masters:
        asked = settings.of_master(master.geometry.kind, master.part).render.set_names
        for frame in master.geometry.frames:
            if frame.excluded:
                continue
            where = f"{master.geometry.path}, frame {frame.index}"
            for name in names_of(master, frame, item, template, asked).all():
                other = place_of.setdefault(name.casefold(), where)
                master_at.setdefault(where, master)
                if other != where:
                    findings.append(
                        Finding(
                            "render.names",
                            master.geometry.path,
                            f"{where} and {other} would both be named {name}.",
                            "a name of its own for every picture.",
                            _names_advice(master_at[other], master),
                        )
                    )
    if findings:
        raise GlassineError(findings)


def _names_advice(one: RecordedMaster, other: RecordedMaster) -> str:
    """Return what sets two masters' derivatives apart: what the template can name of them."""
    if one is other:
        return "Add {frame} to `naming.derivative`, as in [_{frame:02d}]."
    if one.part != other.part:
        return "Add {part} to `naming.derivative`, as in [_{part}]."
    if one.sequence != other.sequence:
        return "Add {sequence} to `naming.derivative`, as in [_{sequence}]."
    return (
        "Give each of these masters a part or a number of its own in its file name, as in "
        "PEH-0412_emu.tif and PEH-0412_base.tif. Or make each an item of its own."
    )


# ------------------------------------------------------------------ one master


@dataclass(frozen=True)
class Rendered:
    """A frame's entries of render.json and quality.json; measured: None where it was skipped."""

    rendered: RenderedFrame
    measured: MeasuredFrame | None = None


def _render_master(master: RecordedMaster, work: Work) -> list[Rendered]:
    """Return what was made of the frames of one master.

    All is read through one opening of the file: what is hashed is what was decoded, whatever its
    path names meanwhile; and its digest must be the one that verify took.
    """
    with contextlib.ExitStack() as stack:
        try:
            held = stack.enter_context(opened(master.path))
        except OSError as problem:
            raise _unreadable(master, problem) from problem
        frames = _render_opened(master, held, work)
        if not held.is_unchanged():
            raise _replaced(master)
    return frames


def _render_opened(master: RecordedMaster, held: Opened, work: Work) -> list[Rendered]:
    icc = opening.icc_profile(opening.open_image(master.path, content=held.content))
    master = replace(master, icc=icc)
    opened_pixels = pixels.opened(
        master.path, master.verified.header, work.pool, work.files_dir, held.content
    )
    with opened_pixels as source:
        digest = work.pool.submit(hashing.sha256_of, held.content)
        _ = source.reduced  # made here by all threads; one of them alone could not wait for itself
        tones = tone.plan(
            source, master.geometry, master.facts, master.icc, work.settings.tone, master.films
        )
        frames = [
            _render_frame(source, master, frame, frame_tone, work)
            for frame, frame_tone in zip(master.geometry.frames, tones, strict=True)
        ]
        _check_digest(master, digest.result())
    return frames


def _unreadable(master: RecordedMaster, problem: OSError) -> GlassineError:
    return GlassineError.because(
        "render.unreadable",
        master.geometry.path,
        f"The master cannot be opened: {problem.strerror or problem}.",
        "the file that was verified.",
        "Check the disk, the share and the rights, then run again.",
    )


def _replaced(master: RecordedMaster) -> GlassineError:
    return GlassineError.because(
        "render.changed",
        master.geometry.path,
        "The master changed while its pictures were made, or another file took its place.",
        "the file that was verified, at rest.",
        "Wait until nothing writes there; the next run takes the file as it is then.",
    )


def _check_digest(master: RecordedMaster, digest: str) -> None:
    verified_sha256 = master.verified.digests.sha256
    if digest != verified_sha256:
        raise GlassineError.because(
            "render.digest",
            master.geometry.path,
            f"The master has changed since it was verified: its SHA-256 is now {digest}.",
            f"SHA-256 {verified_sha256}, as fixity.json holds it.",
            "Restore the master from a copy whose digest is the one expected, and check the disk.",
        )


def _render_frame(
    source: pixels.Source, master: RecordedMaster, frame: Frame, frame_tone: AnyTone, work: Work
) -> Rendered:
    """Make all pictures of one frame, unless it is to be skipped."""
    entry = _entry(master, frame, work)
    if entry.skipped is not None:
        return Rendered(entry)
    where = placing.placed(master, frame, work.settings.render, work.notes)
    placing.check_side(master, frame, where)
    shot = Shot(source, where, frame_tone, master.icc, master.geometry.ppi)
    template, asked = work.settings.naming.derivative, work.settings.render.set_names
    names = names_of(master, frame, work.item, template, asked)
    measures: list[Measure] = []
    light: list[BaseLight | UnsetType] = []

    def measure(whole: Whole) -> None:
        rendered = encoded.swapped(whole.reduced(MEASURED_LONG_EDGE))
        sight = quality.Sight(
            source, master.geometry, frame, frame_tone, master.facts, rendered, master.icc
        )
        measures.extend(quality.measure(sight, work.settings.quality))
        if _is_first(master, frame):
            light.append(quality.base_light(sight))

    def placed(each: PictureSet) -> pixels.Placement:
        there = placing.of_set(master, frame, work.settings.render, each, work.notes)
        placing.check_side(master, frame, there)
        return there

    def more(whole: Whole) -> list[Alternate]:
        return sets.made(shot, whole, names, work, placed)

    results = pictures.make(shot, names, work, measure, more)
    entry = msgspec.structs.replace(
        entry,
        width=where.width,
        height=where.height,
        files=results.files,
        alternates=results.alternates,
        tiles=results.tiles,
        tone=frame_tone,
    )
    work.notes.extend(_restored(master, frame, frame_tone))
    measured = MeasuredFrame(
        master=master.geometry.path,
        index=frame.index,
        measures=measures,
        verdict=quality.verdict(measures),
        base_light=light[0] if light else UNSET,
    )
    return Rendered(entry, measured)


def _is_first(master: RecordedMaster, frame: Frame) -> bool:
    """Return whether a frame is the first of its master that is sure to be measured."""
    seen = (each for each in master.geometry.frames if not each.excluded and not each.blank)
    return frame is next(seen, None)


def _restored(master: RecordedMaster, frame: Frame, frame_tone: AnyTone) -> list[str]:
    """Return what became of restoring faded dyes, where the setting or batch.yaml asks for it."""
    place = f"{master.geometry.path}, frame {frame.index}"
    if isinstance(frame_tone, Positive) and frame_tone.restored is not UNSET:
        return [f"{place}: {fading.words(frame_tone.restored)}."]
    if master.facts.restore != "faded":
        return []
    is_one = "a negative" if isinstance(frame_tone, Negative) else "a picture without dyes"
    return [
        f"{place}: batch.yaml asks for `restore: faded`, but this is {is_one}; it has no effect."
    ]


def _entry(master: RecordedMaster, frame: Frame, work: Work) -> RenderedFrame:
    """Return the frame's entry of render.json with nothing made yet."""
    number = master.frame_number(frame)
    blank = frame.blank and work.settings.render.blank == "skip"
    words = [master.part] if master.part else []
    words += [master.sequence] if master.sequence else []
    words += [f"frame {frame.index}"] if number is not None else []
    words += [f"number {frame.film_frame} on the film"] if frame.film_frame else []
    return RenderedFrame(
        master=master.geometry.path,
        part=master.part,
        sequence=master.sequence or UNSET,
        index=frame.index,
        film_frame=frame.film_frame or UNSET,
        label=", ".join(words) or None,
        iiif_id=naming.iiif_id(work.item, master.part, number, master.sequence),
        width=None,
        height=None,
        ppi=master.geometry.ppi,
        skipped="excluded" if frame.excluded else "blank" if blank else None,
        orientation=Orientation(
            found=master.geometry.orientation, rotate=frame.rotate, mirror=frame.mirror
        ),
        files=[],
        alternates=[],
        tiles=None,
        tone=None,
    )
