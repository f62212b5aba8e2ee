"""What plots are drawn with: whatever stands in a name, the drawing stays well-formed."""

import numpy as np
import pytest
from lxml import etree

from glassine.base import svg

# The five characters that markup gives a meaning (XML 1.0, section 2.4).
ODD = "<a & \"b\" 'c'>"


def test_texts_and_attributes_come_out_as_they_went_in():
    made = svg.tag("g", svg.title(ODD) + svg.text(ODD, x=1) + svg.description(ODD), class_=ODD)
    root = etree.fromstring(made)
    assert [child.text for child in root] == [ODD] * 3
    assert [child.tag for child in root] == ["title", "text", "desc"]
    assert root.get("class") == ODD


def test_an_underscore_is_a_hyphen():
    assert svg.tag("path", stroke_width=2, d="M0 0") == '<path stroke-width="2" d="M0 0"/>'


def test_the_ends_of_the_axes_lie_on_the_margins():
    plane = svg.Plane(300, 130, left=50, right=8, top=12, bottom=24, x=(-2, 6), y=(10, 20))
    assert (plane.across(-2), plane.across(2), plane.across(6)) == (50, (50 + 292) / 2, 292)
    assert (plane.up(10), plane.up(15), plane.up(20)) == (106, (106 + 12) / 2, 12)


@pytest.mark.parametrize(("low", "high"), [(0, 1), (-0.1, 1.4), (3, 3.02), (-5e4, 7e5), (0, 99)])
def test_ticks_are_even_inside_and_few(low, high):
    found = svg.ticks(low, high)
    assert 2 <= len(found) <= 11
    assert low <= found[0] <= found[-1] <= high
    assert np.allclose(np.diff(found), found[1] - found[0])
