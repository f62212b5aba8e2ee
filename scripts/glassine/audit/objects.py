"""Object storage as the audit sees it: which objects are there, and their bytes.

Who makes the connection is for the caller (`Storage.connect`); it is made when a batch has
something there. A storage that does not answer is no damage: what it holds was not read, and that
is said.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Literal, Protocol

Mode = Literal["read", "look", "none"]


class Unreachable(Exception):
    """What is in the storage could not be asked for or read, for a reason in words.

    whole: nothing else there can be read either, as nobody answers or no key is known.
    """

    def __init__(self, reason: str, *, whole: bool) -> None:
        super().__init__(reason)
        self.reason = reason
        self.whole = whole


class Objects(Protocol):
    """The objects of a storage. Each method raises Unreachable."""

    def sizes(self, folder: str) -> dict[str, int]:
        """Return {name: bytes} of the objects right below an address that ends with a slash."""
        ...

    def size(self, address: str) -> int | None:
        """Return the bytes of an object, None where the storage says that there is none."""
        ...

    def pieces(self, address: str) -> Iterator[bytes]:
        """Yield the bytes of an object."""
        ...


@dataclass
class Storage:
    """What a round may ask of object storage.

    connect: returns the objects; None where no storage is set up. It raises Unreachable. mode:
    "read" reads objects in their turn, "look" asks for names and sizes alone, "none" for nothing.
    silent: why nobody answers, "" while somebody does: then nothing more is asked in this round.
    """

    connect: Callable[[], Objects] | None = None
    mode: Mode = "none"
    silent: str = ""
    _objects: Objects | None = field(default=None, repr=False)

    @property
    def asked(self) -> bool:
        """Whether anything is asked of it."""
        return self.connect is not None and self.mode != "none"

    def sizes(self, folder: str) -> dict[str, int]:
        """See `Objects`."""
        with self._answering() as objects:
            return objects.sizes(folder)

    def size(self, address: str) -> int | None:
        """See `Objects`."""
        with self._answering() as objects:
            return objects.size(address)

    def pieces(self, address: str) -> Iterator[bytes]:
        """See `Objects`."""
        with self._answering() as objects:
            yield from objects.pieces(address)

    @contextlib.contextmanager
    def _answering(self) -> Iterator[Objects]:
        if self.silent or self.connect is None:
            raise Unreachable(self.silent or "no storage is set up", whole=True)
        try:
            self._objects = self._objects or self.connect()
            yield self._objects
        except Unreachable as problem:
            if problem.whole:
                self.silent = problem.reason
            raise
