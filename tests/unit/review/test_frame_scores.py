"""What a person's decisions say of the finder: counted once, by what was measured before."""

from __future__ import annotations

from typing import Any

import pytest
from scipy.stats import binomtest

from glassine.review import frame_scores as scores

SQUARE = [[100.0, 100.0], [1100.0, 100.0], [1100.0, 800.0], [100.0, 800.0]]
# 30 px of a diagonal of 1,221 px: 2.5 %.
SHIFTED = [[130.0, 100.0], [1130.0, 100.0], [1130.0, 800.0], [130.0, 800.0]]
# 6 px: 0.5 %, the slip of a hand.
NUDGED = [[106.0, 100.0], [1106.0, 100.0], [1106.0, 800.0], [106.0, 800.0]]
ELSEWHERE = [[3000.0, 100.0], [4000.0, 100.0], [4000.0, 800.0], [3000.0, 800.0]]


def measured(state: str = "ok", confidence: float = 0.95, **more: Any) -> dict[str, Any]:
    return {
        "corners": SQUARE,
        "polarity": "negative",
        "process": "monochrome",
        "blank": False,
        "confidence": confidence,
        "state": state,
        "reasons": [],
        **more,
    }


def decided(index: int, before: dict[str, Any] | None, **more: Any) -> dict[str, Any]:
    base = before or measured()
    after = {key: base[key] for key in ("corners", "polarity", "process", "blank")}
    return {"index": index, "source": "correction", "measured": before, **after, **more}


def open_frame(index: int, state: str = "ok") -> dict[str, Any]:
    return {"index": index, "source": "measured", **measured(state)}


def master(*frames: dict[str, Any], kind: str = "sheet", below: float = 0.8) -> scores.JudgedMaster:
    detail = {"settings": {"review_below": below}}
    geometry = {
        "item": "PEH-0001",
        "event": {"detail": detail},
        "masters": [{"path": "PEH-0001.tif", "kind": kind, "frames": list(frames)}],
    }
    return scores.judged(geometry, 0.5)[0]


@pytest.mark.parametrize(
    ("before", "change", "result", "why"),
    [
        (measured(), {}, "right", ""),
        (measured(), {"corners": NUDGED}, "right", ""),
        (measured(), {"rotate": 90, "mirror": True}, "right", ""),
        (measured(), {"corners": SHIFTED}, "wrong", "corners 2.5 % of the diagonal off"),
        (measured(), {"polarity": "positive"}, "wrong", "polarity negative, is positive"),
        (measured(), {"process": "colour"}, "wrong", "process monochrome, is colour"),
        (measured(), {"blank": True}, "wrong", "is blank"),
        (measured(blank=True), {"blank": False}, "wrong", "taken for blank"),
        (measured(blank=True), {"corners": SHIFTED}, "right", ""),
        (measured(), {"excluded": True}, "extra", "excluded"),
    ],
)
def test_a_decision_says_whether_the_frame_had_been_right(
    before: dict[str, Any], change: dict[str, Any], result: str, why: str
) -> None:
    (one,) = master(decided(1, before, **change)).decisions
    assert (one.result, one.why, one.marked, one.confidence) == (result, why, False, 0.95)


def test_what_a_person_was_asked_about_is_marked() -> None:
    (one,) = master(decided(1, measured("review", 0.4), corners=SHIFTED)).decisions
    assert (one.result, one.marked, one.asked_anyway) == ("wrong", True, False)


def test_a_frame_for_review_despite_its_confidence_was_asked_about_for_another_reason() -> None:
    (one,) = master(decided(1, measured("review", 0.97))).decisions
    assert one.marked
    assert one.asked_anyway


def test_an_added_frame_was_lost_and_unmarked_where_nothing_of_the_master_was_marked() -> None:
    added = decided(2, None, corners=ELSEWHERE)
    silent = master(open_frame(1), added).decisions
    told = master(open_frame(1, "review"), added).decisions
    assert [(one.result, one.marked, one.confidence) for one in silent] == [("lost", False, None)]
    assert [one.marked for one in told] == [True]


def test_a_master_on_which_nothing_was_found_is_for_review_so_its_frames_are_not_lost_silently() -> (
    None
):
    assert [one.marked for one in master(decided(1, None)).decisions] == [True]


def test_a_frame_taken_out_and_drawn_again_is_one_wrong_frame_not_an_extra_and_a_lost_one() -> None:
    out = decided(1, measured(), excluded=True)
    again = decided(2, None, corners=SHIFTED)
    (one,) = master(out, again).decisions
    assert (one.frame, one.result, one.confidence) == (1, "wrong", 0.95)


