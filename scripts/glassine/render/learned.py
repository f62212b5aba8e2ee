"""What earlier films of a stock showed, from which the estimate of a further one starts."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Learned:
    """source: in words, for the record. slopes: density per log10 of exposure; contrast: how far
    all slopes of a further film are likely to be from these together, ratios: each from the
    others; log10, one standard deviation."""

    source: str
    slopes: tuple[float, ...]
    contrast: float
    ratios: float
