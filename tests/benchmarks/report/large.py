"""The page of a large batch in Debian's Chromium: first load, search, memory of the renderer.

The items are those of `makers.large_batch`, no night's. First load: what the browser
asked for until nothing more came, pictures of the first screen included. Search: from a key in
the field to the list that answers it, the list having been read; `first_search_ms` is from the
first use, with the reading. Memory: anonymous memory and swap of the renderer's process, which is
what Chromium calls its private footprint (value from memory), after each page of the list was
scrolled from top to bottom: a second later, and once the browser had time to clear up.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import tempfile
import time
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

from benchmarks.result import Outcome, Row, figure
from makers import large_batch

MAX_FIRST_LOAD_KB = 300
MAX_SEARCH_MS = 100
MAX_RENDERER_MB = 120
# Until a renderer has cleared up what it does not need: 10 to 20 s here.
_REST_S = 25
_WORDS = (
    "möwe polyester",
    "PEH-00042",
    "coal wharf 1928",
    "nets nitrate",
    "held",
    "yard east 1930s",
)
# From a key in the search field until the list has changed; the browser's own clock, ms.
_SEARCH = """(words) => new Promise((resolve) => {
  const field = document.querySelector('#find'), begun = performance.now();
  const watch = new MutationObserver(() => {
    if (/being read/.test(document.querySelector('#shown').textContent)) return;
    watch.disconnect();
    document.querySelector('#cards').getBoundingClientRect();
    resolve(performance.now() - begun);
  });
  watch.observe(document.querySelector('#shown'), { childList: true });
  field.value = words;
  field.dispatchEvent(new Event('input', { bubbles: true }));
})"""
_SCROLL = """async () => {
  const step = innerHeight * 0.8;
  for (let at = document.querySelector('#all').offsetTop; at < document.querySelector('#quality').offsetTop; at += step) {
    scrollTo(0, at);
    await new Promise((resolve) => setTimeout(resolve, 20));
  }
  const next = document.querySelector('#page-after');
  if (next.disabled) return false;
  next.click();
  await new Promise((resolve) => setTimeout(resolve, 20));
  return true;
}"""


def _bytes_of(addresses: list[str]) -> tuple[int, int]:
    """Return the bytes of text and of pictures that lie at these addresses of the disk."""
    paths = {Path(unquote(urlsplit(each).path)) for each in addresses if each.startswith("file:")}
    sizes = [(path.suffix == ".jpg", path.stat().st_size) for path in paths]
    return sum(n for picture, n in sizes if not picture), sum(n for picture, n in sizes if picture)


def _renderer_mb(browser: Any) -> float:
    """Return the anonymous memory and swap of the largest renderer, MB."""
    session = browser.new_browser_cdp_session()
    processes = session.send("SystemInfo.getProcessInfo")["processInfo"]
    found = []
    for process in processes:
        if process["type"] != "renderer":
            continue
        lines = Path(f"/proc/{process['id']}/status").read_text("utf-8").splitlines()
        kb = [int(line.split()[1]) for line in lines if line.startswith(("RssAnon:", "VmSwap:"))]
        found.append(sum(kb) / 1000)
    return max(found)


def _look(browser: Any, page_file: Path) -> Row:
    asked: list[str] = []
    page = browser.new_context(viewport={"width": 1440, "height": 900}).new_page()
    page.on("request", lambda request: asked.append(request.url))
    page.goto(page_file.as_uri())
    page.wait_for_load_state("networkidle")
    text, pictures = _bytes_of(asked)
    first = page.evaluate(_SEARCH, _WORDS[0])
    waits = [page.evaluate(_SEARCH, words) for words in _WORDS]
    page.evaluate(_SEARCH, "")
    pages = 1
    while page.evaluate(_SCROLL):
        pages += 1
    time.sleep(1)
    at_once = _renderer_mb(browser)
    time.sleep(_REST_S)
    return {
        "first_load_kb": figure((text + pictures) / 1000, 1),
        "of_it_pictures_kb": figure(pictures / 1000, 1),
        "first_search_ms": figure(first, 0),
        "search_median_ms": figure(statistics.median(waits), 0),
        "search_longest_ms": figure(max(waits), 0),
        "pages_scrolled": pages,
        "renderer_mb": figure(at_once, 1),
        "renderer_at_rest_mb": figure(_renderer_mb(browser), 1),
    }


def measure(page_file: Path) -> Row:
    """Return what a browser does with the page."""
    from playwright.sync_api import sync_playwright

    flags = ["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run"]
    with sync_playwright() as running:
        browser = running.chromium.launch(executable_path=shutil.which("chromium"), args=flags)
        try:
            return _look(browser, page_file)
        finally:
            browser.close()


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(prog="run report-large", description=__doc__)
    parser.add_argument("--items", type=int, default=10_000)
    parser.add_argument("--page", type=Path, help="measure this page instead of making one")
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as made:
        page_file = options.page or large_batch.write(
            Path(made) / "report", large_batch.batch_of(options.items, frames=2)
        )
        found = measure(page_file.resolve())
    good = (
        float(found["first_load_kb"] or 0) <= MAX_FIRST_LOAD_KB
        and float(found["search_longest_ms"] or 0) <= MAX_SEARCH_MS
        and float(found["renderer_mb"] or 0) <= MAX_RENDERER_MB
    )
    print("\n".join(f"{name}: {value}" for name, value in found.items()))
    return Outcome(rows=[{"page": "of a large batch", **found}], good=good)
