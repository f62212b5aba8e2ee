"""The first screen: what stands, what changed since the report before, what a person does next."""

from __future__ import annotations

import json

import pytest

from glassine.base.errors import Finding
from glassine.base.item_states import ItemStatus, State, counts
from glassine.base.records.audit import AuditedKind, BatchAudit
from glassine.report import morning
from glassine.report.deliveries import Standing
from glassine.report.shown import Batch, Expected, Item, Missing


def batch_of(**states: State) -> Batch:
    items = [Item(ItemStatus(item, state=state)) for item, state in states.items()]
    batch = Batch("night", "Night", items=items)
    batch.counts = counts(batch.statuses)
    return batch


def fact(batch: Batch, label: str, before: morning.Before | None = None) -> morning.Fact:
    (found,) = [
        each for each in morning.of_batch(batch, before).facts if each.label.startswith(label)
    ]
    return found


def audited(damaged: int = 0, oldest: str | None = "2026-03-01T00:00:00Z") -> BatchAudit:
    kind = AuditedKind(parts=3, bytes=10, oldest=oldest, damaged=damaged)
    return BatchAudit(
        batch="night", time="2026-03-17T06:00:00Z", share=0.1, masters=kind, results=kind,
        delivery=kind, away=0, findings=[],
    )  # fmt: skip


def expected(missing: int) -> Expected:
    return Expected(
        sources=["catalogue"], count=3, captured=3 - missing,
        missing=[Missing(item=f"m{number}") for number in range(missing)],
        shelf_marks={}, surplus=[], double=[], unread=[],
    )  # fmt: skip


def test_nothing_is_called_delivered_of_which_no_delivery_tells() -> None:
    found = fact(batch_of(a="done", b="held"), "Delivery")
    assert (found.text, found.good) == ("none yet: 1 held", False)


def test_an_item_that_changed_since_its_delivery_is_no_whole_delivery() -> None:
    batch = batch_of(a="done", b="done")
    batch.delivered.items = {
        "a": Standing("in night", "as delivered"),
        "b": Standing("an earlier state of it in night", "delivered in an earlier state"),
    }
    batch.delivered.shown = []
    assert fact(batch, "Delivery").good is False
    batch.delivered.items["b"] = Standing("in night.r2", "as delivered")
    assert fact(batch, "Delivery").good is True


def test_a_problem_of_the_batch_is_the_first_thing_said_and_done() -> None:
    batch = batch_of(a="done", b="review")
    batch.problems = [Finding("x.y", "night", "The list is damaged.", "a list.", "Correct it.")]
    assert fact(batch, "Delivery").text == "held: The list is damaged."
    first = morning.of_batch(batch, None).actions[0]
    assert (first.anchor, "Correct it." in first.text) == ("#batch-problems", True)


def test_no_more_than_three_actions_stand_there_and_the_rest_is_counted() -> None:
    batch = batch_of(a="held", b="review")
    batch.problems = [Finding("x.y", "night", "It is.", "not.", "Do.")]
    batch.audit = audited(damaged=1)
    batch.expected = expected(1)
    shown = morning.of_batch(batch, None)
    assert [each.anchor for each in shown.actions] == ["#batch-problems", "#audit", "#held"]
    assert shown.more == 2


def test_where_all_is_well_nothing_is_to_be_done() -> None:
    batch = batch_of(a="done")
    batch.audit, batch.expected = audited(), expected(0)
    assert morning.of_batch(batch, None).actions == ()


def test_damage_that_was_read_is_told_before_how_far_the_reading_is() -> None:
    batch = batch_of(a="done")
    batch.audit = audited(damaged=1)
    assert fact(batch, "Read again").text == "3 parts not as recorded"
    batch.audit = audited()
    assert fact(batch, "Read again").text == "nothing damaged; all read or written since 2026-03-01"


def test_what_is_missing_counts_as_not_good() -> None:
    batch = batch_of(a="done")
    batch.expected = expected(2)
    found = fact(batch, "Expected")
    assert (found.good, found.text) == (False, "1 of 3 expected items are captured; 2 missing")


def test_what_changed_names_new_gone_and_other_states() -> None:
    before = morning.Before("2026-03-16T06:00:00Z", {"a": "held", "b": "done", "z": "done"})
    found = fact(batch_of(a="done", b="done", c="review"), "Since 2026-03-16 06:00:00", before)
    assert found.text == "held to done: 1 (a); new, review: 1 (c); no longer here: 1 (z)"


def test_that_nothing_changed_is_said() -> None:
    before = morning.Before("2026-03-16T06:00:00Z", {"a": "done"})
    assert fact(batch_of(a="done"), "Since", before).text == "no item changed its state"


@pytest.mark.parametrize(
    "text", ["", "[]", '{"items": 3}', '{"items": {"a": {}}, "made": ""}', "\x00"]
)
def test_a_report_before_that_cannot_be_read_is_compared_with_nothing(tmp_path, text) -> None:
    (tmp_path / "summary.json").write_text(text)
    assert morning.read_before(tmp_path) is None


def test_the_report_before_is_read_from_its_figures(tmp_path) -> None:
    value = {"made": "2026-03-16T06:00:00Z", "items": {"a": {"state": "held"}}}
    (tmp_path / "summary.json").write_text(json.dumps(value))
    assert morning.read_before(tmp_path) == morning.Before(value["made"], {"a": "held"})
    assert morning.read_before(tmp_path / "none") is None
