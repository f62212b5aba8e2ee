"""Pictures of an item's frames: one decode of each master, one resampling of each frame.

The way of a frame: where its pixels come from (`placed`), tone planned from the reduced master,
then bands of rows, each warped, toned to 8 bits and cut into tiles in one go by a few threads;
the rest (smaller levels, access image, thumbnail, whole picture) is made from the 8-bit
picture. The master's digest is taken meanwhile and must be that of verify.
"""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterator
from concurrent.futures import Executor
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base import files, hashing, naming, processor, record_files, threads
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import Corners, Facts, Frame, ItemGeometry, MasterGeometry, Measure, plain
from glassine.base.premis_event import event
from glassine.base.records.fixity import Fixity, VerifiedMaster
from glassine.base.records.parts import Header
from glassine.base.tone import Tone
from glassine.masters import colour, opening, pixels
from glassine.masters.opened import Opened, opened
from glassine.render import encoded, quality, tiles, tone
from glassine.render.settings import PictureSettings, RenderSettings

VERSION = "6"

# Long edge of the picture that quality is measured on.
MEASURED_LONG_EDGE = 1000
_PACKAGES = ("pyvips-binary", "opencv-python-headless", "numpy")


@dataclass(frozen=True)
class Job:
    """One master of the item, with all that is known of it.

    icc: the profile embedded in it, None where it has none or until it is open.
    """

    path: Path
    given: dict[str, Any]
    fixity: VerifiedMaster
    geometry: MasterGeometry
    facts: Facts
    icc: bytes | None = None

    @property
    def header(self) -> Header:
        return self.fixity.header


@dataclass(frozen=True)
class Work:
    """Where the item's results go, and how they are made."""

    item: str
    settings: RenderSettings
    files_dir: Path
    iiif_dir: Path
    pool: Executor
    notes: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Shot:
    """One frame about to be made: its pixels, place and tone.

    icc: the master's profile; ppi: of the full-size frame, None where unknown.
    """

    source: pixels.Source
    where: pixels.Placement
    plan: Tone
    icc: bytes | None
    ppi: float | None

    @property
    def profile(self) -> bytes:
        """The profile of what is made of it."""
        return colour.srgb_profile() if self.plan.bands == 3 else colour.grey_profile()


def render_item(batch_dir: Path, item_dir: Path, given: dict[str, Any]) -> None:
    """Write render/ (JPEGs and render.json), quality.json and iiif/ of an item.

    Reads geometry.json and fixity.json. Everything is written beside its final place and
    renamed at the end, render/ last. Raises GlassineError where a master is not what verify
    saw, does not decode, or where two pictures would have one name.
    """
    processor.same_everywhere()
    settings = RenderSettings.of(given["settings"])
    jobs = _jobs(batch_dir, item_dir, given)
    _check_names(jobs, given["item"], settings.derivative)
    with (
        files.replacing_folder(item_dir / "render") as files_dir,
        files.replacing_folder(item_dir / "iiif") as iiif_dir,
        threads.pool(ready=processor.same_everywhere) as pool,
    ):
        work = Work(given["item"], settings, files_dir, iiif_dir, pool)
        frames, measured = [], []
        for job in jobs:
            made, judged = _render_master(job, work)
            frames += made
            measured += judged
        what = event(
            "derivation",
            {"settings": _settings_used(given), "version": VERSION, "notes": work.notes},
            packages=_PACKAGES,
        )
        record_files.write(
            files_dir / "render.json",
            "render",
            {"item": given["item"], "event": what, "frames": plain(frames)},
        )
        record_files.write(
            item_dir / "quality.json",
            "quality",
            {"item": given["item"], "event": what, "frames": plain(measured)},
        )


def _settings_used(given: dict[str, Any]) -> dict[str, Any]:
    sections = ("render", "iiif", "tone", "quality", "naming")
    return {name: given["settings"][name] for name in sections if name in given["settings"]}


# ------------------------------------------------------------------ what there is to do


