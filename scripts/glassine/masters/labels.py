"""Machine-readable labels beside the film: Code 128, Code 39, QR Code, Data Matrix."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import cv2
import numpy as np
import numpy.typing as npt
import pyvips
import zxingcpp

from glassine.base import naming
from glassine.masters import label_search, opening, raw_small, raws

_FORMATS: Any = (
    zxingcpp.BarcodeFormat.Code128,
    zxingcpp.BarcodeFormat.Code39,
    zxingcpp.BarcodeFormat.QRCode,
    zxingcpp.BarcodeFormat.DataMatrix,
)
_Read = TypeVar("_Read")
_MAX_TEXT = 200
_LONG_EDGE_PX = 4000
# So many rows of a master are decoded at a time: they stay in the processor's cache.
_BAND_ROWS = 64


def read(gray: npt.NDArray[np.uint8]) -> list[dict[str, Any]]:
    """Return the labels seen in a grey image, top to bottom, then left to right, at any angle.

    gray: (h, w) uint8. Each label is {"text", "format", "corners"}: corners in px of `gray`,
    clockwise from the label's own top-left. Text is cut at 200 characters. A QR Code that reads
    mirrored has {"mirrored": True} besides, and its corners with rows and columns exchanged.
    """
    gray = np.ascontiguousarray(gray)
    whole, scale = label_search.searched(gray)
    labels: list[dict[str, Any]] = []
    grow = np.array([[1 / scale, 0, 0], [0, 1 / scale, 0]])
    _add(labels, gray, whole, grow, invert=True)
    for place in label_search.places(gray, whole, scale):
        _add(labels, gray, place.grey, place.to_picture, invert=False)
    return sorted(labels, key=lambda label: (label["corners"][0][::-1], label["text"]))


def _add(
    labels: list[dict[str, Any]],
    gray: npt.NDArray[np.uint8],
    piece: npt.NDArray[np.uint8],
    to_picture: npt.NDArray[np.float64],
    *,
    invert: bool,
) -> None:
    """Add the labels of a piece of the picture that are not known yet."""
    for code in zxingcpp.read_barcodes(piece, formats=_FORMATS, try_invert=invert):
        place = code.position
        points = (place.top_left, place.top_right, place.bottom_right, place.bottom_left)
        inside = np.array([[point.x, point.y, 1.0] for point in points])
        corners = (inside @ to_picture.T).tolist()
        label = {"text": code.text[:_MAX_TEXT], "format": str(code.format), "corners": corners}
        if any(_same(label, known) for known in labels):
            continue
        if code.format == zxingcpp.BarcodeFormat.QRCode and _is_mirrored(gray, corners, code.extra):
            label["mirrored"] = True
        labels.append(label)


def _same(one: dict[str, Any], other: dict[str, Any]) -> bool:
    """Return whether two readings are of one label: the same text at the same place."""
    if (one["text"], one["format"]) != (other["text"], other["format"]):
        return False
    middles = [np.mean(each["corners"], axis=0) for each in (one, other)]
    span = np.ptp(np.array(one["corners"] + other["corners"]), axis=0).max()
    return bool(np.abs(middles[0] - middles[1]).max() <= span / 2)


# ISO/IEC 18004, format information: 15 bits of a BCH code with this generator, under this mask,
# along the finder pattern at the top left; values from memory.
_FORMAT_GENERATOR, _FORMAT_MASK = 0x537, 0x5412
_FORMAT_PLACES = (
    *((x, 8) for x in (0, 1, 2, 3, 4, 5, 7, 8)),
    (8, 7),
    *((8, y) for y in (5, 4, 3, 2, 1, 0)),
)


def _format_words() -> list[int]:
    words = []
    for data in range(32):
        rest = data << 10
        for bit in range(14, 9, -1):
            if rest >> bit & 1:
                rest ^= _FORMAT_GENERATOR << (bit - 10)
        words.append((data << 10 | rest) ^ _FORMAT_MASK)
    return words


def _is_mirrored(gray: npt.NDArray[np.uint8], corners: list[list[float]], extra: Any) -> bool:
    """Return whether a QR Code's format information reads right only mirrored.

    The reader takes mirrored symbols without saying so. corners: as it gives them.
    """
    try:
        modules = 17 + 4 * int((extra or {})["Version"])
    except (KeyError, TypeError, ValueError):
        return False
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32) * modules
    # The reader names the outer pixels of a symbol; its edge lies beyond their middles.
    corner = np.array(corners, np.float32) + 0.5
    to_px = cv2.getPerspectiveTransform(square, corner)
    places = np.array([_FORMAT_PLACES, [place[::-1] for place in _FORMAT_PLACES]], np.float32) + 0.5
    points = cv2.perspectiveTransform(places.reshape(1, -1, 2), to_px)[0]
    height, width = gray.shape
    columns = np.clip(points[:, 0].astype(int), 0, width - 1)
    rows = np.clip(points[:, 1].astype(int), 0, height - 1)
    values = gray[rows, columns].astype(float)
    dark = (values < (values.min() + values.max()) / 2).reshape(2, -1)
    straight, mirrored = (_distance(bits) for bits in dark)
    return mirrored <= 1 and straight > mirrored + 1


def _distance(bits: npt.NDArray[np.bool_]) -> int:
    """Return by how many bits the nearest format information differs."""
    word = int("".join("1" if bit else "0" for bit in bits), 2)
    return min((word ^ format_word).bit_count() for format_word in _format_words())


def grey_of(image: Any) -> npt.NDArray[np.uint8]:
    """Return a master (pyvips image, 8 or 16 bits, 1 or 3 bands) as grey for reading labels.

    The long edge is at most 4000 px; darkest and lightest 0.5 % are clipped, and a square
    root stands in for the eye's response, so that linear masters are legible too.
    """
    return _grey(_reduced(image))


def _in_whole_steps(image: Any) -> Any:
    # Whole steps first: what is twice as large or more need not lie in memory as a whole.
    whole = max(image.width, image.height) // _LONG_EDGE_PX
    return image.shrink(whole, whole) if whole > 1 else image


def _reduced(image: Any) -> npt.NDArray[Any]:
    return _fitted(np.asarray(_in_whole_steps(image).numpy()))


def _fitted(samples: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Return samples of which the long edge is at most 4000 px."""
    scale = _LONG_EDGE_PX / max(samples.shape[:2])
    if scale >= 1:
        return samples
    small = cv2.resize(samples, None, fx=scale, fy=scale, interpolation=cv2.INTER_LINEAR)
    return np.asarray(small).reshape(*small.shape[:2], *samples.shape[2:])


