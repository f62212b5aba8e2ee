"""The review queue: each frame once, under its most serious reason; nothing for review is left out."""

from __future__ import annotations

from glassine.base.item_states import ItemStatus, Reason
from glassine.report import queue
from glassine.report.shown import Batch, Frame, Item, Master


def frame(n: int, *reasons: str) -> Frame:
    return Frame(
        n=n, corners=[], angle=0, rotate=0, mirror=False, polarity="negative", process="colour",
        blank=False, exclude=False, confidence=0.5, state="review", seen=None, source="measured",
        reasons=reasons, files={}, tiles=None, measures=[],
    )  # fmt: skip


def item(name: str, reasons: list[Reason], frames: list[Frame], state: str = "review") -> Item:
    status = ItemStatus(name, state=state, reasons=reasons)  # type: ignore[arg-type]
    return Item(status, masters=[Master(path=f"{name}.tif", frames=frames)])


def grouped(*items: Item) -> list[tuple[str, list[tuple[str, int | None]]]]:
    return [
        (group.words, [(entry.item, entry.frame) for entry in group.entries])
        for group in queue.groups(Batch("night", "Night", items=[*items]))
    ]


def test_numbers_do_not_part_a_reason() -> None:
    items = [
        item(name, [Reason(f"noise: {value} D", f"{name}.tif", 1)], [frame(1)])
        for name, value in (("a", "0.021"), ("b", "1.5"))
    ]
    assert grouped(*items) == [("noise: 0.021 D", [("a", 1), ("b", 1)])]


def test_a_frame_of_two_reasons_stands_once_under_what_concerns_its_outline() -> None:
    outline = "The left edge was not seen."
    reasons = [Reason("noise: 0.2", "a.tif", 1), Reason(outline, "a.tif", 1)]
    assert grouped(item("a", reasons, [frame(1, outline)])) == [(outline, [("a", 1)])]


def test_what_names_no_frame_comes_first_then_outlines_then_the_most_frequent_measure() -> None:
    outline = "The left edge was not seen."
    items = [
        item("a", [Reason("noise: 1", "a.tif", 1)], [frame(1)]),
        item("b", [Reason("clipped: 1", "b.tif", 1)], [frame(1)]),
        item("c", [Reason("clipped: 2", "c.tif", 1)], [frame(1)]),
        item("d", [Reason(outline, "d.tif", 1)], [frame(1, outline)]),
        item("e", [Reason("No frame was found.", "e.tif")], []),
    ]
    words = [group for group, _ in grouped(*items)]
    assert words == ["No frame was found.", outline, "clipped: 1", "noise: 1"]


def test_every_item_for_review_is_in_it_and_no_other() -> None:
    items = [
        item("a", [Reason("A word about the item.")], []),
        item("b", [Reason("noise: 1", "b.tif", 1)], [frame(1)], state="done"),
    ]
    assert grouped(*items) == [("A word about the item.", [("a", None)])]
