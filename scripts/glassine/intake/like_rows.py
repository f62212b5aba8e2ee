"""Rows of a catalogue whose numbers are like one that it lacks: a slip of the pen, another mark."""

from __future__ import annotations

from collections.abc import Iterable

_MOST_NAMED = 3
# Shorter beginnings are those of too many numbers.
_LEAST_BEGINNING = 3


class LikeRows:
    """The numbers of a catalogue by what a slip of the pen leaves of them: their letters and digits
    in any order, their digits alone, their beginning. Asking takes the time of one number."""

    def __init__(self, numbers: Iterable[str]) -> None:
        self._exact: set[str] = set()
        self._by_signs: dict[str, list[str]] = {}
        self._by_digits: dict[str, list[str]] = {}
        for number in numbers:
            self._exact.add(number)
            self._by_signs.setdefault(_signs(number), []).append(number)
            self._by_digits.setdefault(_digits(number), []).append(number)

    def of(self, number: str) -> list[str]:
        """Return the numbers that are like this one, the likest first; a few at most.

        >>> LikeRows(["PEH-0012", "PEH-0013", "R012"]).of("PHE-0021")
        ['PEH-0012']
        >>> LikeRows(["PEH-0012", "R012"]).of("R012F05A")
        ['R012']
        """
        like = list(self._by_signs.get(_signs(number), []))
        if digits := _digits(number):
            like += self._by_digits.get(digits, [])
        like += [
            number[:end]
            for end in range(len(number) - 1, _LEAST_BEGINNING - 1, -1)
            if number[:end] in self._exact
        ]
        return [each for each in dict.fromkeys(like) if each != number][:_MOST_NAMED]


def _signs(number: str) -> str:
    return "".join(sorted(sign for sign in number.casefold() if sign.isalnum() and sign != "0"))


def _digits(number: str) -> str:
    return "".join(sign for sign in number if sign.isdecimal()).lstrip("0")
