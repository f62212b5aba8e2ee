"""The pixels of one master: decoded once, read in regions, resampled once.

Coordinates are master pixels with the origin at the outer corner of the top-left pixel
(see `model`); OpenCV puts the origin at that pixel's centre, so half a pixel is added on the
way in and taken off on the way out, in `warp` alone.
"""

from __future__ import annotations

import contextlib
import math
import os
import tempfile
from collections.abc import Iterable, Iterator
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import pyvips

from glassine.base.errors import GlassineError
from glassine.base.records.parts import Header
from glassine.masters import kept, opening
from glassine.masters.opened import state
from glassine.masters.refusal import printable

Pixels = npt.NDArray[Any]
Matrix = npt.NDArray[np.float64]

# Long edge of the reduced copy that steers tone and measures.
REDUCED_LONG_EDGE = 2000
# A compressed master that decodes to more than this is kept in a scratch file, not in memory.
MAX_DECODED_BYTES = 256 * 2**20
# Rows of the master that are read together while it is reduced.
_BAND_ROWS = 512
# What steps of an item hand on to one another: reduced copies (16 MB each at most), and the rows
# of the compressed master that was decoded last, which render holds in memory anyway.
_REDUCED = kept.Kept(64 * 2**20)
_DECODED = kept.Kept(MAX_DECODED_BYTES)
# Pixels that a cubic kernel reaches to each side, and one for rounding.
_REACH = 3
# Output is made in blocks of this width: narrow enough for the processor's cache, wide enough
# that reading the rows under it costs little (measured: 512 costs a tenth more).
BLOCK = 2048


class _FileRows:
    """Uncompressed rows that lie one behind the other in a file: read where they are needed.

    Nothing is kept: the system's page cache is the only copy, so memory does not grow with
    the master's size. handle: the open file; path: the master, for messages.
    """

    def __init__(
        self, handle: int, path: Path, start: int, shape: tuple[int, int, int], dtype: str
    ) -> None:
        self._handle = handle
        self._path = path
        self._start = start
        self._shape = shape
        self._dtype = np.dtype(dtype)

    def close(self) -> None:
        os.close(self._handle)

    def region(self, left: int, top: int, width: int, height: int) -> Pixels:
        _, full_width, bands = self._shape
        pixel = bands * self._dtype.itemsize
        row = full_width * pixel
        block = np.empty((height, width, bands), self._dtype)
        view = block.reshape(-1).view(np.uint8).data
        if width == full_width:
            self._fill(view, self._start + top * row)
        else:
            size = width * pixel
            first = self._start + top * row + left * pixel
            handle, read = self._handle, os.preadv
            for y in range(height):
                part = view[y * size : (y + 1) * size]
                try:
                    done = read(handle, [part], first + y * row)
                except OSError:
                    done = 0  # once more, to say what is wrong
                if done != size:
                    self._fill(part, first + y * row)
        return block if self._dtype.isnative else block.astype(self._dtype.newbyteorder("="))

    def _fill(self, view: memoryview, offset: int) -> None:
        done = 0
        while done < len(view):
            try:
                count = os.preadv(self._handle, [view[done:]], offset + done)
            except OSError as problem:
                raise _unreadable(self._path, str(problem.strerror)) from problem
            if count == 0:
                raise _unreadable(self._path, "it has become shorter since it was verified")
            done += count


class _DecodedRows:
    """Rows of a compressed master, decoded once into memory."""

    def __init__(self, rows: Pixels) -> None:
        self._pixels = rows

    def close(self) -> None:
        del self._pixels

    def region(self, left: int, top: int, width: int, height: int) -> Pixels:
        return self._pixels[top : top + height, left : left + width].copy()


def _in_memory(path: Path, content: Path, shape: tuple[int, int, int], dtype: str) -> Pixels:
    rows = np.empty(shape, dtype)
    for top, band in _decoded(path, content, shape):
        rows[top : top + len(band)] = band
    return rows


