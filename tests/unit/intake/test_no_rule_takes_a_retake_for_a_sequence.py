"""A rule proposed for names never makes a second frame of a capture made again.

The marks are those that a file manager or an operator writes: common practice, no source.
"""

from __future__ import annotations

import re

import pytest

from glassine.intake import name_rules


def told(names: list[str], **columns: list[str]) -> dict[str, dict[str, str | None]]:
    """Return what the rules proposed for these names make of each that fits one."""
    patterns = name_rules.joined(name_rules.rules(names, columns))
    return {
        name: match.groupdict()
        for name in names
        for pattern in patterns
        if (match := re.fullmatch(pattern, name))
    }


@pytest.mark.parametrize("mark", [" (2)", "(2)", "_v2", "-v2", "_take2", "_retake", "_retake 2"])
def test_a_mark_behind_a_name_that_is_there_is_no_sequence(mark: str) -> None:
    names = ["DIA-0204.tif", "DIA-0205.tif", f"DIA-0205{mark}.tif"]
    for columns in ({"number": ["DIA-0204", "DIA-0205"]}, {}):
        found = told(names, **columns)
        assert found["DIA-0204.tif"]["item"] == "DIA-0204"
        assert names[2] not in found


def test_numbers_in_brackets_that_tell_frames_apart_stay_a_sequence() -> None:
    names = ["R012 (1).tif", "R012 (2).tif", "R012 (3).tif"]
    assert [each["sequence"] for each in told(names, number=["R012"]).values()] == ["1", "2", "3"]
