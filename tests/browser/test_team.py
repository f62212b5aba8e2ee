"""Two reviewers at the team's desk: a login each, decisions in their names, none overwritten."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from conftest import Night, wait_until
from glassine.base import corrections
from glassine.review import command, tokens
from glassine.review.desk import Desk
from glassine.review.logins import Logins

CONFIG = {"masters": "masters", "report": {"corrections": "batch_folder"}}


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[tuple[str, Path]]:
    """The desk's address, and its working directory with a batch for review."""
    night = Night(tmp_path, 8)
    (tmp_path / "masters" / night.given["batch"]).mkdir(parents=True)
    made = Desk(CONFIG, tmp_path, "", Logins(tmp_path / "reviewers", None, [], secure=False))
    running = command.waiting_server(made, "127.0.0.1", 0)
    made.origin = f"http://127.0.0.1:{running.effective_port}"
    thread = threading.Thread(target=running.run)
    thread.start()
    yield made.origin, tmp_path
    running.trigger.pull_trigger(running.close)
    thread.join(10)
    running.task_dispatcher.shutdown()


def enter(browser: Any, origin: str, token: str) -> Any:
    """Log in and open the queue; return the page."""
    page = browser.new_context(viewport={"width": 1280, "height": 800}).new_page()
    page.goto(origin)
    page.get_by_label("Your token").fill(token)
    page.get_by_role("button", name="Log in").click()
    page.get_by_role("link", name="harbour-2026-03").click()
    wait_until(page, "location.pathname.endsWith('/report/index.html')")
    page.wait_for_load_state("networkidle")
    page.evaluate("location.hash = 'queue=0'")
    page.wait_for_selector("dialog[open] .keyed")
    return page


def test_nobody_overwrites_another(chromium: Any, desk: tuple[str, Path]) -> None:
    origin, root = desk
    given = {role: tokens.grant(root / "reviewers", role) for role in ("op-07", "op-08")}
    first, second = (enter(chromium, origin, given[role]) for role in ("op-07", "op-08"))
    (batch,) = (root / "masters").iterdir()
    path = batch / corrections.FILE_NAME
    first.keyboard.press("a")
    for _ in range(200):
        if path.exists():
            break
        first.wait_for_timeout(20)
    ((item, decided),) = corrections.read(path).corrections.items()
    assert decided.by == "op-07" and decided.frames[0].accept is True
    second.keyboard.press("x")  # the same frame, decided otherwise, not knowing of it
    wait_until(second, "document.querySelector('#save [role=alert]') !== null")
    assert f"op-07 decided {item}" in second.locator("#save").text_content()
    second.get_by_role("button", name="Keep theirs").click()
    wait_until(second, "document.querySelector('#save [role=alert]') === null")
    second.wait_for_timeout(300)
    ((_, stands),) = corrections.read(path).corrections.items()
    assert stands == decided
    for page in (first, second):
        page.context.close()
