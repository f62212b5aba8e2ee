"""Static IIIF Image API tiles, level 0 (version 3.0, or 2.1 by option).

A picture is halved until it fits into one tile; every level is cut into tiles, each file named
by the canonical URI of the request that it answers. Besides the tiles there are the whole
picture at each size that fits into one tile (they are tiles too), and at full size.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base import files, hashing
from glassine.base.records.render import Tiles
from glassine.masters.pixels import cv2_shape, run
from glassine.render import encoded

Pixels = npt.NDArray[np.uint8]

CONTEXTS = {
    "3": "http://iiif.io/api/image/3/context.json",
    "2": "http://iiif.io/api/image/2/context.json",
}
LEVEL_0_OF_VERSION_2 = "http://iiif.io/api/image/2/level0.json"
PROTOCOL = "http://iiif.io/api/image"
INFO = "info.json"


def scale_factors(width: int, height: int, tile_px: int, api: str) -> list[int]:
    """Return 1, 2, 4, ... up to the factor at which the picture fits into one tile.

    A picture one pixel wide has only 1 in version 2.1: there sizes are told by their width, and
    this one's stays the same at every factor.
    """
    factors = [1]
    if width == 1 and api == "2":
        return factors
    while max(width, height) > tile_px * factors[-1]:
        factors.append(factors[-1] * 2)
    return factors


def level_size(width: int, height: int, factor: int) -> tuple[int, int]:
    """Return the size of the picture at a scale factor, rounded up.

    Image API 3.0 implementation notes, section 3, round the sizes of partial tiles up.
    """
    return -(-width // factor), -(-height // factor)


@dataclass(frozen=True)
class Tile:
    """One file: `path` relative to the image's folder, and its place at its level (level px)."""

    path: str
    left: int
    top: int
    width: int
    height: int


def _request(region: str, size: str) -> str:
    return f"{region}/{size}/0/default.jpg"


def level_tiles(width: int, height: int, factor: int, tile_px: int, api: str) -> Iterator[Tile]:
    """Yield the tiles of one level with the canonical paths of their requests.

    Image API 3.0 sections 4.8 and 5.4, implementation notes section 3; Image API 2.1 section
    4.7. The whole picture is the region `full`. The size of a tile is always `w,h`: clients fill
    it in from `tiles` (5.4), and none asks for an unscaled tile by `max`. In 2.1 it is `w,`, and
    `full` for a tile as wide as the unscaled picture, which clients do ask for so.
    The whole picture at full size is not among them: see `full_path`.
    """
    across, down = level_size(width, height, factor)
    for top in range(0, down, tile_px):
        for left in range(0, across, tile_px):
            w, h = min(tile_px, across - left), min(tile_px, down - top)
            x, y = left * factor, top * factor
            region_w, region_h = min(w * factor, width - x), min(h * factor, height - y)
            whole = (region_w, region_h) == (width, height)
            if whole and factor == 1:
                continue
            region = "full" if whole else f"{x},{y},{region_w},{region_h}"
            size = f"{w},{h}" if api == "3" else "full" if w == width else f"{w},"
            yield Tile(_request(region, size), left, top, w, h)


def full_path(api: str) -> str:
    """Return the path of the whole picture at full size."""
    return _request("full", "max" if api == "3" else "full")


def sizes(width: int, height: int, tile_px: int, api: str) -> list[dict[str, int]]:
    """Return the sizes at which the whole picture can be had, smallest first, but full size."""
    sizes_px = [
        level_size(width, height, factor)
        for factor in scale_factors(width, height, tile_px, api)
        if factor > 1 and max(level_size(width, height, factor)) <= tile_px
    ]
    return [{"width": w, "height": h} for w, h in reversed(sizes_px)]


def info(service: str, width: int, height: int, tile_px: int, api: str) -> dict[str, Any]:
    """Return info.json (Image API 3.0 section 5, or 2.1 section 5) of the image at `service`."""
    about: dict[str, Any] = {
        "@context": CONTEXTS[api],
        "protocol": PROTOCOL,
        "width": width,
        "height": height,
        "tiles": [{"width": tile_px, "scaleFactors": scale_factors(width, height, tile_px, api)}],
    }
    smaller = sizes(width, height, tile_px, api)
    if smaller:
        about["sizes"] = smaller
    if api == "3":
        return about | {"id": service, "type": "ImageService3", "profile": "level0"}
    return about | {"@id": service, "profile": [LEVEL_0_OF_VERSION_2]}


