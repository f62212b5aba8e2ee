"""What the step look keeps of a master's frames: only negatives that may share a film."""

from dataclasses import replace

import pytest

from glassine.base.model import Facts, Frame, MasterGeometry
from glassine.look.step import shown_negatives

CORNERS = ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (0.0, 9.0))
COLOUR = Frame(1, CORNERS, 0.0, "negative", "colour")
GREY = replace(COLOUR, process="monochrome")
NAMED, UNNAMED = Facts(film="roll 7"), Facts()


def kept(frame, facts, base=True):
    regions = (CORNERS,) if base else ()
    geometry = MasterGeometry("a.tif", 9, 9, None, None, (frame,), base_regions=regions)
    return bool(shown_negatives(geometry, facts))


@pytest.mark.parametrize(
    ("frame", "facts", "base", "wanted"),
    [
        (COLOUR, UNNAMED, True, True),
        (COLOUR, UNNAMED, False, False),  # nothing tells its film
        (GREY, UNNAMED, True, False),
        (COLOUR, NAMED, False, True),
        (GREY, NAMED, False, True),
        (replace(COLOUR, polarity="positive"), NAMED, True, False),
        (replace(COLOUR, blank=True), NAMED, True, False),
        (replace(COLOUR, excluded=True), NAMED, True, False),
    ],
)
def test_only_negatives_that_may_share_a_film_are_kept(frame, facts, base, wanted):
    assert kept(frame, facts, base) is wanted
