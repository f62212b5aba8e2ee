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

from glassine.base import files, hashing, naming, processor, record_files, threads
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import Frame, ItemGeometry
from glassine.base.premis_event import event
from glassine.base.records.fixity import Fixity
from glassine.base.records.parts import Event
from glassine.base.records.quality import Measure, MeasuredFrame, Quality
from glassine.base.records.render import (
    Orientation,
    RenderedFrame,
    Rendering,
)
from glassine.base.tone import AnyTone
from glassine.masters import opening, pixels
from glassine.masters.opened import Opened, opened
from glassine.render import encoded, pictures, placing, quality, tone
from glassine.render.given import RenderGiven
from glassine.render.pictures import Shot, Whole
from glassine.render.work import Job, Work, names_of

VERSION = "6"

# Long edge of the picture that quality is measured on.
MEASURED_LONG_EDGE = 1000
_PACKAGES = ("pyvips-binary", "opencv-python-headless", "numpy")


def render_item(batch_dir: Path, item_dir: Path, given: RenderGiven) -> None:
    """Write render/ (JPEGs and render.json), quality.json and iiif/ of an item.

    Reads geometry.json and fixity.json. Everything is written beside its final place and
    renamed at the end, render/ last. Raises GlassineError where a master is not what verify
    saw, does not decode, or where two pictures would have one name.
    """
    processor.same_everywhere()
    settings = given.chosen()
    jobs = _jobs(batch_dir, item_dir, given)
    _check_names(jobs, given.item, settings.naming.derivative)
    with (
        files.replacing_folder(item_dir / "render") as files_dir,
        files.replacing_folder(item_dir / "iiif") as iiif_dir,
        threads.pool(ready=processor.same_everywhere) as pool,
    ):
        work = Work(given.item, settings, files_dir, iiif_dir, pool)
        rendered: list[RenderedFrame] = []
        measured: list[MeasuredFrame] = []
        for job in jobs:
            for frame in _render_master(job, work):
                rendered.append(frame.rendered)
                measured += [frame.measured] if frame.measured else []
        detail = {"settings": given.settings_recorded(), "version": VERSION, "notes": work.notes}
        what = msgspec.convert(event("derivation", detail, packages=_PACKAGES), Event)
        rendering = Rendering(item=given.item, event=what, frames=rendered)
        record_files.save(files_dir / "render.json", "render", rendering)
        measures = Quality(item=given.item, event=what, frames=measured)
        record_files.save(item_dir / "quality.json", "quality", measures)


# ------------------------------------------------------------------ what there is to do


def _jobs(batch_dir: Path, item_dir: Path, given: RenderGiven) -> list[Job]:
    geometry = ItemGeometry.from_dict(files.read_json(item_dir / "geometry.json"))
    verified = record_files.load(item_dir / "fixity.json", "fixity", Fixity)
    fixity = {entry.path: entry for entry in verified.masters}
    located = {master.path: master for master in geometry.masters}
    jobs = []
    for master in given.masters:
        if master.path not in fixity or master.path not in located:
            raise GlassineError.because(
                "render.records",
                master.path,
                "fixity.json or geometry.json of the item does not know this master.",
                "records made from the same masters.",
                "Delete both files in the item's results; the next run makes them again.",
            )
        path = files.inside(batch_dir, master.path)
        facts = master.facts_or(given.facts)
        jobs.append(Job(path, master.part, fixity[master.path], located[master.path], facts))
    return jobs


def _check_names(jobs: list[Job], item: str, template: str) -> None:
    """Raise where two pictures of the item would have the same name."""
    seen: dict[str, str] = {}
    taken: dict[str, Job] = {}
    findings = []
    for job in jobs:
        for frame in job.geometry.frames:
            where = f"{job.geometry.path}, frame {frame.index}"
            for name in names_of(job, frame, item, template).all():
                other = seen.setdefault(name.casefold(), where)
                taken.setdefault(where, job)
                if other != where:
                    findings.append(
                        Finding(
                            "render.names",
                            job.geometry.path,
                            f"{where} and {other} would both be named {name}.",
                            "a name of its own for every picture.",
                            _names_advice(taken[other], job),
                        )
                    )
    if findings:
        raise GlassineError(findings)


def _names_advice(one: Job, other: Job) -> str:
    """Return what sets two masters' derivatives apart: what the template can name of them."""
    if one is other:
        return "Add {frame} to `naming.derivative`, as in [_{frame:02d}]."
    if one.part != other.part:
        return "Add {part} to `naming.derivative`, as in [_{part}]."
    return (
        "Give each of these masters a part in its file name, as in PEH-0412_emu.tif and "
        "PEH-0412_base.tif: derivatives are named by part and frame, not by the number (sequence) "
        "in a master's name. Or make each an item of its own."
    )


