"""The colours of a sketch: how the preview of a master becomes the picture, as three small curves.

A correction is sketched in the browser from the preview of the whole master. What makes the
preview look like the picture is read off the picture that there is: for each channel the curve
that gives the frame in the preview the picture's distribution of values (histogram matching;
Gonzalez and Woods, Digital Image Processing, 3.3.2), falling for a negative. Layers that are mixed
are met in the mean, not colour by colour: it is a sketch.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import unquote

import msgspec
import numpy as np
import numpy.typing as npt
import pyvips

from glassine.report.shown import Batch, Frame, Master

Floats = npt.NDArray[np.float64]

# Points of a curve, over codes 0 to 255; samples across a frame; share of a side left out, where
# the crop may differ.
POINTS, _ACROSS, _MARGIN = 17, 64, 0.04
_QUANTILES = np.linspace(0.01, 0.99, 50)


def _places(corners: list[list[float]]) -> Floats:
    """Return points inside a frame, (n, 2) as x, y of the master's pixels."""
    side = np.linspace(_MARGIN, 1 - _MARGIN, _ACROSS)
    s, t = (each.ravel()[:, None] for each in np.meshgrid(side, side))
    tl, tr, br, bl = (np.asarray(corner, float) for corner in corners)
    return np.asarray(tl * (1 - s) * (1 - t) + tr * s * (1 - t) + br * s * t + bl * (1 - s) * t)


def curves(
    preview: npt.NDArray[Any], picture: npt.NDArray[Any], frame: Frame, size: tuple[int, int]
) -> list[list[int]] | None:
    """Return `POINTS` codes for each of red, green and blue.

    preview: of the whole master, (h, w, 3) uint8; picture: of the frame, likewise; size: width and
    height of the master, px. None where the frame lies outside of the preview, or shows one tone.
    """
    height, width = preview.shape[:2]
    at = _places(frame.corners) * (width / size[0], height / size[1])
    x, y = np.floor(at).astype(int).T
    if min(x.min(), y.min()) < 0 or x.max() >= width or y.max() >= height:
        return None
    rows, columns = (round(_MARGIN * length) for length in picture.shape[:2])
    inside = picture[rows : picture.shape[0] - rows, columns : picture.shape[1] - columns]
    falls = frame.polarity == "negative"
    made = []
    for channel in range(3):
        codes = np.quantile(preview[y, x, channel], _QUANTILES)
        wanted = np.quantile(inside[..., channel], 1 - _QUANTILES if falls else _QUANTILES)
        if codes[-1] - codes[0] < 2:
            return None
        codes, first = np.unique(codes, return_index=True)
        drawn = np.interp(np.linspace(0, 255, POINTS), codes, wanted[first])
        made.append([int(value) for value in np.rint(drawn)])
    return made


def _pixels(path: Path, long_edge_px: int) -> npt.NDArray[Any]:
    """Return a small copy of a JPEG in sRGB, (h, w, 3)."""
    image = pyvips.Image.thumbnail(str(path), long_edge_px, size="down", fail_on="error")
    image = image.colourspace("srgb")
    pixels: npt.NDArray[Any] = (image if image.bands > 1 else image.bandjoin([image] * 2)).numpy()
    return pixels[..., :3]


def _of_master(report_dir: Path, master: Master) -> None:
    if not (master.preview and master.width and master.height):
        return
    preview = None
    for place, frame in enumerate(master.frames):
        file = frame.files.get("thumb") or frame.files.get("access")
        if file is None or frame.exclude:
            continue
        try:
            if preview is None:
                preview = _pixels(_file(report_dir, master.preview), 400)
            picture = _pixels(_file(report_dir, file.src), 200)
        except (OSError, ValueError, pyvips.Error):
            continue  # a picture that cannot be read: sketched in the plain way
        drawn = curves(preview, picture, frame, (master.width, master.height))
        master.frames[place] = msgspec.structs.replace(frame, sketch=drawn)


def _file(report_dir: Path, src: str) -> Path:
    return report_dir / unquote(src)


def add(batch: Batch, results: Path) -> None:
    """Give frames of items for review the curves of their sketch. results: `results/<batch>/`."""
    for item in batch.in_state("review"):
        for master in item.masters:
            _of_master(results / "report", master)