def _jobs(batch_dir: Path, item_dir: Path, given: dict[str, Any]) -> list[Job]:
    geometry = ItemGeometry.from_dict(files.read_json(item_dir / "geometry.json"))
    verified = record_files.load(item_dir / "fixity.json", "fixity", Fixity)
    fixity = {entry.path: entry for entry in verified.masters}
    located = {master.path: master for master in geometry.masters}
    jobs = []
    for master in given["masters"]:
        if master["path"] not in fixity or master["path"] not in located:
            raise GlassineError.because(
                "render.records",
                master["path"],
                "fixity.json or geometry.json of the item does not know this master.",
                "records made from the same masters.",
                "Delete both files in the item's results; the next run makes them again.",
            )
        path = files.inside(batch_dir, master["path"])
        facts = Facts.of_master(master, given)
        jobs.append(Job(path, master, fixity[master["path"]], located[master["path"]], facts))
    return jobs


def _frame_number(job: Job, frame: Frame) -> int | None:
    """Return the number that names the frame, None where the master has no other."""
    return frame.index if len(job.geometry.frames) > 1 else None


def _names(job: Job, frame: Frame, given_item: str, template: str) -> dict[str, str]:
    part, number = job.given.get("part"), _frame_number(job, frame)
    names = {
        use: naming.derivative_name(template, given_item, part, number, use)
        for use in ("access", "thumb", "pyramid", "crop")
    }
    return names | {"iiif": naming.iiif_id(given_item, part, number)}


def _check_names(jobs: list[Job], item: str, template: str) -> None:
    """Raise where two pictures of the item would have the same name."""
    seen: dict[str, str] = {}
    taken: dict[str, Job] = {}
    found = []
    for job in jobs:
        for frame in job.geometry.frames:
            where = f"{job.geometry.path}, frame {frame.index}"
            for name in _names(job, frame, item, template).values():
                other = seen.setdefault(name.casefold(), where)
                taken.setdefault(where, job)
                if other != where:
                    found.append(
                        Finding(
                            "render.names",
                            job.geometry.path,
                            f"{where} and {other} would both be named {name}.",
                            "a name of its own for every picture.",
                            _names_advice(taken[other], job),
                        )
                    )
    if found:
        raise GlassineError(found)


def _names_advice(one: Job, other: Job) -> str:
    """Return what sets two masters' derivatives apart: what the template can name of them."""
    if one is other:
        return "Add {frame} to `naming.derivative`, as in [_{frame:02d}]."
    if one.given.get("part") != other.given.get("part"):
        return "Add {part} to `naming.derivative`, as in [_{part}]."
    return (
        "Give each of these masters a part in its file name, as in PEH-0412_emu.tif and "
        "PEH-0412_base.tif: derivatives are named by part and frame, not by the number (sequence) "
        "in a master's name. Or make each an item of its own."
    )


def placed(job: Job, frame: Frame, settings: PictureSettings, notes: list[str]) -> pixels.Placement:
    """Return where the frame's output pixels come from, by its corners and the settings.

    Where the facts ask for the whole object and its outline is known, that is taken in place of
    the picture. The margin is made smaller where it would leave the master.
    """
    corners: Corners = frame.corners
    if job.facts.crop == "object":
        shown = [other for other in job.geometry.frames if not other.excluded]
        if job.geometry.object_corners is not None and len(shown) == 1:
            corners = job.geometry.object_corners
        else:
            notes.append(
                f"{job.geometry.path}: the outline of the object is not known for frame "
                f"{frame.index}; the picture was cropped."
            )
    _check_corners(job, frame, corners)
    limit = settings.keystone_min_deg
    return pixels.place(
        corners,
        margin_px=_margin_px(job, corners, settings.margin_mm, notes),
        rotate=frame.rotate,
        mirror=frame.mirror,
        keystone=limit is not None and frame.keystone_deg >= limit,
    )


def _check_corners(job: Job, frame: Frame, corners: Corners) -> None:
    """Raise where the corners enclose no picture: crossed, anticlockwise, or off the master."""
    points = np.array(corners, float)
    sides = np.roll(points, -1, axis=0) - points
    after = np.roll(sides, -1, axis=0)
    # Clockwise as seen: at each corner of a convex quadrilateral the way turns right.
    turns = sides[:, 0] * after[:, 1] - sides[:, 1] * after[:, 0]
    middle = points.mean(axis=0)
    size = (job.geometry.width, job.geometry.height)
    if not (turns > 1.0).all() or (middle < 0).any() or (middle > size).any():
        raise GlassineError.because(
            "render.corners",
            job.geometry.path,
            f"The corners of frame {frame.index} enclose no picture on the master: "
            f"{', '.join(f'({x:.0f}, {y:.0f})' for x, y in corners)}.",
            "four corners clockwise from the top left, about a part of the master.",
            "Draw the frame again on the review page.",
        )


