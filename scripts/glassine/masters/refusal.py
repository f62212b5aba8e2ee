"""Why a file is no master, in an operator's words: findings `masters.*`."""

from __future__ import annotations

import os
import struct
from pathlib import Path

from glassine.base import door
from glassine.base.errors import GlassineError
from glassine.masters import vips_errors


def refuse(code: str, path: Path, what: str, expected: str, next_step: str) -> GlassineError:
    return GlassineError.because(f"masters.{code}", printable(path), what, expected, next_step)


def printable(path: Path) -> str:
    """Return `path` as text that can be printed and stored, bytes that are no UTF-8 escaped."""
    return door.shown(os.fsencode(path))


def truncated(path: Path, what: str) -> GlassineError:
    return refuse(
        "truncated",
        path,
        f"The file is truncated: {what}.",
        "a file with all its bytes.",
        "Copy the master again from the capture station, or capture the item again.",
    )


def damaged(path: Path, what: str) -> GlassineError:
    return refuse(
        "damaged",
        path,
        f"The file is damaged: {what}.",
        "a TIFF file that can be decoded without an error.",
        "Copy the master again from the capture station, or capture the item again.",
    )


def unsuitable(code: str, path: Path, what: str, expected: str) -> GlassineError:
    return refuse(
        code, path, what, expected, "Export the master again as plain 16-bit TIFF and replace it."
    )


def in_brackets(problem: Exception) -> str:
    """Return the parser's words in brackets; errors of its own code say nothing to an operator."""
    plain = isinstance(problem, ValueError | OSError | struct.error)
    return f" ({vips_errors.one_line(problem)})" if plain else ", a tag holds what it may not"
