"""One printed page of the night for the wall; what does not fit is counted and is in the report."""

from __future__ import annotations

from dataclasses import dataclass

from glassine.base import clock
from glassine.base.visible import visible
from glassine.report import cautions, morning, queue, words
from glassine.report.shown import Batch

# So much fits on a sheet of A4, and of each text about so many signs.
HELD_LINES, REVIEW_LINES = 5, 5
_TITLE, _TEXT, _REASON, _NAME = 110, 150, 95, 40
_STATES = ("done", "review", "held", "waiting", "pending")
_COUNTED = [*((state, state) for state in _STATES), ("total", "in all")]


@dataclass(frozen=True)
class Lines:
    """The first lines of a list; more: how many there are beyond these."""

    lines: list[tuple[str, str]]
    more: int


def short(text: str, signs: int) -> str:
    """Return the text, made visible, in at most so many signs.

    >>> short("the left edge", 20), short("the left edge", 9)
    ('the left edge', 'the left…')
    """
    plain = visible(text)
    return plain if len(plain) <= signs else f"{plain[: signs - 1].rstrip()}…"


def held_lines(batch: Batch) -> Lines:
    """Return the first held items, each with what is wrong and how many things more there are."""
    held = batch.in_state("held")
    lines = []
    for item in held[:HELD_LINES]:
        findings = item.status.findings
        told = short(findings[0].what, _TEXT) if findings else "held"
        further = f" (and {len(findings) - 1} more)" if len(findings) > 1 else ""
        lines.append((short(item.item, _NAME), told + further))
    return Lines(lines, max(0, len(held) - HELD_LINES))


def review_lines(groups: list[queue.Group]) -> Lines:
    """Return the first reasons of the queue, each with how often it stands there."""
    lines = [(str(len(each.entries)), short(each.words, _REASON)) for each in groups[:REVIEW_LINES]]
    return Lines(lines, max(0, len(groups) - REVIEW_LINES))


def render(batch: Batch, before: morning.Before | None, zone: str | None = None) -> str:
    """Return the page. before: the report that this one follows; zone: see `zones.beside`."""
    told = morning.of_batch(batch, before, zone)
    counts = [(word, batch.counts.get(state, 0)) for state, word in _COUNTED]
    return (
        words.environment(zone)
        .get_template("wall.html.j2")
        .render(
            title=short(batch.title, _TITLE),
            batch=short(batch.batch, _TITLE),
            made=clock.now_text(),
            verdict=words.verdict(batch.counts, len(batch.delivered.dropped), bool(batch.problems)),
            counts=counts,
            cautions=[(each.heading, each.short) for each in cautions.of_batch(batch)],
            actions=[short(each.text, _TEXT) for each in told.actions],
            more_actions=told.more,
            facts=[(each.label, short(each.text, _TEXT)) for each in told.facts],
            held=held_lines(batch),
            review=review_lines(queue.groups(batch)),
        )
    )