def _margin_px(job: Job, corners: Corners, margin_mm: float, notes: list[str]) -> float:
    if margin_mm == 0:
        return 0.0
    if job.geometry.ppi is None:
        notes.append(f"{job.geometry.path}: resolution unknown, cropped without a margin.")
        return 0.0
    wanted = margin_mm / 25.4 * job.geometry.ppi
    points = np.array(corners, float)
    room = min(
        points.min(),
        float(job.geometry.width - points[:, 0].max()),
        float(job.geometry.height - points[:, 1].max()),
    )
    # A corner moves by the margin's diagonal at most, turned towards the master's edge.
    return float(max(0.0, min(wanted, room / np.sqrt(2))))


# ------------------------------------------------------------------ one master


def _render_master(job: Job, work: Work) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return the entries of render.json and quality.json for the frames of one master.

    All is read through one opening of the file: what is hashed is what was decoded, whatever its
    path names meanwhile; and its digest must be the one that verify took.
    """
    with contextlib.ExitStack() as stack:
        try:
            held = stack.enter_context(opened(job.path))
        except OSError as problem:
            raise _gone(job, problem) from problem
        made = _render_opened(job, held, work)
        if not held.is_unchanged():
            raise _replaced(job)
    return made


def _render_opened(
    job: Job, held: Opened, work: Work
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    icc = opening.icc_profile(opening.open_image(job.path, content=held.content))
    job = replace(job, icc=icc)
    master = pixels.opened(job.path, job.header, work.pool, work.files_dir, held.content)
    with master as source:
        digest = work.pool.submit(hashing.sha256_of, held.content)
        _ = source.reduced  # made here by all threads; one of them alone could not wait for itself
        tones = tone.plan(source, job.geometry, job.facts, job.icc, work.settings.tone)
        frames, measured = [], []
        for frame, plan in zip(job.geometry.frames, tones, strict=True):
            entry = _entry(job, frame, work)
            frames.append(entry)
            if entry["skipped"] is None:
                measured.append(_render_frame(source, job, frame, plan, entry, work))
        _check_digest(job, digest.result())
    return frames, measured


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


def _check_digest(job: Job, found: str) -> None:
    noted = job.fixity.digests.sha256
    if found != noted:
        raise GlassineError.because(
            "render.digest",
            job.geometry.path,
            f"The master has changed since it was verified: its SHA-256 is now {found}.",
            f"SHA-256 {noted}, as fixity.json holds it.",
            "Restore the master from a copy whose digest is the one expected, and check the disk.",
        )


def _entry(job: Job, frame: Frame, work: Work) -> dict[str, Any]:
    """Return the frame's entry of render.json with nothing made yet."""
    number = _frame_number(job, frame)
    blank = frame.blank and work.settings.picture.blank == "skip"
    words = [word for word in (job.given.get("part"),) if word]
    words += [f"frame {frame.index}"] if number is not None else []
    return {
        "master": job.geometry.path,
        "part": job.given.get("part"),
        "index": frame.index,
        "label": ", ".join(words) or None,
        "iiif_id": naming.iiif_id(work.item, job.given.get("part"), number),
        "width": None,
        "height": None,
        "ppi": job.geometry.ppi,
        "skipped": "excluded" if frame.excluded else "blank" if blank else None,
        "orientation": {
            "found": job.geometry.orientation,
            "rotate": frame.rotate,
            "mirror": frame.mirror,
        },
        "files": [],
        "alternates": [],
        "tiles": None,
        "tone": None,
    }