def halved(pixels: Pixels) -> Pixels:
    """Return `pixels` at half size, rounded up; each pixel the mean of the four it covers."""
    height, width = pixels.shape[:2]
    if height % 2 or width % 2:  # the last row or column stands for itself
        pixels = cv2_shape(
            cv2.copyMakeBorder(pixels, 0, height % 2, 0, width % 2, cv2.BORDER_REPLICATE)
        )
        height, width = pixels.shape[:2]
    return cv2_shape(
        np.asarray(cv2.resize(pixels, (width // 2, height // 2), interpolation=cv2.INTER_AREA))
    )


@dataclass(frozen=True)
class Form:
    """How tiles are made.

    tile_px: side of a tile; quality: of JPEG; api: "3" or "2"; icc: profile of the picture; ppi: of
    the full-size picture, None where unknown.
    """

    tile_px: int
    quality: int
    api: str
    icc: bytes | None
    ppi: float | None


class Writer:
    """Writes the tiles of one picture while its bands of rows arrive, from any thread.

    folder: the image's folder, made here, named as its image service. `first_band` takes bands
    of full-size rows, each `tile_px` high but the last; `finish` makes the other levels, the whole
    picture and info.json and returns what belongs into render.json.
    """

    def __init__(self, folder: Path, width: int, height: int, form: Form) -> None:
        self._root, self._name = os.fspath(folder), folder.name
        self.width, self.height, self.form = width, height, form
        self._digests: dict[str, tuple[str, int]] = {}
        by_row: dict[int, list[Tile]] = {}
        for tile in level_tiles(width, height, 1, form.tile_px, form.api):
            by_row.setdefault(tile.top, []).append(tile)
        self._first = by_row
        folder.mkdir(parents=True)

    def first_band(self, top: int, band: Pixels) -> None:
        """Write the full-size tiles of the rows from `top` on."""
        for tile in self._first.get(top, []):
            self._write(tile.path, band[:, tile.left : tile.left + tile.width])

    def _write(self, path: str, pixels: Pixels) -> None:
        # Each tile carries the (small) profile: a managed viewer on a wide-gamut screen shows
        # files without one in the screen's own colours.
        self._store(path, encoded.jpeg(pixels, self.form.quality, icc=self.form.icc))

    def _store(self, path: str, content: bytes) -> None:
        target = f"{self._root}/{path}"
        folder = target.rpartition("/")[0]
        if not os.path.isdir(folder):  # noqa: PTH112 (a thousand files: pathlib costs more than this)
            os.makedirs(folder, exist_ok=True)  # noqa: PTH103
        with open(target, "wb") as stream:  # noqa: PTH123
            stream.write(content)
        self._digests[path] = (hashlib.sha256(content).hexdigest(), len(content))

    def finish(
        self,
        picture: Pixels,
        half: Pixels,
        service: str,
        pool: Executor | None,
        tasks: list[Callable[[], None]],
    ) -> Tiles:
        """Write the rest; do `tasks` at the same time.

        picture: the whole picture at full size, for the file `full/max`; half: the same halved
        (see `halved`). service: its URI.
        """

        form = self.form

        def whole() -> None:
            content = encoded.jpeg(picture, form.quality, ppi=form.ppi, icc=form.icc)
            self._store(full_path(form.api), content)

        all_tasks: list[Callable[[], None]] = [*tasks, whole, *self._level_tasks(half)]
        run(pool, lambda index: all_tasks[index](), range(len(all_tasks)))
        about = info(service, self.width, self.height, form.tile_px, form.api)
        self._store(INFO, files.dump_json(about).encode())
        return Tiles(
            path=f"iiif/{self._name}",
            width=self.width,
            height=self.height,
            tile_px=form.tile_px,
            count=len(self._digests),
            bytes=sum(size for _, size in self._digests.values()),
            sha256=hashing.of_tree({path: found for path, (found, _) in self._digests.items()}),
        )

    def _level_tasks(self, level: Pixels) -> Iterator[Callable[[], None]]:
        """Yield one task for each row of tiles of the levels below full size."""
        tile_px, api = self.form.tile_px, self.form.api
        for factor in scale_factors(self.width, self.height, tile_px, api)[1:]:
            rows: dict[int, list[Tile]] = {}
            for tile in level_tiles(self.width, self.height, factor, tile_px, api):
                rows.setdefault(tile.top, []).append(tile)
            for tiles in rows.values():
                yield self._row_task(level, tiles)
            level = halved(level)

    def _row_task(self, level: Pixels, tiles: list[Tile]) -> Callable[[], None]:
        def task() -> None:
            for tile in tiles:
                rows = level[tile.top : tile.top + tile.height]
                self._write(tile.path, rows[:, tile.left : tile.left + tile.width])

        return task
