"""Quicker ways of working something out give what the plain ways give, to the last bit."""

import cv2
import numpy as np
import pytest

from glassine.locate import border
from glassine.look import compact
from glassine.masters import colour
from glassine.render import layers, looks
from glassine.render.quality import area, bands


@pytest.mark.parametrize("rows", [100, 477, 1203])
def test_parts_of_pairs_of_segments(rows):
    rng = np.random.default_rng(rows)
    shared = rng.normal(0, 1, (9, rows))
    weight = rng.uniform(1, 40, (9, rows))
    weight[3, : rows // 3] = weight[5, rows // 5 :] = weight[6, ::2] = 0.0
    everywhere, usual = bands._of_parts(shared, weight)
    for pair in range(9):
        parts = [
            float((p * w).sum() / w.sum())
            for p, w in zip(
                np.array_split(shared[pair], bands.PARTS),
                np.array_split(weight[pair], bands.PARTS),
                strict=True,
            )
            if w.sum() > 0
        ]
        assert everywhere[pair] == float(np.quantile(parts, bands.EVERYWHERE))
        assert usual[pair] == float(np.median(parts))


def test_the_grey_that_dust_is_sought_in():
    every = np.arange(256, dtype=np.uint8)
    a, b = np.meshgrid(every, every)
    for c in (0, 1, 2, 100, 254, 255):
        rgb = np.stack([a, b, np.full_like(a, c)], axis=-1)
        assert (area._grey(rgb) == rgb.mean(axis=2).astype(np.uint8)).all()
    assert (area._grey(a) == a).all()
    assert (area._grey(a[..., None]) == a).all()


@pytest.mark.parametrize("channels", [1, 2, 3])
def test_the_two_highest_channels(channels):
    x = np.random.default_rng(channels).integers(0, 4, (500, channels)) / 3.0
    ordered = np.sort(x, axis=1)
    highest, second = layers._two_highest(x)
    assert (highest == ordered[:, -1]).all()
    assert (second == ordered[:, max(channels - 2, 0)]).all()


@pytest.mark.parametrize("shape", [(0, 5), (3, 4), (90, 70)])
@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("samples", [1, 3])
def test_light_and_density_of_codes(shape, bits, samples):
    encoding = colour.encoding_of(None, "gamma-1.8", bits, samples)
    dtype = np.uint8 if bits == 8 else np.uint16
    codes = np.random.default_rng(bits).integers(0, 2**bits, (*shape, samples)).astype(dtype)
    density = colour.density(encoding.tables).astype(np.float32)
    for seen in (codes, codes[::2, ::-1]):
        for band in range(samples):
            light, dense = encoding.band_linear(seen, band), encoding.band_density(seen, band)
            assert (light == encoding.tables[band][seen[..., band]]).all()
            assert (dense == density[band][seen[..., band]]).all()
            assert (encoding.linear(seen)[..., band] == light).all()
            assert (encoding.density(seen)[..., band] == dense).all()
        assert encoding.linear(seen).shape == seen.shape
        assert encoding.linear(seen).dtype == encoding.tables.dtype


@pytest.mark.parametrize("columns", [2, 3, 9, 10])
@pytest.mark.parametrize("channels", [1, 3])
def test_medians_of_a_few_columns_beside_a_line(columns, channels):
    rng = np.random.default_rng(columns)
    v = rng.random((60, 50, channels)).astype(np.float32)
    rows = np.arange(5, 55)
    at = rng.integers(0, 40, 50)[:, None] + np.arange(columns)[None]
    for facing in (v, v[:, ::-1], v.transpose(1, 0, 2)[:, ::-1]):
        facing = np.resize(facing, (60, 50, channels)) if facing.shape[0] < 60 else facing
        found = border._medians(facing, rows, at)
        expected = np.median(facing[rows[:, None], at], axis=1)
        assert (found == expected).all()
        assert found.dtype == expected.dtype


@pytest.mark.parametrize("bands", [1, 3])
def test_the_order_of_densities(bands):
    density = np.random.default_rng(bands).integers(0, 65536, (3000, bands)).astype(np.uint16)
    density[1000:2000] //= 16384  # many that are alike
    ordered = compact._ordered(density)
    assert ordered.dtype == density.dtype
    assert (ordered == density[np.lexsort(density.T[::-1])]).all()


def test_calm_codes():
    rng = np.random.default_rng(1)
    reduced = rng.integers(0, 65536, (300, 400, 3)).astype(np.uint16)
    mask = np.zeros((300, 400), bool)
    mask[20:280, 30:390] = rng.random((260, 360)) > 0.1
    for most in (looks.MAX_SAMPLES, 5000):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(looks, "MAX_SAMPLES", most)
            found = looks._calm(reduced, mask)
        smooth = cv2.medianBlur(np.ascontiguousarray(reduced[20:280, 30:390]), 3)
        codes = smooth[mask[20:280, 30:390]]
        assert (found == codes[:: max(1, -(-len(codes) // most))]).all()
