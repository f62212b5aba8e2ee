"""Figures of the capture table: hours, operators by role id, kinds, and what was captured again."""

import pytest

from glassine.base import item_states
from glassine.report import captures, views
from glassine.report.shown import Item, Master


def item(name, *masters):
    return Item(status=item_states.ItemStatus(name, "done"), masters=list(masters))


def master(path, taken="", **more):
    return Master(path=path, taken=taken, **more)


ITEMS = [
    item("A", master("A.tif", "2026-03-17T10:05:00", kind="plate")),
    item("B", master("B.tif", "2026-03-17T10:59:59", kind="plate")),
    item("C", master("day 2/C.tif", "2026-03-18T09:00:00", kind="sheet")),
    item(
        "D",
        master("day 2/x/D.tif", mtime_ns=1_773_741_600_000_000_000),
        master("day 2/x/D (2).tif", "0000:00:00", mtime_ns=1_773_741_600_000_000_000),
    ),
]
INTAKE = views.Intake(
    sessions=[
        views.Session(folder="", station="table-1", operators=["op-07", "op-03"]),
        views.Session(folder="day 2", station="table-2"),
    ],
    facts=views.BatchFacts(operator=views.Operators(capture="op-09")),
)


def test_masters_are_counted_by_hour_session_and_kind():
    found = captures.of_batch(ITEMS, INTAKE)
    # 1,773,741,600 s after 1970 is 2026-03-17 10:00 UTC (GNU date).
    assert found.by_hour == {"2026-03-17T10": 4, "2026-03-18T09": 1}
    assert found.by_file_time == 2
    assert found.by_operators == {"op-03 + op-07": 2, "op-09": 3}
    assert found.by_station == {"table-1": 2, "table-2": 3}
    assert found.by_kind == {"not stated": 2, "plate": 2, "sheet": 1}
    assert found.an_hour == pytest.approx(2.5)


def test_a_second_capture_of_the_same_place_is_one_again():
    assert captures.of_batch(ITEMS, INTAKE).again == 1
    parts = [item("E", master("E_emu.tif", part="emu"), master("E_base.tif", part="base"))]
    assert captures.of_batch(parts, views.Intake()).again == 0


def test_a_batch_without_masters_has_no_figures():
    assert captures.of_batch([item("F")], INTAKE) is None


def test_a_time_that_no_clock_has_counts_for_no_hour():
    odd = [item("G", master("G.tif", "soon", mtime_ns=10**40))]
    assert captures.of_batch(odd, views.Intake()).by_hour == {}
