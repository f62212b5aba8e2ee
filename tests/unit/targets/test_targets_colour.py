"""CIELAB and colour differences against published pairs and two independent libraries."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from glassine.targets import colour as ours

# Sharma, Wu and Dalal, "The CIEDE2000 color-difference formula: implementation notes,
# supplementary test data, and mathematical observations", Color Res. Appl. 30 (2005), 21-30,
# doi 10.1002/col.20070, table 1.
# fmt: off
PAIRS = [
    ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), 2.0425),
    ((50.0, 3.1571, -77.2803), (50.0, 0.0, -82.7485), 2.8615),
    ((50.0, 2.8361, -74.02), (50.0, 0.0, -82.7485), 3.4412),
    ((50.0, -1.3802, -84.2814), (50.0, 0.0, -82.7485), 1.0),
    ((50.0, -1.1848, -84.8006), (50.0, 0.0, -82.7485), 1.0),
    ((50.0, -0.9009, -85.5211), (50.0, 0.0, -82.7485), 1.0),
    ((50.0, 0.0, 0.0), (50.0, -1.0, 2.0), 2.3669),
    ((50.0, -1.0, 2.0), (50.0, 0.0, 0.0), 2.3669),
    ((50.0, 2.49, -0.001), (50.0, -2.49, 0.0009), 7.1792),
    ((50.0, 2.49, -0.001), (50.0, -2.49, 0.001), 7.1792),
    ((50.0, 2.49, -0.001), (50.0, -2.49, 0.0011), 7.2195),
    ((50.0, 2.49, -0.001), (50.0, -2.49, 0.0012), 7.2195),
    ((50.0, -0.001, 2.49), (50.0, 0.0009, -2.49), 4.8045),
    ((50.0, -0.001, 2.49), (50.0, 0.001, -2.49), 4.8045),
    ((50.0, -0.001, 2.49), (50.0, 0.0011, -2.49), 4.7461),
    ((50.0, 2.5, 0.0), (50.0, 0.0, -2.5), 4.3065),
    ((50.0, 2.5, 0.0), (73.0, 25.0, -18.0), 27.1492),
    ((50.0, 2.5, 0.0), (61.0, -5.0, 29.0), 22.8977),
    ((50.0, 2.5, 0.0), (56.0, -27.0, -3.0), 31.903),
    ((50.0, 2.5, 0.0), (58.0, 24.0, 15.0), 19.4535),
    ((50.0, 2.5, 0.0), (50.0, 3.1736, 0.5854), 1.0),
    ((50.0, 2.5, 0.0), (50.0, 3.2972, 0.0), 1.0),
    ((50.0, 2.5, 0.0), (50.0, 1.8634, 0.5757), 1.0),
    ((50.0, 2.5, 0.0), (50.0, 3.2592, 0.335), 1.0),
    ((60.2574, -34.0099, 36.2677), (60.4626, -34.1751, 39.4387), 1.2644),
    ((63.0109, -31.0961, -5.8663), (62.8187, -29.7946, -4.0864), 1.263),
    ((61.2901, 3.7196, -5.3901), (61.4292, 2.248, -4.962), 1.8731),
    ((35.0831, -44.1164, 3.7933), (35.0232, -40.0716, 1.5901), 1.8645),
    ((22.7233, 20.0904, -46.694), (23.0331, 14.973, -42.5619), 2.0373),
    ((36.4612, 47.858, 18.3852), (36.2715, 50.5065, 21.2231), 1.4146),
    ((90.8027, -2.0831, 1.441), (91.1528, -1.6435, 0.0447), 1.4441),
    ((90.9257, -0.5406, -0.9208), (88.6381, -0.8985, -0.7239), 1.5381),
    ((6.7747, -0.2908, -2.4247), (5.8714, -0.0985, -2.2286), 0.6377),
    ((2.0776, 0.0795, -1.135), (0.9033, -0.0636, -0.5514), 0.9082),
]
# fmt: on


@pytest.fixture(scope="module")
def science():
    """The library colour-science, imported without its note on missing plots."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour


def random_labs(count: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return rng.uniform([0, -110, -110], [100, 110, 110], (count, 3))


@pytest.mark.parametrize(("one", "two", "difference"), PAIRS)
def test_the_published_pairs_come_out_to_four_decimals(one, two, difference):
    assert float(ours.delta_e_2000(np.array(one), np.array(two))) == pytest.approx(
        difference, abs=5.1e-5
    )


def test_two_libraries_agree_on_random_pairs(science):
    from skimage.color import deltaE_ciede2000

    one, two = random_labs(4000, 1), random_labs(4000, 2)
    found = ours.delta_e_2000(one, two)
    assert np.abs(found - science.delta_E(one, two, method="CIE 2000")).max() < 1e-9
    assert np.abs(found - deltaE_ciede2000(one, two)).max() < 1e-9
    assert (
        np.abs(ours.delta_e_76(one, two) - science.delta_E(one, two, method="CIE 1976")).max()
        < 1e-9
    )


def test_lab_and_xyz_agree_with_colour_science(science):
    white = np.array([0.9642, 1.0, 0.8249])
    xy = white[:2] / white.sum()
    labs = random_labs(500, 3)
    ours_xyz = ours.xyz_from_lab(labs)
    theirs = science.Lab_to_XYZ(labs, xy)
    assert np.abs(ours_xyz - theirs).max() < 1e-9
    assert np.abs(ours.lab_from_xyz(ours_xyz) - labs).max() < 1e-9


# CIE 1976 lightness of Y, computed with colour-science 0.4.7.
@pytest.mark.parametrize(
    ("y", "expected"),
    [(0.0, 0.0), (0.002, 1.806593), (0.01, 8.991442), (0.1, 37.84243), (0.18, 49.496108),
     (0.5, 76.069261), (1.0, 100.0)],
)  # fmt: skip
def test_lightness_is_that_of_the_cie(y, expected):
    assert float(ours.lightness(y)) == pytest.approx(expected, abs=1e-5)
    assert float(ours.luminance(expected)) == pytest.approx(y, abs=1e-8)


@given(st.lists(st.floats(-100, 100), min_size=6, max_size=6))
def test_a_difference_is_symmetric_and_never_negative(values):
    one, two = np.array(values[:3]), np.array(values[3:])
    one[0], two[0] = abs(one[0]), abs(two[0])
    forth, back = ours.delta_e_2000(one, two), ours.delta_e_2000(two, one)
    assert forth >= 0
    assert float(forth) == pytest.approx(float(back), abs=1e-6)


def test_lightness_weighs_fully_where_a_guideline_takes_sl_as_one():
    one, two = np.array([90.0, 0, 0]), np.array([95.0, 0, 0])
    assert float(ours.delta_e_2000(one, two, unit_lightness_weight=True)) == pytest.approx(5.0)
    assert float(ours.delta_e_2000(one, two)) < 3.5
