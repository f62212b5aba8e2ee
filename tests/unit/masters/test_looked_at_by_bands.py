"""What is looked at for labels is the same whether rows are taken by bands or all at once."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import tifffile

from glassine.base.errors import GlassineError
from glassine.masters import labels, opening


@pytest.mark.parametrize("bands", [1, 3])
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("size", [(1, 1), (63, 5), (64, 9), (65, 2003), (130, 3001)])
def test_the_samples_are_those_of_the_whole_picture(
    tmp_path: Path, size: tuple[int, int], dtype: type[np.generic], bands: int
) -> None:
    shape = size if bands == 1 else (*size, bands)
    samples = np.random.default_rng(7).integers(0, np.iinfo(dtype).max, shape).astype(dtype)
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, samples, photometric="minisblack" if bands == 1 else "rgb")
    green, few = labels._green_and_few(opening.open_image(path))
    step = max(1, max(size) // 1000)
    whole = samples.reshape(*size, bands)
    assert (green == whole[..., min(1, bands - 1)]).all() and green.dtype == dtype
    assert (few == whole[::step, ::step]).all()


def test_a_picture_that_ends_too_soon_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, np.zeros((200, 300, 3), np.uint16), compression="zlib", rowsperstrip=8)
    content = bytearray(path.read_bytes())
    with tifffile.TiffFile(path) as known:
        last = known.pages[0].dataoffsets[-1]
    content[last : last + 4] = b"\xff\xff\xff\xff"
    path.write_bytes(content)
    with pytest.raises(GlassineError):
        labels.see_master(path, "1000000")
