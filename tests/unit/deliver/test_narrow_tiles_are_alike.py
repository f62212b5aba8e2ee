"""Reduced tiles at the end of a picture: their last pixel may stand for less than the others.

IIIF Image API 3.0, section 4.2: a size of the reduced region is rounded up or down by the server;
the tiles here are made by libvips, which rounds up (`dzsave`).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import pyvips

from glassine.deliver.checks import alike
from glassine.deliver.checks.tiles import region_of


def compared(folder: Path, picture: np.ndarray, other: np.ndarray) -> list[str]:
    """Return the tiles of `other` that do not show what their place in `picture` shows."""
    height, width = picture.shape[:2]
    pyvips.Image.new_from_array(other).dzsave(
        str(folder / "t"), layout="iiif3", tile_size=64, suffix=".jpg[Q=95]"
    )
    summed = alike._summed(alike._levels(picture))
    wrong = []
    for path in sorted((folder / "t").rglob("*.jpg")):
        name = path.relative_to(folder / "t").as_posix()
        box = region_of(name, width, height)
        assert box is not None
        levels = alike._levels(pyvips.Image.new_from_file(str(path)).numpy())
        box, levels = alike.whole_pixels(box, levels, (width, height))
        if not alike._alike(summed, box, alike._summed(levels), 8):
            wrong.append(name)
    return wrong


def steep(height: int, width: int) -> np.ndarray:
    """Return a picture that grows dark to its right and lower ends, as one with a dark border."""
    y, x = np.mgrid[0:height, 0:width]
    away = np.minimum(height - 1 - y, width - 1 - x)
    return (230 - 190 * np.exp(-away / 3.0)).astype(np.uint8)


@pytest.mark.parametrize("size", [(129, 95), (131, 96), (133, 97), (135, 99), (137, 101)])
def test_a_narrow_tile_of_the_same_picture_is_alike(tmp_path: Path, size: tuple[int, int]) -> None:
    picture = steep(*size)
    assert compared(tmp_path, picture, picture) == []


def test_a_narrow_tile_of_another_picture_is_not(tmp_path: Path) -> None:
    picture = steep(137, 101)
    wrong = compared(tmp_path, picture, picture[::-1, ::-1])
    assert {"0,128,101,9/51,5/0/default.jpg", "0,128,64,9/64,9/0/default.jpg"} <= {*wrong}
