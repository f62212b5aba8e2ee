"""A published tree, driven in a browser by two general IIIF viewers that share no code with us.

The viewers come from npm (`npm install --no-save mirador tify`, for development alone: nothing of
them is shipped). They are served from another address than the tree, as an archive's readers have
it, so that the tree's server must allow that (`Access-Control-Allow-Origin`). Every item is opened
in both; a request for the tree that fails, or an item of which no picture was drawn, counts against
it. Then each address of what is closed or withdrawn is asked for: 404 is the only right answer.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
from pathlib import Path

from benchmarks.result import Outcome, Row
from makers.iiif_viewers import VIEWERS, absent, look, published, status_of


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
