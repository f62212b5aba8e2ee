"""Make the pictures of README.md: the sample night as a person meets it the first day.

    .venv/bin/python docs/make_pictures.py FOLDER

FOLDER is a working directory in which the sample masters were processed, with what the night said:

    mkdir FOLDER && scripts/nightly --directory FOLDER 2> FOLDER/night.txt

Needs what tests need (`scripts/check`) and Debian's Chromium. Each picture has at most
150 kB. The results are read alone: decisions go into a copy.
"""

from __future__ import annotations

import html
import shutil
import sys
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

PROJECT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(PROJECT / "scripts"))

import pyvips  # noqa: E402
from playwright.sync_api import sync_playwright  # noqa: E402

from glassine.review import server  # noqa: E402
from glassine.review.session import Session  # noqa: E402

PICTURES = PROJECT / "docs" / "pictures"
BATCH = "harbour-2026-03"
WIDTH, HEIGHT = 1200, 760
MOST_BYTES = 150_000


def _keep(page: Any, name: str) -> None:
    """Write what the page shows as a WebP below the limit."""
    shown = pyvips.Image.new_from_buffer(page.screenshot(), "")
    for quality in (80, 65, 50, 35):
        content = shown.webpsave_buffer(Q=quality, keep="none")
        if len(content) <= MOST_BYTES:
            break
    else:
        raise SystemExit(f"{name} has {len(content)} bytes, more than {MOST_BYTES}")
    (PICTURES / f"{name}.webp").write_bytes(content)
    print(f"docs/pictures/{name}.webp  {len(content) // 1000} kB")


def _terminal(page: Any, folder: Path) -> None:
    """Show what the night said, its places as seen from the checkout."""
    said = (folder / "night.txt").read_text("utf-8").replace(f"{folder.resolve()}/", "")
    lines = [line for line in said.splitlines() if not line.startswith(("$ ", "Using "))]
    text = "\n".join(["$ scripts/nightly", *lines])
    page.set_content(
        "<body style='margin:0;background:#16181b'><pre style='color:#e6e6e6;font:17px/1.6 "
        f"monospace;padding:2rem;white-space:pre-wrap'>{html.escape(text)}</pre>"
    )
    page.wait_for_timeout(200)


def _queue(page: Any, address: str) -> None:
    page.goto(f"{address}#queue=0")
    page.wait_for_selector("dialog[open] .keyed")
    page.get_by_label("Your role id").first.fill("op-07")
    page.get_by_label("Your role id").first.blur()
    page.wait_for_timeout(800)


def _item(page: Any, address: str) -> None:
    page.keyboard.press("Escape")
    page.goto(f"{address}#item=PEH-0007")
    page.wait_for_selector("dialog[open] .panel")
    page.wait_for_timeout(800)


def _section(name: str) -> Callable[[Any, str], None]:
    def go(page: Any, address: str) -> None:
        page.goto("about:blank")
        page.goto(f"{address}#{name}")
        page.wait_for_timeout(800)

    return go


def main(folder: Path) -> None:
    """Write the pictures. folder: the working directory of a finished sample night."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as copied, sync_playwright() as running:
        results = Path(copied) / BATCH
        shutil.copytree(folder / "results" / BATCH, results)
        session = Session(BATCH, results, Path(copied), writable=True)
        serving = server.serve(session)
        threading.Thread(target=serving.serve_forever, daemon=True).start()
        address = server.address_of(serving, session)
        browser = running.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--headless", "--no-sandbox"]
        )
        page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT})
        _terminal(page, folder)
        _keep(page, "1-night")
        for name, go in (
            ("2-report", _section("")),
            ("3-queue", _queue),
            ("4-item", _item),
            ("5-quality", _section("quality")),
        ):
            go(page, address)
            _keep(page, name)
        browser.close()
        serving.shutdown()
        serving.server_close()


if __name__ == "__main__":
    if len(sys.argv) != 2:
        raise SystemExit(__doc__)
    main(Path(sys.argv[1]))
