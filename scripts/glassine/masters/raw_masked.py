"""Sites outside of the active area, which no light reaches: what they say of the black level.

A file that states a wrong black level decodes without an error, and its dense parts come out too
light or cut off. Many cameras leave sites that are masked; where they are seen they are a witness.
Not all that lies outside is masked, so only strips that are even and dim are listened to, and one
that agrees with what is stated settles it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt

# A strip of fewer sites says nothing; one is dim where it stays below this share of the range, and
# even where its sites deviate by no more than that one (own choices).
_LEAST_SITES = 200
_DIM, _EVEN = 0.25, 0.01


def over_black(raw: Any, white: float) -> float | None:
    """Return by how many DN masked sites lie above the black level that the file states (below it:
    less than 0), of the strip that agrees best; None where no strip can be told to be masked.

    raw: an open file of LibRaw with a pattern of colours. white: DN.
    """
    levels = np.asarray(raw.black_level_per_channel, np.float64)
    span = white - float(levels.max())
    apart = []
    for samples, colours in _strips(raw):
        differences = samples - levels[colours]
        middle = float(np.median(differences))
        spread = float(np.median(np.abs(differences - middle))) / 0.6745
        if abs(middle) < _DIM * span and spread < _EVEN * span:
            apart.append(middle)
    return min(apart, key=abs, default=None)


def _strips(raw: Any) -> Iterator[tuple[npt.NDArray[np.float64], npt.NDArray[np.intp]]]:
    """Yield the samples and the colours of what lies above, below, left and right."""
    sizes = raw.sizes
    top, left = sizes.top_margin, sizes.left_margin
    bottom, right = top + sizes.height, left + sizes.width
    inner = slice(top, bottom)
    for place in (
        (slice(0, top), slice(None)),
        (slice(bottom, None), slice(None)),
        (inner, slice(0, left)),
        (inner, slice(right, None)),
    ):
        samples = raw.raw_image[place]
        if samples.size >= _LEAST_SITES:
            yield samples.astype(np.float64), raw.raw_colors[place].astype(np.intp)
