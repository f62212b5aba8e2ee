"""The grey copy in which labels are looked for is the same however it is worked out."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from glassine.masters import labels


@settings(max_examples=60, deadline=None)
@given(
    codes=st.lists(st.integers(0, 65535), min_size=1, max_size=400),
    shares=st.sampled_from([(0.5, 99.5), (0.0, 100.0), (33.0, 50.0)]),
)
def test_percentiles_by_counting_are_those_by_sorting(
    codes: list[int], shares: tuple[float, float]
) -> None:
    held = np.array(codes, np.uint16)
    assert labels._percentiles(held, shares) == pytest.approx(tuple(np.percentile(held, shares)))


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_the_darkest_and_the_lightest_are_cut_off_and_a_root_is_drawn(dtype: type) -> None:
    full = np.iinfo(dtype).max
    samples = np.random.default_rng(1).integers(0, full, (64, 80, 3), endpoint=True).astype(dtype)
    grey = samples[..., 1]
    low, high = np.percentile(grey[::4, ::4], (0.5, 99.5))
    wanted = np.sqrt(np.clip((grey.astype(np.float64) - low) / (high - low), 0, 1)) * 255
    found = labels._grey(samples)
    assert found.dtype == np.uint8 and np.abs(found - wanted).max() <= 1
