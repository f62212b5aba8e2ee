"""Outside text on a terminal: what would steer it is shown, not obeyed."""

from __future__ import annotations

import unicodedata

# Cc: C0 and C1 controls; Cf: invisible ones, among them those that turn the direction of writing;
# Cs: halves of a pair, which no terminal takes; Zl, Zp: ends of lines (Unicode 15, chapter 4.5).
_STEERING = {"Cc", "Cf", "Cs", "Zl", "Zp"}


def _escaped(character: str) -> str:
    number = ord(character)
    if number < 0x100:
        return f"\\x{number:02x}"
    return f"\\u{number:04x}" if number < 0x10000 else f"\\U{number:08x}"


def visible(text: str) -> str:
    """Return `text` in one line, with controls, line ends and invisible characters escaped.

    >>> visible("PEH-1\\x1b[2J")
    'PEH-1\\\\x1b[2J'
    """
    return "".join(
        _escaped(character) if unicodedata.category(character) in _STEERING else character
        for character in text
    )
