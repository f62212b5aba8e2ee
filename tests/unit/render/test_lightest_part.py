"""What a frame is exposed by is its lightest part, not one channel that left the master's range."""

from __future__ import annotations

import msgspec
import numpy as np

from glassine.base import settings
from glassine.base.model import Facts
from glassine.base.tone import Negative
from glassine.render import tone
from glassine.render.given import ToneSection
from makers.tone import film_model as model
from makers.tone import positives

SECTION = msgspec.convert(settings.load({})["tone"], ToneSection)


def exposure(blue_at_its_end: float) -> float:
    """Return the exposure given to a photograph; share of its rows whose blue is lost in black."""
    strip = model.strip(
        model.film_of("usual", 3), [positives.photographs()["astronaut-0"]], 3, base=True
    )
    left, top, width, height = strip.boxes[0]
    rows = int(height * blue_at_its_end)
    strip.source.pixels[top + 20 : top + 20 + rows, left : left + width, 2] = 0
    way = tone.plan(strip.source, strip.geometry, Facts(), strip.icc, SECTION)[0]
    assert isinstance(way, Negative)
    return way.exposure


def test_a_channel_lost_in_black_does_not_darken_the_picture() -> None:
    # Without a limit the lost channel counts for white: three powers of ten too dark.
    assert abs(exposure(0.015) - exposure(0.0)) < 0.2


def test_a_picture_of_one_colour_filled_plane_is_drawn_the_same_each_time() -> None:
    once, again = positives.plain(2), positives.plain(2)
    assert all(np.array_equal(once[name], again[name]) for name in once)
