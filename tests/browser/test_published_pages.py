"""The published tree in a browser, served as it is: search, an item, and no request that fails."""

from __future__ import annotations

import functools
import threading
from collections.abc import Iterator
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
import pyvips

from conftest import wait_until
from glassine.base.records.given import Institution
from glassine.publish import step
from glassine.publish.given import Site
from unit.publish.test_published_tree import made, manifest

NAMES = {"PEH-1": "Lighters at the coal wharf", "PEH-2": "Nets drying <b>east & west</b>"}


class Quiet(SimpleHTTPRequestHandler):
    def log_message(self, format: str, *values: Any) -> None:
        """Say nothing."""


@pytest.fixture
def base(tmp_path: Path) -> Iterator[str]:
    root = tmp_path / "public"
    root.mkdir()
    server = ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(Quiet, directory=root))
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture
def published(base: str, tmp_path: Path) -> str:
    picture = pyvips.Image.black(60, 40, bands=3)
    candidates = []
    for item, title in NAMES.items():
        candidate = made(
            tmp_path / "results", item, title=title, date="May 1931", place="Coal wharf"
        )
        text = (candidate.folder / "manifest.json").read_text("utf-8")
        assert manifest(item)["id"] in text
        text = text.replace("https://images.port-ellery.example/iiif", base)
        (candidate.folder / "manifest.json").write_text(text)
        for path in candidate.folder.rglob("*.jpg"):
            picture.jpegsave(str(path))
        candidates.append(candidate)
    institution = Institution(
        name="Port Ellery Harbour Archive", id="https://archive.port-ellery.example/"
    )
    step.publish(tmp_path / "public", candidates, Site(base, institution, {"night": None}))
    return base


def test_an_item_is_found_and_shown_with_its_pictures(page: Any, published: str) -> None:
    """`page` fails where a request fails, or the console complains."""
    page.goto(f"{published}/index.html")
    wait_until(page, "document.querySelectorAll('#items li').length === 2")
    page.get_by_label("Search title").fill("nets 1931")
    wait_until(page, "document.querySelectorAll('#items li').length === 1")
    assert page.locator("#items li span").text_content() == NAMES["PEH-2"]
    page.locator("#items a").click()
    wait_until(page, "document.querySelector('figure img')?.naturalWidth === 60")
    assert page.locator("h1").text_content() == "PEH-2"


def test_a_manifest_of_another_place_is_not_shown(page: Any, published: str) -> None:
    page.goto(f"{published}/view.html?iiif-content=https%3A%2F%2Felsewhere.example%2Fm.json")
    wait_until(page, "document.querySelector('h1').textContent.includes('it lies elsewhere')")
