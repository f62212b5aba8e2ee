"""Errors that libvips notes and goes on from, made fatal.

A tile that does not decode, for damage, for want of memory or because the disk does not answer,
is left black there at `fail_on: error`; but each error's text goes into libvips' error buffer.
The buffer is one for the whole process: nothing else may use libvips meanwhile.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import Any

import pyvips
from pyvips import ffi, vips_lib

_lib: Any = vips_lib
_ffi: Any = ffi


def one_line(problem: object) -> str:
    """Return an error's text in one line of at most 160 characters, or its type's name."""
    return " ".join(str(problem).split())[:160] or type(problem).__name__


def _buffered() -> str:
    text: str = _ffi.string(_lib.vips_error_buffer()).decode("utf-8", "replace")
    return " ".join(text.split())


@contextlib.contextmanager
def fatal() -> Iterator[None]:
    """Raise pyvips.Error at the end where libvips noted an error but went on."""
    _lib.vips_error_clear()
    yield
    text = _buffered()
    if text:
        _lib.vips_error_clear()
        raise pyvips.Error(text)
