"""Find a described target in a capture and say where each of its millimetres lies.

The result is a map from mm on the target to master px (origin at the outer corner of the
top-left pixel, as everywhere): a plane perspective and one term of radial distortion about the
centre of the picture. It is fitted to the discs of the target, or to its four corners.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from glassine.targets.capture import Capture
from glassine.targets.description import Description
from glassine.targets.marks import by_marks
from glassine.targets.outline import by_outline
from glassine.targets.placement import Placement


def find(capture: Capture, described: Description) -> Placement:
    """Return where the target lies in the capture. Raises NotFound."""
    grey = _grey(capture)
    if described.locate_by == "marks":
        return by_marks(capture, described, grey)
    return by_outline(capture, described, grey)


def _grey(capture: Capture) -> npt.NDArray[np.float32]:
    """Return the small copy's luminance on a visual scale, 0 to 1 between its extremes."""
    light, _ = capture.small
    tone = np.cbrt(np.clip(light @ capture.weights, 0, None)).astype(np.float32)
    low, high = np.percentile(tone, (0.2, 99.8))
    return np.asarray(np.clip((tone - low) / max(high - low, 1e-6), 0, 1), dtype=np.float32)
