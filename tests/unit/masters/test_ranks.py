"""Medians and percentiles are numpy's to the last bit."""

from __future__ import annotations

import numpy as np
import pytest

from glassine.masters import ranks

N = ranks.LEAST


def arrays(dtype: type) -> list[np.ndarray]:
    rng = np.random.default_rng(8)
    noise = rng.normal(0, 1, 3 * N + 1)
    return [
        each.astype(dtype)
        for each in (
            noise,
            noise[:-1],
            np.abs(noise),
            np.round(noise, 1),  # many that are equal
            np.zeros(N),
            np.arange(2 * N),
            np.tile(np.arange(8.0), N),  # a pattern that a sample by steps sees one value of
            np.where(noise > 2, 5.0, 0.0),
            noise.reshape(-1, 1)[:99].repeat(N, 1),
            noise[:7],
            noise[:8],
            noise[:1],
            noise[: N - 1],
        )
    ]


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_medians_are_numpys(dtype: type) -> None:
    for values in arrays(dtype):
        found, expected = ranks.median(values), np.median(values)
        assert (found, found.dtype) == (expected, expected.dtype)


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize("per_cent", [0, 0.1, 1, 20, 25, 50, 80, 99.5, 99.7, 99.9, 100])
def test_percentiles_are_numpys(dtype: type, per_cent: float) -> None:
    for values in arrays(dtype):
        found, expected = ranks.percentile(values, per_cent), np.percentile(values, per_cent)
        assert (found, found.dtype) == (expected, expected.dtype)


def test_a_sample_that_misleads_is_not_believed() -> None:
    count = 20 * ranks.SAMPLE
    step = count // ranks.SAMPLE
    values = np.arange(count, dtype=np.float32)
    values[::step] = -1.0  # all that the sample sees
    assert ranks.median(values) == float(np.median(values))


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("count", [1, 2, 3, 1000, 33_333])
def test_percentiles_of_counted_codes_are_numpys(bits: int, count: int) -> None:
    rng = np.random.default_rng(count)
    for most in (1, 40, 2**bits):
        codes = rng.integers(0, most, count).astype(np.uint8 if bits == 8 else np.uint16)
        counts = np.bincount(codes, minlength=2**bits)
        for per_cent in (0, 0.05, 10, 50, 99.95, 100):
            assert ranks.of_codes(counts, per_cent) == np.percentile(codes, per_cent)
