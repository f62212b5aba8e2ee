"""Zeros that no camera writes: a copy under way, or broken off, in a file of full size.

Copying programs and shares often give a file its size first and its content afterwards. What has
not come yet reads as zeros: as a hole of the file system where it tells (lseek(2), SEEK_HOLE), as
zeros that begin at a page of the disk where it does not. A border that is truly black begins
where the picture says, seldom at a page.
"""

from __future__ import annotations

import errno
import os
import time
from pathlib import Path

import numpy as np

from glassine.masters.layout import UNCOMPRESSED, Layout
from glassine.masters.opened import opened

# Disks, shares and memory are written in pages; zeros are looked for in whole ones.
PAGE_BYTES = 4096
# Fewer bytes of zeros are no sign: less than a row of a black border.
RUN_BYTES = 64 * 2**10
# The same for zeros that fill strips or tiles to the byte.
_SEGMENT_BYTES = 8 * 2**10
# Values beside a run may begin or end in zeros of their own (a dark sample's upper byte).
_NEAR_BYTES = 2
# A picture whose end is zeros for more than this share is none (common practice, no source).
_EMPTY_SHARE = 0.25
# A large file that is nearly all holes is not worth reading to its end.
_HOLLOW_FROM_BYTES = 256 * 2**20
_HOLLOW_SHARE = 0.9
# A file that has changed within this time may still be on its way.
YOUNG_S = 600
_MOST_HOLES = 100_000

Range = tuple[int, int]


def holes(handle: int, size: int) -> list[Range]:
    """Return [start, end) of the file's holes; none where the file system does not tell.

    handle: an open file; size: its bytes. Raises OSError.
    """
    ranges: list[Range] = []
    place = 0
    try:
        while place < size and len(ranges) < _MOST_HOLES:
            start = os.lseek(handle, place, os.SEEK_HOLE)
            if start >= size:
                break
            ranges.append((start, size))  # up to the end, where no data follow
            place = os.lseek(handle, start, os.SEEK_DATA)
            ranges[-1] = (start, place)
    except OSError as problem:
        if problem.errno not in (errno.ENXIO, errno.EINVAL, errno.ENOTSUP):
            raise
    return ranges


def is_hollow(handle: int, size: int) -> bool:
    """Return whether a large file is nearly all holes, or has nearly no blocks on the disk."""
    if size <= _HOLLOW_FROM_BYTES:
        return False
    empty = sum(end - start for start, end in holes(handle, size))
    # Shares that do not tell holes may tell blocks; some tell none of anything.
    blocks = os.fstat(handle).st_blocks
    return empty > _HOLLOW_SHARE * size or 0 < blocks * 512 < (1 - _HOLLOW_SHARE) * size


def arriving(path: Path, listed: bool) -> str | None:
    """Return why a file that has just changed is not whole yet, or None.

    listed: whether a checksum list names it: then its digest tells. Reads 128 KiB at most; never
    raises for what cannot be read: `verify` tells that.
    """
    if listed:
        return None
    try:
        with opened(path) as held:
            return _arriving(held.handle, held.first)
    except OSError:
        return None


def _arriving(handle: int, status: os.stat_result) -> str | None:
    ages = [time.time() - when for when in (status.st_mtime, status.st_ctime)]
    if not any(0 <= age < YOUNG_S for age in ages) or status.st_size < RUN_BYTES:
        return None
    if holes(handle, status.st_size):
        return "It has its full size, but part of it has not been written yet."
    if not any(os.pread(handle, PAGE_BYTES, 0)):
        return "It has just changed and begins with zeros only: it may still be on its way."
    if not any(os.pread(handle, RUN_BYTES, status.st_size - RUN_BYTES)):
        return "It has just changed and ends with zeros only: it may still be on its way."
    return None


