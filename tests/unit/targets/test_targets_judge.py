"""Levels reached, what fails by how much, and what a table is silent on."""

from __future__ import annotations

import msgspec
import pytest
import yaml

from glassine.base.errors import GlassineError
from glassine.base.model import Facts
from glassine.base.records.target import Measure, PlacedValue
from glassine.targets import judge

TO_4X5 = "fadgi_2016_negatives_to_4x5"
OVER_4X5 = "fadgi_2016_negatives_over_4x5"

# A rig that meets four stars up to 4 x 5 in: values inside each printed limit of the table
# "Photographic Negatives: 35mm to 4x5" of FADGI 2016.
GOOD = {
    "sampling_rate": 4010.0, "bit_depth": 16.0, "dynamic_range": 4.1, "scale_error": 0.3,
    "illuminance_nonuniformity": 0.8, "misregistration": 0.2, "sfr10": 96.0,
    "sfr_half_sampling": 0.12, "sfr50": 55.0, "sfr_peak": 1.0,
}  # fmt: skip


def measures(**changed):
    return [
        Measure(name=name, value=value, unit="", note="not there" if value is None else "")
        for name, value in {**GOOD, **changed}.items()
    ]


def placed(name, **values):
    """The good rig's measures, one of them with its values by place."""
    places = [PlacedValue(where=where, value=value) for where, value in values.items()]
    return [
        msgspec.structs.replace(one, values=places) if one.name == name else one
        for one in measures()
    ]


def rows(verdict):
    return {row.criterion: row for row in verdict.criteria}


def test_a_good_rig_gets_four_stars_and_a_complete_verdict():
    verdict = judge.judge(measures(), TO_4X5)
    assert verdict.overall == "4"
    assert verdict.complete
    assert verdict.read_in_original
    assert not verdict.from_memory
    assert "no certification" in verdict.statement


# Printed limits of FADGI 2016, films 35 mm to 4 x 5 in: one and the same in both tables.
@pytest.mark.parametrize(
    ("name", "value", "star"),
    [
        ("sampling_rate", 2990.0, "3"), ("sampling_rate", 2930.0, "2"),
        ("sampling_rate", 960.0, None),
        ("bit_depth", 8.0, "2"),
        ("dynamic_range", 3.9, "3"), ("dynamic_range", 3.79, "1"), ("dynamic_range", 3.49, None),
        ("illuminance_nonuniformity", 1.0, "3"), ("illuminance_nonuniformity", 4.9, "2"),
        ("illuminance_nonuniformity", 7.9, "1"), ("illuminance_nonuniformity", 8.0, None),
        ("misregistration", 0.33, "3"), ("misregistration", 0.79, "2"),
        ("misregistration", 1.2, None),
        ("sfr10", 90.0, "3"), ("sfr10", 80.1, "3"), ("sfr10", 60.5, "1"), ("sfr10", 60.0, None),
        ("sfr_half_sampling", 0.2, "3"), ("sfr_half_sampling", 0.3, "2"),
        ("sfr_half_sampling", 0.4, None),
        ("sfr50", 65.0, "4"), ("sfr50", 66.0, "3"), ("sfr50", 39.0, "3"), ("sfr50", 90.0, "1"),
        ("sfr50", 24.0, None),
        ("scale_error", 0.999, "4"), ("scale_error", 1.0, "3"), ("scale_error", 2.5, "2"),
        ("scale_error", 3.0, None),
        ("sfr_peak", 1.01, "3"), ("sfr_peak", 1.1, "2"), ("sfr_peak", 1.29, "1"),
        ("sfr_peak", 1.3, None),
    ],
)  # fmt: skip
@pytest.mark.parametrize("table", [TO_4X5, "fadgi_2016_transparencies_to_4x5"])
def test_each_row_gives_the_star_that_is_printed(table, name, value, star):
    verdict = judge.judge(measures(**{name: value}), table)
    assert rows(verdict)[name].level == star
    assert verdict.overall == star


def test_print_errors_are_kept_and_noted():
    given = judge.limits().tables
    negatives, positives = given[OVER_4X5], given["fadgi_2016_transparencies_over_4x5"]
    # Open-ended 1-star cells: no limit.
    for name in ("illuminance_nonuniformity", "misregistration", "sfr_peak"):
        assert negatives.criteria[name].limits[0] is None
    assert negatives.criteria["sfr_half_sampling"].limits == [0.4, 0.35, 0.3, 0.2]
    assert positives.criteria["sfr10"].limits == [60, 60, 80, 90]
    assert len(negatives.print_notes) == 3
    assert any("60" in note for note in positives.print_notes)
    bad = judge.judge(measures(misregistration=9.0, sampling_rate=2000.0), OVER_4X5)
    row = rows(bad)["misregistration"]
    assert row.level == "1"
    assert row.limits["1"] == "no limit printed"


def test_film_tables_give_no_star_for_what_they_do_not_hold():
    for name, table in judge.limits().tables.items():
        if table.family == "fadgi_2016":
            held = {row.measure for row in table.criteria.values() if row.judged}
            assert held == set(GOOD), name
            assert {"tone response", "white balance", "noise"} <= set(table.silent_on)


