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


def power(values: npt.NDArray[Any], exponent: float) -> Floats:
    """Return `values` (any shape, not negative) to the `exponent`."""
    return np.asarray(np.asarray(values, np.float64) ** float(exponent), np.float32)


def log10(values: npt.NDArray[Any]) -> Floats:
    """Return the decimal logarithm of `values` (any shape, positive)."""
    return np.asarray(np.log10(np.asarray(values, np.float64)), np.float32)
