"""Static tiles against their info.json (IIIF Image API 2.1 and 3.0, level 0).

What must be there follows from the API alone: a tile's region is a cell of the grid of one of the
scale factors, its size that region divided by the factor, and each cell has its tile.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from glassine.base.errors import Finding
from glassine.deliver.checks import pictures
from glassine.deliver.checks.item import BagItem, wrong

_REGION = re.compile(r"(\d{1,9}),(\d{1,9}),(\d{1,9}),(\d{1,9})")
_SIZE = re.compile(r"(\d{1,9}),(\d{0,9})")
_MAX_CELLS = 4_000_000
Cell = tuple[int, int, int, int]


def folders(item: BagItem) -> dict[str, list[str]]:
    """Return {folder of a picture's tiles: plain paths in it}."""
    below: dict[str, list[str]] = {}
    for path in item.plain:
        parts = path.split("/", 2)
        if parts[0] == "iiif" and len(parts) == 3:
            below.setdefault(f"iiif/{parts[1]}", []).append(path)
    return below


def check(item: BagItem) -> Iterator[Finding]:
    """Yield what is wrong with the tiles of each picture."""
    for folder, paths in sorted(folders(item).items()):
        name = f"{folder}/info.json"
        if name not in paths:
            yield wrong("delivered.tiles", item.path(folder), "It has no info.json.", "info.json.")
        elif len(paths) > 1:  # else tiles were left out, by setting
            yield from _picture(item, name, folder, paths)


def _picture(item: BagItem, name: str, folder: str, paths: list[str]) -> Iterator[Finding]:
    promised = Promised.of(item.json(name))
    for path in sorted(paths):
        if path == name:
            continue
        expected = promised.size_of(path.removeprefix(folder + "/"))
        if expected is None:
            yield wrong(
                "delivered.tile_name",
                item.path(path),
                "It is no tile of the picture that info.json describes.",
                f"tiles of {promised.width} x {promised.height} px in the grids of info.json.",
            )
        else:
            yield from _sized(item, path, expected)
    if promised.left:
        first = min(promised.left)
        yield wrong(
            "delivered.tile_missing",
            item.path(name),
            f"{len(promised.left)} pictures that info.json promises are not there, say {first}.",
            "a tile for each cell of each scale factor, and each size.",
        )


def _sized(item: BagItem, path: str, expected: tuple[int, int]) -> Iterator[Finding]:
    with item.open(path) as opened:
        try:
            found = pictures.seen(opened, item.reading.store.files[item.plain[path]])
        except pictures.Odd as problem:
            what = f"This tile is no sound picture: {problem}."
            yield wrong("delivered.tile_damaged", item.path(path), what, "a whole JPEG.")
            return
    if found is None or (found.width, found.height) != expected:
        size = "no picture" if found is None else f"{found.width} x {found.height} px"
        yield wrong(
            "delivered.tile_size",
            item.path(path),
            f"This tile is {size}.",
            f"{expected[0]} x {expected[1]} px, as its name and info.json say.",
        )


@dataclass
class Promised:
    """What an info.json promises. left: names, without their end, of what was not met yet.

    grids: {factor: its cells}; sizes: of the whole picture, reduced.
    """

    width: int
    height: int
    grids: list[tuple[int, set[Cell]]]
    sizes: set[tuple[int, int]]
    left: set[str]

    @classmethod
    def of(cls, info: Any) -> Promised:
        """Raises ValueError, LookupError, TypeError for what is no info.json."""
        width, height = int(info["width"]), int(info["height"])
        sizes = {(int(each["width"]), int(each["height"])) for each in info.get("sizes", [])}
        grids = []
        for tiles in info.get("tiles", []):
            side = int(tiles["width"])
            tall = int(tiles.get("height", side))
            for each in tiles["scaleFactors"]:
                grids.append((int(each), _grid(width, height, side, tall, int(each))))
                if len(grids[-1][1]) == 1:  # one tile shows all of it, and is called by its size
                    sizes.add((-(-width // int(each)), -(-height // int(each))))
                    grids[-1][1].clear()
        sizes.add((width, height))
        left = {f"{factor} {cell}" for factor, grid in grids for cell in grid}
        return cls(width, height, grids, sizes, left | {f"full {size}" for size in sizes})

    def size_of(self, path: str) -> tuple[int, int] | None:
        """Return the size in px that a tile of this name must have, None where it is no tile."""
        parts = path.split("/")
        if len(parts) != 4 or parts[2:] != ["0", "default.jpg"]:
            return None
        if parts[0] == "full":
            return self.whole(parts[1])
        match, sized = _REGION.fullmatch(parts[0]), _SIZE.fullmatch(parts[1])
        if match is None or sized is None:
            return None
        cell = (int(match[1]), int(match[2]), int(match[3]), int(match[4]))
        for factor, grid in self.grids:
            size = (-(-cell[2] // factor), -(-cell[3] // factor))
            if cell in grid and _is(sized, size):
                self.left.discard(f"{factor} {cell}")
                return size
        return None

    def whole(self, name: str) -> tuple[int, int] | None:
        """Return the size of the whole picture of this name, None where none is promised."""
        sized = _SIZE.fullmatch(name)
        for size in sorted(self.sizes):
            largest = name in ("max", "full") and size == (self.width, self.height)
            if largest or (sized is not None and _is(sized, size)):
                self.left.discard(f"full {size}")
                return size
        return None


def region_of(path: str, width: int, height: int) -> tuple[float, float, float, float] | None:
    """Return what of a picture a tile shows (left, top, right, bottom as shares of it), None where
    the path is that of no tile. path: below the picture's folder; width, height: of it, px."""
    region = path.split("/", 1)[0]
    if region == "full":
        return 0.0, 0.0, 1.0, 1.0
    match = _REGION.fullmatch(region)
    if match is None or min(width, height) < 1:
        return None
    x, y, wide, tall = (int(each) for each in match.groups())
    return x / width, y / height, min((x + wide) / width, 1.0), min((y + tall) / height, 1.0)


def _is(sized: re.Match[str], size: tuple[int, int]) -> bool:
    """Return whether `w,h` or `w,` means a size."""
    return int(sized[1]) == size[0] and (not sized[2] or int(sized[2]) == size[1])


def _grid(width: int, height: int, side: int, tall: int, factor: int) -> set[Cell]:
    x_step, y_step = side * factor, tall * factor
    if min(width, height, side, tall, factor) < 1:
        raise ValueError("a picture or tile has no size")
    if -(-width // x_step) * -(-height // y_step) > _MAX_CELLS:
        raise ValueError("it promises far too many tiles")
    return {
        (x, y, min(x_step, width - x), min(y_step, height - y))
        for x in range(0, width, x_step)
        for y in range(0, height, y_step)
    }
