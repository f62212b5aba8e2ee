"""The page of a large batch comes in pieces: little at first, and nothing left out."""

from __future__ import annotations

import ast
import json
from typing import Any

import pytest

from glassine.report import page
from glassine.report.shown import Batch
from makers.large_batch import STATES, batch_of, rendered

# Every list of the page is at its bound with these.
MANY = 300


def pieces(batch: Batch) -> list[dict[str, Any]]:
    texts = page.list_files(batch)
    assert sorted(texts) == [*texts]
    found = []
    for number, text in enumerate(texts.values()):
        written = text.removeprefix(f"glassineList({number},'").removesuffix("');\n")
        # A string of ECMAScript between single quotes is one of Python but for what JSON escapes.
        found.append(json.loads(ast.literal_eval(f"'{written}'")))
    return found


@pytest.fixture(scope="module")
def large() -> Batch:
    return batch_of(MANY)


def test_the_first_load_stays_below_300_kb_however_many_items_there_are(large: Batch) -> None:
    assert len(rendered(large).encode()) <= 300_000


def test_the_pieces_hold_each_item_once_in_the_order_of_the_batch(large: Batch) -> None:
    found = [card[0] for piece in pieces(large) for card in piece["cards"]]
    assert found == [each.item for each in large.items]


def test_the_pieces_hold_every_decision_and_the_whole_queue(large: Batch) -> None:
    first, *others = pieces(large)
    assert set(first["standing"]) == set(large.standing)
    assert sum(len(group["entries"]) for group in first["queue"]) == MANY // len(STATES)
    assert not any(piece["standing"] or piece["queue"] for piece in others)


def test_a_small_batch_is_in_the_page_as_a_whole() -> None:
    batch = batch_of(page.CARDS)
    assert page.list_files(batch) == {}
    text = rendered(batch)
    assert all(f"<b>{each.item}</b>" in text for each in batch.items)
    assert '"pieces":0' in text


def test_one_item_more_comes_in_pieces_and_the_page_says_so_without_scripts() -> None:
    batch = batch_of(page.CARDS + 1)
    text = rendered(batch)
    assert f"all items but the first {page.FIRST_CARDS} of {page.CARDS + 1}" in text
    assert len(pieces(batch)[0]["cards"]) == page.CARDS + 1


def test_text_of_a_piece_cannot_end_its_script(large: Batch) -> None:
    assert "<" not in next(iter(page.list_files(large).values()))


def test_what_stands_in_quotes_or_breaks_lines_comes_through_a_piece_and_is_no_markup() -> None:
    batch = batch_of(page.CARDS + 1)
    title = 'It\'s a "tug" \\ </script><b>\u2028\n\\u0041 & 港'
    batch.items[0].title = title
    assert pieces(batch)[0]["cards"][0][5] == title
    assert not {"<", ">", "&", "\u2028"} & set("".join(page.list_files(batch).values()))