def _render_frame(
    source: pixels.Source,
    job: Job,
    frame: Frame,
    plan: Tone,
    entry: dict[str, Any],
    work: Work,
) -> dict[str, Any]:
    """Make all pictures of one frame, complete its `entry`; return its entry of quality.json."""
    where = placed(job, frame, work.settings.picture, work.notes)
    _check_side(job, frame, where)
    shot = Shot(source, where, plan, job.icc, job.geometry.ppi)
    names = _names(job, frame, work.item, work.settings.derivative)
    writer = _tile_writer(shot, entry["iiif_id"], work)
    picture, half = _picture(shot, writer, work)
    measures: list[Measure] = []
    access_edge = _access_edge(where, job.geometry.ppi, work)

    def small_files_and_measures() -> None:
        shown = _reduced(picture, half, access_edge)
        entry["files"] = _small_files(shown, shot, names, work)
        entry["alternates"] = _alternates(shown, names, shot, work)
        measured = encoded.swapped(_reduced(picture, half, MEASURED_LONG_EDGE))
        measures.extend(
            quality.measure(
                source,
                job.geometry,
                frame.index,
                plan,
                job.facts,
                measured,
                work.settings.quality,
                job.icc,
            )
        )

    if writer is None:
        small_files_and_measures()
        entry["alternates"].append(_pyramid(picture, names, shot, work))
    else:
        service = f"{work.settings.tiles.base_url.rstrip('/')}/{entry['iiif_id']}"
        found = writer.finish(picture, half, service, work.pool, [small_files_and_measures])
        entry["tiles"] = {"path": f"iiif/{entry['iiif_id']}"} | found
    if work.settings.picture.crop_tiff != "none":
        entry["alternates"].append(_crop_tiff(shot, names, work))
    entry |= {"width": where.width, "height": where.height, "tone": plan.as_record()}
    return {
        "master": job.geometry.path,
        "index": frame.index,
        "measures": [asdict(measure) for measure in measures],
        "verdict": quality.verdict(measures),
    }


def _tile_writer(shot: Shot, name: str, work: Work) -> tiles.Writer | None:
    """Return what writes the frame's tiles, None where a pyramid is made in their place."""
    settings = work.settings.tiles
    if settings.form == "pyramid":
        return None
    return tiles.Writer(
        work.iiif_dir / name,
        shot.where.width,
        shot.where.height,
        tile_px=settings.tile_px,
        quality=settings.quality,
        api=settings.image_api,
        icc=shot.profile,
        ppi=shot.ppi,
    )


def _check_side(job: Job, frame: Frame, where: pixels.Placement) -> None:
    if max(where.width, where.height) > opening.MAX_SIDE:
        raise GlassineError.because(
            "render.size",
            job.geometry.path,
            f"Frame {frame.index} is {where.width} x {where.height} pixels.",
            f"at most {opening.MAX_SIDE} pixels on a side, which JPEG can hold.",
            "Check the frame's corners in the report.",
        )


