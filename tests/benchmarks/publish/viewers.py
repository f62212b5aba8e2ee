"""A published tree, driven in a browser by two general IIIF viewers that share no code with us.

The viewers come from npm (`npm install --no-save mirador tify`, for development alone: nothing of
them is shipped). They are served from another address than the tree, as an archive's readers have
it, so that the tree's server must allow that (`Access-Control-Allow-Origin`). Every item is opened
in both; a request for the tree that fails, or an item of which no picture was drawn, counts against
it. Then each address of what is closed or withdrawn is asked for: 404 is the only right answer.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import shutil
import tempfile
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from benchmarks.names import PROJECT
from benchmarks.result import Outcome, Row
from glassine.base import processor
from glassine.base.records.given import Institution
from glassine.publish import step
from glassine.publish.given import Candidate, Site
from makers import deliveries, made_items

MODULES = PROJECT / "node_modules"
_HEAD = '<!doctype html><html lang="en"><meta charset="utf-8"><title>viewer</title>'
_SIZE = "<style>html,body,#v{height:100%;margin:0;position:relative}</style>"
# What opens a manifest in each viewer; `manifest` is read from the page's own address.
_READ = "const manifest = decodeURIComponent(location.hash.slice(1));"
VIEWERS = {
    "mirador": (
        "mirador/dist/mirador.min.js",
        f'{_HEAD}{_SIZE}<div id="v"></div><script src="mirador/dist/mirador.min.js"></script>'
        f"<script>{_READ}Mirador.viewer({{id: 'v', windows: [{{manifestId: manifest}}]}});"
        "</script></html>",
    ),
    "tify": (
        "tify/dist/tify.js",
        f'{_HEAD}{_SIZE}<link rel="stylesheet" href="tify/dist/tify.css"><div id="v"></div>'
        f'<script type="module">import Tify from "./tify/dist/tify.js"; {_READ}'
        "new Tify({container: '#v', manifestUrl: manifest, urlQueryKey: ''});</script></html>",
    ),
}


def absent() -> list[str]:
    """Return the viewers that are not there."""
    return [name for name, (script, _) in VIEWERS.items() if not (MODULES / script).is_file()]


class _Files(SimpleHTTPRequestHandler):
    def log_message(self, format: str, *values: Any) -> None:
        """Say nothing."""

    def end_headers(self) -> None:
        # IIIF Image API 3.0, section 6.2, and Presentation API 3.0, section 6: what other sites'
        # viewers need.
        self.send_header("Access-Control-Allow-Origin", "*")
        super().end_headers()


@contextlib.contextmanager
def served(root: Path) -> Iterator[str]:
    """Serve a folder as any web server would; yield its address."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(_Files, directory=root))
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def _candidates(root: Path, base: str, count: int, closed: int) -> list[Candidate]:
    """Take one item through the real steps, and give others its files under names of their own.

    The first `closed` items may not be public.
    """
    processor.same_everywhere()
    more = {"iiif": {"base_url": base, "tile_px": 128}}
    first = deliveries.ITEM
    deliveries.taken_through(root, "mets", first, f"{first}.tif", more=more)
    source = made_items.item_dir_of(root, first)
    found = []
    for number in range(1, count + 1):
        item = f"PEH-{number + 5000}"
        folder = root / "results" / "b1" / "items" / item
        for path in sorted(source.rglob("*")):
            if path.is_file():
                target = folder / path.relative_to(source).as_posix().replace(first, item)
                target.parent.mkdir(parents=True, exist_ok=True)
                content = path.read_bytes()
                text = path.suffix == ".json"
                target.write_bytes(
                    content.replace(first.encode(), item.encode()) if text else content
                )
        public = "none" if number <= closed else "all"
        found.append(Candidate("b1", item, folder, "done", public, title=item))
    return found


@dataclass
class Seen:
    """What a viewer asked of the tree. pictures: that came, by item; failed: address and why."""

    base: str
    pictures: dict[str, int] = field(default_factory=dict)
    requests: int = 0
    failed: list[str] = field(default_factory=list)

    def answered(self, answer: Any) -> None:
        if not answer.url.startswith(self.base):
            return
        self.requests += 1
        if answer.status >= 400:
            self.failed.append(f"{answer.status} {answer.url}")
        elif answer.url.endswith(".jpg"):
            item = answer.url.removeprefix(f"{self.base}/").split("/")[0]
            self.pictures[item] = self.pictures.get(item, 0) + 1

    def broke(self, request: Any) -> None:
        # A viewer that is closed, or moves on, breaks off what it waits for itself.
        if request.url.startswith(self.base) and "ABORTED" not in str(request.failure):
            self.failed.append(f"{request.failure} {request.url}")


