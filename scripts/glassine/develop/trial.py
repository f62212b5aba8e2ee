"""A studio's look at its camera's raw files: do they open, what levels have they, are they linear.

    scripts/try-raw light.nef light-half.nef

Each file is told of by itself; of two captures of the same even thing at different exposures (the
bare light table is best) also how far their samples are from the ratio of their exposures. Files
are only read, and nothing is written.
"""

from __future__ import annotations

import argparse
import sys
from itertools import pairwise
from pathlib import Path

import numpy as np

from glassine.base import processor, wording
from glassine.base.errors import GlassineError
from glassine.base.visible import visible
from glassine.develop import doubts, flat
from glassine.develop.session import exposure_of
from glassine.masters import opening, raws
from glassine.masters.raws import Raw

# Parts of the sensor's range in which the levels of two exposures are compared.
_LEAST, _MOST = 0.02, 0.95


def told(raw: Raw) -> list[str]:
    """Return what is to be said of one file, a line each."""
    header, capture = raw.header, raw.header.capture
    black, white = raw.black, raw.white
    samples = raw.sensor.astype(np.float64)
    share = (np.percentile(samples, [0.1, 50, 99.9]) - float(black.mean())) / (
        white - float(black.mean())
    )
    pattern = header.raw.pattern if header.raw else None
    lines = [
        f"  {header.format_name} {header.format_version or ''}, {header.width} x {header.height} "
        f"pixels, {pattern or 'three colours each'}, {header.compression}",
        f"  camera {_or_not(capture.make)} {_or_not(capture.model)}, body "
        f"{_or_not(capture.serial)}, lens {_or_not(capture.lens)}, f/{_or_not(capture.f_number)}, "
        f"{_or_not(capture.exposure_s)} s, ISO {_or_not(capture.iso)}, {_or_not(capture.taken)}",
        f"  black {', '.join(f'{value:g}' for value in black.ravel())}, white {white:g}; samples "
        f"from {share[0]:.1%} over {share[1]:.1%} in the middle to {share[2]:.1%} of the range",
        f"  at the white level: {np.count_nonzero(raw.sensor >= white) / raw.sensor.size:.3%}",
        "  colour matrix: " + ("there" if raw.matrix is not None else "none; it would be held"),
    ]
    lacking = doubts.unsaid(capture)
    if lacking:
        lines.append(
            f"  not said: {wording.listed(lacking)}; each item would be for review until "
            "`raw.unstated` is `note`"
        )
    if header.raw and header.raw.masked is not None:
        lines.append(f"  sites without light: {header.raw.masked:+.1f} DN from the black level")
    if raw.pattern is not None:
        full = doubts.full_below(flat.planes_of(raw), black, white)
        if full is not None:
            lines.append(
                f"  one colour seems full at {full.value}, below the white level: {full.share:.1%}"
            )
        dead = int(np.count_nonzero(flat.dead_pixels(raw)))
        lines.append(f"  pixels that differ from all about them: {dead} (of an even capture: dead)")
    return lines


def _or_not(value: object) -> str:
    return "not stated" if value is None else str(value)


def linearity(one: Raw, other: Raw) -> str:
    """Return how far two captures are from the ratio of their exposures."""
    first, second = exposure_of(one.header.capture), exposure_of(other.header.capture)
    if first is None or second is None or one.sensor.shape != other.sensor.shape:
        return "not compared: their sizes differ, or their headers do not say the exposure"
    if one.pattern is None or other.pattern is None:
        return "not compared: no mosaics"
    levels = []
    for place, (mine, theirs) in enumerate(
        zip(flat.planes_of(one), flat.planes_of(other), strict=True)
    ):
        means = [
            (float(np.median(plane)) - raw.black.ravel()[place]) / (raw.white - raw.black.max())
            for plane, raw in ((mine, one), (theirs, other))
        ]
        if all(_LEAST < mean < _MOST for mean in means):
            levels.append(means[0] / means[1] / (first / second) - 1)
    if not levels:
        return f"not compared: their levels are not within {_LEAST:.0%} and {_MOST:.0%}"
    worst = max(levels, key=abs)
    return (
        f"exposures {first / second:.3g} : 1, samples part from it by {worst:+.2%} at most "
        "(shutter, lamp and sensor together)"
    )


def main() -> int:
    parser = argparse.ArgumentParser(
        prog="scripts/try-raw",
        description="Say of camera raw files whether they open and what levels they have; of two "
        "exposures of the same even thing, whether they are linear. Nothing is written.",
    )
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE", help="raw files")
    options = parser.parse_args()
    processor.same_everywhere()
    opened: list[tuple[Path, Raw]] = []
    refused = 0
    for path in options.files:
        print(visible(f"{path}: LibRaw {raws.software()}"))
        try:
            raw = raws.read(path, opening.MAX_PIXELS)
        except GlassineError as error:
            refused += 1
            print("\n".join(f"  REFUSED {finding.sentence()}" for finding in error.findings))
        except OSError as problem:
            refused += 1
            print(visible(f"  REFUSED it cannot be read: {problem.strerror or problem}"))
        else:
            opened.append((path, raw))
            print("\n".join(visible(line) for line in told(raw)))
    for (one, mine), (other, theirs) in pairwise(opened):
        print(visible(f"{one} against {other}: {linearity(mine, theirs)}"))
    return 1 if refused else 0


if __name__ == "__main__":
    sys.exit(main())
