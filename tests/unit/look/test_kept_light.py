"""The light of a film is told from what is kept of its frames, as a night pools them."""

import numpy as np

from glassine.base.model import Facts
from glassine.look import compact
from glassine.masters import colour
from glassine.render.estimate import Known, estimate, primaries_of
from glassine.render.given import FilmStock
from glassine.render.lights import DAYLIGHT
from glassine.render.looks import look
from makers.tone import film_model as model
from makers.tone import positives

SIX = ("astronaut-0", "coffee-0", "rocket-2", "chelsea-0", "astronaut-2", "coffee-2")


def test_six_frames_by_lamps_are_not_taken_for_a_film_of_odd_slopes():
    """Kept small, they once were: layers of slopes 0.67 and 0.48 explained the orange as well."""
    shown = positives.photographs()
    film = model.film_of("clean", 6)
    lamps = np.array(model.planck(2850.0))
    strip = model.strip(film, [shown[name] for name in SIX], 6, base=True, lights=[lamps] * 6)
    encoding = colour.encoding_of(strip.icc, None, 16, 3)
    looks = [
        compact.read(compact.kept(look(strip.source, frame, encoding)), 3)
        for frame in strip.geometry.frames
    ]
    base = (tuple((film.dmin - np.log10(0.95)).tolist()),)
    known = Known("colour", (0, 1, 2), base, Facts(), FilmStock(), primaries_of(encoding))
    found = estimate(looks, known)
    assert found.light != DAYLIGHT
    ratio = np.log10(np.array(found.slopes) / film.slopes)
    # As near as usual films are to one another; it was 0.16.
    assert np.abs(ratio - ratio.mean()).max() < 0.05
