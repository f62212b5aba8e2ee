"""A real browser: Debian's Chromium, driven by Playwright, without any network."""

from __future__ import annotations

import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from glassine.review import server as review_server
from makers import make_results, step_calls

CHROMIUM = shutil.which("chromium")
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--enable-precise-memory-info",
]


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    playwright = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
    if CHROMIUM is None:
        pytest.skip("no Chromium on this machine (Debian: apt-get install chromium)")
    with playwright.sync_playwright() as running:
        browser = running.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def served() -> Iterator[Callable[[review_server.Session], str]]:
    """A function that serves a session and returns its address, until the test's end."""
    with ExitStack() as running:

        def serve(session: review_server.Session) -> str:
            server = review_server.serve(session)
            thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
            thread.start()
            running.callback(thread.join)
            running.callback(server.server_close)
            running.callback(server.shutdown)
            return review_server.address_of(server, session)

        yield serve


@pytest.fixture
def page(chromium: Any, served: Any) -> Iterator[Any]:
    """A page whose complaints (console errors, failed requests) fail the test at its end.

    It rests on `served`, so that servers outlive what the page still loads.
    """
    context = chromium.new_context(
        viewport={"width": 1280, "height": 800}, accept_downloads=True, reduced_motion="reduce"
    )
    opened = context.new_page()
    opened.set_default_timeout(20_000)
    complaints: list[str] = []
    opened.on(
        "console",
        lambda said: complaints.append(said.text) if said.type in {"error", "warning"} else None,
    )
    opened.on("pageerror", lambda problem: complaints.append(str(problem)))
    opened.on("requestfailed", lambda request: complaints.append(f"failed: {request.url}"))
    opened.on(
        "response",
        lambda answer: (
            complaints.append(f"{answer.status} {answer.url}") if answer.status >= 400 else None
        ),
    )
    yield opened
    context.close()
    assert complaints == []


def wait_until(page: Any, condition: str, patience_s: float = 20) -> None:
    """Wait until the JavaScript `condition` holds (asked from outside: the page allows no eval)."""
    end = time.monotonic() + patience_s
    while not page.evaluate(condition):
        assert time.monotonic() < end, f"never came true: {condition}"
        page.wait_for_timeout(30)


class Night:
    """A batch with drawn pictures, its report, and the address of the page on the disk."""

    def __init__(self, root: Path, items: int) -> None:
        self.given = make_results.write_batch(root, items)
        self.results = root / "results" / make_results.BATCH
        self.address = step_calls.write_report(self.results, self.given).as_uri()


@pytest.fixture(scope="session")
def night(tmp_path_factory: pytest.TempPathFactory) -> Night:
    return Night(tmp_path_factory.mktemp("night"), 16)
