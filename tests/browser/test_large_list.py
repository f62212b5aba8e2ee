"""The list of a batch that comes in pieces: read when it is needed, found and walked as a whole."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from conftest import wait_until
from glassine.report import page as report_page
from makers import large_batch

ITEMS = 2 * report_page.CARDS + 30


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("large") / "report"
    return large_batch.write(folder, large_batch.batch_of(ITEMS, frames=2)).as_uri()


def names(page: Any) -> list[str]:
    found: list[str] = page.eval_on_selector_all("#cards b", "all => all.map(b => b.textContent)")
    return found


def test_every_item_is_found_walked_and_opened(page: Any, address: str) -> None:
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(address)
    assert len(names(page)) == report_page.FIRST_CARDS
    assert f"the first {report_page.FIRST_CARDS} of {ITEMS}" in page.inner_text("#shown")
    assert not [each for each in asked if "list-" in each]

    page.locator("#find").fill("PEH-00229")
    wait_until(page, "document.querySelectorAll('#cards > li').length === 1")
    assert names(page) == ["PEH-00229"]
    page.locator("#find").fill("")
    wait_until(page, f"document.querySelectorAll('#cards > li').length === {report_page.CARDS}")
    walked = names(page)
    while page.locator("#page-after").is_enabled():
        page.locator("#page-after").click()
        page.wait_for_timeout(50)
        walked += names(page)
    assert walked == [f"PEH-{number:05d}" for number in range(ITEMS)]
    assert page.inner_text("#shown") == f"201 to {ITEMS} of {ITEMS}"

    page.goto(f"{address}#item=PEH-00150")
    page.wait_for_selector("dialog[open] .panel")
    assert "PEH-00150" in page.inner_text("#item-name")
    page.keyboard.press("Escape")
    wait_until(page, "document.activeElement.textContent === 'PEH-00150'")


def test_a_link_to_a_state_lists_all_of_that_state(page: Any, address: str) -> None:
    page.goto(f"{address}#state=held")
    wait_until(page, "document.querySelector('#shown').textContent.includes('of 230')")
    wait_until(page, "document.querySelectorAll('#cards > li').length === 46")
    assert all(int(name[4:]) % 5 == 4 for name in names(page))


def test_a_piece_that_is_missing_is_told(chromium: Any, tmp_path: Path) -> None:
    place = large_batch.write(tmp_path / "report", large_batch.batch_of(ITEMS, frames=1))
    (place.parent / "list-0000.js").unlink()
    page = chromium.new_context().new_page()
    page.goto(place.as_uri())
    page.locator("#find").fill("PEH-00229")
    wait_until(page, "document.querySelector('#shown').textContent.includes('cannot be shown')")
    assert "list-0000.js is missing" in page.inner_text("#shown")
    page.context.close()