def _grey(samples: npt.NDArray[Any]) -> npt.NDArray[np.uint8]:
    grey = samples[..., 1] if samples.ndim == 3 and samples.shape[2] > 1 else samples
    grey = grey.reshape(samples.shape[:2])
    low, high = _percentiles(grey[::4, ::4], (0.5, 99.5))
    spread = np.arange(np.iinfo(grey.dtype).max + 1, dtype=np.float32) - low
    spread = np.clip(spread / max(high - low, 1.0), 0, 1)
    table = (np.sqrt(spread) * 255).astype(np.uint8)
    if grey.dtype == np.uint8:  # a fifth of the time that `take` needs
        return np.asarray(cv2.LUT(np.ascontiguousarray(grey), table))
    return np.asarray(table[grey])


def _percentiles(codes: npt.NDArray[Any], shares: tuple[float, float]) -> tuple[float, float]:
    """Return two percentiles of unsigned integers, as `np.percentile` does, by counting them."""
    reached = np.cumsum(np.bincount(codes.ravel()))

    def at(share: float) -> float:
        place = share / 100 * (codes.size - 1)
        below = int(place)
        ends = np.searchsorted(reached, (below, min(below + 1, codes.size - 1)), side="right")
        return float(ends[0] + (ends[1] - ends[0]) * (place - below))

    return at(shares[0]), at(shares[1])


def prepare() -> None:
    """Load what is loaded when it is first needed: many masters are each looked at in a fork of a
    process, which would load it anew. No thread is started, nor by a fork for one look."""
    opening.prepare()
    cv2.setNumThreads(1)


