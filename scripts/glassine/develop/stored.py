"""The light of the table and pixels that do not work, as developed.json keeps them, and back."""

from __future__ import annotations

import base64
import binascii
import zlib
from typing import Any

import numpy as np
import numpy.typing as npt

from glassine.base.errors import GlassineError
from glassine.base.records.developed import StoredField
from glassine.develop.flat import Field, Mask

_MILLION = 1e6
_DIGITS = 10
_MOST_BYTES = 512 * 2**20


def _packed(values: npt.NDArray[Any]) -> str:
    return base64.b64encode(zlib.compress(values.astype("<i4").tobytes(), 6)).decode("ascii")


def _unpacked(text: str, count: int | None = None) -> npt.NDArray[np.int64]:
    """Return the numbers of a packed text. Raises GlassineError where there are not `count`."""
    try:
        content = zlib.decompressobj().decompress(base64.b64decode(text), _MOST_BYTES)
        values = np.frombuffer(content, "<i4").astype(np.int64)
    except (zlib.error, binascii.Error, ValueError) as problem:
        raise _damaged(str(problem)) from problem
    if count is not None and values.size != count:
        raise _damaged(f"{values.size} numbers in place of {count}")
    return values


def _damaged(what: str) -> GlassineError:
    return GlassineError.because(
        "develop.record",
        "developed.json",
        f"What it keeps of the light table cannot be read: {what}.",
        "a record as develop wrote it.",
        "Delete developed.json of this item and run again.",
    )


def stored(field: Field) -> StoredField:
    """Return a field as it is kept; development itself works with what `read` makes of that."""
    coefficients = [planes[0] for planes in field.planes]
    grids = [planes[1] for planes in field.planes]
    return StoredField(
        width=field.size[0],
        height=field.size[1],
        block=field.block,
        peak=tuple(round(value, 6) for value in field.peak),  # type: ignore[arg-type]
        least=round(field.least, 4),
        strange=round(field.strange, 4),
        clipped=round(field.clipped, 6),
        degree=coefficients[0].shape[0] - 1,
        coefficients=[[round(float(v), _DIGITS) for v in each.ravel()] for each in coefficients],
        grid=(grids[0].shape[0], grids[0].shape[1]),
        remainder=[
            _packed(np.rint((each.ravel() - 1) * _MILLION).astype(np.int64)) for each in grids
        ],
    )


def read(record: StoredField) -> Field:
    """Return the field that was kept. Raises GlassineError where it is damaged."""
    side = record.degree + 1
    if len(record.coefficients) != 4 or len(record.remainder) != 4 or side > 20:
        raise _damaged("not four places of a pattern")
    planes = []
    for numbers, packed in zip(record.coefficients, record.remainder, strict=True):
        if len(numbers) != side * side:
            raise _damaged(f"{len(numbers)} coefficients of degree {record.degree}")
        grid = _unpacked(packed, record.grid[0] * record.grid[1]) / _MILLION + 1.0
        planes.append((np.reshape(numbers, (side, side)), grid.reshape(record.grid)))
    return Field(
        (record.width, record.height),
        record.block,
        tuple(planes),
        record.peak,
        record.least,
        record.strange,
        record.clipped,
    )


def packed_pixels(dead: Mask) -> str:
    places = np.flatnonzero(dead).astype(np.int64)
    return _packed(np.diff(places, prepend=0))


def read_pixels(text: str, shape: tuple[int, int]) -> Mask:
    """Return (h, w) which pixels do not work. Raises GlassineError where a place is outside."""
    places = np.cumsum(_unpacked(text))
    dead = np.zeros(shape, bool)
    if places.size and not (places.min() >= 0 and places.max() < dead.size):
        raise _damaged("a pixel outside of the sensor")
    dead.ravel()[places] = True
    return dead
