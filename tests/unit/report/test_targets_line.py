"""The line of the first screen that says which levels the capture targets reached."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from glassine.report import morning, views

ROW = views.JudgedRow(criterion="noise", value=1.0)
LEFT = views.NotJudged(criterion="noise", reason="not on the target")
FULL = views.TargetVerdict(title="House limits", overall="kept", rows=(ROW,))


def line(*verdicts: views.TargetVerdict) -> tuple[str, bool | None]:
    target = views.Target(target="t-1", path="t.tif", state="measured", verdicts=verdicts)
    proof = SimpleNamespace(holds=(), targets=(target,))
    fact = morning._targets(SimpleNamespace(proof=proof))
    assert fact is not None
    return fact.text, fact.good


def test_a_table_without_rows_is_not_taken_for_a_missed_level():
    text, good = line(FULL, views.TargetVerdict(title="A later edition"))
    assert text == (
        "1 of 1 table of limits reached a level, on 1 capture; not judged: A later edition"
    )
    assert good


@pytest.mark.parametrize(
    ("verdict", "said"),
    [
        (views.TargetVerdict(title="Film", rows=(ROW,)), "no level: Film (t-1)"),
        (views.TargetVerdict(title="Film", not_judged=(LEFT,)), "not judged: Film"),
    ],
)
def test_a_level_that_was_missed_or_could_not_be_judged_is_named(verdict, said):
    text, good = line(FULL, verdict)
    assert said in text
    assert not good


def test_a_target_that_no_table_judged_is_not_well():
    assert not line()[1]
