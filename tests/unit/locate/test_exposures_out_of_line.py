"""What tells that pictures beside one another were exposed one by one, and what only looks like it."""

import numpy as np
import pytest

from glassine.locate import formats, weights
from glassine.locate.candidate import Candidate
from glassine.locate.known import Known
from glassine.locate.refine import Edge
from glassine.locate.scale import Scale
from glassine.locate.shapes import ENDS


def picture(left, top, wide, high, **more):
    c = np.array(
        [[left, top], [left + wide, top], [left + wide, top + high], [left, top + high]], float
    )
    one = Candidate(c, False, [1.0] * 4, [True] * 4, "single")
    one.edges = [Edge(c[i], c[j], 1.0, 0.1, 0.6, c[i], 0.0) for i, j in ENDS]
    for name, value in more.items():
        setattr(one, name, value)
    return one


def halves(off_left, off_right, longer=0.0):
    """Return two parts of a piece, one below the other, parted by a band; the second's sides lie so
    many px beside those of the first.
    """
    whole = picture(0, 0, 1000, 1500)
    whole.object_corners = whole.corners
    parts = [
        picture(50, 50, 900, 690, whole=whole),
        picture(50 + off_left, 760, 900 + off_right - off_left, 690 + longer, whole=whole),
    ]
    for one in parts:
        one.against("parted by a band", "one of several by a band alone")
    formats.examine(Known(), parts)
    return [weights.confidence(one.evidence) >= 0.8 for one in parts]


def test_a_piece_that_was_moved_between_its_exposures_was_exposed_twice():
    assert halves(5, 5) == [True, True]


@pytest.mark.parametrize(
    ("off", "longer"),
    [((0, 0), 0), ((5, -5), 0), ((5, 0), 0), ((1, 1), 0), ((5, 5), 40)],
    ids=["a beam", "sides that bend", "one side alone", "hardly", "a crack off the middle"],
)
def test_parts_in_line_or_of_two_sizes_stay_for_review(off, longer):
    assert halves(*off, longer) == [False, False]


# ------------------------------------------------------------------ 120 film by its shape alone


def strip(high_mm, ppi=254.0, share=1.0):
    """Return three pictures on what was taken for 120 film, 10 px per mm: 61.5 mm wide."""
    own = [picture(30 + 600 * k, 40, 545, 10 * high_mm, strip=1, gauge="120") for k in range(3)]
    for one in own:
        one.edges[1].share = share
    return Known(seen=Scale(ppi, "film width")), own


def test_pictures_less_high_than_any_gate_are_on_no_120_film():
    """56 mm (ISO 732)."""
    assert formats.of_no_gate(*strip(52.0))


@pytest.mark.parametrize(
    "pictures", [strip(56.0), strip(54.0), strip(52.0, share=0.4)], ids=["56", "54", "unseen"]
)
def test_pictures_of_a_gate_or_hardly_seen_may_be(pictures):
    assert not formats.of_no_gate(*pictures)


# ------------------------------------------------------------------ the size of a gate


@pytest.mark.parametrize(
    ("wide_mm", "source", "seen"),
    [(36.0, "perforations", True), (33.0, "perforations", False), (36.0, "tag", False)],
)
def test_a_frame_of_a_gate_by_its_perforations_is_one_picture(wide_mm, source, seen):
    """36 x 24 mm (ISO 1007), by perforations at 254 ppi."""
    one = picture(0, 0, 10 * wide_mm, 240, strip=1, gauge="135")
    formats.examine(Known(Scale(254.0, source)), [one])
    assert one.format_seen == seen


def test_openings_of_one_size_are_those_of_a_holder():
    alike = [picture(500 * k, 0, 343, 220, level_dark=True) for k in range(3)]
    other = picture(2000, 0, 343, 260, level_dark=True)
    formats.examine(Known(), [*alike, other])
    assert [one.format_seen for one in (*alike, other)] == [True, True, True, False]
