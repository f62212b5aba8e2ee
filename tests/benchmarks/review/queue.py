"""A review by keyboard alone: key presses a frame, and how long the next picture takes.

Frames of twelve reasons, each accepted, turned or left out by a scripted reviewer, in Debian's
Chromium with the review server behind it; at the end the file must hold each decision once.
"""

from __future__ import annotations

import argparse
import json
import shutil
import statistics
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

import msgspec

from benchmarks.result import Outcome, Row, figure
from glassine.base import corrections
from glassine.review import server as review_server
from makers import make_results, step_calls

REASONS = (
    "The left edge was not seen; it was taken from the others.",
    "The right edge was not seen; it was taken from the others.",
    "An edge runs through the picture.",
    "The frame is not as large as its neighbours.",
    "What tells negative from positive is weak.",
    "The corner is not square.",
    "A piece beside it was taken for a label.",
    "The edge is not straight.",
    "Two frames may be one.",
    "The frame may be blank.",
    "The resolution is not known.",
    "The outline overlaps another.",
)
# What the reviewer does with every so many frames before going on; else the frame is accepted.
KEYS = {7: "t", 11: "x"}
SHOWN = """(number) => {
  const image = document.querySelector('dialog .stage img');
  return document.querySelector('dialog .panel h3')?.textContent.startsWith(`${number} of `) && image?.complete && image.naturalWidth > 0;
}"""


def _batch(root: Path, frames: int) -> Path:
    """Write a batch whose first `frames` items have a frame for review; return its results."""
    given = make_results.write_batch(root, frames + 4)
    results = root / "results" / make_results.BATCH
    for number in range(frames):
        path = results / "items" / f"PEH-{number + 1:04d}" / "geometry.json"
        record = json.loads(path.read_text("utf-8"))
        reason = {"state": "review", "reasons": [REASONS[number % len(REASONS)]]}
        record["masters"][0]["frames"] = [record["masters"][0]["frames"][0] | reason]
        path.write_text(json.dumps(record), "utf-8")
    step_calls.write_report(results, given)
    return results


def _until(page: Any, number: int) -> float:
    """Wait until the frame of this number is shown with its picture; return the seconds."""
    started = time.monotonic()
    while not page.evaluate(SHOWN, number):
        if time.monotonic() > started + 20:
            raise TimeoutError(f"frame {number} never came")
        page.wait_for_timeout(2)
    return time.monotonic() - started


def _review(page: Any, address: str, frames: int) -> tuple[int, list[float]]:
    """Clear the queue; return the key presses and the seconds to each next picture."""
    page.goto(f"{address}#queue=0")
    page.wait_for_selector("dialog[open] .keyed")
    page.get_by_label("Your role id").first.fill("op-07")
    page.get_by_label("Your role id").first.blur()
    presses, waits = 0, []
    for number in range(1, frames + 1):
        _until(page, number)
        key = next((key for every, key in KEYS.items() if number % every == 0), None)
        for pressed in (key, "n") if key else ("a",):
            page.keyboard.press(pressed)
            presses += 1
        if number < frames:
            waits.append(_until(page, number + 1))
    return presses, waits


def _decided(path: Path) -> int:
    read = msgspec.to_builtins(corrections.read(path).corrections)
    return sum(len(each["frames"]) for each in read.values())


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(prog="tests/benchmarks/run review-queue")
    parser.add_argument("--frames", type=int, default=300)
    options = parser.parse_args(arguments)
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as running:
        results = _batch(Path(folder), options.frames)
        session = review_server.Session(make_results.BATCH, results, Path(folder), writable=True)
        server = review_server.serve(session)
        threading.Thread(target=server.serve_forever, daemon=True).start()
        browser = running.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--headless", "--no-sandbox"]
        )
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        address = review_server.address_of(server, session)
        presses, waits = _review(page, address, options.frames)
        page.wait_for_timeout(2000)
        decided = _decided(session.target)
        browser.close()
        server.shutdown()
        server.server_close()
    row: Row = {
        "frames": options.frames,
        "presses_a_frame": figure(presses / options.frames, 2),
        "next_picture_ms_median": figure(1000 * statistics.median(waits), 0),
        "next_picture_ms_p95": figure(1000 * sorted(waits)[int(0.95 * len(waits))], 0),
        "decisions_in_the_file": decided,
    }
    print("\n".join(f"{name}: {value}" for name, value in row.items()))
    return Outcome([row], good=decided == options.frames and presses <= 2 * options.frames)
