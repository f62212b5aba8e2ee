"""Which frames are pooled as one film, which never are, and when a film's values change."""

import json

import numpy as np
import pytest
from msgspec import UNSET

from glassine.base.model import Facts
from glassine.films import agreement
from glassine.films import record as films_record
from makers import rolls

NAMED = Facts(film="roll 7", film_from="batch.yaml")
SHOWN = rolls.pictures(8)


@pytest.fixture
def results(tmp_path):
    return tmp_path / "b1"


def take(results, stocks, facts=NAMED, **more):
    """Look at one picture an item, on these films, in the order of the items."""
    for number, stock in enumerate(stocks, 1):
        shown = [SHOWN[(number - 1) % len(SHOWN)]]
        rolls.look_at(results / "items", f"PEH-{number:02d}", stock, shown, facts=facts, **more)


def words(film, item):
    (member,) = [member for member in film.members if member.item == item]
    return member.left_out


def test_frames_of_a_named_film_share_its_values(results):
    stock = rolls.film(1)
    take(results, [stock] * 4)
    (film,) = rolls.pooled(results).films
    assert (film.name, film.whence, film.used.note.frames) == ("roll 7", "batch.yaml", 4)
    assert all(member.left_out is UNSET for member in film.members)
    # The slopes against each other, log10: drawn, so known.
    wanted = np.log10(stock.slopes / stock.slopes.mean())
    got = np.log10(np.array(film.used.values.slopes) / np.mean(film.used.values.slopes))
    assert np.abs(got - wanted).max() < 0.015
    entries = films_record.by_item(rolls.pooled(results))
    assert set(entries) == {f"PEH-{n:02d}" for n in range(1, 5)}
    assert len({entry.film.note.version for each in entries.values() for entry in each}) == 1


def test_two_films_under_one_name_are_told_and_not_pooled(results):
    take(results, [rolls.film(1), rolls.film(4)])
    (film,) = rolls.pooled(results).films
    assert film.used is None
    doubts = [
        entry.doubt
        for each in films_record.by_item(rolls.pooled(results)).values()
        for entry in each
    ]
    assert len(doubts) == 2
    assert all("roll 7" in doubt for doubt in doubts)


def test_the_frame_of_another_film_is_left_out_of_a_named_one(results):
    take(results, [rolls.film(1)] * 3 + [rolls.film(4)])
    with_it = rolls.pooled(results).films[0]
    assert "film base" in words(with_it, "PEH-04")
    assert with_it.used.note.frames == 3
    (entry,) = films_record.by_item(rolls.pooled(results))["PEH-04"]
    assert entry.film is None
    assert "film base" in entry.doubt


def test_a_thin_frame_of_another_film_is_left_out_though_no_base_of_it_is_seen(results):
    stock = rolls.film(1)
    take(results, [stock] * 3)
    other = rolls.film(1, dmin=stock.dmin - 0.3)
    rolls.look_at(results / "items", "PEH-04", other, [SHOWN[3]], base=False, facts=NAMED)
    film = rolls.pooled(results).films[0]
    assert "thinner" in words(film, "PEH-04")


def test_colour_and_monochrome_under_one_name_are_never_pooled(results):
    take(results, [rolls.film(1)] * 3)
    grey = rolls.film(2, slopes=np.full(3, 0.6), dmin=np.full(3, 0.2))
    rolls.look_at(results / "items", "PEH-04", grey, [SHOWN[3]], facts=NAMED, process="monochrome")
    film = rolls.pooled(results).films[0]
    assert "monochrome" in words(film, "PEH-04")
    assert film.used.note.frames == 3


def test_a_roll_half_of_each_process_has_no_film(results):
    take(results, [rolls.film(1)])
    rolls.look_at(
        results / "items", "PEH-02", rolls.film(1), [SHOWN[1]], facts=NAMED, process="monochrome"
    )
    film = rolls.pooled(results).films[0]
    assert film.used is None
    assert all(member.left_out is not UNSET for member in film.members)


