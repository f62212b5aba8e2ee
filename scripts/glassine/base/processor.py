"""The same results on every processor of one architecture.

Libraries choose their instructions by what the processor has, and float32 results then differ in
the last bit: enough to turn a sample of a picture by one step. What is written into a record or
a picture is therefore made

- by OpenCV without such choices (`same_everywhere`; sums in another order, fused products),
- by numpy's additions, products and roots, which IEEE 754 defines to the last bit,
- by powers, logarithms and products of matrices in double precision alone. Those may differ by
  some 1e-16, of which nothing is left once they are rounded to float32 or to a record's digits.

Between architectures (x86_64, aarch64) results may still differ: events note which one it was.
"""

from __future__ import annotations

import contextlib
import ctypes
from collections.abc import Iterator
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]


def same_everywhere() -> None:
    """Make OpenCV use what every processor of the architecture has, and no threads of its own.

    To be called by each thread that uses it: one part of the choice is the thread's own, and
    threads that OpenCV started would choose for themselves.
    """
    cv2.setUseOptimized(False)
    cv2.setNumThreads(1)


@contextlib.contextmanager
def whole_numbers() -> Iterator[None]:
    """Let OpenCV take the fastest instructions for what is made of whole numbers alone.

    Their sums, comparisons and products are the same in any order: so are medians of pixels, and
    the trained network's layers (`locate.learned`). For one thread's own work: the choice is
    for all threads of the process.
    """
    before = cv2.useOptimized()
    cv2.setUseOptimized(True)
    try:
        yield
    finally:
        cv2.setUseOptimized(before)


# Parameters of the C library's `mallopt` (glibc, malloc.h): memory free at the end of the heap from
# which on it goes back, and the size from which on a piece of memory is one of its own.
_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3
# As high as glibc lets them grow by itself.
_USUAL_BYTES = {_TRIM_THRESHOLD: 64 * 2**20, _MMAP_THRESHOLD: 32 * 2**20}
_KEPT_BYTES = {_TRIM_THRESHOLD: 2**30, _MMAP_THRESHOLD: 2**30}


@contextlib.contextmanager
def memory_reused() -> Iterator[None]:
    """Keep what is freed for what is needed next, where many large arrays come and go.

    To get a tenth of their time back: the system clears each page anew that it hands out.
    Nothing is changed where the C library is not glibc.
    """
    library = ctypes.CDLL(None)
    if not (hasattr(library, "mallopt") and hasattr(library, "malloc_trim")):
        yield
        return
    for name, size in _KEPT_BYTES.items():
        library.mallopt(name, size)
    try:
        yield
    finally:
        for name, size in _USUAL_BYTES.items():
            library.mallopt(name, size)
        library.malloc_trim(0)


def power(values: npt.NDArray[Any], exponent: float) -> Floats:
    """Return `values` (any shape, not negative) to the `exponent`."""
    return np.asarray(np.asarray(values, np.float64) ** float(exponent), np.float32)


def log10(values: npt.NDArray[Any]) -> Floats:
    """Return the decimal logarithm of `values` (any shape, positive)."""
    return np.asarray(np.log10(np.asarray(values, np.float64)), np.float32)
