"""Mutate masters two thousand times; each must be taken or held, quickly and in bounded memory.

    python tests/benchmarks/faults/fuzz.py --files 2000 --seed 11

Each file goes the way of a master: header, then every pixel decoded, in a process with limits
(memory, time). What is not an answer of ours is counted: a crash, a hang, too much memory, or an
error that is no finding.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from random import Random

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[3] / "scripts")]

import numpy as np  # noqa: E402
import tifffile  # noqa: E402

from faults.mutate import mutated  # noqa: E402
from glassine.base import settings  # noqa: E402
from glassine.base.errors import GlassineError  # noqa: E402
from glassine.base.helper_process import Apart  # noqa: E402
from glassine.masters import labels, opening  # noqa: E402

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


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--keep", type=Path, default=Path(tempfile.gettempdir()))
    parser.add_argument("--result", type=Path)
    arguments = parser.parse_args()
    random = Random(arguments.seed)
    counted: Counter[str] = Counter()
    slowest = 0.0
    question = "benchmarks.faults.fuzz:way_of_a_master"
    with (
        tempfile.TemporaryDirectory() as name,
        Apart(question) as apart,
    ):
        sound = seeds(Path(name))
        path = Path(name) / "PEH-0001.tif"
        for number in range(arguments.files):
            path.write_bytes(mutated(sound[number % len(sound)], random))
            started = time.monotonic()
            told = apart.ask(str(path), **LIMITS)
            slowest = max(slowest, time.monotonic() - started)
            counted[told or "NOT HANDLED"] += 1
            if told is None:
                kept = arguments.keep / f"not-handled-{number}.tif"
                kept.write_bytes(path.read_bytes())
                print(f"not handled: {kept}", flush=True)
    handled = arguments.files - counted["NOT HANDLED"]
    print(f"{handled} of {arguments.files} handled; slowest {slowest:.2f} s")
    for code, count in counted.most_common():
        print(f"{count:6} {code}")
    if arguments.result:
        result = {"files": arguments.files, "seed": arguments.seed, "handled": handled}
        text = json.dumps({**result, "slowest_s": round(slowest, 2), "told": counted}, indent=2)
        arguments.result.write_text(text + "\n")
    return 0 if handled == arguments.files else 1


if __name__ == "__main__":
    sys.exit(main())
