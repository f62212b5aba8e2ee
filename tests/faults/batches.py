"""Small batches for provoking faults: quick to make, quick to process, every master different."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import tifffile

BATCH = "night"


def draw(number: int, width: int = 300, height: int = 220) -> np.ndarray:
    """Return a positive on a light table: a dark-edged picture, (height, width, 3) uint16."""
    random = np.random.default_rng(number)
    table = np.full((height, width, 3), 61000, np.float64)
    top, left = height // 8, width // 10
    inner = table[top:-top, left:-left]
    y, x = np.mgrid[0 : inner.shape[0], 0 : inner.shape[1]]
    waves = np.sin(x / (5 + number % 7)) * np.cos(y / (4 + number % 5))
    inner[:] = (20000 + 9000 * waves)[..., None] * np.array([1.0, 0.9, 0.8])
    return np.clip(table + random.normal(0, 150, table.shape), 0, 65535).astype(np.uint16)


def write_master(path: Path, number: int, **options: object) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    settings = {"photometric": "rgb", "resolution": (600, 600), "resolutionunit": 2, **options}
    tifffile.imwrite(path, draw(number), metadata=None, **settings)
    return path


def write_lists(folder: Path, items: list[str]) -> None:
    """Write the checksum list, the catalogue and batch.yaml for the masters in `folder`."""
    masters = sorted(folder.glob("*.tif"))
    lines = [f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.name}\n" for path in masters]
    (folder / "manifest-sha256.txt").write_text("".join(lines), "utf-8")
    rows = [f"{item},Slipway {item},1906\n" for item in items]
    (folder / "catalogue.csv").write_text("item_id,title,date\n" + "".join(rows), "utf-8")
    facts = "defaults: {kind: mounted_slide, polarity: positive, process: colour}\n"
    (folder / "batch.yaml").write_text(facts, "utf-8")


def make_batch(masters: Path, count: int, batch: str = BATCH) -> list[str]:
    """Write a batch of `count` sound items below `masters`; return their ids."""
    items = [f"PEH-{number:04d}" for number in range(1, count + 1)]
    for number, item in enumerate(items, 1):
        write_master(masters / batch / f"{item}.tif", number)
    write_lists(masters / batch, items)
    return items
