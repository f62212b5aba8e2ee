"""A studio's session drawn small: sleeves with a code before film on a light table."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import tifffile
import zxingcpp

Grey = npt.NDArray[np.uint8]
FORMATS = {
    "code128": zxingcpp.BarcodeFormat.Code128,
    "code39": zxingcpp.BarcodeFormat.Code39,
    "qr": zxingcpp.BarcodeFormat.QRCode,
    "datamatrix": zxingcpp.BarcodeFormat.DataMatrix,
}
_BEGIN = datetime(2026, 3, 17, 9, 0, 0)
# EXIF 2.32: DateTimeOriginal would need a directory of its own; DateTime of TIFF 6.0 says it too.
_DATE_TIME = 306


def code(text: str, form: str, module_px: int = 3) -> Grey:
    """Return a label of one code with its quiet zone, grey."""
    made = zxingcpp.create_barcode(text, FORMATS[form])
    drawn: Any = zxingcpp.write_barcode_to_image(made, scale=1)
    modules = np.array(drawn)
    if form.startswith("code"):
        modules = np.repeat(modules[modules.shape[0] // 2][None], 24, 0)
    label = np.repeat(np.repeat(modules, module_px, 0), module_px, 1)
    return np.pad(label, 5 * module_px, constant_values=255).astype(np.uint8)


def turned(label: Grey, degrees: float, size: tuple[int, int], paper: int = 255) -> Grey:
    """Return the label in the middle of a sheet of size (height, width), turned by any angle."""
    height, width = size
    matrix = cv2.getRotationMatrix2D((label.shape[1] / 2, label.shape[0] / 2), degrees, 1.0)
    matrix[:, 2] += np.array([width / 2, height / 2]) - np.array(label.shape[::-1]) / 2
    sheet = cv2.warpAffine(
        label, matrix, (width, height), flags=cv2.INTER_LINEAR, borderValue=float(paper)
    )
    return np.asarray(sheet, np.uint8)


def sleeve(
    text: str,
    form: str = "code128",
    degrees: float = 0.0,
    *,
    readable: bool = True,
    seed: int = 0,
    size: tuple[int, int] = (440, 660),
) -> npt.NDArray[np.uint8]:
    """Return a paper sleeve with a code on a dark table, (h, w, 3). readable: else a smudge lies
    over the code."""
    rng = np.random.default_rng(seed)
    paper = int(rng.integers(215, 235))
    module_px = 2 if form.startswith("code") else 3
    inner = turned(code(text, form, module_px), degrees, (size[0] - 60, size[1] - 60), paper)
    inner = np.where(inner == 255, paper, inner).astype(np.uint8)
    if not readable:
        middle = (inner.shape[1] // 2, inner.shape[0] // 2)
        inner = np.asarray(cv2.GaussianBlur(inner, (0, 0), 9), np.uint8)
        cv2.circle(inner, middle, 40, 70, -1)
    picture = np.full(size, 40, np.uint8)
    picture[30:-30, 30:-30] = inner
    rgb = np.stack([picture, picture, (picture * 0.92).astype(np.uint8)], -1)
    return _grainy(rgb, rng)


def film(seed: int, size: tuple[int, int] = (440, 660)) -> npt.NDArray[np.uint8]:
    """Return a negative in a black mask, (h, w, 3): orange, of soft shapes."""
    rng = np.random.default_rng(1000 + seed)
    coarse = rng.uniform(60, 190, (5, 7)).astype(np.float32)
    view = cv2.resize(coarse, (size[1] - 160, size[0] - 140), interpolation=cv2.INTER_CUBIC)
    picture = np.full((*size, 3), 8, np.float32)
    for band, share in enumerate((1.0, 0.62, 0.40)):
        picture[70:-70, 80:-80, band] = view * share
    return _grainy(picture, rng)


def _grainy(picture: npt.NDArray[Any], rng: np.random.Generator) -> npt.NDArray[np.uint8]:
    noise = rng.normal(0, 2, picture.shape)
    return np.clip(picture + noise, 0, 255).astype(np.uint8)


def write(path: Path, picture: npt.NDArray[np.uint8], second: int | None = None) -> Path:
    """Write a capture as a 16-bit TIFF. second: of the session at which it was made, None where its
    header is not to say."""
    path.parent.mkdir(parents=True, exist_ok=True)
    samples = picture.astype(np.uint16) * 257
    tags = []
    if second is not None:
        moment = (_BEGIN + timedelta(seconds=second)).strftime("%Y:%m:%d %H:%M:%S")
        tags = [(_DATE_TIME, "s", 20, moment, True)]
    tifffile.imwrite(path, samples, photometric="rgb", extratags=tags, metadata=None)
    return path
