"""What a night of raw captures costs beside the same night from TIFFs, in time of the processor.

    tests/benchmarks/run raw-night                       nights of 1 and of 4 items, 24 megapixels
    tests/benchmarks/run raw-night --items 2 20 --method aahd

The masters of the second night are the pictures that the first developed. From nights of few and
of many items come what an item costs and what a night costs without any (the engine, the report):
`fixed`. The night of 20 is worked out from both, and is `fixed` and 20 items; the demand is at most
2.5 times as much as from TIFFs.
"""

from __future__ import annotations

import argparse
import hashlib
import resource
import tempfile
from pathlib import Path

import cv2
import numpy as np
import tifffile

from benchmarks.raw.speed import SIZES
from benchmarks.result import Outcome, Row
from makers import raw_files
from makers.film.samples import Sample
from makers.studio import Studio

MOST_TIMES, NIGHT = 2.5, 20
CAMERA = raw_files.Camera(full_well=0)
BATCH = "night"


def film(folder: Path, size: tuple[int, int]) -> np.ndarray:
    """Return the light through a drawn frame, (h, w, 3) float32, the bare table is 1: drawn small
    and made larger, which serves for time alone."""
    sample = Sample("PEH-0001", "frame_135", 0.0, 300, {}, time="13:05:00")
    sample.write(folder, sample.plan(900))
    codes = tifffile.imread(folder / sample.name).astype(np.float32) / 65535
    codes = np.repeat(codes[..., None], 3, 2) if codes.ndim == 2 else codes
    light = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    light = np.minimum(light / np.percentile(light, 99.5), 1).astype(np.float32)
    return np.asarray(cv2.resize(light, size[::-1], interpolation=cv2.INTER_LINEAR))


def capture(path: Path, light: np.ndarray | None, size: tuple[int, int], seed: int) -> None:
    """Write a raw file. light: through the film, None for the bare table."""
    random = np.random.default_rng(seed)
    fall = raw_files.fall_off(*size, CAMERA.fall_off).astype(np.float32)
    mosaic = np.empty(size, np.uint16)
    for place, colour in enumerate(raw_files.PATTERNS[CAMERA.pattern]):
        site = np.s_[place // 2 :: 2, place % 2 :: 2]
        share = fall[site] * np.float32(0.8 * raw_files.LAMP[colour])
        share *= 1 if light is None else light[..., colour][site]
        share += (
            np.sqrt(share) * random.standard_normal(share.shape, np.float32) * np.float32(0.005)
        )
        codes = CAMERA.black + np.clip(share, 0, 1) * (CAMERA.white - CAMERA.black)
        mosaic[site] = np.rint(codes).astype(np.uint16)
    shot = raw_files.Shot(taken=f"2026:03:17 {'09' if light is None else '10'}:00:00")
    path.write_bytes(raw_files.dng(mosaic, CAMERA, shot))


def side_files(folder: Path, items: list[str]) -> None:
    rows = ["item_id,title,date", *(f"{item},Quay {item},1905" for item in items)]
    (folder / "catalogue.csv").write_text("\n".join(rows) + "\n", "utf-8")
    masters = [path for ending in ("dng", "tif") for path in sorted(folder.glob(f"*.{ending}"))]
    lines = [f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.name}" for path in masters]
    (folder / "manifest-sha256.txt").write_text("\n".join(lines) + "\n", "utf-8")
    (folder / "batch.yaml").write_text("defaults:\n  kind: frame_135\n", "utf-8")


def spent(studio: Studio, *settings: str) -> float:
    """Run a night; return seconds of the processor. SystemExit where it did not end well."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    outcome = studio.night(*(["--config", *settings] if settings else []))
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if outcome.code != 0:
        raise SystemExit(f"The night ended with {outcome.code}:\n{outcome.text[-3000:]}")
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def nights(root: Path, count: int, size: tuple[int, int], method: str) -> tuple[float, float]:
    """Return what a night of `count` raw captures costs, and one of the TIFFs made of them."""
    items = [f"PEH-{number:04d}" for number in range(1, count + 1)]
    raw, plain = Studio(root / f"raw-{count}"), Studio(root / f"plain-{count}")
    for studio in (raw, plain):
        (studio.masters / BATCH).mkdir()
    light = film(root, size)
    for number, item in enumerate(items):
        turned = np.ascontiguousarray(light[:: 1 - 2 * (number % 2), :: 1 - 2 * (number // 2 % 2)])
        capture(raw.masters / BATCH / f"{item}.dng", turned, size, number)
    capture(raw.masters / BATCH / "light.dng", None, size, 99)
    side_files(raw.masters / BATCH, items)
    cost = spent(raw, f'raw={{"demosaic": "{method}"}}')
    for item in items:
        made = raw.item(BATCH, item) / "developed" / f"{item}.tif"
        (plain.masters / BATCH / f"{item}.tif").write_bytes(made.read_bytes())
    side_files(plain.masters / BATCH, items)
    return cost, spent(plain)


def _parts(few: tuple[int, float], many: tuple[int, float]) -> tuple[float, float]:
    """Return (an item's cost, what a night costs without items) of nights as (items, cost)."""
    item = (many[1] - few[1]) / (many[0] - few[0])
    return item, few[1] - few[0] * item


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--items", nargs=2, type=int, default=[1, 4], metavar=("FEW", "MANY"))
    parser.add_argument("--megapixels", type=int, choices=SIZES, default=24)
    parser.add_argument("--method", default="auto")
    options = parser.parse_args(arguments)
    few, many = options.items
    with tempfile.TemporaryDirectory() as temporary:
        size = SIZES[options.megapixels]
        costs = {n: nights(Path(temporary), n, size, options.method) for n in (few, many)}
    rows: list[Row] = []
    wholes = []
    for place, what in enumerate(("raw captures", "TIFFs")):
        item, fixed = _parts((few, costs[few][place]), (many, costs[many][place]))
        wholes.append(fixed + NIGHT * item)
        rows.append(
            {
                "what": what,
                f"s_of_{few}": round(costs[few][place], 1),
                f"s_of_{many}": round(costs[many][place], 1),
                "s_an_item": round(item, 2),
                "s_fixed": round(fixed, 1),
                f"s_of_{NIGHT}_worked_out": round(wholes[-1], 1),
            }
        )
        print(rows[-1], flush=True)
    ratio = wholes[0] / wholes[1]
    rows.append(
        {
            "what": "raw captures over TIFFs",
            f"s_of_{many}": round(costs[many][0] / costs[many][1], 2),
            "s_an_item": round(float(rows[0]["s_an_item"]) / float(rows[1]["s_an_item"]), 2),
            f"s_of_{NIGHT}_worked_out": round(ratio, 2),
        }
    )
    print(rows[-1])
    return Outcome(rows, ratio <= MOST_TIMES)