def test_a_frame_taken_out_and_another_added_elsewhere_are_two() -> None:
    out = decided(1, measured(), excluded=True)
    added = decided(2, None, corners=ELSEWHERE)
    assert [one.result for one in master(out, added).decisions] == ["extra", "lost"]


def test_a_frame_that_was_added_and_taken_out_again_is_nothing() -> None:
    assert master(decided(2, None, excluded=True), open_frame(1)).decisions == ()


def test_a_record_that_hides_what_was_measured_is_counted_as_unknown() -> None:
    older = decided(1, measured(), corners=SHIFTED)
    del older["measured"]
    seen = master(older)
    assert (seen.decisions, seen.unknown, seen.whole) == ((), 1, False)


def test_a_number_that_now_stands_for_another_frame_is_no_error_of_the_finder() -> None:
    # The finder of the night before took both for one; a person drew what is now frame 2 as 1.
    first, second = measured(), measured(corners=ELSEWHERE)
    seen = master(decided(1, first, corners=ELSEWHERE), decided(2, second))
    assert [(one.frame, one.result) for one in seen.decisions] == [(2, "right")]
    assert (seen.renumbered, seen.whole) == (1, False)


def test_a_frame_drawn_far_from_where_it_was_found_is_wrong() -> None:
    (one,) = master(decided(1, measured(), corners=ELSEWHERE)).decisions
    assert one.result == "wrong"


def test_only_a_master_with_each_frame_decided_is_whole() -> None:
    assert master(decided(1, measured()), decided(2, measured())).whole
    assert not master(decided(1, measured()), open_frame(2)).whole
    assert not master(open_frame(1)).whole


# R. G. Newcombe, Two-sided confidence intervals for the single proportion: comparison of seven
# methods, Statistics in Medicine 17 (1998), 857-872, table I, method 3. Values from memory.
@pytest.mark.parametrize(
    ("count", "of", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_the_interval_is_the_published_one(count: int, of: int, low: float, high: float) -> None:
    assert scores.wilson(count, of) == pytest.approx((low, high), abs=6e-5)


@pytest.mark.parametrize("count", [0, 1, 7, 40])
def test_the_interval_is_the_one_of_an_independent_library(count: int) -> None:
    other = binomtest(count, 40).proportion_ci(method="wilson")
    assert scores.wilson(count, 40) == pytest.approx((other.low, other.high), abs=1e-6)


@pytest.mark.parametrize("wanted", [0.002, 0.01, 0.05, 0.5])
def test_so_many_frames_without_error_are_needed_and_no_fewer(wanted: float) -> None:
    least = scores.needed_without_error(wanted)
    assert scores.wilson(0, least)[1] <= wanted < scores.wilson(0, least - 1)[1]


def frames(count: int, confidence: float, good: bool, asked: bool = False) -> list[Any]:
    result: scores.Result = "right" if good else "wrong"
    one = scores.Decision("i", "m", 1, "sheet", result, asked, confidence, asked_anyway=asked)
    return [one] * count


def test_the_lowest_value_is_proposed_that_keeps_wrong_frames_back() -> None:
    seen = frames(900, 0.99, True) + frames(40, 0.82, False) + frames(60, 0.82, True)
    best = scores.proposal(seen, 0.01)
    assert best is not None
    assert (best.value, best.passed, best.wrong) == (0.85, 900, 0)
    assert (best.asked, best.asked_right) == (100, 60)


def test_frames_that_look_alike_are_each_counted() -> None:
    seen = frames(300, 0.9, True) + frames(200, 0.9, True, asked=True)
    assert scores.threshold(seen, 0.5).passed == 300
    assert scores.threshold(seen, 0.5).asked == 200


def test_errors_at_the_highest_confidence_are_not_explained_away() -> None:
    assert scores.proposal(frames(900, 0.99, True) + frames(50, 0.99, False), 0.01) is None


def test_few_frames_are_no_proof_even_without_an_error() -> None:
    assert scores.proposal(frames(380, 0.99, True), 0.01) is None
    assert scores.proposal(frames(381, 0.99, True), 0.01) is not None


def test_bands_hold_each_found_frame_once() -> None:
    seen = [*frames(3, 0.0, False), *frames(2, 0.3, True), *frames(5, 1.0, True)]
    assert [(band.count, band.right) for band in scores.bands(seen)] == [(3, 0), (2, 2), (5, 5)]
