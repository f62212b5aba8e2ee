"""The judge of tone sees frames of one film as a night does: pooled, where there are several."""

from __future__ import annotations

from dataclasses import replace

import pytest

from makers.tone_judge import cases, rendered


@pytest.mark.parametrize(("frames", "film"), [(1, None), (2, rendered.ROLL)])
def test_frames_of_a_film_are_rendered_with_what_they_show_together(
    frames: int, film: str | None
) -> None:
    case = replace(cases.CASES["film: usual"], frames=frames)
    answers = rendered.of_film(cases.film(case, 0))
    assert [answer.film for answer in answers] == [film] * frames
