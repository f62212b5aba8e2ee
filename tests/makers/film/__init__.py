"""Film on a light table, drawn by code, with its truth: masters for tests of any size.

    from makers.film import make_scene, write_master

    image, truth = make_scene("strip_135", seed=3, width=1500)

`image` is u16, height x width x samples (3, or 1 with samples=1), encoded with the truth's
`gamma` (1.0: linear). `truth` holds `kind, width, height, ppi, polarity, process, d_min, slopes,
label, white` and `frames`: per frame `index, corners` (pixel corners as in `glassine.model`,
top-left first), `angle_deg, blank, rotate, mirror, size_mm, view`.

Kinds: `KINDS`. Options of `make_scene` are those of `things.Wish`: `views` (names in
`pictures.VIEWS`, or "blank"), `polarity, process, skew_deg, samples, gamma, wide` (primaries of
the embedded profile), `stock` (a film's curve), `rotate, mirror, label`, and `camera`
(a dict: white, fall_off, tilt, psf_px, grain, read, shot, flare).

`plan_scene` gives the same as a `things.Scene`, whose `field.bands()` computes the rows in
bands; `write_master(path, scene)` writes them as a TIFF with profile and Exif data.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from makers.film import things, tiff
from makers.film.optics import MM_PER_INCH

KINDS = tuple(things.BUILDERS)
DEFAULT_CAPTURE = tiff.Capture(taken="2026:03:17 09:14:05")


def plan_scene(
    kind: str,
    seed: int,
    width: int | None = None,
    height: int | None = None,
    *,
    ppi: float | None = None,
    **options: Any,
) -> things.Scene:
    """Return the scene laid out for `width` x `height` px, or for `ppi` and its own field.

    With both sides given the object is as large as fits; the light table fills the rest.
    """
    across, down = things.BUILDERS[kind][0]
    if width is None:
        if ppi is None:
            raise ValueError("give the width or the ppi of the master")
        width = round(across * ppi / MM_PER_INCH)
        height = round(down * ppi / MM_PER_INCH)
    if height is None:
        height = round(width * down / across)
    if ppi is None:
        ppi = round(min(width / across, height / down) * MM_PER_INCH, 3)
    return things.build(things.Wish(kind, seed, ppi, width, height, **options))


def make_scene(
    kind: str, seed: int, width: int | None = None, height: int | None = None, **options: Any
) -> tuple[np.ndarray, dict[str, Any]]:
    """Return (image, truth) of one capture; see the module's text."""
    scene = plan_scene(kind, seed, width, height, **options)
    return scene.field.image(), scene.truth


def write_master(
    path: Path,
    scene: things.Scene,
    *,
    capture: tiff.Capture = DEFAULT_CAPTURE,
    storage: tiff.Storage | None = None,
    tagged_ppi: bool = True,
) -> None:
    """Write the scene as a TIFF, band by band."""
    field = scene.field
    tiff.write(
        path,
        field.bands(),
        (field.height, field.width, field.samples),
        icc=scene.icc,
        capture=capture,
        ppi=field.ppi if tagged_ppi else None,
        storage=storage or tiff.Storage(),
    )
