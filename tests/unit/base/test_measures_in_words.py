"""Measures are told by name, value, limit and sense; one without a value says why."""

from __future__ import annotations

from typing import Any

import pytest

from glassine.base import item_states, quality_words
from glassine.render.quality import limits


def _measure(name: str, value: float | None, limit: str = "<= 2 dB") -> dict[str, Any]:
    return {"name": name, "value": value, "unit": limit.split()[-1], "limit": limit}


def test_a_measure_beyond_its_limit_says_what_to_check() -> None:
    said = item_states.measure_words(_measure("sampling_used", 58.0, ">= 90 %"))
    assert said.startswith("sampling used: 58 %; limit ≥ 90 %: the picture seems enlarged;")
    assert "lens" in said


def test_a_measure_without_a_value_says_why_and_no_unit() -> None:
    said = item_states.measure_words(_measure("motion_blur", None))
    assert said.startswith("motion: not measured; limit ≤ 2 dB: neither detail nor grain stands")


@pytest.mark.parametrize("name", ["misregistration", "motion_blur", "edge_blur", "newton_rings"])
def test_words_name_no_key(name: str) -> None:
    assert name not in item_states.measure_words(_measure(name, 3.0))


def test_texts_are_of_measures_that_have_a_limit() -> None:
    known = set(limits._table(limits.LIMITS_PATH))
    assert set(quality_words.UNSEEN) <= known
    assert set(quality_words.SENSE) <= known
