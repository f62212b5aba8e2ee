"""How long the disk lasts, by what nights noted: told rightly, or said that it cannot be told."""

import json
import os
from types import SimpleNamespace

import pytest

from glassine.base import disk_room
from glassine.report import morning, shown

DAY = 86400
NOW = 1773800000
SIZE = 1000 * 10**9


@pytest.fixture
def disks(monkeypatch, tmp_path):
    """Sets what the disk says; (results, deliveries)."""
    results, deliveries = tmp_path / "results", tmp_path / "deliveries"
    results.mkdir()
    deliveries.mkdir()
    told = {"free": 100 * 10**9, "size": SIZE}

    def ask(_):
        return SimpleNamespace(f_bavail=told["free"], f_blocks=told["size"], f_frsize=1)

    monkeypatch.setattr(os, "statvfs", ask)
    return results, deliveries, told


def nights(disks, frees, apart=DAY, size=SIZE):
    """Notes of nights, the last one just now."""
    results, deliveries, told = disks
    told["size"] = size
    for number, free in enumerate(frees):
        told["free"] = int(free * 10**9)
        disk_room.note(results, deliveries, NOW - (len(frees) - 1 - number) * apart)
    return disk_room.forecast(results, deliveries, NOW)


def test_the_rate_is_that_of_the_last_nights(disks):
    (told,) = nights(disks, [130, 120, 110, 100])
    assert told.where == "results and deliveries"
    assert (told.rate, told.days, told.nights) == (10 * 10**9, 10, 4)
    assert "100.0 GB free" in told.sentence() and "about 10 days" in told.sentence()
    assert told.is_short


def test_nights_that_are_too_few_give_no_rate_and_say_so(disks):
    (told,) = nights(disks, [120, 110, 100])
    assert told.days is None and not told.is_short
    assert "after 4 nights (of the last 30 days 3 " in told.sentence()
    (before,) = disk_room.forecast(disks[0] / "none", disks[1], NOW)
    assert "30 days 0 can be used" in before.sentence()


def test_a_night_in_which_room_was_made_does_not_hide_the_growth(disks):
    """130, 120, 110, then a tidy frees 400, and 10 a night again: net it looks as if it shrank."""
    (told,) = nights(disks, [130, 120, 110, 510, 500, 490])
    assert told.rate == 10 * 10**9 and told.days == 49
    assert "left out, as room was made" in told.sentence()


def test_another_disk_is_no_growth(disks):
    nights(disks, [900, 899, 898, 897], apart=2 * DAY)
    results, deliveries, told = disks
    told |= {"free": 10 * 10**9, "size": SIZE // 4}
    (after,) = disk_room.forecast(results, deliveries, NOW)
    assert after.rate is None


def test_nothing_taken_is_said_and_is_no_division(disks):
    (told,) = nights(disks, [100] * 5)
    assert told.days is None and "took none of it" in told.sentence()


def test_runs_of_one_night_are_one_night(disks):
    assert len(disk_room.read(nights_folder(disks))) == 2


def nights_folder(disks):
    nights(disks, [100, 100, 100, 100, 100, 100, 99], apart=3600)
    return disks[0]


def test_old_notes_do_not_count_and_are_not_kept_for_ever(disks):
    results, deliveries, told = disks
    for number in range(80):
        disk_room.note(results, deliveries, NOW - (80 - number) * DAY)
    assert len(disk_room.read(results)) == 60
    told["free"] -= 10**9
    (forecast,) = disk_room.forecast(results, deliveries, NOW + 60 * DAY)
    assert forecast.nights == 0


@pytest.mark.parametrize("text", ["", "{}", '{"nights": 3}', '{"nights": [{"time": "x"}]}', "\0"])
def test_notes_that_cannot_be_read_begin_anew(disks, text):
    results, deliveries, _ = disks
    (results / "room.json").write_text(text)
    disk_room.note(results, deliveries, NOW)
    assert len(json.loads((results / "room.json").read_text())["nights"]) == 1


def test_a_clock_that_was_set_back_gives_no_rate_of_the_future(disks):
    results, deliveries, _ = disks
    nights(disks, [130, 120, 110, 100])
    disk_room.note(results, deliveries, NOW - 10 * DAY)
    assert [note.time for note in disk_room.read(results)] == [NOW - 10 * DAY]


def test_the_first_screen_says_it_and_a_full_disk_is_something_to_do(disks):
    batch = shown.Batch("b1", "B1", room=nights(disks, [130, 120, 110, 100]))
    batch.counts = dict.fromkeys(("held", "review", "waiting", "pending", "done", "total"), 0)
    told = morning.of_batch(batch, None)
    (fact,) = [each for each in told.facts if each.label == "Room on the disk"]
    assert fact.good is False and "about 10 days" in fact.text
    assert any("scripts/tidy" in each.text for each in told.actions)
    (disks[0] / disk_room.NOTES).unlink()
    batch.room = nights(disks, [130, 129.5, 129, 128.5])
    told = morning.of_batch(batch, None)
    assert not any("scripts/tidy" in each.text for each in told.actions)
