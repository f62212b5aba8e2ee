"""Further pictures of a frame that `render.sets` asks for, each with its form, size and crop.

Those of one geometry and tone are made of one resampling: that of the access image, where crop,
margin and tone are the same.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt
from msgspec import UNSET, UnsetType, structs

from glassine.base.alternates import SUFFIXES, UNINVERTED
from glassine.base.records.parts import AlternateUse
from glassine.base.records.render import Alternate, Caption
from glassine.base.tone import Negative
from glassine.masters import pixels
from glassine.render import captions, encoded, pictures, toning
from glassine.render.given import PictureSet
from glassine.render.pictures import Shot, Whole
from glassine.render.work import Names, Work

# Raise when what is made of a set, or recorded of it, changes; items without sets stay as they are.
VERSION = "2"
# Efforts of the encoders where a set states none. Of 2400 x 1600 px with grain at quality 85 an
# AVIF took 5.6 s of processor time with 4, 1.2 s with 2 and 0.17 s with 0; with 0 it is half as
# large again as with 4, smaller than with 1 or 2, and 0.3 dB farther from the picture.
_EFFORTS = {"webp": 4, "avif": 0}
# Where the pixels of a set come from, by its crop and margin.
Placing = Callable[[PictureSet], pixels.Placement]


def made(shot: Shot, whole: Whole, names: Names, work: Work, placing: Placing) -> list[Alternate]:
    """Write the pictures of all sets of a frame; return their entries in the settings' order.

    shot, whole: the frame as its access image is made. A set of negatives as captured has none of
    a positive.
    """
    asked = [
        each
        for each in work.settings.render.sets
        if each.tone == "positive" or isinstance(shot.tone, Negative)
    ]
    done: dict[str, Alternate] = {}
    for alike in _grouped(asked, lambda each: (each.margin_mm, each.crop)):
        is_own = alike[0].margin_mm is None and alike[0].crop is None
        placed = shot if is_own else replace(shot, where=placing(alike[0]))
        for chosen in _grouped(alike, lambda each: (each.tone, each.profile)):
            done |= _of_one_resampling(chosen, placed, whole if is_own else None, names, work)
    width = shot.where.width
    entries = [done[each.name] for each in asked]
    return [entry if entry.of_width != width else _as_frame(entry) for entry in entries]


def _as_frame(entry: Alternate) -> Alternate:
    return structs.replace(entry, of_width=UNSET)


def _grouped(
    asked: list[PictureSet], key: Callable[[PictureSet], Hashable]
) -> list[list[PictureSet]]:
    groups: dict[Hashable, list[PictureSet]] = {}
    for each in asked:
        groups.setdefault(key(each), []).append(each)
    return [*groups.values()]


def _of_one_resampling(
    chosen: list[PictureSet], shot: Shot, whole: Whole | None, names: Names, work: Work
) -> dict[str, Alternate]:
    """Return {name of a set: its entry}. whole: the frame as positive, where it was made."""
    if chosen[0].tone == "uninverted":
        shot, whole = replace(shot, tone=toning.uninverted(shot.tone, shot.icc)), None
    if chosen[0].profile != "srgb" and not (chosen[0].profile == "grey" and shot.bands == 1):
        shot, whole = replace(shot, space=chosen[0].profile), None
    done = {}
    for each in chosen:
        if each.bits == 16:
            done[each.name] = _deep(each, shot, names, work)
            continue
        whole = whole or pictures.whole_of(shot, None, work)
        done[each.name] = _eight_bits(each, shot, whole, names, work)
    return done


def _path(each: PictureSet, names: Names, work: Work) -> Path:
    name = names.sets[each.name]
    suffix = SUFFIXES[each.form]
    return work.files_dir / (name if each.form == "jpeg" else f"{Path(name).stem}.{suffix}")


def _eight_bits(each: PictureSet, shot: Shot, whole: Whole, names: Names, work: Work) -> Alternate:
    edge = pictures.edge_by(each.ppi, each.long_edge, f"render.sets, {each.name}", shot, work)
    picture = encoded.sharpened(whole.reduced(edge), each.sharpen)
    text, caption = captions.text_of(each, {**names.shown, **work.caption}), None
    if text:
        picture, caption = captions.put(picture, each, text)
        _note_cut(each, caption, work)
    ppi = shot.ppi * picture.shape[1] / shot.where.width if shot.ppi else None
    path = _path(each, names, work)
    if each.form == "jpeg":
        progressive = work.settings.render.progressive
        path.write_bytes(
            encoded.jpeg(picture, each.quality, ppi=ppi, icc=shot.profile, progressive=progressive)
        )
    elif each.form == "tiff":
        _save(path, _in_bands(picture, work.settings.iiif.tile_px), picture.shape, shot, ppi, work)
    else:
        effort = _EFFORTS.get(each.form, 0) if each.effort is None else each.effort
        path.write_bytes(
            encoded.alternate(picture, each.form, each.quality, icc=shot.profile, effort=effort)
        )
    entry = _entry(path, each, picture.shape[1], picture.shape[0], shot)
    return structs.replace(entry, caption=caption) if caption else entry


def _note_cut(each: PictureSet, caption: Caption, work: Work) -> None:
    note = f"The caption of the set {each.name} did not fit, and ends with an ellipsis."
    if caption.cut and note not in work.notes:
        work.notes.append(note)


def _in_bands(picture: pictures.Pixels8, rows: int) -> Iterator[npt.NDArray[np.uint8]]:
    for top in range(0, len(picture), rows):
        yield encoded.swapped(picture[top : top + rows])


def _save(
    path: Path,
    bands: Iterator[npt.NDArray[np.uint8]],
    shape: tuple[int, ...],
    shot: Shot,
    ppi: float | None,
    work: Work,
) -> None:
    size = (shape[0], shape[1], shape[2])
    rows = work.settings.iiif.tile_px
    encoded.save_crop(path, bands, size, rows=rows, icc=shot.profile, ppi=ppi, in_runs=True)


def _deep(each: PictureSet, shot: Shot, names: Names, work: Work) -> Alternate:
    """Write the frame at full size in 16 bits."""
    path = _path(each, names, work)
    pictures.save_deep(path, shot, work, in_runs=True)
    return _entry(path, each, shot.where.width, shot.where.height, shot)


def _use(each: PictureSet) -> AlternateUse:
    """Return what a picture is by form, tone and space, in one word; `_entry` adds the others."""
    if each.form == "jpeg" and each.tone == "uninverted":
        return UNINVERTED
    if each.form == "tiff" and each.profile != "srgb" and each.profile != "grey":
        return each.profile
    return each.form


def _entry(path: Path, each: PictureSet, width: int, height: int, shot: Shot) -> Alternate:
    use = _use(each)
    entry = pictures.on_disk(path, use, width, height)
    if each.tone == "uninverted" and use != UNINVERTED:
        entry = structs.replace(entry, tone=UNINVERTED)
    if each.profile not in ("srgb", "linear", use):
        entry = structs.replace(entry, space=each.profile)
    linked: Literal[True] | UnsetType = True if each.publish else UNSET
    kept: Literal[False] | UnsetType = UNSET if each.deliver else False
    return structs.replace(
        entry, set=each.name, of_width=shot.where.width, linked=linked, delivered=kept
    )
