"""What the trained network says of drawn film, how it is weighed, and that it is always the same."""

import hashlib
import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from msgspec import structs

from glassine.base.model import Facts, Frame
from glassine.render import doubt, pool, trained, weighed
from glassine.render.estimate import Known, estimate, with_network
from glassine.render.given import FilmStock
from glassine.render.looks import Look
from makers import processors

SCRIPTS = Path(trained.__file__).parents[2]
DMIN = (0.25, 0.60, 0.85)
SRGB = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


def frame(number, hues=9):
    """Return the look of a frame of patches of `hues` colours, on a film of slope 0.6."""
    rng = np.random.default_rng(number)
    paint = rng.uniform(0.05, 0.95, (hues, 3))
    light = paint[rng.integers(0, hues, (24, 36))].repeat(4, 0).repeat(4, 1)
    light *= rng.uniform(0.8, 1.0, light.shape[:2])[..., None]
    density = np.array(DMIN) + 0.6 * np.maximum(np.log10(light) + 2.1, 0.0)
    calm = 10.0 ** -density.reshape(-1, 3)
    place = Frame(1, ((0, 0), (1, 0), (1, 1), (0, 1)), 0.0, "negative", "colour")
    return Look(place, np.full((4, 3), 30_000, np.uint16), calm, calm, density)


def known(facts=None, stock=None):
    return Known("colour", (0, 1, 2), (DMIN,), facts or Facts(), stock or FilmStock(), SRGB)


def asked(looks, of=None):
    of = of or known()
    return with_network(estimate(looks, of), looks, of)


LOOKS = [frame(number) for number in range(3)]
FILM = asked(LOOKS)


def test_what_is_said_of_a_film_depends_on_no_order_of_its_frames():
    turned = asked(LOOKS[::-1]).trained
    assert turned.slopes == pytest.approx(FILM.trained.slopes, abs=1e-3)
    assert turned.shared == pytest.approx(FILM.trained.shared, abs=1e-3)


def test_of_a_frame_of_one_colour_the_network_says_little():
    """The colour may be the light's or the paint's: what `layers` finds is kept nearly."""
    plain = frame(7, hues=1)
    film = asked([plain])
    found = doubt.own(plain, film)
    without = doubt.own(plain, replace(film, trained=None))
    said = np.array(found.network.balance)
    assert found.network.cast > 0.14
    mine, shown, network = (
        np.array(one) - np.mean(one) for one in (without.balance, found.balance, said)
    )
    assert np.linalg.norm(shown - mine) < 0.5 * np.linalg.norm(network - mine)


@pytest.mark.parametrize(
    "of",
    [
        known(Facts(slopes=(0.6, 0.6, 0.6))),
        known(stock=FilmStock(slopes=(0.6, 0.6, 0.6))),
        known(stock=FilmStock(balance=(0.0, 0.0, 0.0))),
    ],
)
def test_it_is_not_asked_of_film_whose_values_are_stated(of):
    film = asked(LOOKS, of)
    assert film.trained is None
    found = doubt.own(LOOKS[0], film)
    assert (found.film, found.network) == (film, None)


def test_the_film_that_its_record_keeps_is_rendered_alike():
    kept = pool.of_values(pool.values_of(FILM))
    assert kept.trained == FILM.trained
    one, other = (doubt.own(LOOKS[1], film) for film in (FILM, kept))
    assert one.network == other.network
    assert one.balance == pytest.approx(other.balance, abs=1e-5)


def test_frames_of_a_film_share_slopes_and_matrix():
    one, other = (doubt.own(look, FILM).film for look in LOOKS[:2])
    assert (one.slopes, one.density_matrix) == (other.slopes, other.density_matrix)
    assert np.array(one.density_matrix).sum(axis=1) == pytest.approx(1.0, abs=1e-5)


def test_the_surer_of_two_counts_more():
    assert weighed.mean_of(1.0, 0.1, 2.0, 0.1) == pytest.approx(1.5)
    assert weighed.mean_of(1.0, 0.1, 2.0, 10.0) == pytest.approx(1.0, abs=1e-3)
    assert weighed.mean_of(1.0, 10.0, 2.0, 0.1) == pytest.approx(2.0, abs=1e-3)


def test_a_network_that_knows_nothing_changes_little():
    lost = structs.replace(FILM.trained, contrast=9.0, ratios=9.0, beside=9.0)
    film = doubt.own(LOOKS[0], replace(FILM, trained=lost)).film
    assert film.slopes == pytest.approx(FILM.slopes, abs=2e-3)
    assert np.array(film.density_matrix) == pytest.approx(np.eye(3), abs=2e-2)


@pytest.mark.parametrize("shape", [(1, 3), (16, 3), (60_000, 3)])
def test_frames_of_any_size_are_told(shape):
    places = np.random.default_rng(1).uniform(0.3, 2.0, shape)
    context = trained.film([(places, None)], [DMIN], FILM.trained.facts)
    said = trained.frame(places, None, DMIN, context)
    assert np.isfinite([*said.balance, said.exposure, said.cast, said.error]).all()


SAYS = """
import sys
import numpy as np
sys.path.insert(0, sys.argv[1])
from glassine.base import processor
from glassine.render import trained
processor.same_everywhere()
places = np.random.default_rng(5).uniform(0.3, 2.4, (3, 5000, 3))
facts = tuple(np.linspace(-0.2, 0.3, 16).tolist())
frames = [(one, one.reshape(50, 100, 3)) for one in places]
base = (0.25, 0.6, 0.85)
film = trained.film(frames, [base] * 3, facts)
print(film, trained.frame(*frames[0], base, film))
"""


def test_it_says_the_same_on_every_processor():
    command = [sys.executable, "-c", SAYS, str(SCRIPTS)]
    done = processors.run(command, capture_output=True, text=True, check=True)
    assert len({one.stdout for one in done.values()}) == 1


def test_the_file_is_small_and_the_one_that_its_record_tells_of():
    record = json.loads(trained.FILE.with_suffix(".json").read_text("utf-8"))
    assert record["sha256"] == hashlib.sha256(trained.FILE.read_bytes()).hexdigest()
    assert trained.FILE.stat().st_size < 1_000_000