# ------------------------------------------------------------------ one master


@dataclass(frozen=True)
class Rendered:
    """A frame's entries of render.json and quality.json; measured: None where it was skipped."""

    rendered: RenderedFrame
    measured: MeasuredFrame | None = None


def _render_master(job: Job, work: Work) -> list[Rendered]:
    """Return what was made of the frames of one master.

    All is read through one opening of the file: what is hashed is what was decoded, whatever its
    path names meanwhile; and its digest must be the one that verify took.
    """
    with contextlib.ExitStack() as stack:
        try:
            held = stack.enter_context(opened(job.path))
        except OSError as problem:
            raise _gone(job, problem) from problem
        frames = _render_opened(job, held, work)
        if not held.is_unchanged():
            raise _replaced(job)
    return frames


def _render_opened(job: Job, held: Opened, work: Work) -> list[Rendered]:
    icc = opening.icc_profile(opening.open_image(job.path, content=held.content))
    job = replace(job, icc=icc)
    master = pixels.opened(job.path, job.verified.header, work.pool, work.files_dir, held.content)
    with master as source:
        digest = work.pool.submit(hashing.sha256_of, held.content)
        _ = source.reduced  # made here by all threads; one of them alone could not wait for itself
        tones = tone.plan(source, job.geometry, job.facts, job.icc, work.settings.tone)
        frames = [
            _render_frame(source, job, frame, plan, work)
            for frame, plan in zip(job.geometry.frames, tones, strict=True)
        ]
        _check_digest(job, digest.result())
    return frames


def _gone(job: Job, problem: OSError) -> GlassineError:
    return GlassineError.because(
        "render.unreadable",
        job.geometry.path,
        f"The master cannot be opened: {problem.strerror or problem}.",
        "the file that was verified.",
        "Check the disk, the share and the rights, then run again.",
    )


def _replaced(job: Job) -> GlassineError:
    return GlassineError.because(
        "render.changed",
        job.geometry.path,
        "The master changed while its pictures were made, or another file took its place.",
        "the file that was verified, at rest.",
        "Wait until nothing writes there; the next run takes the file as it is then.",
    )


def _check_digest(job: Job, digest: str) -> None:
    noted = job.verified.digests.sha256
    if digest != noted:
        raise GlassineError.because(
            "render.digest",
            job.geometry.path,
            f"The master has changed since it was verified: its SHA-256 is now {digest}.",
            f"SHA-256 {noted}, as fixity.json holds it.",
            "Restore the master from a copy whose digest is the one expected, and check the disk.",
        )


def _render_frame(
    source: pixels.Source, job: Job, frame: Frame, plan: AnyTone, work: Work
) -> Rendered:
    """Make all pictures of one frame, unless it is to be skipped."""
    entry = _entry(job, frame, work)
    if entry.skipped is not None:
        return Rendered(entry)
    where = placing.placed(job, frame, work.settings.render, work.notes)
    placing.check_side(job, frame, where)
    shot = Shot(source, where, plan, job.icc, job.geometry.ppi)
    names = names_of(job, frame, work.item, work.settings.naming.derivative)
    measures: list[Measure] = []

    def measure(whole: Whole) -> None:
        shown = encoded.swapped(whole.reduced(MEASURED_LONG_EDGE))
        sight = quality.Sight(source, job.geometry, frame, plan, job.facts, shown, job.icc)
        measures.extend(quality.measure(sight, work.settings.quality))

    results = pictures.make(shot, names, work, measure)
    entry = msgspec.structs.replace(
        entry,
        width=where.width,
        height=where.height,
        files=results.files,
        alternates=results.alternates,
        tiles=results.tiles,
        tone=plan,
    )
    measured = MeasuredFrame(
        master=job.geometry.path,
        index=frame.index,
        measures=measures,
        verdict=quality.verdict(measures),
    )
    return Rendered(entry, measured)


def _entry(job: Job, frame: Frame, work: Work) -> RenderedFrame:
    """Return the frame's entry of render.json with nothing made yet."""
    number = job.frame_number(frame)
    blank = frame.blank and work.settings.render.blank == "skip"
    words = [job.part] if job.part else []
    words += [f"frame {frame.index}"] if number is not None else []
    return RenderedFrame(
        master=job.geometry.path,
        part=job.part,
        index=frame.index,
        label=", ".join(words) or None,
        iiif_id=naming.iiif_id(work.item, job.part, number),
        width=None,
        height=None,
        ppi=job.geometry.ppi,
        skipped="excluded" if frame.excluded else "blank" if blank else None,
        orientation=Orientation(
            found=job.geometry.orientation, rotate=frame.rotate, mirror=frame.mirror
        ),
        files=[],
        alternates=[],
        tiles=None,
        tone=None,
    )
