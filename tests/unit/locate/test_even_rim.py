"""A border of one tone just inside an outline is no part of a picture, however narrow it is."""

import numpy as np
import pytest

from glassine.locate import unexplained


def picture(rebate_px, tone):
    r = np.random.default_rng(3)
    grey = np.kron(r.uniform(0.2, 1.4, (8, 10)), np.ones((75, 75))).astype(np.float32)
    grey += 0.01 * r.standard_normal(grey.shape).astype(np.float32)
    if rebate_px:
        inner = grey[rebate_px:-rebate_px, rebate_px:-rebate_px].copy()
        grey[:] = tone + 0.04 * r.standard_normal(grey.shape)
        grey[rebate_px:-rebate_px, rebate_px:-rebate_px] = inner
    return grey


@pytest.mark.parametrize("rebate_px", [9, 12, 24])
def test_a_black_rebate_is_seen_however_narrow(rebate_px):
    grey = picture(rebate_px, 2.2)
    assert any(unexplained._even_rim(grey, *rim) for rim in unexplained.RIMS)


def test_a_picture_out_to_its_edge_has_none():
    grey = picture(0, 0.0)
    assert not any(unexplained._even_rim(grey, *rim) for rim in unexplained.RIMS)


def test_a_black_rebate_is_seen_around_a_picture_with_blacks_of_its_own():
    grey = picture(10, 2.07)
    grey[10:-10, 10:-10][300:] += 0.8  # a ground nearly as black, and in places denser by its noise
    grey += np.linspace(-0.06, 0.06, grey.shape[1], dtype=np.float32)
    assert any(unexplained._even_rim(grey, *rim) for rim in unexplained.RIMS)
