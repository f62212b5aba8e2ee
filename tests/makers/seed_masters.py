"""Sound masters of all kinds, to be damaged, and the way that each of them goes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import tifffile

from glassine.base import settings
from glassine.base.errors import GlassineError
from glassine.masters import labels, opening

CORPUS = settings.PROJECT.parent / "shared" / "corpus"
LIMITS = {"memory_bytes": 1024 * 2**20, "seconds": 20.0}


def seeds(folder: Path) -> list[bytes]:
    """Return sound TIFFs of all kinds that are accepted, and the corpus where it is at hand."""
    random = np.random.default_rng(5)
    colour = random.integers(0, 65535, (90, 120, 3)).astype(np.uint16)
    kinds = [
        {}, {"byteorder": ">"}, {"bigtiff": True}, {"compression": "zlib", "predictor": True},
        {"compression": "zlib", "tile": (32, 32)}, {"rowsperstrip": 7},
        {"planarconfig": "separate"}, {"iccprofile": b"\0" * 36 + b"acsp" + b"\0" * 400},
        {"resolution": (4000, 4000), "software": "Capture", "description": "Quay"},
    ]  # fmt: skip
    found = []
    for number, options in enumerate(kinds):
        content = np.moveaxis(colour, 2, 0) if "planarconfig" in options else colour
        path = folder / f"seed-{number}.tif"
        tifffile.imwrite(path, content, photometric="rgb", **options)
        found.append(path.read_bytes())
    if CORPUS.is_dir():
        files = sorted(path for path in CORPUS.iterdir() if path.suffix != ".jsonl")
        found += [path.read_bytes() for path in files if path.stat().st_size < 300_000]
    return found


def way_of_a_master(name: str) -> str:
    """Return the code that the file is held with, or "taken"."""
    path = Path(name)
    try:
        opening.read_header(path)
        image = opening.open_image(path)
        try:
            image.write_to_memory()
        except opening.pyvips.Error as problem:
            raise opening.decoding_problem(path, problem) from problem
        labels.read_master(path, str(opening.MAX_PIXELS))
    except GlassineError as error:
        return error.findings[0].code
    return "taken"
