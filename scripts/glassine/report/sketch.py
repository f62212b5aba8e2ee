"""The colours of a sketch: how the preview of a master becomes the picture, as three small curves.

A correction is sketched in the browser from the preview of the whole master. What makes the
preview look like the picture is read off the picture that there is: for each channel the curve
that gives the frame in the preview the picture's distribution of values (histogram matching;
Gonzalez and Woods, Digital Image Processing, 3.3.2), falling for a negative. Layers that are mixed
are met in the mean, not colour by colour: it is a sketch.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import msgspec
import numpy as np
import numpy.typing as npt
import pyvips

from glassine.base import files
from glassine.base.errors import GlassineError
from glassine.report.shown import Batch, Frame, Master

# Curves that were made, kept beside the records of the batch by what they are made of. Raised where
# they are made otherwise.
KEPT, VERSION = "sketches.json", "1"
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


@dataclass
class _Kept:
    """Curves by what they are made of. before: of the last report; now: of this one."""

    before: dict[str, list[list[int]] | None]
    now: dict[str, list[list[int]] | None] = field(default_factory=dict)

    @classmethod
    def read(cls, path: Path) -> _Kept:
        """Return what the last report kept; curves that cannot be read are made again."""
        try:
            content = files.read_json(path)["curves"]
            return cls(msgspec.convert(content, dict[str, list[list[int]] | None]))
        except (OSError, GlassineError, LookupError, TypeError, msgspec.ValidationError):
            return cls({})

    def write(self, path: Path) -> None:
        if self.now != self.before:
            files.write_json(path, {"curves": self.now})


def _mark(path: Path) -> list[int]:
    status = path.stat()
    return [status.st_size, status.st_mtime_ns]


def _of_master(report_dir: Path, master: Master, kept: _Kept) -> None:
    if not (master.preview and master.width and master.height):
        return
    size = (master.width, master.height)
    preview_file, preview = _file(report_dir, master.preview), None
    for place, frame in enumerate(master.frames):
        file = frame.files.get("thumb") or frame.files.get("access")
        if file is None or frame.exclude:
            continue
        try:
            picture_file = _file(report_dir, file.src)
            of = [file.src, *_mark(preview_file), *_mark(picture_file), frame.corners, size]
            key = hashlib.sha256(files.canonical([VERSION, frame.polarity, *of]).encode())
            name = key.hexdigest()[:32]
            if name in kept.before:
                drawn = kept.before[name]
            else:
                if preview is None:
                    preview = _pixels(preview_file, 400)
                drawn = curves(preview, _pixels(picture_file, 200), frame, size)
        except (OSError, ValueError, pyvips.Error):
            continue  # a picture that cannot be read: sketched in the plain way
        kept.now[name] = drawn
        master.frames[place] = msgspec.structs.replace(frame, sketch=drawn)


def _file(report_dir: Path, src: str) -> Path:
    return report_dir / unquote(src)


def add(batch: Batch, results: Path) -> None:
    """Give frames of items for review the curves of their sketch. results: `results/<batch>/`."""
    path = results / KEPT
    kept = _Kept.read(path)
    for item in batch.in_state("review"):
        for master in item.masters:
            _of_master(results / "report", master, kept)
    if kept.now or path.exists():
        kept.write(path)
