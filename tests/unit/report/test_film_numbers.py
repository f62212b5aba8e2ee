"""Numbers on the film beside those in names: told where a frame may have another's name."""

from __future__ import annotations

import pytest

from glassine.report import film_numbers


def codes(places: dict[str, str], numbers: dict[str, str]) -> list[str]:
    rolls = {item: ("R 12", place) for item, place in places.items()}
    return [finding.code for finding in film_numbers.found(rolls, numbers)]


PLACES = {"a": "1", "b": "2", "c": "3", "d": "4"}


@pytest.mark.parametrize(
    ("numbers", "expected"),
    [
        ({"a": "1", "b": "2", "c": "3", "d": "4"}, []),
        ({"a": "1", "c": "3"}, []),
        ({}, []),
        # Captures counted from 1, the film begins at 0A: told once.
        ({"a": "0A", "b": "1A", "c": "2A", "d": "3A"}, ["report.film_frames_shifted"]),
        # Two names exchanged.
        ({"a": "1", "b": "3", "c": "2", "d": "4"}, ["report.film_frame"]),
        # Nobody knows which of two that contradict is right.
        ({"a": "1", "b": "9"}, ["report.film_frame"]),
        (
            {"a": "1", "b": "2", "c": "2", "d": "4"},
            ["report.film_frame_twice", "report.film_frame"],
        ),
    ],
)
def test_names_that_the_film_speaks_against_are_told(
    numbers: dict[str, str], expected: list[str]
) -> None:
    assert codes(PLACES, numbers) == expected


def test_the_frame_that_is_off_is_named() -> None:
    rolls = {item: ("R 12", place) for item, place in PLACES.items()}
    (finding,) = film_numbers.found(rolls, {"a": "1", "b": "2", "c": "3", "d": "9A"})
    assert "d is 9A on the film" in finding.what
    assert finding.severity == "review"


def test_rolls_are_compared_each_by_itself_and_other_places_are_left_alone() -> None:
    rolls = {"a": ("R 1", "1"), "b": ("R 2", "1"), "c": ("R 2", "loose")}
    assert film_numbers.found(rolls, {"a": "1", "b": "1", "c": "7"}) == []