def read_master(path: Path | str, max_pixels: str) -> list[dict[str, Any]]:
    """Return the labels seen in a master, as `read` does; corners in px of its reduced copy.

    max_pixels: a whole number, as text (`apart` passes texts); a master with more is refused.

    Raises GlassineError for a file that is no sound master.
    """
    if naming.is_raw(str(path)):
        return list(see_master(path, max_pixels)["labels"])
    return read(_grey(samples_of(Path(path), max_pixels)))


def see_master(path: Path | str, max_pixels: str) -> dict[str, Any]:
    """Return {"labels": as `read_master`, "look": as `look_of`} of a master."""
    if naming.is_raw(str(path)):
        return _see_raw(raws.read(Path(path), int(max_pixels)))
    green, few = _opened(Path(path), max_pixels, _green_and_few)
    return {"labels": read(_grey(_fitted(green))), "look": look_of(few)}


def _see_raw(raw: raws.Raw) -> dict[str, Any]:
    small = raw_small.of(raw)
    step = max(1, max(small.shape[:2]) // _LOOKED_EDGE_PX)
    fine = max(small.shape[:2]) < _LONG_EDGE_PX  # else half the sides is more than is read
    grey = raw_small.grey_of(raw) if fine else np.ascontiguousarray(small[..., 1])
    return {"labels": read(_grey(_fitted(grey))), "look": look_of(small[::step, ::step])}


def _green_and_few(image: Any) -> tuple[npt.NDArray[Any], npt.NDArray[Any]]:
    """Return the green (or only) samples of a picture, (h, w), and all bands of a few pixels, every
    so many of its rows and columns.

    Rows are taken a band at a time while they are at hand: all bands of all pixels never lie in
    memory, which would take twice the time.
    """
    image = _in_whole_steps(image)
    height, width, bands = image.height, image.width, image.bands
    dtype = np.uint8 if image.format == "uchar" else np.uint16
    step = max(1, max(height, width) // _LOOKED_EDGE_PX)
    green, few = np.empty((height, width), dtype), []
    region = pyvips.Region.new(image)
    for top in range(0, height, _BAND_ROWS):
        count = min(_BAND_ROWS, height - top)
        fetched = np.frombuffer(region.fetch(0, top, width, count), dtype)
        band: Any = fetched.reshape(count, width, bands)
        cv2.extractChannel(band, min(1, bands - 1), green[top : top + count])
        few.append(band[-top % step :: step, ::step].copy())
    return green, np.concatenate(few)


def samples_of(path: Path, max_pixels: str) -> npt.NDArray[Any]:
    """Return the samples of a master, its long edge at most 4000 px; of a raw file as `raw_small`
    has them. Raises GlassineError."""
    if naming.is_raw(str(path)):
        return _fitted(raw_small.read(path, int(max_pixels)))
    return _opened(path, max_pixels, _reduced)


def _opened(path: Path, max_pixels: str, read_in: Callable[[Any], _Read]) -> _Read:
    opening.read_header(path, int(max_pixels))
    image = opening.open_image(path)
    with opening.decoding(path):
        return read_in(image)


_LOOK_EDGE_PX = 64
_LOOKED_EDGE_PX = 1000
_LOOK_BINS = 12


def look_of(samples: npt.NDArray[Any]) -> list[float]:
    """Return what tells paper on the table from film: how light it is, and which colour.

    samples: (h, w) or (h, w, bands) of 8 or 16 bits. The share of the picture darker than each of
    twelve steps of lightness, its mean red and blue against green, and the lightness of its edge:
    numbers between -1 and 1, the same whichever way the piece lies.
    """
    full = float(np.iinfo(samples.dtype).max)
    planes = samples.reshape(*samples.shape[:2], -1)
    scale = min(1.0, _LOOK_EDGE_PX / max(planes.shape[:2]))
    small = cv2.resize(planes, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    light = np.sqrt(small.reshape(*small.shape[:2], -1).astype(np.float64) / full)
    grey = light.mean(axis=2)
    steps = [float((grey < step / _LOOK_BINS).mean()) for step in range(1, _LOOK_BINS)]
    red, green, blue = (float(light[..., band].mean()) for band in (0, light.shape[2] // 2, -1))
    edge = np.concatenate([grey[0], grey[-1], grey[:, 0], grey[:, -1]])
    look = [*steps, red - green, blue - green, float(edge.mean())]
    return [round(value, 5) for value in look]
