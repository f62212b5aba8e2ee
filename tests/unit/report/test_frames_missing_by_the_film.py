"""Names that count on over a frame that was passed over: the film's own numbers tell it."""

from glassine.base.item_states import ItemStatus
from glassine.report import film_numbers, recapture
from glassine.report.shown import Batch, Frame, Item, Master

ROLL = {f"F7-{n}": ("7", str(n)) for n in range(1, 6)}


def on_film(*numbers):
    return {f"F7-{n}": number for n, number in enumerate(numbers, 1) if number}


def told(*numbers, rolls=ROLL):
    return [(e.item, e.frame) for e in film_numbers.missing(rolls, on_film(*numbers))]


def test_a_number_that_the_film_has_between_two_neighbours_is_missing():
    assert told("10", "11", "13", "14", "15") == [("7", "12")]
    assert told("10", "11", "15", "16", "17") == [("7", "12 to 14")]


def test_nothing_is_said_where_numbers_are_not_read_or_names_leave_the_same_room():
    assert told("10", "", "13", "14", "15") == []
    assert told("10", "11", "12", "13", "14") == []
    assert told("1", "1A", "2", "2A", "3") == []
    gap = {"F7-1": ("7", "1"), "F7-2": ("7", "3")}  # told by the names
    assert told("1", "3", rolls=gap) == []


def test_it_stands_on_the_list_for_the_table_and_asks_once():
    frames = {
        item: Frame(
            n=1, corners=[], angle=0, rotate=0, mirror=False, polarity="negative",
            process="colour", blank=False, exclude=False, confidence=1, state="done", seen=None,
            source="measured", reasons=(), files={}, tiles=None, measures=[], film_frame=number,
        )
        for item, number in on_film("10", "11", "13", "14", "15").items()
    }  # fmt: skip
    items = [
        Item(ItemStatus(item, state="done"), masters=[Master(path=item, frames=[frame])])
        for item, frame in frames.items()
    ]
    batch = Batch("b", "B", items=items, rolls=ROLL)
    film_numbers.tell(batch)
    assert [each.code for each in batch.asks].count("report.film_frame_missing") == 1
    rows = [(row.item, *row.reasons) for row in recapture.rows(batch)]
    assert rows == [("7", "Frame 12 is missing between 11 (F7-2) and 13 (F7-3).")]
    assert batch.expected and batch.expected.missing[0].unlisted