def look(browser: Any, pages: str, base: str, items: list[str], viewer: str) -> Seen:
    """Open each item in a viewer; return what it asked for."""
    seen = Seen(base)
    context = browser.new_context(viewport={"width": 900, "height": 700})
    page = context.new_page()
    page.on("response", seen.answered)
    page.on("requestfailed", seen.broke)
    for item in items:
        page.goto("about:blank")
        page.goto(f"{pages}/{viewer}.html#{base}/{item}/manifest.json")
        end, quiet = time.monotonic() + 30, 0
        while quiet < 4 and time.monotonic() < end:
            before = seen.requests
            page.wait_for_timeout(100)
            drawn = seen.pictures.get(item, 0) > 1  # beside the thumbnail
            quiet = quiet + 1 if drawn and seen.requests == before else 0
    context.close()
    return seen


def status_of(address: str) -> int:
    try:
        with urllib.request.urlopen(address) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as problem:
        problem.close()
        return problem.code


@dataclass
class Published:
    """A tree that is served, with the viewers beside it. shown: items; gone: addresses of what was
    closed from the start, and of what was withdrawn after it had been published."""

    pages: str
    base: str
    shown: list[str]
    gone: list[str]


@contextlib.contextmanager
def published(root: Path, count: int, hidden: int) -> Iterator[Published]:
    """Publish `count` items, beside `hidden` that are closed and as many withdrawn later."""
    tree, pages = root / "public", root / "pages"
    tree.mkdir(parents=True)
    pages.mkdir()
    for name, (script, text) in VIEWERS.items():
        (pages / f"{name}.html").write_text(text, "utf-8")
        package = script.split("/")[0]
        shutil.copytree(MODULES / package / "dist", pages / package / "dist")
    institution = Institution(
        name="Port Ellery Harbour Archive", id="https://archive.port-ellery.example/"
    )
    with served(tree) as base, served(pages) as viewers:
        candidates = _candidates(root, base, count + 2 * hidden, hidden)
        site = Site(base, institution, {"b1": None})
        step.publish(tree, candidates, site)
        later = candidates[hidden : 2 * hidden]
        gone = []
        for each in [*candidates[:hidden], *later]:
            names = [path.relative_to(each.folder).as_posix() for path in each.folder.rglob("*.*")]
            gone += [f"{base}/{each.item}/{name}" for name in names]
            gone += [f"{base}/{name.removeprefix('iiif/')}" for name in names if "iiif/" in name]
        step.publish(tree, candidates[2 * hidden :], site)
        shown = [each.item for each in candidates[2 * hidden :]]
        yield Published(viewers, base, shown, gone)


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(prog="tests/benchmarks/run publish-viewers")
    parser.add_argument("--items", type=int, default=50)
    parser.add_argument("--hidden", type=int, default=3, help="closed ones, and as many withdrawn")
    options = parser.parse_args(arguments)
    if absent():
        print(f"Not there: {', '.join(absent())}. Get them by: npm install --no-save mirador tify")
        return Outcome([], good=False)
    from playwright.sync_api import sync_playwright

    rows: list[Row] = []
    good = True
    with (
        tempfile.TemporaryDirectory() as folder,
        published(Path(folder), options.items, options.hidden) as tree,
        sync_playwright() as running,
    ):
        browser = running.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--headless", "--no-sandbox"]
        )
        for viewer in VIEWERS:
            seen = look(browser, tree.pages, tree.base, tree.shown, viewer)
            drawn = sum(seen.pictures.get(item, 0) > 1 for item in tree.shown)
            rows.append(
                {
                    "viewer": viewer,
                    "items": len(tree.shown),
                    "drawn": drawn,
                    "requests": seen.requests,
                    "failed": len(seen.failed),
                }
            )
            print("\n".join([str(rows[-1]), *seen.failed[:10]]))
            good = good and not seen.failed and drawn == len(tree.shown)
        browser.close()
        wrong = [address for address in tree.gone if status_of(address) != 404]
        rows.append({"hidden_addresses": len(tree.gone), "not_404": len(wrong)})
        print("\n".join([str(rows[-1]), *wrong[:10]]))
    return Outcome(rows, good=good and not wrong)
