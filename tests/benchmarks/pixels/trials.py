"""What each way of doing a part of the pixel work costs, in nanoseconds of processor time a pixel.

  tests/benchmarks/run pixels-trials

One thread, processor time of that thread, best of five, so that a busy machine disturbs little.
The figures that decided the way taken are in README.md.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Callable

import cv2
import numpy as np
import pyvips

from benchmarks.result import Outcome, Row
from glassine.render import encoded, tiles

SIDE = 2048
ANGLE = math.radians(2.0)


def best(
    work: Callable[[], object], pixels: int, clock: Callable[[], float] = time.thread_time
) -> float:
    times = []
    for _ in range(5):
        started = clock()
        work()
        times.append(clock() - started)
    return min(times) / pixels * 1e9


def told(rows: list[Row], what: str, value: float) -> None:
    print(f"{what:<58} {value:6.1f} ns/px", flush=True)
    rows.append({"way": what, "ns_a_pixel": round(value, 1)})


def scene() -> np.ndarray:
    """Return uint16 with grain, as a scan of film has it."""
    rng = np.random.default_rng(1)
    side = SIDE + 400
    soft = cv2.resize(rng.uniform(0, 1, (40, 40, 3)), (side, side), interpolation=cv2.INTER_CUBIC)
    grain = rng.normal(0, 0.02, (side, side, 1))
    return np.clip((0.2 + 0.6 * soft + grain) * 65535, 0, 65535).astype(np.uint16)


def matrix(left: int, top: int) -> np.ndarray:
    c, s = math.cos(ANGLE), math.sin(ANGLE)
    return np.array([[c, -s, 120.3 + left * c - top * s], [s, c, 60.7 + left * s + top * c]])


def in_blocks(source: np.ndarray, width: int, height: int, kernel: int) -> Callable[[], None]:
    def work() -> None:
        for top in range(0, SIDE, height):
            for left in range(0, SIDE, width):
                cv2.warpAffine(
                    source,
                    matrix(left, top),
                    (width, height),
                    flags=kernel | cv2.WARP_INVERSE_MAP,
                    borderMode=cv2.BORDER_REPLICATE,
                )

    return work


def resampling(rows: list[Row], deep: np.ndarray) -> None:
    shallow, real = (deep >> 8).astype(np.uint8), deep.astype(np.float32)
    pixels = SIDE * SIDE
    for width, height in ((2048, 512), (512, 512), (256, 256), (2048, 64)):
        told(
            rows,
            f"cubic, 16 bits, blocks of {width} x {height}",
            best(in_blocks(deep, width, height, cv2.INTER_CUBIC), pixels),
        )
    told(
        rows,
        "cubic, 8 bits (tone first)",
        best(in_blocks(shallow, 2048, 512, cv2.INTER_CUBIC), pixels),
    )
    told(rows, "cubic, 32-bit float", best(in_blocks(real, 2048, 512, cv2.INTER_CUBIC), pixels))
    told(rows, "linear, 16 bits", best(in_blocks(deep, 2048, 512, cv2.INTER_LINEAR), pixels))
    told(rows, "lanczos4, 16 bits", best(in_blocks(deep, 2048, 512, cv2.INTER_LANCZOS4), pixels))
    y, x = np.mgrid[0:512, 0:2048].astype(np.float32)
    m = matrix(0, 0).astype(np.float32)
    maps = (m[0, 0] * x + m[0, 1] * y + m[0, 2], m[1, 0] * x + m[1, 1] * y + m[1, 2])
    fixed = cv2.convertMaps(*maps, cv2.CV_16SC2)
    for name, pair in (("float maps", maps), ("fixed-point maps", fixed)):
        work = lambda pair=pair: cv2.remap(deep, *pair, cv2.INTER_CUBIC)  # noqa: E731
        told(rows, f"remap, cubic, 16 bits, {name}", best(work, 512 * 2048))
    weights = np.array([-0.06, 0.56, 0.56, -0.06], np.float32)
    told(
        rows,
        "two separable passes of 4 taps (bound of a shear in two)",
        best(lambda: cv2.sepFilter2D(deep[:SIDE, :SIDE], -1, weights, weights), pixels),
    )
    image = pyvips.Image.new_from_array(deep)
    kernel = pyvips.Interpolate.new("bicubic")
    turned = lambda: image.rotate(2.0, interpolate=kernel).crop(200, 200, SIDE, SIDE)  # noqa: E731
    told(
        rows,
        "libvips rotate, bicubic, 16 bits (all threads)",
        best(lambda: turned().write_to_memory(), pixels, time.process_time),
    )


def encoding(rows: list[Row], picture: np.ndarray) -> None:
    pixels = SIDE * SIDE

    def cut() -> None:
        for top in range(0, SIDE, 512):
            for left in range(0, SIDE, 512):
                encoded.jpeg(picture[top : top + 512, left : left + 512], 85)

    def cut_by_vips() -> None:
        for top in range(0, SIDE, 512):
            for left in range(0, SIDE, 512):
                part = np.ascontiguousarray(picture[top : top + 512, left : left + 512])
                pyvips.Image.new_from_memory(part.data, 512, 512, 3, "uchar").jpegsave_buffer(Q=85)

    told(rows, "tiles of 512 px, OpenCV's encoder", best(cut, pixels))
    told(rows, "tiles of 512 px, libvips", best(cut_by_vips, pixels, time.process_time))
    told(rows, "one whole JPEG, OpenCV's encoder", best(lambda: encoded.jpeg(picture, 85), pixels))
    told(
        rows,
        "the same, progressive",
        best(lambda: encoded.jpeg(picture, 85, progressive=True), pixels),
    )
    turn = lambda: cv2.cvtColor(picture, cv2.COLOR_RGB2BGR)  # noqa: E731
    told(rows, "RGB to BGR of a whole picture", best(turn, pixels))


def reducing(rows: list[Row], picture: np.ndarray, deep: np.ndarray) -> None:
    pixels = SIDE * SIDE
    told(rows, "half size (means of 2 x 2)", best(lambda: tiles.halved(picture), pixels))
    small = (SIDE // 4, SIDE // 4)
    half = tiles.halved(picture)
    told(rows, "level 4 from full size", best(lambda: encoded.smaller(picture, *small), pixels))
    told(rows, "level 4 from level 2", best(lambda: encoded.smaller(half, *small), pixels))
    odd = (470, 470)
    told(
        rows,
        "access image 4.4 x smaller, from full size",
        best(lambda: encoded.smaller(picture, *odd), pixels),
    )
    told(
        rows,
        "access image 4.4 x smaller, from half size",
        best(lambda: encoded.smaller(half, *odd), pixels),
    )
    square = deep[:SIDE, :SIDE]
    work = lambda: cv2.resize(square, (256, 256), interpolation=cv2.INTER_AREA)  # noqa: E731
    told(rows, "16-bit master reduced 8 x", best(work, pixels))


def main(arguments: list[str]) -> Outcome:
    argparse.ArgumentParser(description=__doc__).parse_args(arguments)
    cv2.setNumThreads(1)
    rows: list[Row] = []
    deep = scene()
    resampling(rows, deep)
    picture = np.ascontiguousarray((deep[:SIDE, :SIDE] >> 8).astype(np.uint8))
    encoding(rows, picture)
    reducing(rows, picture, deep)
    return Outcome(rows)
