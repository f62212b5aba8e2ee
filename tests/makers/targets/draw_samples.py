"""Draw the sample target captures: a film and a print target, each with its even field.

    PYTHONPATH=scripts:tests .venv/bin/python -m targets.draw_samples FOLDER

Writes film-target.tif, film-light.tif, print-target.tif and print-light.tif (16 bits, profile
embedded, deflate; about 2 MB together) and prints the lines for batch.yaml. All are drawn by code
from the examples in config/targets; nothing in them is taken from anywhere.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from glassine.targets import description
from makers.targets import draw_target as dt
from makers.targets import layouts

# Little noise: it is what the files' size goes to.
FILM = dt.Rig(
    ppi=1003.0, nominal_ppi=1000.0, rotate_deg=0.4, exposure=0.9, falloff=0.012, k1=0.001,
    sigma_px=(0.66, 0.64, 0.68), shift_px=((0.08, -0.03), (0, 0), (-0.06, 0.05)),
    noise=0.0003, noise_read=0.00001, margin_mm=0.8, seed=20260317,
)  # fmt: skip
PRINT = dt.Rig(
    ppi=301.0, nominal_ppi=300.0, rotate_deg=-0.5, exposure=0.995, falloff=0.015, surround=0.1,
    gain=(1.0, 1.0, 0.99), sigma_px=(0.7, 0.66, 0.7), noise=0.0006, margin_mm=1.5, seed=20260318,
)  # fmt: skip
# A camera of 12 bits: finer codes would be noise, which does not pack.
CODE_STEP = 16


def coarse(drawn: dt.Drawn) -> dt.Drawn:
    codes = np.minimum(np.round(drawn.codes / CODE_STEP) * CODE_STEP, 65535).astype(np.uint16)
    return dt.Drawn(codes, drawn.profile, drawn.ppi)


def write(folder: Path) -> Iterator[Path]:
    """Write the four captures into `folder`; yield each path as it is done."""
    folder.mkdir(parents=True, exist_ok=True)
    for kind, rig in (("film", FILM), ("print", PRINT)):
        described = description.read(
            layouts.PROJECT / "config" / "targets" / f"{kind}-example.yaml"
        )
        ppi = rig.nominal_ppi or rig.ppi
        drawn = coarse(dt.draw(described, rig, layouts.squares(described.size_mm[0] / 24)))
        path = folder / f"{kind}-target.tif"
        dt.save(path, dt.Drawn(drawn.codes, drawn.profile, ppi), compression="deflate")
        yield path
        height, width = drawn.codes.shape[:2]
        # The field is binned by two, as an even one may be.
        field = coarse(dt.draw_flat(rig, width // 2, height // 2, level=0.95))
        path = folder / f"{kind}-light.tif"
        dt.save(path, dt.Drawn(field.codes, field.profile, ppi / 2), compression="deflate")
        yield path


def batch_lines(folder: str) -> str:
    """Return the lines for batch.yaml; folder: where the captures lie in the batch, or "."."""
    place = "" if folder == "." else f"{folder}/"
    return "".join(
        f"  - {{path: {place}{kind}-target.tif, description: {kind}-example.yaml, "
        f"flat_field: {place}{kind}-light.tif, nominal_ppi: {rig.nominal_ppi:g}}}\n"
        for kind, rig in (("film", FILM), ("print", PRINT))
    )


def main() -> None:
    for path in write(Path(sys.argv[1])):
        print(path)
    print(batch_lines("."), end="")


if __name__ == "__main__":
    main()
