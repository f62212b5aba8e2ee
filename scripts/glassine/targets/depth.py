"""How many bits the data truly use, whatever the file's samples are wide."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

# Values from which the spacing of codes can be told.
MIN_DISTINCT = 64


def effective_bits(codes: npt.NDArray[np.uint16], bits: int) -> float | None:
    """Return log2 of the number of levels that the spacing of the used codes allows.

    codes: any values of one channel; bits: width of a sample (8 or 16). The spacing is the
    lower quartile of the gaps between used codes. None where too few codes are used.
    Data of 8 bits stretched to 16 has gaps of 257, of 12 bits 16; a tone curve applied in
    between makes gaps uneven, and the lower quartile stays near the finest.
    """
    used = np.unique(codes)
    if len(used) < MIN_DISTINCT:
        return None
    gap = float(np.percentile(np.diff(used.astype(np.int64)), 25))
    return float(bits - np.log2(max(gap, 1.0)))
