"""Writing in a grey picture: where it stands and what it says, by a library that may be missing.

The library (RapidOCR, Apache-2.0; its models are in its wheel) is loaded when writing is first
asked for, so a night that does not ask needs nothing of it. It works with one thread, and fetches
nothing.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from functools import cache
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base import text_packages
from glassine.base.errors import GlassineError
from glassine.locate.shapes import Doubles

Grey = npt.NDArray[np.uint8]

# Rows of a line of writing as the library's network takes it.
LINE_ROWS = 48
# Characters of a line at most; lines of one picture at most.
MOST_CHARACTERS, MOST_LINES = 120, 200
# Areas count as writing from this mean of the network's answer on. Lower than its default of 0.5:
# single digits answer weakly.
_BOX_SHARE = 0.4


@cache
def _engine() -> Any:
    if not text_packages.are_installed():
        raise GlassineError([text_packages.missing()])
    import rapidocr_onnxruntime

    return rapidocr_onnxruntime.RapidOCR(
        intra_op_num_threads=1, inter_op_num_threads=1, det_limit_type="max"
    )


def lines(grey: Grey) -> list[Doubles]:
    """Return where lines of writing stand, at most MOST_LINES: (4, 2) each, corner origin,
    clockwise from the corner that is left and up, however the writing itself is turned.

    Raises GlassineError where the library is missing.
    """
    detector = _engine().text_det
    detector.postprocess_op.box_thresh = _BOX_SHARE
    boxes, _ = detector(cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR))
    found = [] if boxes is None else [np.asarray(box, np.float64) + 0.5 for box in boxes]
    return found[:MOST_LINES]


def read(crops: Sequence[Grey]) -> list[tuple[str, float]]:
    """Return what upright lines say, and how sure the network is, 0 to 1; "" where nothing.

    crops: (LINE_ROWS, any). Raises GlassineError where the library is missing.
    """
    if not crops:
        return []
    said, _ = _engine().text_rec([cv2.cvtColor(crop, cv2.COLOR_GRAY2BGR) for crop in crops])
    return [(plain(text), round(float(sure), 2)) for text, sure in said]


def plain(text: str) -> str:
    """Return a text as it may be shown and recorded: usual forms of letters, no controls, one space
    for several, MOST_CHARACTERS at most.

    >>> plain("Box\\u202e （3）\\x00  ")
    'Box (3)'
    """
    usual = unicodedata.normalize("NFKC", text[: 4 * MOST_CHARACTERS])
    seen = "".join(
        each if unicodedata.category(each)[0] in "LNPSM" else " " if each.isspace() else ""
        for each in usual
    )
    return " ".join(seen.split())[:MOST_CHARACTERS].strip()