def test_a_frame_with_a_hole_in_it_says_nothing_of_the_base(results):
    """The bare table within a picture would be taken for the film's thinnest part."""
    stock = rolls.film(1)
    take(results, [stock] * 3, base=False)
    right = rolls.pooled(results).films[0].used.values
    holed = rolls.film(1, dmin=np.array([0.0, 0.0, 0.0]))
    rolls.look_at(results / "items", "PEH-04", holed, [SHOWN[3]], base=False, facts=NAMED)
    film = rolls.pooled(results).films[0]
    assert film.used.note.frames == 3
    assert film.used.values.dmin == right.dmin
    (member,) = [member for member in film.members if member.item == "PEH-04"]
    assert "bare light table" in member.not_pooled


def test_other_stated_slopes_part_a_frame_from_its_film(results):
    take(results, [rolls.film(1)] * 3)
    other = Facts(film="roll 7", film_from="batch.yaml", slopes=(0.5, 0.6, 0.7))
    rolls.look_at(results / "items", "PEH-04", rolls.film(1), [SHOWN[3]], facts=other)
    assert "stated" in words(rolls.pooled(results).films[0], "PEH-04")


def test_a_named_monochrome_film_shares_its_base(results):
    """What is thinnest in any of its frames, where no base is seen."""
    grey = rolls.film(2, slopes=np.full(3, 0.6), dmin=np.full(3, 0.2))
    take(results, [grey] * 3, base=False, process="monochrome")
    light = [np.maximum(SHOWN[0], 90)]  # a picture without anything dark
    rolls.look_at(results / "items", "PEH-01", grey, light, False, NAMED, "monochrome")
    film = rolls.pooled(results).films[0]
    alone = [unit["alone"][0]["dmin"][0] for unit in looked(results)]
    assert film.used.values.channels == (1,)
    assert film.used.values.dmin[0] == pytest.approx(min(alone), abs=0.002)
    assert max(alone) - min(alone) > 0.01


def looked(results):
    paths = sorted(results.glob("items/*/looks.json"))
    return [json.loads(path.read_text())["masters"][0] for path in paths]


# ------------------------------------------------------------------ films that nobody names


def test_neighbours_of_one_base_colour_are_found(results):
    take(results, [rolls.film(1)] * 3 + [rolls.film(4)] * 2, facts=Facts())
    films = rolls.pooled(results).films
    assert [[member.item for member in film.members] for film in films] == [
        ["PEH-01", "PEH-02", "PEH-03"],
        ["PEH-04", "PEH-05"],
    ]
    assert {film.whence for film in films} == {"base colour"}


@pytest.mark.parametrize("pool", ["named", "none"])
def test_nothing_is_found_where_it_is_not_asked_for(results, pool):
    take(results, [rolls.film(1)] * 3, facts=Facts())
    assert rolls.pooled(results, pool=pool).films == []


def test_frames_without_a_visible_base_stay_apart(results):
    take(results, [rolls.film(1)] * 3, facts=Facts(), base=False)
    assert rolls.pooled(results).films == []


def test_monochrome_negatives_that_nobody_names_stay_apart(results):
    take(results, [rolls.film(1)] * 3, facts=Facts(), process="monochrome")
    assert rolls.pooled(results).films == []


def test_films_drawn_at_random_are_not_taken_for_one(results):
    """One frame each of 24 films that were drawn apart: no two are pooled."""
    take(results, [rolls.film(number) for number in range(24)], facts=Facts())
    assert rolls.pooled(results).films == []


# ------------------------------------------------------------------ from night to night


def test_order_of_looking_changes_nothing(results, tmp_path):
    take(results, [rolls.film(1)] * 4)
    rolls.pooled(results)
    other = tmp_path / "other" / "b1"
    for number in (3, 1, 4, 2):
        rolls.look_at(
            other / "items", f"PEH-{number:02d}", rolls.film(1), [SHOWN[number - 1]], facts=NAMED
        )
    rolls.pooled(other)
    assert (results / "films.json").read_bytes() == (other / "films.json").read_bytes()


def test_a_small_change_of_one_frame_leaves_the_film_as_it_was_used(results):
    take(results, [rolls.film(1)] * 4)
    before = rolls.pooled(results, pool_step=0.2).films[0]
    rolls.look_at(results / "items", "PEH-04", rolls.film(1), [SHOWN[5]], facts=NAMED)
    after = rolls.pooled(results, pool_step=0.2).films[0]
    assert 0 < after.moved <= 0.2
    assert after.now != after.used
    assert after.used == before.used


