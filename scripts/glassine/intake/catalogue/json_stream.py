"""The objects of a JSON array, one after the other, however long it is.

Of the text no more is held than one value and a piece; an array within an object is looked at
twice, as only the end of the object says whether it is the only one (RFC 8259, section 4: the
members of an object have no order).
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Iterator
from typing import Any

_SPACE = re.compile(r"[ \t\n\r]*")
_NUMBER = re.compile(r"[-+.eE0-9]*")
_PIECE = 2**18
Pieces = Callable[[], Iterator[str]]


def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return an object. Raises ValueError where a key stands twice."""
    values = dict(pairs)
    if len(values) != len(pairs):
        raise ValueError("a key stands twice")
    return values


def finite(text: str) -> float:
    """Return a number. Raises ValueError for one that is larger than any."""
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"{text[:40]} is larger than any number")
    return value


def no_constant(name: str) -> Any:
    """Raise ValueError for NaN and the like."""
    raise ValueError(f"{name} is no JSON number")


_DECODER = json.JSONDecoder(object_pairs_hook=once, parse_constant=no_constant, parse_float=finite)


def entries(pieces: Pieces) -> Iterator[Any]:
    """Yield the entries of an array, or of the only array of objects within an object; else the
    object itself.

    pieces: yields the text from its beginning, each time it is asked. Raises ValueError or
    RecursionError where that is no JSON.
    """
    text = _Text(pieces())
    if text.peek() == "[":
        yield from text.array()
        text.end()
        return
    if text.peek() != "{":
        yield text.value()
        text.end()
        return
    name = _only_array(text)
    if name is None:
        yield json.loads(
            "".join(pieces()),
            object_pairs_hook=once,
            parse_constant=no_constant,
            parse_float=finite,
        )
        return
    again = _Text(pieces())
    for key in again.members():
        if key == name:
            yield from again.array()
        else:
            again.value()


def _only_array(text: _Text) -> str | None:
    """Return the key of the one array in an object that holds something, where that is objects."""
    first: dict[str, Any] = {}
    keys: set[str] = set()
    for key in text.members():
        if key in keys:
            raise ValueError("a key stands twice")
        keys.add(key)
        if text.peek() != "[":
            text.value()
            continue
        for entry in text.array():
            first.setdefault(key, entry)
    text.end()
    if len(first) != 1:
        return None
    ((name, entry),) = first.items()
    return name if isinstance(entry, dict) else None


class _Text:
    """A JSON text, of which what was read is let go."""

    def __init__(self, pieces: Iterator[str]) -> None:
        self._pieces = pieces
        self._held = ""
        self._at = 0
        self._lines = 1

    def _more(self) -> bool:
        """Take in at least as much again as is held; return whether there was more."""
        rest = self._held[self._at :]
        self._lines += self._held.count("\n", 0, self._at)
        added = []
        missing = max(_PIECE, len(rest))
        while missing > 0:
            piece = next(self._pieces, None)
            if piece is None:
                break
            added.append(piece)
            missing -= len(piece)
        self._held, self._at = rest + "".join(added), 0
        return bool(added)

    def peek(self) -> str:
        """Return the next letter that is no white space, "" at the end."""
        while True:
            match = _SPACE.match(self._held, self._at)
            self._at = match.end() if match else self._at
            if self._at < len(self._held):
                return self._held[self._at]
            if not self._more():
                return ""

    def _take(self, letters: str, what: str) -> str:
        found = self.peek()
        if not found or found not in letters:
            raise ValueError(f"{what} is expected in line {self._line()}")
        self._at += 1
        return found

    def _line(self) -> int:
        return self._lines + self._held.count("\n", 0, self._at)

    def end(self) -> None:
        """Raise ValueError where something follows."""
        if self.peek():
            raise ValueError(f"something stands behind its end, in line {self._line()}")

    def value(self) -> Any:
        """Return the next value."""
        if not self.peek():
            raise ValueError("it ends where a value is expected")
        while True:
            try:
                value, end = _DECODER.raw_decode(self._held, self._at)
            except json.JSONDecodeError as problem:
                line = self._lines + self._held.count("\n", 0, problem.pos)
                if self._more():
                    continue
                raise ValueError(f"{problem.msg} in line {line}") from problem
            # A number at the end of what is held may go on.
            ends = isinstance(value, int | float) and _NUMBER.fullmatch(self._held, end)
            if ends and self._more():
                continue
            self._at = end
            return value

    def array(self) -> Iterator[Any]:
        """Yield the values of the array that begins here."""
        self._take("[", "an array")
        if self.peek() == "]":
            self._take("]", "]")
            return
        while True:
            yield self.value()
            if self._take(",]", "a comma or ]") == "]":
                return

    def members(self) -> Iterator[str]:
        """Yield the keys of the object that begins here; who asks reads the value of each."""
        self._take("{", "an object")
        if self.peek() == "}":
            self._take("}", "}")
            return
        while True:
            if self.peek() != '"':
                raise ValueError(f"a key in quotes is expected in line {self._line()}")
            key = self.value()
            self._take(":", "a colon")
            yield str(key)
            if self._take(",}", "a comma or }") == "}":
                return
