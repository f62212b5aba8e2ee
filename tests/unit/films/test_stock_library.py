"""What films showed of their stock: kept over batches, started from, frozen, carried, never wrong
in silence."""

import shutil

import msgspec
import numpy as np
import pytest
import yaml
from msgspec import UNSET

from glassine.base import settings
from glassine.base.model import Facts
from glassine.films import library, show_stocks
from glassine.report import films as shown_films
from makers import rolls

STOCK = "harbour negative film"
# Small, as nothing here rests on what they show.
SHOWN = [np.ascontiguousarray(picture[::3, ::3]) for picture in rolls.pictures(6)]
# Steeper than usual films, so that what is learned can be told from what is usual.
STEEP = rolls.film(1, slopes=np.array([0.66, 0.70, 0.74]))


def look(results, shown, stated=STOCK, **more):
    facts = Facts(film="roll 7", film_from="batch.yaml", film_stock=stated, **more)
    for number, picture in enumerate(shown, 1):
        rolls.look_at(results / "items", f"PEH-{number:02d}", STEEP, [picture], facts=facts)


@pytest.fixture(scope="module")
def two_batches(tmp_path_factory):
    folder = tmp_path_factory.mktemp("results")
    look(folder / "first", SHOWN[:3])
    look(folder / "second", SHOWN[3:])
    return folder


@pytest.fixture(scope="module")
def learned_once(two_batches, tmp_path_factory):
    folder = tmp_path_factory.mktemp("learned") / "results"
    shutil.copytree(two_batches, folder)
    film(folder, "first", stock_library="learn")
    return folder


@pytest.fixture
def results(two_batches, tmp_path):
    """Two batches whose frames were looked at."""
    shutil.copytree(two_batches, tmp_path / "results")
    return tmp_path / "results"


@pytest.fixture
def learned(learned_once, tmp_path):
    """The same when the stock was learned from the first of them."""
    shutil.copytree(learned_once, tmp_path / "learned")
    return tmp_path / "learned"


def film(results, batch, **chosen):
    return rolls.pooled(results / batch, **chosen).films[0]


def test_nothing_is_kept_unless_it_is_asked_for(results):
    assert film(results, "first").stock is UNSET
    assert not (results / library.NAME).exists()


def test_too_few_frames_tell_nothing_of_a_stock(results, monkeypatch):
    monkeypatch.setattr(library, "LEAST_FRAMES", 4)
    film(results, "first", stock_library="learn")
    assert not (results / library.NAME).exists()


def test_a_film_starts_from_what_another_batch_showed_and_says_so(learned):
    (first,) = library.read(learned).stocks[0].films
    before = film(learned, "second").used.values
    after = film(learned, "second", stock_library="use")
    assert after.stock.films == 1
    assert f"film stock {STOCK} as 1 earlier film showed it" in after.used.values.slopes_source
    assert after.stock.version in after.used.values.slopes_source

    def off(values):
        return np.abs(np.log10(np.array(values.slopes) / np.array(first.slopes))).max()

    assert off(after.used.values) < off(before)


def test_a_batch_never_confirms_itself(learned):
    kept = (learned / library.NAME).read_bytes()
    again = film(learned, "first", stock_library="learn")
    assert again.stock is UNSET
    assert (learned / library.NAME).read_bytes() == kept


def test_what_is_noted_is_estimated_without_the_library(learned, results):
    film(learned, "second", stock_library="learn")
    noted = {each.batch: each for each in library.read(learned).stocks[0].films}
    assert set(noted) == {"first", "second"}
    film(results, "second", stock_library="learn")
    assert [noted["second"]] == library.read(results).stocks[0].films


def test_use_starts_from_the_library_and_leaves_it_as_it_is(learned):
    kept = (learned / library.NAME).read_bytes()
    assert film(learned, "second", stock_library="use").stock.films == 1
    assert (learned / library.NAME).read_bytes() == kept


def test_a_finished_film_changes_by_the_step_alone(learned):
    before = film(learned, "second", pool_step=0.5).used
    after = film(learned, "second", stock_library="use", pool_step=0.5)
    assert 0 < after.moved <= 0.5
    assert after.used == before
    assert after.now != before
    assert film(learned, "second", stock_library="use", pool_step=0).used == after.now


def test_slopes_that_are_stated_start_from_nothing_and_teach_nothing(learned):
    slopes = {STOCK: {"slopes": [0.6, 0.6, 0.6]}}
    stated = film(learned, "second", stock_library="learn", film_stocks=slopes)
    assert stated.stock is UNSET
    assert stated.used.values.slopes == (0.6, 0.6, 0.6)
    assert [each.batch for each in library.read(learned).stocks[0].films] == ["first"]


def test_another_stock_learns_apart(learned):
    look(learned / "second", SHOWN[3:], stated="quay negative film")
    assert film(learned, "second", stock_library="learn").stock is UNSET
    assert [stock.name for stock in library.read(learned).stocks] == [STOCK, "quay negative film"]


def test_a_damaged_library_is_told_and_never_written_over(results):
    (results / library.NAME).write_text('{"stocks": 5}')
    made = rolls.pooled(results / "first", stock_library="learn")
    assert made.films[0].used is not None
    (finding,) = made.findings
    assert finding.code == "films.library"
    assert library.NAME in finding.path
    assert (results / library.NAME).read_text() == '{"stocks": 5}'
    told = shown_films.shown(results / "first").problems
    assert [each.code for each in told] == ["films.library"]


def test_a_frozen_stock_learns_nothing_more(learned, capsys):
    assert show_stocks.main([str(learned), "--freeze", STOCK]) == 0
    assert "frozen" in capsys.readouterr().out
    kept = (learned / library.NAME).read_bytes()
    assert film(learned, "second", stock_library="learn").stock.films == 1
    assert (learned / library.NAME).read_bytes() == kept
    assert show_stocks.main([str(learned), "--learn", STOCK]) == 0
    assert not library.read(learned).stocks[0].frozen


def test_a_stock_is_shown_and_carried_as_settings(learned, capsys):
    (first,) = library.read(learned).stocks[0].films
    assert show_stocks.main([str(learned)]) == 0
    assert f"{STOCK}: colour" in capsys.readouterr().out
    assert show_stocks.main([str(learned), "--settings"]) == 0
    chosen = settings.load(yaml.safe_load(capsys.readouterr().out))
    carried = chosen["tone"]["film_stocks"][STOCK]["slopes"]
    assert carried == pytest.approx(first.slopes, abs=1e-4)


def test_a_name_that_no_stock_has_and_a_damaged_file_are_told(learned, capsys):
    assert show_stocks.main([str(learned), "--freeze", "no such film"]) == 2
    assert "no such film" in capsys.readouterr().err
    (learned / library.NAME).write_text("{")
    assert show_stocks.main([str(learned)]) == 1
    assert library.NAME in capsys.readouterr().err


def test_one_odd_film_among_five_moves_the_middle_little(learned):
    (one,) = library.read(learned).stocks[0].films
    odd = msgspec.structs.replace(one, slopes=tuple(value * 1.4 for value in one.slopes))
    middle = library.pooled(STOCK, [one, one, one, one, odd])
    assert middle.slopes == pytest.approx(one.slopes, rel=0.02)
    # As far as films of the stock differ a further one may.
    assert middle.contrast > 0.05