def _decoded(
    path: Path, content: Path, shape: tuple[int, int, int]
) -> Iterator[tuple[int, Pixels]]:
    """Yield the rows of a master from top to bottom as (top, band), decoding it once."""
    height, width, bands = shape
    image = opening.open_image(path, content=content)
    dtype = np.uint8 if image.format == "uchar" else np.uint16
    if (image.height, image.width, image.bands) != shape:
        raise _unreadable(path, "it has another size than when it was verified")
    with opening.decoding(path):
        region = pyvips.Region.new(image)
        for top in range(0, height, _BAND_ROWS):
            count = min(_BAND_ROWS, height - top)
            rows = region.fetch(0, top, width, count)
            yield top, np.frombuffer(rows, dtype).reshape(count, width, bands)


def _spilled(
    path: Path, content: Path, shape: tuple[int, int, int], dtype: str, scratch: Path
) -> _FileRows:
    """Return the rows of a large compressed master, decoded once into a file without a name."""
    with tempfile.TemporaryFile(dir=scratch) as stream:
        try:
            for _, band in _decoded(path, content, shape):
                stream.write(band.data)
            stream.flush()
        except OSError as problem:
            raise GlassineError.because(
                "render.scratch",
                printable(path),
                f"The decoded master cannot be kept on disk: {problem.strerror}.",
                f"{math.prod(shape) * np.dtype(dtype).itemsize // 2**20} MB free beside the "
                "results while the item is rendered.",
                "Make room, then run again.",
            ) from problem
        return _FileRows(os.dup(stream.fileno()), path, 0, shape, dtype)


def _unreadable(path: Path, what: str) -> GlassineError:
    return GlassineError.because(
        "render.unreadable",
        printable(path),
        f"The master cannot be read to its end: {what}.",
        "the file that was verified, unchanged while it is read.",
        "Check the disk or the network share, then run again.",
    )


def _state_of(content: Path) -> tuple[int, ...] | None:
    """Return the state of a file, None where it cannot be had: whoever reads it tells why."""
    try:
        return state(content.stat())
    except OSError:
        return None


def _samples_of(header: Header) -> tuple[tuple[int, int, int], str]:
    return (header.height, header.width, header.samples), "u1" if header.bits[0] == 8 else "u2"


def _key(file_state: tuple[int, ...] | None, header: Header) -> kept.Key:
    """Return by what the pixels of a master are known in this process."""
    shape, dtype = _samples_of(header)
    return (file_state, header.contiguous_from, header.byte_order, *shape, dtype)


def hand_on(decoded: Pixels, file_state: tuple[int, ...], header: Header) -> None:
    """Keep the pixels of a compressed master, as decoded by a step, for the next ones.

    file_state: of the file that they were decoded from (`opened.state`), which did not change
    meanwhile. Raises ValueError for pixels that are not what the header says.
    """
    shape, dtype = _samples_of(header)
    if (decoded.shape, decoded.dtype) != (shape, np.dtype(dtype)):
        raise ValueError(f"{decoded.shape} of {decoded.dtype} are not the pixels of the header")
    _DECODED.put(_key(file_state, header), decoded)


