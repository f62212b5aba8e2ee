"""A frame's look made small enough to be kept for each of thousands of frames, and read back.

Of the densities of its places the thin and the dense ends are kept one by one, as white, D-min and
the balance rest on them; of the others every so many, each with the number of places that it
stands for. The picture is reduced until it fits.
"""

from __future__ import annotations

import base64
import zlib

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base.model import Frame
from glassine.base.records.looks import FrameLook, ReducedPicture, Samples
from glassine.masters import colour
from glassine.render.looks import Floats, Look

# Steps of density that are kept: finer than 16-bit noise for places, than grain for the picture.
PLACE_STEPS, PICTURE_STEPS = 2000, 250
# Shares of places that are kept one by one at each end of each channel, of the weakest and of the
# strongest channel; how many of the others.
END, MIDDLE = 0.004, 3000
# Long edges of the picture that are tried, px, and the characters that it may take.
SIDES, MAX_PICTURE = (200, 160, 128, 96, 64), 64_000

Integers = npt.NDArray[np.uint16]


def kept(look: Look) -> FrameLook:
    """Return what is kept of a frame's look, at most 100 kB as JSON."""
    density = _steps(colour.density(look.calm), PLACE_STEPS)
    density, places = _thinned(density)
    return FrameLook(
        index=look.frame.index,
        process=look.frame.process,
        samples=Samples(
            count=len(density), density=_packed(density), places=_packed(places[:, None])
        ),
        picture=None if look.picture is None else _reduced(look.picture),
    )


def read(record: FrameLook, bands: int) -> Look:
    """Return the look that was kept: its `calm` and `picture`; nothing is known of codes.

    bands: of the master. Raises ValueError where the record is damaged.
    """
    samples = record.samples
    density = _unpacked(samples.density, (samples.count, bands))
    places = _unpacked(samples.places, (samples.count, 1))[:, 0]
    if not 1 <= int(places.sum(dtype=np.int64)) <= 120_000:
        raise ValueError("the numbers of places are damaged")
    calm = np.repeat(10.0 ** (-density.astype(np.float64) / PLACE_STEPS), places, axis=0)
    picture = None
    if record.picture is not None:
        shape = (record.picture.height, record.picture.width, 3)
        picture = _unpacked(record.picture.density, shape).astype(np.float64) / PICTURE_STEPS
    frame = Frame(
        record.index,
        ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)),
        0.0,
        "negative",
        record.process,  # type: ignore[arg-type]
    )
    return Look(frame, np.empty((0, bands), np.uint16), calm, calm, picture)


def _steps(density: Floats, steps: int) -> Integers:
    return np.clip(np.rint(density * steps), 0, 65535).astype(np.uint16)


def _ordered(density: Integers) -> Integers:
    """Return the rows (n, bands) of 16-bit numbers in their order: as one number each."""
    bands = density.shape[1]
    if bands > 4:
        return density[np.lexsort(density.T[::-1])]
    shifts = np.arange(bands - 1, -1, -1, dtype=np.uint64) * np.uint64(16)
    whole = np.zeros(len(density), np.uint64)
    for band in range(bands):
        whole |= density[:, band].astype(np.uint64) << shifts[band]
    whole.sort()
    return (whole[:, None] >> shifts).astype(np.uint16)


def _thinned(density: Integers) -> tuple[Integers, Integers]:
    """Return (densities, number of places of each), in an order that does not depend on theirs."""
    density = _ordered(density)
    n = len(density)
    end = max(8, int(n * END))
    keep = np.zeros(n, bool)
    for value in (*density.T, density.min(axis=1), density.max(axis=1)):
        ranked = np.argsort(value, kind="stable")
        keep[ranked[:end]] = keep[ranked[-end:]] = True
    middle = np.flatnonzero(~keep)
    every = max(1, -(-len(middle) // MIDDLE))
    # Sorted by their sum, so that those left out have the one kept near them.
    middle = middle[np.argsort(density[middle].sum(axis=1, dtype=np.int64), kind="stable")]
    chosen = middle[every // 2 :: every]
    places = np.ones(n, np.int64)
    places[chosen] = every
    if len(chosen):
        places[chosen[-1]] += len(middle) - every * len(chosen)
        keep[chosen] = True
    return density[keep], places[keep].astype(np.uint16)


def _reduced(picture: Floats) -> ReducedPicture:
    """Return the largest reduction of a picture's density that fits."""
    longest = max(picture.shape[:2])
    made = None
    for side in SIDES:
        shrink = min(1.0, side / longest)
        small = cv2.resize(picture, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
        density = _packed(_steps(np.asarray(small, np.float64), PICTURE_STEPS))
        made = ReducedPicture(width=small.shape[1], height=small.shape[0], density=density)
        if len(density) <= MAX_PICTURE:
            break
    assert made is not None
    return made


def _packed(values: Integers) -> str:
    """Return planes of differences along the last axis but the bands', deflated, in base 64."""
    planes = np.moveaxis(values, -1, 0)
    change = np.diff(planes, axis=-1, prepend=np.uint16(0)).astype("<u2")
    # Low bytes, then high bytes, which are nearly all alike.
    octets = change.reshape(-1).view(np.uint8)
    return base64.b64encode(
        zlib.compress(octets[::2].tobytes() + octets[1::2].tobytes(), 6)
    ).decode()


def _unpacked(text: str, shape: tuple[int, ...]) -> Integers:
    """Return what `_packed` was given. Raises ValueError where it is not of this shape."""
    size = int(np.prod(shape))
    try:
        inflate = zlib.decompressobj()
        octets = inflate.decompress(base64.b64decode(text, validate=True), 2 * size)
    except zlib.error as problem:
        raise ValueError(f"its arrays cannot be unfolded: {problem}") from problem
    if len(octets) != 2 * size or not inflate.eof:
        raise ValueError("its arrays have another size than it says")
    low, high = np.frombuffer(octets, np.uint8).reshape(2, size).astype(np.uint16)
    planes = (low | (high << 8)).reshape(shape[-1], *shape[:-1])
    return np.moveaxis(np.cumsum(planes, axis=-1, dtype=np.uint16), 0, -1)
