"""Whether the same film under two ids is told, and no other pair of pictures is.

    tests/benchmarks/run identity-alike [--seed 1] [--pictures FOLDER]

Negatives are drawn from photographs and views (tests/makers/rolls.py), inverted simply, cropped a
little otherwise, and kept as JPEG. `same`: one film captured twice with other noise, exposure and
angle. `moved`: a view of which a part has moved. `framed anew`: the view shifted by a twentieth.
`bracketed`: the next frame of the roll, a stop less. `roll`: all pictures against each other.
--pictures names a folder of a batch's results, whose access pictures are compared as they are.
`told`: pairs named as the same capture; `noted`: as one view exposed twice; processor_s: of it all.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from benchmarks.result import Outcome, Row, figure
from glassine.report import near
from makers import rolls
from makers.tone import positives

_SIGNATURES = 10_000


class _Studio:
    """Draws captures as access pictures into a folder."""

    def __init__(self, folder: Path, seed: int) -> None:
        self.folder, self.rng, self.stock = folder, np.random.default_rng(seed), rolls.film(seed)
        self.made = 0

    def picture(self, item: str, positive: Any, gain: float = 1.0, turn: float = 0.0) -> Any:
        """Return the access picture of a capture of a negative of `positive`. gain: of the light;
        turn: degrees."""
        self.made += 1
        seed = int(self.rng.integers(10**9))
        codes = rolls.capture(self.stock, positive, seed).astype(np.float32) * gain
        height, width = codes.shape[:2]
        matrix = cv2.getRotationMatrix2D((width / 2, height / 2), turn, 1)
        codes = cv2.warpAffine(codes, matrix, (width, height), borderMode=cv2.BORDER_REPLICATE)
        top, left, bottom, right = self.rng.integers(0, 5, 4) + rolls.BASE + rolls.TABLE
        density = -np.log10(np.clip(codes[top:-bottom, left:-right] / 65535, 1e-5, 1))
        low, high = np.quantile(density[::3, ::3], [0.005, 0.995], axis=(0, 1))
        shown = np.clip((density - low) / (high - low), 0, 1) * 255
        path = self.folder / f"{self.made:04d}.jpg"
        cv2.imwrite(str(path), shown.astype(np.uint8)[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 90])
        inner = density[10:-10, 10:-10, 1]  # the film's base at a corner is none of the picture
        densities = (*(float(each) for each in np.quantile(inner, [0.01, 0.99])), None)
        return near.Picture(item, path, path.name, "R1", "", densities)


def _moved(positive: Any, rng: np.random.Generator) -> Any:
    height, width = positive.shape[:2]
    inside = np.zeros((height, width), np.float32)
    middle = (int(width * rng.uniform(0.3, 0.7)), int(height * rng.uniform(0.4, 0.7)))
    cv2.ellipse(inside, middle, (int(width * 0.12), int(height * 0.2)), 0, 0, 360, 1, -1)
    inside = cv2.GaussianBlur(inside, (0, 0), width * 0.01)[..., None]
    there = _shifted(positive, 0.05)
    return np.clip(positive * (1 - inside) + there * inside, 0, 255).astype(np.uint8)


def _shifted(positive: Any, share: float) -> Any:
    height, width = positive.shape[:2]
    matrix = np.array([[1, 0, width * share], [0, 1, height * share / 4]], np.float64)
    return cv2.warpAffine(positive, matrix, (width, height), borderMode=cv2.BORDER_REFLECT)


def _a_stop_less(positive: Any) -> Any:
    return (np.clip((positive / 255.0) ** 2.2 / 2, 0, 1) ** (1 / 2.2) * 255).astype(np.uint8)


def _row(what: str, pairs: list[list[near.Picture]], folder: Path) -> Row:
    """Compare each list of pictures by itself."""
    start, told, noted = time.process_time(), 0, 0
    for number, pictures in enumerate(pairs):
        place = folder / f"{what} {number}"
        place.mkdir()
        agreeing, _ = near.found(pictures, place)
        noted += sum(pair.is_one_view_twice for pair in agreeing)
        told += sum(not pair.is_one_view_twice for pair in agreeing)
    spent = time.process_time() - start
    compared = sum(len(each) * (len(each) - 1) // 2 for each in pairs)
    return {"what": what, "pairs": compared, "told": told, "noted": noted} | {
        "processor_s": figure(spent, 2)
    }


def _of_results(results: Path, folder: Path) -> Row:
    paths = sorted(results.glob("items/*/access/*.jpg"))
    return _row(results.name, [[near.Picture(p.parts[-3], p, p.name) for p in paths]], folder)


def _at_a_glance(rng: np.random.Generator) -> Row:
    """The glance alone over very many signatures, which is all that grows with their square."""
    made = rng.normal(0, 1, (_SIGNATURES, 12, 12)).astype(np.float32)
    values = np.array([cv2.GaussianBlur(each, (0, 0), 1.5) for each in made]).reshape(len(made), -1)
    pictures = [near.Picture(str(n), Path(str(n)), str(n)) for n in range(_SIGNATURES)]
    start = time.process_time()
    count = near.likely(pictures, values)[1]
    what = f"{_SIGNATURES:,} signatures at a glance ({count:,} likely)"
    return {"what": what, "pairs": _SIGNATURES * (_SIGNATURES - 1) // 2, "told": 0, "noted": 0} | {
        "processor_s": figure(time.process_time() - start, 2)
    }


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--pictures", type=Path, action="append", default=[])
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        studio, rng = _Studio(folder, options.seed), np.random.default_rng(options.seed)
        shown = [*positives.pictures(40).values()]
        some = [shown[n] for n in rng.choice(len(shown), 20, replace=False)]
        sets: dict[str, list[list[near.Picture]]] = {
            "same": [
                [
                    studio.picture("A", each),
                    studio.picture("B", each, rng.uniform(0.9, 1.1), rng.uniform(-0.4, 0.4)),
                ]
                for each in some
            ]
        }
        others = {"moved": lambda each: _moved(each, rng)}
        others |= {"framed anew": lambda each: _shifted(each, 0.05), "bracketed": _a_stop_less}
        for what, other in others.items():
            sets[what] = [[studio.picture("A", e), studio.picture("B", other(e))] for e in some]
        sets["roll"] = [[studio.picture(str(n), each) for n, each in enumerate(shown)]]
        rows = [_row(what, pairs, folder) for what, pairs in sets.items()]
        rows += [_of_results(each, folder) for each in options.pictures]
        rows.append(_at_a_glance(rng))
    print("\n".join(str(row) for row in rows))
    silent = [row for row in rows[1:] if row["what"] != "moved"]  # plain parts may move unseen
    good = rows[0]["told"] == len(some) and not any(row["told"] for row in silent)
    return Outcome(rows, good)
