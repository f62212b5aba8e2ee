"""What this process has read of masters, for the next step of the item that needs the same.

locate, look and render look at the same reduced copy, and decode the same compressed pixels. What
was read is used again only while the file is in the state it was read in (`opened.state`); what
is rendered is compared by digest with what was verified in any case.
"""

from __future__ import annotations

from typing import Any

import numpy.typing as npt

Pixels = npt.NDArray[Any]
# A file's state, and what was read of it.
Key = tuple[object, ...]


class Kept:
    """Pixels by key, those used last, of at most `most_bytes` together."""

    def __init__(self, most_bytes: int) -> None:
        self._most_bytes = most_bytes
        self._pixels: dict[Key, Pixels] = {}

    def get(self, key: Key) -> Pixels | None:
        """Return what is kept, not to be written to; None where there is nothing."""
        if key not in self._pixels:
            return None
        pixels = self._pixels.pop(key)
        self._pixels[key] = pixels
        return pixels

    def put(self, key: Key, pixels: Pixels) -> None:
        if pixels.nbytes > self._most_bytes:
            return
        self._pixels.pop(key, None)
        self._pixels[key] = pixels
        while sum(each.nbytes for each in self._pixels.values()) > self._most_bytes:
            del self._pixels[next(iter(self._pixels))]
