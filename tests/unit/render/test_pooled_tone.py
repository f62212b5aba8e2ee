"""A frame rendered with the film that it shares: the film's values, and its own exposure alone."""

import msgspec
import numpy as np
import pytest
from msgspec import UNSET

from glassine.base.errors import GlassineError
from glassine.base.model import Facts
from glassine.base.records.films import MasterFilm
from glassine.films import record
from glassine.render import tone
from glassine.render.given import ToneSection
from makers import rolls
from makers.tone import negatives, renderings, sources

NAMED = Facts(film="roll 7", film_from="batch.yaml")
SHOWN = rolls.pictures(20)[::4]
STOCK = rolls.film(3)
ICC = sources.linear_profile()


def planned(positive, pooled=None, process="colour", seed=1):
    codes, box = negatives.master(STOCK, positive, np.random.default_rng(seed), base=False)
    source = sources.ArraySource(codes)
    section = msgspec.convert(rolls.settings_of()["tone"], ToneSection)
    geometry = sources.geometry(source, box, process)
    return tone.plan(source, geometry, NAMED, ICC, section, pooled)[0], codes


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    results = tmp_path_factory.mktemp("films") / "b1"
    for number, positive in enumerate(SHOWN):
        rolls.look_at(results / "items", f"PEH-{number}", STOCK, [positive], False, NAMED)
    return record.by_item(rolls.pooled(results))["PEH-0"][0]


def as_its_frames_show(film):
    """Return the film without what the trained network says of it."""
    values = msgspec.structs.replace(film.film.values, trained=UNSET)
    return msgspec.structs.replace(film, film=msgspec.structs.replace(film.film, values=values))


def test_frames_share_the_films_slopes_and_matrix_and_what_was_weighed_is_in_the_record(film):
    one, other = (planned(positive, {"colour": film})[0] for positive in SHOWN[:2])
    assert (one.slopes, one.density_matrix) == (other.slopes, other.density_matrix)
    assert one.slopes != film.film.values.slopes
    assert one.network != other.network
    for plan in (one, other):
        assert plan.network.exposure > 0
        assert plan.network.cast > 0
        assert plan.slopes_source.endswith("and a trained network")


def test_frames_share_the_films_values_and_keep_their_exposure(film):
    shown = as_its_frames_show(film)
    one, other = (planned(positive, {"colour": shown})[0] for positive in SHOWN[:2])
    values = film.film.values
    for plan in (one, other):
        assert (plan.dmin, plan.slopes, plan.balance) == (
            values.dmin,
            values.slopes,
            values.balance,
        )
        assert plan.film == film.film.note
        assert plan.review == ()
    assert one.exposure != other.exposure


def test_the_picture_is_nearer_to_the_truth_than_by_itself(film, monkeypatch):
    """Known pictures, CIEDE2000 (CIE 142-2001, as scikit-image computes it): what pooling gains by
    itself, without the trained network on either side."""
    monkeypatch.setattr(tone, "with_network", lambda found, looks, known: found)
    apart, pooled = [], []
    for positive in SHOWN:
        for found, films in ((apart, None), (pooled, {"colour": as_its_frames_show(film)})):
            plan, codes = planned(positive, films)
            found.append(renderings.difference(tone.toning.apply(codes, plan, ICC), positive)[0])
    assert np.mean(pooled) < 0.75 * np.mean(apart)


def test_a_frame_that_cannot_be_of_its_film_is_for_review_and_as_by_itself():
    doubt = MasterFilm(master="a.tif", process="colour", film=None, doubt="It is said to be.")
    alone, told = (planned(SHOWN[0], films)[0] for films in (None, {"colour": doubt}))
    assert told.review == ("It is said to be.",)
    assert told.film is UNSET
    assert msgspec.structs.replace(told, review=()) == alone


def test_the_film_of_another_process_is_no_film_of_this_frame(film):
    alone, _ = planned(SHOWN[0], process="monochrome")
    assert planned(SHOWN[0], {"colour": film}, process="monochrome")[0] == alone


def test_values_of_other_channels_are_refused(film):
    values = msgspec.structs.replace(film.film.values, channels=(0,))
    wrong = msgspec.structs.replace(film, film=msgspec.structs.replace(film.film, values=values))
    with pytest.raises(GlassineError) as refused:
        planned(SHOWN[0], {"colour": wrong})
    assert refused.value.findings[0].code == "render.film"
