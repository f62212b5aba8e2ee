"""Whether the pictures of an item show the same: tiles, thumbnail, access image and master.

All of a frame are made of one rendering, so whoever exchanges one for another picture leaves the
others as they were, whatever they make of digests and records. Pictures are compared as means over
the cells of a grid, which neither their size nor their coding changes. A master is compared by how
its finer brightness goes with that of the picture, over the outline that geometry.json gives: tone
turns and bends it, but keeps its order. What shows hardly anything cannot be told from its like.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pyvips

from glassine.base.errors import Finding
from glassine.deliver.checks import pictures
from glassine.deliver.checks.item import BagItem, Damaged, wrong
from glassine.deliver.checks.tiles import region_of
from glassine.masters.opening import MAX_PIXELS, prepare_vips

Floats = npt.NDArray[np.float64]
Box = tuple[float, float, float, float]
_WHOLE: Box = (0.0, 0.0, 1.0, 1.0)

# Cells of the grid by which two whole pictures, or a tile and its place, are compared.
_CELLS, _TILE_CELLS = 24, 8
# So many pixels at least of the reduced picture make a cell: less is the work of the filter.
_PX_OF_CELL = 2.0
# A reduced copy has at least this long a side, px, where the picture does; that of a tile, which
# is held against a small part of a whole one, less.
_REDUCED_PX, _REDUCED_TILE_PX = 512, 128
# Levels (of 255): pictures of one rendering differ less in the mean of their cells, and in this
# share of them (measured of 100 frames of drawn film with their tiles: 1.8 and 7.9 at most).
_MEAN_LEVELS, _MOST_LEVELS, _MOST_SHARE = 4.0, 16.0, 0.9
# Of a master: brightness that is finer than so many cells of the grid.
_FINE_CELLS = 5
# Below this correlation of the finer brightness (the other way round for a negative) it is another
# picture (measured of the same frames: 0.90 at least); one that has less than so many levels of it
# is not judged (there: 6.6 at least).
_LEAST_CORRELATION, _LEAST_LEVELS = 0.25, 2.0


@dataclass
class _Frame:
    """What is compared of a frame. facts: as render.json has it; pictures: {use: (plain path,
    integral image)}; tiles: by what of the frame they show, likewise: each is summed once, as it is
    compared several times. access: its reduced copy, where there is one."""

    facts: Any
    access: Floats | None = None
    pictures: dict[str, tuple[str, Floats]] = field(default_factory=dict)
    tiles: list[tuple[Box, str, Floats]] = field(default_factory=list)


def check(item: BagItem) -> Iterator[Finding]:
    """Yield pictures that do not show what the others of their frame show, and masters that do not
    show what was made of them. Raises Damaged, LookupError, TypeError, ValueError for records that
    are not built as they should be."""
    prepare_vips()
    geometry = {
        (master["path"], frame["index"]): frame
        for master in item.json("metadata/geometry.json")["masters"]
        for frame in master["frames"]
    }
    of_master: dict[str, list[tuple[Any, Any, Floats]]] = {}
    for facts in item.json("metadata/render.json")["frames"]:
        if facts["skipped"]:
            continue
        frame = _frame(item, facts)
        yield from _within(item, frame)
        located = geometry.get((facts["master"], facts["index"]))
        if located is not None and frame.access is not None:
            of_master.setdefault(facts["master"], []).append((facts, located, frame.access))
    for path, frames in of_master.items():
        yield from _against_master(item, f"masters/{path}", frames)


def _frame(item: BagItem, facts: Any) -> _Frame:
    frame = _Frame(facts)
    for file in facts["files"]:
        path = f"{'thumbs' if file['use'] == 'thumb' else 'access'}/{file['name']}"
        reduced = _reduced(item, path)
        if reduced is not None:
            frame.pictures[file["use"]] = (path, _summed(reduced))
            if file["use"] == "access":
                frame.access = reduced
    start = f"iiif/{facts['iiif_id']}/"
    for path in sorted(item.plain):
        if path.startswith(start) and path.endswith(".jpg"):
            box = region_of(path.removeprefix(start), facts["width"], facts["height"])
            reduced = _reduced(item, path, _REDUCED_TILE_PX) if box else None
            if box is not None and reduced is not None:
                box, reduced = whole_pixels(box, reduced, (facts["width"], facts["height"]))
                frame.tiles.append((box, path, _summed(reduced)))
    return frame


def whole_pixels(box: Box, tile: Floats, size: tuple[int, int]) -> tuple[Box, Floats]:
    """Return a reduced tile, and what it shows, without pixels that lie partly beyond the picture.

    Where the picture's end is no multiple of the reduction (9 px by 2 are 5), the last pixel stands
    for less than the others, and of a narrow tile all would be compared with what lies beside it.
    size: width and height of the picture in px."""
    across, down = (box[2] - box[0]) * size[0], (box[3] - box[1]) * size[1]
    height, width = tile.shape[:2]
    scale = 2 ** round(float(np.log2(max(across / width, down / height, 1.0))))
    right, bottom = box[2], box[3]
    if width > 1 and (width - 1) * scale < across < width * scale - 0.5:
        tile, right = tile[:, :-1], box[0] + (width - 1) * scale / size[0]
    if height > 1 and (height - 1) * scale < down < height * scale - 0.5:
        tile, bottom = tile[:-1], box[1] + (height - 1) * scale / size[1]
    return (box[0], box[1], right, bottom), tile


def _reduced(item: BagItem, path: str, least_px: int = _REDUCED_PX) -> Floats | None:
    """Return a JPEG, reduced, as (height, width, 3) levels; None where it is not there, or no
    picture that can be decoded, which is told beside the record. least_px: of its longer side."""
    if not item.has(path) or item.digests(path) is None:
        return None
    try:
        with item.open(path) as opened:
            found = pictures.seen(opened, item.reading.store.files[item.plain[path]])
        if found is None or found.compression != "JPEG" or found.width * found.height > MAX_PIXELS:
            return None
        longest = max(found.width, found.height)
        shrink = max(each for each in (1, 2, 4, 8) if each == 1 or longest / each >= least_px)
        image = pyvips.Image.jpegload_buffer(item.content(item.plain[path]), shrink=shrink)
        return _levels(image.numpy())
    except (pictures.Odd, pyvips.Error, Damaged):
        return None


def _levels(pixels: Any) -> Floats:
    whole = pixels.reshape(*pixels.shape[:2], -1).astype(np.float64)
    return whole[..., :3] if whole.shape[2] >= 3 else np.repeat(whole[..., :1], 3, axis=2)


# --- pictures of one rendering --------------------------------------------------------------------


def _within(item: BagItem, frame: _Frame) -> Iterator[Finding]:
    """Yield the thumbnail, access image and tiles that do not show what the others show."""
    reference = _reference(frame)
    if reference is None:
        return
    known, summed = reference
    for box, path, other in _shown(frame):
        cells = _CELLS if box == _WHOLE else _TILE_CELLS
        if path != known and not _alike(summed, box, other, cells):
            yield _other(item, path, known)


def _shown(frame: _Frame) -> list[tuple[Box, str, Floats]]:
    """Return all pictures of a frame, the largest wholes first, by what of it they show."""
    found = [(_WHOLE, *frame.pictures[use]) for use in ("access", "thumb") if use in frame.pictures]
    return found + sorted(frame.tiles, key=lambda tile: tile[0] != _WHOLE)


def _reference(frame: _Frame) -> tuple[str, Floats] | None:
    """Return the whole picture that the others are held against: the first of those that most of
    the others agree with."""
    everything = _shown(frame)
    best: tuple[int, str, Floats] | None = None
    for path, summed in ((path, summed) for box, path, summed in everything if box == _WHOLE):
        others = [(box, other) for box, name, other in everything if name != path]
        agree = sum(_alike(summed, box, other, _TILE_CELLS) for box, other in others)
        if best is None or agree > best[0]:
            best = (agree, path, summed)
    return best and best[1:]


def _other(item: BagItem, path: str, known: str) -> Finding:
    return wrong(
        "delivered.other_picture",
        item.path(path),
        f"It does not show what {known} shows.",
        "pictures of one rendering of the frame.",
    )


def _alike(summed: Floats, box: Box, other: Floats, cells: int) -> bool:
    """Return whether a picture shows what lies in a box of the one that is known.

    summed, other: integral images; box: left, top, right, bottom as shares of the first."""
    height, width = summed.shape[0] - 1, summed.shape[1] - 1
    sides = ((box[2] - box[0]) * width, (box[3] - box[1]) * height)
    columns = _count(min(sides[0], other.shape[1] - 1), cells)
    rows = _count(min(sides[1], other.shape[0] - 1), cells)
    ours = _means(summed, box, rows, columns)
    theirs = _means(other, _WHOLE, rows, columns)
    away = np.abs(ours - theirs).max(axis=2)
    many = float(np.quantile(away, _MOST_SHARE))
    return bool(away.mean() <= _MEAN_LEVELS and many <= _MOST_LEVELS)


def _count(pixels: float, cells: int) -> int:
    return int(min(max(pixels // _PX_OF_CELL, 1), cells))


def _summed(pixels: Floats) -> Floats:
    """Return the integral image (height + 1, width + 1, bands)."""
    return np.asarray(np.pad(pixels.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0), (0, 0))))


def _means(summed: Floats, box: Box, rows: int, columns: int) -> Floats:
    """Return the means (rows, columns, bands) over the cells of a box; parts of pixels count as
    such, as an integral image is linear between its points."""
    height, width = summed.shape[0] - 1, summed.shape[1] - 1
    x = np.linspace(box[0] * width, box[2] * width, columns + 1).clip(0, width)
    y = np.linspace(box[1] * height, box[3] * height, rows + 1).clip(0, height)
    at_x = _between(summed, x, axis=1)
    corners = _between(at_x, y, axis=0)
    sums = np.diff(np.diff(corners, axis=0), axis=1)
    areas = np.diff(y)[:, None, None] * np.diff(x)[None, :, None]
    return np.asarray(sums / np.maximum(areas, 1e-9))


def _between(values: Floats, places: Floats, axis: int) -> Floats:
    below = np.minimum(places.astype(int), values.shape[axis] - 2)
    share = np.expand_dims(places - below, tuple(each for each in range(3) if each != axis))
    after = np.take(values, below + 1, axis) * share
    return np.asarray(np.take(values, below, axis) * (1 - share) + after)


# --- a picture and its master ---------------------------------------------------------------------


def _against_master(
    item: BagItem, path: str, frames: list[tuple[Any, Any, Floats]]
) -> Iterator[Finding]:
    """Yield a master that does not show what the access images show that were made of it."""
    master = _reduced_master(item, path)
    if master is None:
        return
    for facts, located, shown in frames:
        found = _correlation(master, facts, located, shown)
        inverted = facts["tone"]["rendering"].startswith("negative")
        if found is not None and found * (-1 if inverted else 1) < _LEAST_CORRELATION:
            yield wrong(
                "delivered.other_master",
                item.path(path),
                f"It does not show, where frame {facts['index']} lies, what the frame's access "
                "image shows.",
                "the master that the pictures were made of.",
            )


def _reduced_master(item: BagItem, path: str) -> tuple[Floats, float] | None:
    """Return the brightness of a TIFF, reduced, as its logarithm (height, width), and by how much
    it was reduced; None where it is not there or cannot be decoded."""
    if not item.has(path) or item.digests(path) is None:
        return None
    try:
        with item.open(path) as opened:
            found = pictures.seen(opened, item.reading.store.files[item.plain[path]])
            if found is None or found.compression == "JPEG":
                return None
            if found.width * found.height > MAX_PIXELS:
                return None
            source = pyvips.SourceCustom()
            source.on_read(opened.read)
            source.on_seek(lambda offset, whence: _sought(opened, offset, whence))
            image = pyvips.Image.tiffload_source(source, access="sequential", unlimited=True)
            factor = max(1, max(image.width, image.height) // (2 * _REDUCED_PX))
            pixels = image.shrink(factor, factor).numpy() if factor > 1 else image.numpy()
    except (pictures.Odd, pyvips.Error, OSError):
        return None
    top = 65535.0 if pixels.dtype == np.uint16 else 255.0
    grey = pixels.reshape(*pixels.shape[:2], -1)[..., :3].astype(np.float64).mean(axis=2)
    return np.log(grey / top + 0.004), float(factor)


def _sought(opened: Any, offset: int, whence: int) -> int:
    opened.seek(offset, whence)
    return int(opened.tell())


def _correlation(
    master: tuple[Floats, float], facts: Any, located: Any, shown: Floats
) -> float | None:
    """Return how the finer brightness of a master, within a frame's outline, goes with that of its
    access image, -1 to 1; None where the picture has hardly any."""
    turned = _unturned(shown, facts.get("orientation") or {"rotate": 0, "mirror": False})
    rows, columns = (_count(side, _CELLS) for side in turned.shape[:2])
    if min(rows, columns) <= _FINE_CELLS:
        return None
    picture = _fine(_means(_summed(turned), _WHOLE, rows, columns).mean(axis=2))
    if picture.std() < _LEAST_LEVELS:
        return None
    ours = _fine(_cells_of(master, np.array(located["corners"], float), rows, columns))
    scale = float(ours.std() * picture.std())
    return float((ours * picture).mean() / scale) if scale > 0 else 0.0


def _unturned(shown: Floats, turn: Any) -> Floats:
    """Return a picture as it lies on the master: render turns it clockwise, then mirrors it."""
    flat = shown[:, ::-1] if turn["mirror"] else shown
    return np.rot90(flat, turn["rotate"] // 90)


def _cells_of(master: tuple[Floats, float], corners: Floats, rows: int, columns: int) -> Floats:
    """Return the means (rows, columns) over the cells of a quadrilateral.

    corners: (4, 2), px of the master, from the top left one on, clockwise."""
    pixels, factor = master
    finer = 4
    v, u = np.meshgrid(
        (np.arange(rows * finer) + 0.5) / (rows * finer),
        (np.arange(columns * finer) + 0.5) / (columns * finer),
        indexing="ij",
    )
    weights = ((1 - u) * (1 - v), u * (1 - v), u * v, (1 - u) * v)
    x, y = (
        sum(weight * corner[axis] for weight, corner in zip(weights, corners, strict=True)) / factor
        for axis in (0, 1)
    )
    column = np.clip(x, 0, pixels.shape[1] - 1).astype(int)
    row = np.clip(y, 0, pixels.shape[0] - 1).astype(int)
    sampled = pixels[row, column]
    return np.asarray(sampled.reshape(rows, finer, columns, finer).mean(axis=(1, 3)))


def _fine(cells: Floats) -> Floats:
    """Return what of a grid differs from its surroundings."""
    reach = _FINE_CELLS // 2
    wide = np.pad(cells, reach, mode="reflect")
    windows = np.lib.stride_tricks.sliding_window_view(wide, (_FINE_CELLS, _FINE_CELLS))
    fine = cells - windows.mean(axis=(2, 3))
    return np.asarray(fine - fine.mean())