def _picture(
    shot: Shot, writer: tiles.Writer | None, work: Work
) -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.uint8]]:
    """Return the whole frame and its half size, uint8 (height, width, bands; BGR).

    Its full-size tiles are written on the way.
    """
    where, samples = shot.where, shot.plan.bands
    picture = np.empty((where.height, where.width, samples), np.uint8)
    half = np.empty((-(-where.height // 2), -(-where.width // 2), samples), np.uint8)
    rows = work.settings.tiles.tile_px

    def band(top: int) -> None:
        height = min(rows, where.height - top)
        for left in range(0, where.width, pixels.BLOCK):
            width = min(pixels.BLOCK, where.width - left)
            block = pixels.warp(shot.source, where, left, top, width, height)
            _into(
                picture[top : top + height, left : left + width],
                tone.apply(block, shot.plan, shot.icc),
            )
        made = picture[top : top + height]
        half[top // 2 : (top + height + 1) // 2] = tiles.halved(made)
        if writer is not None:
            writer.first_band(top, made)

    pixels.run(work.pool, band, range(0, where.height, rows))
    return picture, half


def _into(part: npt.NDArray[np.uint8], toned: npt.NDArray[np.uint8]) -> None:
    """Put toned RGB (or grey) pixels into their part of the picture, in the encoder's order."""
    if toned.shape[2] == 3:
        cv2.cvtColor(toned, cv2.COLOR_RGB2BGR, dst=part)
    else:
        part[:] = toned


# ------------------------------------------------------------------ access images


def _reduced(
    picture: npt.NDArray[np.uint8], half: npt.NDArray[np.uint8], long_edge: int | None
) -> npt.NDArray[np.uint8]:
    """Return the picture with that long edge; what is at least twice reduced is made of `half`."""
    size = encoded.fitted(picture.shape[1], picture.shape[0], long_edge)
    small_enough = size[0] <= half.shape[1] and size[1] <= half.shape[0]
    return encoded.smaller(half if small_enough else picture, *size)


def _access_edge(where: pixels.Placement, ppi: float | None, work: Work) -> int | None:
    """Return the long edge of the access image: by resolution where asked and known."""
    settings = work.settings.picture
    wanted, edge = settings.access_ppi, settings.access_long_edge
    if wanted is not None and not ppi:
        what = f"its long edge ({edge} px)" if edge is not None else "its full size"
        note = (
            f"The resolution is unknown: the access image was made by {what}, not at "
            f"{wanted:g} ppi as render.access_ppi asks."
        )
        if note not in work.notes:
            work.notes.append(note)
    if wanted is None or not ppi:
        return int(edge) if edge is not None else None
    share = min(1.0, float(wanted) / ppi)
    return max(1, round(max(where.width, where.height) * share))


def _small_files(
    shown: npt.NDArray[np.uint8], shot: Shot, names: dict[str, str], work: Work
) -> list[dict[str, Any]]:
    """Write access image and thumbnail; return their entries."""
    settings = work.settings.picture
    edge = settings.thumb_long_edge
    thumb = encoded.smaller(shown, *encoded.fitted(shown.shape[1], shown.shape[0], edge))
    entries = []
    access = encoded.sharpened(shown, settings.sharpen)
    for use, made, jpeg_quality in (
        ("access", access, settings.access_quality),
        ("thumb", thumb, settings.thumb_quality),
    ):
        scale = made.shape[1] / shot.where.width
        content = encoded.jpeg(
            made,
            jpeg_quality,
            ppi=shot.ppi * scale if shot.ppi else None,
            icc=shot.profile,
            progressive=settings.progressive and use == "access",
        )
        entries.append(_written(work.files_dir, names[use], use, made, content))
    return entries


# ------------------------------------------------------------------ by option


def _alternates(
    shown: npt.NDArray[np.uint8], names: dict[str, str], shot: Shot, work: Work
) -> list[dict[str, Any]]:
    """Write the access image in the further formats that the settings ask for."""
    settings = work.settings.picture
    made = encoded.sharpened(shown, settings.sharpen)
    entries = []
    for kind in settings.alternates:
        content = encoded.alternate(made, kind, settings.alternate_quality, icc=shot.profile)
        name = _renamed(names["access"], kind)
        entries.append(_written(work.files_dir, name, kind, made, content))
    return entries


def _renamed(name: str, suffix: str) -> str:
    return f"{Path(name).stem}.{suffix}"


def _pyramid(
    picture: npt.NDArray[np.uint8], names: dict[str, str], shot: Shot, work: Work
) -> dict[str, Any]:
    """Write the frame as one pyramidal TIFF for an image server."""
    settings = work.settings.tiles
    path = work.files_dir / _renamed(names["pyramid"], "tif")
    tile_px, quality_of = settings.tile_px, settings.quality
    encoded.save_pyramid(
        path, picture, tile_px=tile_px, quality=quality_of, icc=shot.profile, ppi=shot.ppi
    )
    return _on_disk(path, "pyramid", shot.where)


def _crop_tiff(shot: Shot, names: dict[str, str], work: Work) -> dict[str, Any]:
    """Write the frame, turned and cropped, as TIFF: as captured with its profile, or toned."""
    rendered = work.settings.picture.crop_tiff == "rendered"
    where, rows = shot.where, work.settings.tiles.tile_px
    samples = shot.plan.bands if rendered else shot.source.bands

    def bands() -> Iterator[npt.NDArray[Any]]:
        for top in range(0, where.height, rows):
            height = min(rows, where.height - top)
            band = pixels.warp(shot.source, where, 0, top, where.width, height)
            yield tone.apply16(band, shot.plan, shot.icc) if rendered else band

    path = work.files_dir / _renamed(names["crop"], "tif")
    encoded.save_crop(
        path,
        bands(),
        (where.height, where.width, samples),
        rows=rows,
        icc=shot.profile if rendered else shot.icc,
        ppi=shot.ppi,
    )
    return _on_disk(path, "crop", where)


def _on_disk(path: Path, use: str, where: pixels.Placement) -> dict[str, Any]:
    return {
        "use": use,
        "name": path.name,
        "width": where.width,
        "height": where.height,
        "bytes": path.stat().st_size,
        "sha256": hashing.sha256_of(path),
    }


def _written(
    folder: Path, name: str, use: str, made: npt.NDArray[np.uint8], content: bytes
) -> dict[str, Any]:
    (folder / name).write_bytes(content)
    return {
        "use": use,
        "name": name,
        "width": made.shape[1],
        "height": made.shape[0],
        "bytes": len(content),
        "sha256": hashlib.sha256(content).hexdigest(),
    }
