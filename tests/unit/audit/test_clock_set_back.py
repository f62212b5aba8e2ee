"""A clock that ran ahead once must not keep what was read then from being read again."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from pathlib import Path

import pytest

from glassine.audit import rounds
from glassine.audit.holdings import Places
from glassine.audit.rounds import Limits, Round
from glassine.base import clock, files
from makers import deliveries

AHEAD, TODAY = 4_000_000_000, 1_790_000_000  # in 2096, and in 2026


def running_from(second: int) -> Callable[[], str]:
    seconds = itertools.count(second)
    return lambda: clock.text_of(next(seconds))


@pytest.fixture
def root(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    deliveries.without_records(monkeypatch)
    deliveries.make_batch(tmp_path, 1)
    item = tmp_path / "results/b1/items/PEH-0001"
    files.write_json(item / "done.json", {})
    files.write_json(tmp_path / "results/b1/intake.json", {})
    return tmp_path


def audit(root: Path, limits: Limits, now: Callable[[], str]) -> Round:
    places = Places(root / "masters", root / "results", root / "deliveries")
    return rounds.go(places, ["b1"], limits, now)


@pytest.mark.parametrize("limits", [Limits(1.0, 0.0), Limits(1.0, 0.0, everything=True)])
def test_what_was_read_in_the_future_is_read_again(limits: Limits, root: Path) -> None:
    everything = Limits(1.0, 0.0, everything=True)
    assert audit(root, everything, running_from(AHEAD)).parts == 2
    assert audit(root, limits, running_from(TODAY)).parts == 2
    shown = audit(root, Limits(1e-9, 0.0), running_from(TODAY + 99))
    assert str(shown.batches["b1"].masters.oldest).startswith("2026")


def test_it_comes_before_what_was_read_since(root: Path) -> None:
    """A share that never reaches the end must reach it."""
    audit(root, Limits(1.0, 0.0), running_from(AHEAD))
    read = [audit(root, Limits(1e-9, 0.0), running_from(TODAY + 9 * n)).bytes for n in range(2)]
    assert len({*read}) == 2  # another part each night
