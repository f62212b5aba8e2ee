"""Which film a master is said to be of: batch.yaml, then the catalogue; never of paper."""

import numpy as np
import pytest
import tifffile
import yaml

from glassine.base import settings
from makers.step_calls import taken_in


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "b1"
    made.mkdir()
    for name in ("PEH-0001.tif", "PEH-0002.tif", "PEH-0003_neg.tif", "PEH-0003_sleeve.tif"):
        tifffile.imwrite(made / name, np.zeros((8, 12, 3), np.uint16))
    rows = [
        "item_id,title,roll",
        "PEH-0001,Quay, roll 7 ",
        "PEH-0002,Quay,",
        "PEH-0003,Quay,roll 8",
    ]
    (made / "catalogue.csv").write_text("\n".join(rows) + "\n")
    return made


def take(folder, batch, column="roll"):
    (folder / "batch.yaml").write_text(yaml.safe_dump(batch))
    config = settings.load({"intake": {"watch_s": 0}, "catalogue": {"film_column": column}})
    result = taken_in(folder, {"batch": "b1", "settings": config})
    films = {
        master["path"]: (master["facts"]["film"], master["facts"]["film_from"])
        for item in result["items"]
        for master in item["masters"]
    }
    return films, result


def test_the_catalogue_names_films_and_batch_yaml_goes_before_it(folder):
    films, result = take(folder, {"items": [{"match": "PEH-0003", "film": "sleeve 2"}]})
    assert films == {
        "PEH-0001.tif": ("roll 7", "catalogue"),
        "PEH-0002.tif": (None, None),
        "PEH-0003_neg.tif": ("sleeve 2", "batch.yaml"),
        "PEH-0003_sleeve.tif": (None, None),  # of paper nothing is said without its part
    }
    assert not [note for note in result["notes"] if "roll" in note["what"]]  # it is a column in use


def test_a_column_is_read_only_where_it_is_stated(folder):
    films, _ = take(folder, {}, column=None)
    assert set(films.values()) == {(None, None)}


def test_a_positive_is_of_no_film(folder):
    films, _ = take(folder, {"defaults": {"polarity": "positive"}})
    assert set(films.values()) == {(None, None)}


@pytest.mark.parametrize("column", ["rol", "title"])
def test_a_column_that_names_nothing_is_told(folder, column):
    _, result = take(folder, {}, column=column)
    (note,) = [note for note in result["notes"] if note["code"] == "catalogue.film_column"]
    assert (note["severity"], repr(column) in note["what"]) == ("review", True)


def test_a_film_stated_of_a_positive_is_told_to_have_no_effect(folder):
    _, result = take(folder, {"defaults": {"polarity": "positive", "film": "roll 7"}})
    notes = [note for item in result["items"] for note in item["findings"]]
    assert any("`film`" in note["what"] and "no negative" in note["what"] for note in notes)
