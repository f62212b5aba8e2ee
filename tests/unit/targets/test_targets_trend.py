"""When did focus, colour or light begin to drift."""

from __future__ import annotations

import sqlite3

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from glassine.base.errors import GlassineError
from glassine.base.records.parts import Event, FindingNote
from glassine.base.records.target import Measure, TargetResult
from glassine.targets import trend


def result(batch, taken, file="film.json", **values):
    return TargetResult(
        batch=batch,
        path="film.tif",
        target="peh-film-01",
        file=file,
        kind="transmissive",
        taken=taken,
        measures=[Measure(name=name, value=value, unit="x") for name, value in values.items()],
        statement="",
        event=Event(
            type="quality review", time="", outcome="success", detail={}, software={}, operator=None
        ),
    )


def record(database, *results):
    trend.record(database, results[0].batch, results)


def test_points_come_back_in_order_of_capture_and_once_a_batch(tmp_path):
    database = tmp_path / "targets.sqlite"
    record(database, result("b2", "2026-03-18T10:00:00", sfr50=54.0, rotation=1.0))
    record(database, result("b1", "2026-03-17T10:00:00", sfr50=55.0))
    record(database, result("b2", "2026-03-18T10:00:00", sfr50=53.0))
    found = trend.courses(database)
    assert list(found) == [("peh-film-01", "sfr50")]
    assert [(point.batch, point.value) for point in found["peh-film-01", "sfr50"]] == [
        ("b1", 55.0),
        ("b2", 53.0),
    ]


def test_what_was_not_measured_leaves_no_point(tmp_path):
    database = tmp_path / "targets.sqlite"
    lost = msgspec.structs.replace(result("b1", "t", sfr10=1.0), state="not found")
    record(database, result("b1", "t", sfr50=None, white_balance=1.0), lost)
    assert list(trend.courses(database)) == [("peh-film-01", "white_balance")]


def test_a_target_captured_morning_and_evening_gives_two_points(tmp_path):
    database = tmp_path / "targets.sqlite"
    morning = result("b1", "2026-03-17T08:00:00", sfr50=55.0)
    evening = result("b1", "2026-03-17T18:00:00", file="evening.json", sfr50=54.0)
    record(database, morning, evening)
    (course,) = trend.courses(database).values()
    assert [point.value for point in course] == [55.0, 54.0]


def test_no_database_means_no_points(tmp_path):
    assert trend.courses(tmp_path / "none.sqlite") == {}
    assert not (tmp_path / "none.sqlite").exists()


def test_another_file_is_refused_in_words(tmp_path):
    path = tmp_path / "targets.sqlite"
    path.write_bytes(b"this is no database" * 200)
    with pytest.raises(GlassineError, match=r"targets\.trend"):
        trend.courses(path)
    with sqlite3.connect(tmp_path / "new.sqlite") as connection:
        connection.execute("PRAGMA user_version = 9")
    connection.close()
    with pytest.raises(GlassineError, match="version 9"):
        trend.courses(tmp_path / "new.sqlite")


@pytest.mark.parametrize(("slope", "direction"), [(-0.6, "falling"), (0.6, "rising")])
def test_a_slow_drift_is_dated_near_its_start(slope, direction):
    rng = np.random.default_rng(4)
    start = 14
    course = 55 + rng.normal(0, 0.3, 24)
    course[start:] += slope * np.arange(1, 24 - start + 1)
    index, way, usual, _ = trend.began(course)
    assert way == direction
    assert abs(index - start) <= 2
    assert usual == pytest.approx(55, abs=0.5)


def test_a_step_is_dated_to_its_batch():
    course = [55.0, 55.1, 54.9, 55.0, 55.05, 55.0, 54.95, 52.0, 52.1, 51.9]
    assert trend.began(course)[0] == 7


def test_one_bad_night_is_no_drift():
    course = [55.0, 55.2, 54.8, 55.1, 54.9, 55.0, 48.0, 55.0, 55.1, 54.9, 55.0, 55.0, 54.9,
              55.1, 55.0, 55.0, 55.0]  # fmt: skip
    assert trend.began(course) is None


def test_few_captures_say_nothing():
    assert trend.began([55, 50, 45, 40, 35]) is None


@settings(max_examples=60)
@given(st.floats(0.1, 1000), st.integers(0, 10_000))
def test_a_steady_rig_rarely_alarms_and_never_without_cause(level, seed):
    course = level * (1 + np.random.default_rng(seed).uniform(-0.0005, 0.0005, 30))
    assert trend.began(course) is None


def test_drifts_name_batch_and_measure(tmp_path):
    database = tmp_path / "targets.sqlite"
    for day in range(12):
        sharp = 55.0 + 0.1 * (day % 3) - (3.0 * (day - 7) if day > 7 else 0)
        record(
            database,
            result(f"b{day:02d}", f"2026-03-{day + 1:02d}", sfr50=sharp, noise_lightness=0.3),
        )
    (drift,) = trend.drifts(trend.courses(database))
    assert (drift.measure, drift.direction, drift.since) == ("sfr50", "falling", "b08")
    assert drift.taken == "2026-03-09"
    (told,) = trend.findings([drift], "b11")
    assert told.severity == "review"
    assert "falling since batch b08" in told.what
    section = trend.section(database, tmp_path, "b11")
    assert section.findings == [FindingNote(**told.as_dict())]
    assert {entry.measure for entry in section.series} == {"sfr50", "noise_lightness"}
    for entry in section.series:
        assert len(entry.points) == 12
        assert etree.parse(tmp_path / entry.plot).getroot().tag.endswith("svg")