def test_with_no_step_any_change_is_used(results):
    take(results, [rolls.film(1)] * 4)
    before = rolls.pooled(results, pool_step=0).films[0]
    rolls.look_at(results / "items", "PEH-04", rolls.film(1), [SHOWN[5]], facts=NAMED)
    after = rolls.pooled(results, pool_step=0).films[0]
    assert after.used == after.now != before.used


def test_a_large_change_is_used(results):
    take(results, [rolls.film(1)] * 3)
    before = rolls.pooled(results).films[0]
    changed = rolls.film(1, slopes=rolls.film(1).slopes * [1.0, 1.15, 1.0])
    take(results, [changed] * 3)
    after = rolls.pooled(results).films[0]
    assert after.moved > 0.01
    assert after.used == after.now != before.used


def test_small_changes_do_not_add_up_unseen(results):
    """What is used is never farther than the step from what the frames show."""
    for turn in range(6):
        factor = [1.0, 1.0 + 0.008 * turn, 1.0]
        take(results, [rolls.film(1, slopes=rolls.film(1).slopes * factor)] * 2)
        film = rolls.pooled(results, pool_step=0.02).films[0]
        assert agreement.exposures_apart(film.used.values, film.now.values) <= 0.02


def test_a_stated_change_is_used_however_small(results):
    for slopes in ((0.55, 0.60, 0.64), (0.55, 0.60, 0.641)):
        take(results, [rolls.film(1)] * 2, facts=Facts(film="roll 7", slopes=slopes))
        assert rolls.pooled(results).films[0].used.values.slopes == slopes


def test_a_frame_that_is_excluded_is_no_part_of_its_film(results):
    take(results, [rolls.film(1)] * 3)
    (results / "items" / "PEH-03" / "looks.json").write_text('{"item": "PEH-03", "masters": []}')
    film = rolls.pooled(results).films[0]
    assert film.now.note.frames == 2
    assert "PEH-03" not in films_record.by_item(rolls.pooled(results))


def test_an_item_held_before_its_look_is_told_and_holds_none(results):
    take(results, [rolls.film(1)] * 3)
    folder = results / "items" / "PEH-02"
    (folder / "steps.json").write_text('{"verify": "x"}')
    (folder / "held.json").write_text("{}")
    films = rolls.pooled(results)
    assert [entry.item for entry in films.without] == ["PEH-02"]
    assert "held" in films.without[0].why
    assert films.films[0].now.note.frames == 2


def test_a_damaged_look_is_told_and_made_again(results):
    take(results, [rolls.film(1)] * 3)
    path = results / "items" / "PEH-02" / "looks.json"
    path.write_text(path.read_text()[:500])
    films = rolls.pooled(results)
    assert "damaged" in films.without[0].why
    assert not path.exists()
    assert films.films[0].now.note.frames == 2


def test_a_lost_or_damaged_record_of_films_is_made_anew(results):
    take(results, [rolls.film(1)] * 3)
    rolls.pooled(results)
    first = (results / "films.json").read_bytes()
    (results / "films.json").write_text("{")
    rolls.pooled(results)
    assert (results / "films.json").read_bytes() == first


def test_a_film_that_gains_frames_keeps_its_name_and_values(results):
    take(results, [rolls.film(1)] * 3, facts=Facts())
    before = rolls.pooled(results, pool_step=0.2).films[0]
    rolls.look_at(results / "items", "PEH-00", rolls.film(1), [SHOWN[4]], facts=Facts())
    after = rolls.pooled(results, pool_step=0.2).films[0]
    assert after.name == before.name == "film of PEH-01"
    assert len(after.members) == 4
    assert after.used == before.used


def test_one_film_that_parts_in_two_gives_its_past_to_one(results):
    take(results, [rolls.film(1)] * 4, facts=Facts())
    rolls.pooled(results)
    take(results, [rolls.film(1)] * 2 + [rolls.film(4)] * 2, facts=Facts())
    films = rolls.pooled(results).films
    assert [film.name for film in films] == ["film of PEH-01", "film of PEH-03"]
    assert json.loads((results / "films.json").read_text())["films"][1]["moved"] == 0.0


def test_a_film_found_to_be_of_the_other_process_is_made_anew(results):
    take(results, [rolls.film(1)] * 2, process="monochrome")
    assert rolls.pooled(results).films[0].used.values.process == "monochrome"
    take(results, [rolls.film(1)] * 2)
    assert rolls.pooled(results).films[0].used.values.process == "colour"