def test_the_2023_film_table_is_empty_and_judges_nothing():
    verdict = judge.judge(measures(), "fadgi_2023_film")
    assert verdict.criteria == []
    assert verdict.overall is None
    assert not verdict.complete


def test_a_failed_row_says_by_how_much_and_where():
    entries = placed("sfr10", centre=96.0, corner=71.5)
    row = rows(judge.judge(entries, TO_4X5))["sfr10"]
    assert (row.where, row.level) == ("corner", "2")
    assert [(fail.level, fail.by) for fail in row.fails] == [("3", 8.5), ("4", 18.5)]
    assert row.fails[0].limit == "> 80 % of half sampling"
    assert row.edition == "2016"


def test_the_worst_place_counts_for_ranges_too():
    entries = placed("sfr50", a=50.0, b=80.0)
    row = rows(judge.judge(entries, TO_4X5))["sfr50"]
    assert (row.where, row.level) == ("b", "2")


def test_what_was_not_measured_is_named_and_not_taken_for_met():
    verdict = judge.judge(measures(dynamic_range=None), TO_4X5)
    missing = [entry for entry in verdict.not_judged if entry.reason == "not measured"]
    assert [entry.criterion for entry in missing] == ["dynamic_range"]
    assert not verdict.complete


# Levels of ISO 19264-1:2021 as a published comparison prints them (secondary source).
@pytest.mark.parametrize(
    ("name", "value", "level"),
    [
        ("tone_error_lightness", 2.0, "A"), ("tone_error_lightness", 2.5, "B"),
        ("tone_error_lightness", 4.5, None),
        ("gain_highlights", 1.15, "B"), ("gain_highlights", 0.79, "B"), ("gain_other", 1.35, "B"),
        ("white_balance", 3.5, "B"), ("de2000_mean", 4.5, "B"), ("de2000_mean", 5.5, None),
        ("de2000_max", 12.0, "B"), ("noise_lightness", 1.7, "B"), ("noise_lightness", 2.1, "C"),
        ("sfr10", 84.0, "B"), ("sfr10", 72.0, "C"),
    ],
)  # fmt: skip
def test_levels_of_reflective_originals(name, value, level):
    row = judge.judge([Measure(name=name, value=value, unit="")], "iso_19264_1_2021")
    assert row.criteria[0].level == level
    assert not row.criteria[0].read_in_original


@pytest.mark.parametrize(
    ("facts", "expected"),
    [
        ({"polarity": "positive", "kind": "mounted_slide"}, "fadgi_2016_transparencies_to_4x5"),
        ({"polarity": "negative", "kind": "plate", "size_mm": (165.0, 216.0)}, OVER_4X5),
        ({"polarity": "negative", "kind": "sheet", "size_mm": (101.6, 127.0)}, TO_4X5),
        ({}, TO_4X5),  # nothing stated: the stricter table
    ],
)
def test_the_table_follows_what_the_batch_says_of_the_film(facts, expected):
    found = judge.tables_for("transmissive", Facts.from_dict(facts))
    assert found[0] == expected
    assert "house_transmissive" in found
    assert not any("19264" in name for name in found)


def test_prints_are_judged_by_the_tables_for_reflective_originals():
    found = judge.tables_for("reflective", Facts())
    assert found == ["iso_19264_1_2021", "metamorfoze_2_0", "house_reflective"]


def test_an_unknown_table_is_told():
    with pytest.raises(GlassineError, match="fadgi_1999"):
        judge.tables_for("transmissive", Facts(), ["fadgi_1999"])


def test_a_table_that_does_not_fit_its_levels_is_refused(tmp_path):
    value = yaml.safe_load(judge.LIMITS_PATH.read_text("utf-8"))
    value["tables"][TO_4X5]["criteria"]["sfr10"]["limits"] = [60, 70]
    path = tmp_path / "limits.yaml"
    path.write_text(yaml.safe_dump(value), "utf-8")
    with pytest.raises(GlassineError, match="sfr10"):
        judge.limits(path)


def test_an_institution_can_fill_the_empty_table(tmp_path, monkeypatch):
    value = yaml.safe_load(judge.LIMITS_PATH.read_text("utf-8"))
    value["tables"]["fadgi_2023_film"]["criteria"] = {
        "sfr10": {"measure": "sfr10", "rule": "greater", "limits": [1, 2, 3, 97],
                  "unit": "% of half sampling", "source": "fadgi_2023"}
    }  # fmt: skip
    path = tmp_path / "limits.yaml"
    path.write_text(yaml.safe_dump(value), "utf-8")
    filled = judge.limits(path)
    monkeypatch.setattr(judge, "limits", lambda: filled)
    assert judge.judge(measures(), "fadgi_2023_film").overall == "3"


def test_every_source_says_whether_it_was_read_in_the_original():
    for source in judge.limits().sources.values():
        assert isinstance(source.read_in_original, bool)
        assert source.edition
