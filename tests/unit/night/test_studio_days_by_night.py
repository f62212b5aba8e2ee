"""What became of each file of a studio's day in the results of its night, against what a person
decides. All days, by the engine: `tests/benchmarks/run identity-nights`."""

from __future__ import annotations

from pathlib import Path

import pytest

from glassine.base import hashing
from makers import day_nights, studio_days

# Days of few items; each item costs a third of a second.
CHEAP = (
    "mixed", "retakes_in_folders", "retakes_left_out", "retakes_not_allowed", "what_systems_leave",
    "katalog", "table_of_another_name", "separators_left_out", "copied_twice",
    "copied_twice_renamed", "digests_in_a_table",
)  # fmt: skip


@pytest.mark.parametrize("name", CHEAP)
def test_each_file_has_in_the_results_the_fate_that_a_person_decides(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(hashing, "sync", lambda folder: None)
    day = studio_days.make(name, tmp_path / "masters" / name)
    day_nights.by_steps(day, tmp_path, name)
    found = day_nights.read(tmp_path, name)
    assert day_nights.fates(day, found) == day.fates | day.by_night
    missing, surplus = day_nights.reconciled(found)
    assert not day.missing or missing == sorted(day.missing)
    assert not day.surplus or surplus == sorted(day.surplus)


def test_a_fate_that_the_bag_contradicts_is_none(tmp_path: Path) -> None:
    """The judge itself: a master that is said to go on and is not in the bag, and one that is held
    and is in it."""
    day = studio_days.make("katalog", tmp_path / "masters" / "katalog")
    day_nights.by_steps(day, tmp_path, "katalog")
    found = day_nights.read(tmp_path, "katalog")
    there, found.bytes_there = found.bytes_there, set()
    assert day_nights.fates(day, found)["PEH-0391.tif"].startswith("! ")
    found.bytes_there, found.states["PEH-0391"] = there, "held"
    assert day_nights.fates(day, found)["PEH-0391.tif"].startswith("! ")