class ZeroPages:
    """Which pages of a file hold zeros only, from its content block by block."""

    def __init__(self) -> None:
        self._empty: list[np.ndarray] = []

    def feed(self, block: bytes | memoryview) -> None:
        """Take the next block; all but the last have a length in whole pages."""
        values = np.frombuffer(block, np.uint8)
        pages = len(values) // PAGE_BYTES
        grid = values[: pages * PAGE_BYTES].reshape(pages, PAGE_BYTES)
        # Most pages tell at once that they are not empty.
        empty = np.asarray(grid[:, ::512].max(axis=1) == 0, bool)
        for page in np.flatnonzero(empty):
            empty[page] = not grid[page].any()
        self._empty.append(empty)

    def runs(self, handle: int, size: int) -> list[Range]:
        """Return [start, end) of the runs of zeros about whole pages, to the byte. Raises OSError.

        handle: the file that was fed; size: its bytes.
        """
        flags = np.concatenate([[False], *self._empty, [False]]).astype(np.int8)
        changes = np.flatnonzero(np.diff(flags)) * PAGE_BYTES
        return [
            (
                int(first) - _zeros_before(handle, int(first)),
                min(size, int(last) + _zeros_after(handle, int(last))),
            )
            for first, last in zip(changes[::2], changes[1::2], strict=True)
            if last - first >= PAGE_BYTES
        ]


def _zeros_before(handle: int, place: int) -> int:
    start = max(0, place - PAGE_BYTES)
    content = os.pread(handle, place - start, start)
    return len(content) - len(content.rstrip(b"\0"))


def _zeros_after(handle: int, place: int) -> int:
    content = os.pread(handle, PAGE_BYTES, place)
    return len(content) - len(content.lstrip(b"\0"))


def missing(runs: list[Range], empty: list[Range], layout: Layout) -> str | None:
    """Return what seems not to have been written of a master that no checksum list vouches for.

    runs: of zeros, as `ZeroPages.runs` gives them; empty: holes. None where all seems to be there.
    """
    spans = _spans(layout)
    inside = sum(_shared(hole, spans) for hole in empty)
    if inside:
        return f"{inside} bytes of its pixels have never been written to the disk (holes)"
    if layout.compression != UNCOMPRESSED:
        return None  # unfolding tells
    last = spans[-1][1]
    for run in runs:
        within = _shared(run, spans)
        what = f"{within} bytes of its pixels are zeros from byte {run[0]} on"
        if run[1] >= last and within > _EMPTY_SHARE * layout.unfolded:
            return f"{what}: {within / layout.unfolded:.0%} of the picture"
        if _begins_at_page(run) and _ends_at_page(run, last) and within >= RUN_BYTES:
            return f"{what}, where a page of the disk begins"
        if within >= _SEGMENT_BYTES and _fills_segments(run, layout):
            return f"{what}: whole {'tiles' if layout.tiled else 'strips'} are empty"
    return None


def dark_end(runs: list[Range], layout: Layout) -> int:
    """Return how many bytes of uncompressed pixels at the end of a picture are exactly zero."""
    if layout.compression != UNCOMPRESSED:
        return 0
    spans = _spans(layout)
    ends = [_shared(run, spans) for run in runs if run[1] >= spans[-1][1]]
    return max((length for length in ends if length >= RUN_BYTES), default=0)


def _spans(layout: Layout) -> list[Range]:
    """Return where the pixels lie in the file, neighbours joined."""
    spans: list[Range] = []
    for start, count in sorted((segment.offset, segment.count) for segment in layout.segments):
        if spans and spans[-1][1] == start:
            spans[-1] = (spans[-1][0], start + count)
        else:
            spans.append((start, start + count))
    return spans


def _shared(run: Range, spans: list[Range]) -> int:
    return sum(max(0, min(run[1], end) - max(run[0], start)) for start, end in spans)


def _begins_at_page(run: Range) -> bool:
    return -run[0] % PAGE_BYTES <= _NEAR_BYTES


def _ends_at_page(run: Range, last: int) -> bool:
    return run[1] >= last or run[1] % PAGE_BYTES <= _NEAR_BYTES


def _fills_segments(run: Range, layout: Layout) -> bool:
    """Return whether zeros fill strips or tiles to the byte, with picture on both sides."""
    starts = [segment.offset for segment in layout.segments]
    ends = [segment.offset + segment.count for segment in layout.segments]
    if run[0] <= min(starts) or run[1] >= max(ends):
        return False
    begins = any(0 <= start - run[0] <= _NEAR_BYTES for start in starts)
    return begins and any(0 <= run[1] - end <= _NEAR_BYTES for end in ends)