class Source:
    """One opened master; see `opened`.

    width, height, bands (1 or 3), bits (8 or 16) as its header says.
    """

    def __init__(
        self,
        path: Path,
        header: Header,
        pool: Executor | None,
        scratch: Path | None,
        content: Path,
    ) -> None:
        self.width = header.width
        self.height = header.height
        self.bands = header.samples
        self.bits = header.bits[0]
        self._pool = pool
        self._content = content
        shape, dtype = _samples_of(header)
        start = header.contiguous_from
        self._state = _state_of(content)
        self._key = _key(self._state, header)
        self._rows: _FileRows | _DecodedRows
        if start is not None:
            order = "<" if header.byte_order == "little endian" else ">"
            handle = os.open(content, os.O_RDONLY | os.O_CLOEXEC)
            self._rows = _FileRows(handle, path, start, shape, order + dtype)
        elif math.prod(shape) * self.bits // 8 <= MAX_DECODED_BYTES or scratch is None:
            rows = _DECODED.get(self._key)
            if rows is None:
                rows = _in_memory(path, content, shape, dtype)
                self._keep(_DECODED, rows)
            self._rows = _DecodedRows(rows)
        else:
            self._rows = _spilled(path, content, shape, dtype, scratch)

    def close(self) -> None:
        self._rows.close()

    def _keep(self, among: kept.Kept, read: Pixels) -> None:
        """Keep what was read, unless the file was written to meanwhile."""
        if self._state is not None and _state_of(self._content) == self._state:
            among.put(self._key, read)

    def region(self, left: int, top: int, width: int, height: int) -> Pixels:
        """Return pixels (height, width, bands), uint8 or uint16 as stored, a copy.

        Raises ValueError for a region that is empty or leaves the master.
        """
        inside = 0 <= left < left + width <= self.width and 0 <= top < top + height <= self.height
        if not inside:
            raise ValueError(f"region {left},{top},{width},{height} leaves the master")
        return self._rows.region(left, top, width, height)

    @property
    def reduction(self) -> int:
        """Side of the square of master pixels whose mean is one pixel of `reduced`."""
        return max(1, math.ceil(max(self.width, self.height) / REDUCED_LONG_EDGE))

    @cached_property
    def reduced(self) -> Pixels:
        """The whole master as means of squares of `reduction` pixels, same sample type.

        What is left over at the right and at the bottom (less than one square) is left out; of a
        master narrower than a square, a pixel is the mean of what there is.
        """
        known = _REDUCED.get(self._key)
        if known is not None:
            return known.copy()
        by = self.reduction
        width, height = max(1, self.width // by), max(1, self.height // by)
        means = np.empty((height, width, self.bands), np.uint8 if self.bits == 8 else np.uint16)
        rows = max(1, _BAND_ROWS // by)

        def reduce(y: int) -> None:
            count = min(rows, height - y)
            deep = min(count * by, self.height - y * by)
            band = self.region(0, y * by, self.width, deep)[:, : width * by]
            small = cv2.resize(band, (width, count), interpolation=cv2.INTER_AREA)
            means[y : y + count] = cv2_shape(small)

        run(self._pool, reduce, range(0, height, rows))
        self._keep(_REDUCED, means.copy())
        return means


def cv2_shape(pixels: Pixels) -> Pixels:
    """Return `pixels` with three axes; OpenCV drops the last one of a single band."""
    return pixels[:, :, np.newaxis] if pixels.ndim == 2 else pixels


def run(pool: Executor | None, work: Any, parts: Iterable[int]) -> None:
    """Do `work(part)` for each part, in the pool where there is one; raise its first error."""
    for _ in (pool.map if pool else map)(work, parts):
        pass


@contextlib.contextmanager
def opened(
    path: Path,
    header: Header,
    pool: Executor | None = None,
    scratch: Path | None = None,
    content: Path | None = None,
) -> Iterator[Source]:
    """Yield the `Source` of a master whose header facts are those of fixity.json.

    scratch: a folder for what is too large to be kept in memory; without one, it is kept there.
    content: where its bytes are read (`opened.Opened.content`), else `path`.
    """
    opening.prepare_vips()
    source = Source(path, header, pool, scratch, content or path)
    try:
        yield source
    finally:
        source.close()


@dataclass(frozen=True)
class Placement:
    """Where the pixels of an output picture come from.

    matrix: 3 x 3, takes output coordinates (corner origin) to master coordinates, homogeneous.
    width, height: of the output in px.
    """

    matrix: Matrix
    width: int
    height: int

    @property
    def affine(self) -> bool:
        return bool(np.allclose(self.matrix[2], (0, 0, 1), atol=1e-15))

    def to_master(self, points: Pixels) -> Pixels:
        """Return the master coordinates of output points (n, 2)."""
        x, y, w = self.matrix @ np.vstack([np.asarray(points, float).T, np.ones(len(points))])
        return np.stack([x / w, y / w], axis=1)


def warp(
    source: Source, placement: Placement, left: int, top: int, width: int, height: int
) -> Pixels:
    """Return a block of the output, resampled once from the master (cubic), its sample type kept.

    left, top, width, height: the block in output px. Beyond the master its edge is repeated.
    """
    corners = np.array(
        [(left, top), (left + width, top), (left + width, top + height), (left, top + height)]
    )
    reached = placement.to_master(corners)
    low = np.floor(reached.min(axis=0)).astype(int) - _REACH
    high = np.ceil(reached.max(axis=0)).astype(int) + _REACH
    x0, y0 = (int(value) for value in np.clip(low, 0, (source.width - 1, source.height - 1)))
    x1, y1 = (
        int(value) for value in np.clip(high, (x0 + 1, y0 + 1), (source.width, source.height))
    )
    pixels = source.region(x0, y0, x1 - x0, y1 - y0)
    # index -> output coordinate -> master coordinate -> index in the region just read
    matrix = _shift(-0.5 - x0, -0.5 - y0) @ placement.matrix @ _shift(left + 0.5, top + 0.5)
    size, flags = (width, height), cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    edge = cv2.BORDER_REPLICATE
    if placement.affine:
        warped = cv2.warpAffine(pixels, matrix[:2], size, flags=flags, borderMode=edge)
    else:
        warped = cv2.warpPerspective(pixels, matrix, size, flags=flags, borderMode=edge)
    return cv2_shape(np.asarray(warped))


def _shift(x: float, y: float) -> Matrix:
    return np.array([[1.0, 0.0, x], [0.0, 1.0, y], [0.0, 0.0, 1.0]])


def _turn(angle: float) -> Matrix:
    """Return the matrix that turns by `angle` radians, clockwise on the screen (y down)."""
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def frame_shape(corners: Any) -> tuple[float, float, float]:
    """Return angle (radians, clockwise), width and height of the rectangle nearest to `corners`.

    The angle is that of both pairs of sides together, weighted by their lengths.
    """
    c = np.asarray(corners, float)
    across = (c[1] - c[0] + c[2] - c[3]) / 2
    down = (c[3] - c[0] + c[2] - c[1]) / 2
    direction = across + np.array([down[1], -down[0]])
    return (
        math.atan2(direction[1], direction[0]),
        float(np.hypot(*across)),
        float(np.hypot(*down)),
    )


def place(
    corners: Any,
    *,
    margin_px: float = 0.0,
    rotate: int = 0,
    mirror: bool = False,
    keystone: bool = False,
) -> Placement:
    """Return the placement of an upright picture of what `corners` (master px) enclose.

    One output pixel is one master pixel. margin_px is added on every side. rotate: clockwise
    quarter turns in degrees, then mirror: left and right exchanged in the upright picture.
    keystone: take the four corners into a rectangle instead of the rectangle nearest to them.
    """
    c = np.asarray(corners, float)
    angle, across, down = frame_shape(c)
    width = max(1, round(across + 2 * margin_px))
    height = max(1, round(down + 2 * margin_px))
    if keystone:
        box = np.array([(0, 0), (across, 0), (across, down), (0, down)], np.float64)
        middle = _shift(across / 2, down / 2)
        matrix = _homography(box, c) @ middle @ _shift(-width / 2, -height / 2)
    else:
        centre = c.mean(axis=0)
        matrix = _shift(*centre) @ _turn(angle) @ _shift(-width / 2, -height / 2)
    upright, size = _quarter_turns(rotate, mirror, width, height)
    return Placement(matrix @ upright, *size)


def _homography(start: Matrix, end: Matrix) -> Matrix:
    """Return the 3 x 3 matrix that takes four points to four points (direct linear transform)."""
    rows = []
    for (x, y), (u, v) in zip(start, end, strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y])
    solved = np.linalg.solve(np.array(rows, float), np.asarray(end, float).ravel())
    return np.append(solved, 1.0).reshape(3, 3)


def _quarter_turns(
    rotate: int, mirror: bool, width: int, height: int
) -> tuple[Matrix, tuple[int, int]]:
    """Return the matrix from the upright picture back to the unturned one, and the final size."""
    if rotate not in (0, 90, 180, 270):
        raise ValueError(f"rotate must be 0, 90, 180 or 270, not {rotate}")
    size = (height, width) if rotate in (90, 270) else (width, height)
    # Exact integers: a cosine of 90 degrees is not quite 0 in floating point.
    c, s = {0: (1, 0), 90: (0, 1), 180: (-1, 0), 270: (0, -1)}[rotate]
    back = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
    matrix = _shift(width / 2, height / 2) @ back @ _shift(-size[0] / 2, -size[1] / 2)
    if mirror:
        matrix = matrix @ np.array([[-1.0, 0.0, size[0]], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    return matrix, size
