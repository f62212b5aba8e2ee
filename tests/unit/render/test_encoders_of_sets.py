"""Encoders of sets are asked to be fast: what they write is the same picture, and stays readable."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import pyvips
import tifffile
from PIL import Image

from glassine.base import settings
from glassine.night import agreement
from glassine.render import encoded


def grain(dtype: type, bands: int) -> np.ndarray:
    """A soft scene with grain and an even border, as film has it: (90, 120, bands)."""
    rng = np.random.default_rng(5)
    rows, columns = np.mgrid[0:90, 0:120] / 90
    light = 0.5 + 0.3 * np.sin(7 * columns + 3 * rows) + rng.normal(0, 0.02, (90, 120))
    light[:12] = 0.9
    top = np.iinfo(dtype).max
    return np.repeat((np.clip(light, 0, 1) * top).astype(dtype)[..., None], bands, axis=2)


@pytest.mark.parametrize("bands", [1, 3])
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_a_tiff_packed_in_runs_holds_the_same_samples(
    tmp_path: Path, dtype: type, bands: int
) -> None:
    """As tifffile and, where it reads such, Pillow unpack them."""
    pixels, sizes = grain(dtype, bands), {}
    for in_runs in (False, True):
        path = tmp_path / f"{in_runs}.tif"
        parts = (pixels[top : top + 32] for top in range(0, 90, 32))
        encoded.save_crop(path, parts, pixels.shape, rows=32, icc=None, ppi=None, in_runs=in_runs)
        assert np.array_equal(tifffile.imread(path), pixels.squeeze())
        if dtype is np.uint8 or bands == 1:
            with Image.open(path) as image:
                assert np.array_equal(np.asarray(image), pixels.squeeze())
        sizes[in_runs] = path.stat().st_size
    # Three bands alike repeat for the slow search, which real colours do not.
    assert bands == 3 or sizes[True] < 1.1 * sizes[False]


def test_an_avif_of_less_effort_is_the_same_picture() -> None:
    pixels = grain(np.uint8, 3)
    apart = []
    for effort in (0, 4):
        content = encoded.alternate(pixels, "avif", 85, icc=None, effort=effort)
        shown = pyvips.Image.new_from_buffer(content, "").numpy()[..., :3].astype(float)
        apart.append(np.abs(shown - pixels).mean())
        assert content == encoded.alternate(pixels, "avif", 85, icc=None, effort=effort)
    assert apart[0] < 1.3 * apart[1] + 0.5


def test_an_effort_is_stated_where_it_has_an_effect_alone() -> None:
    def codes(form: str) -> list[str]:
        asked = {"name": "a", "form": form, "effort": 2}
        config = settings.load({"render": {"sets": [asked]}})
        return [each.code for each in agreement._check_naming(config, Path())]

    assert codes("avif") == codes("webp") == []
    assert codes("jpeg") == codes("tiff") == ["settings.sets"]
