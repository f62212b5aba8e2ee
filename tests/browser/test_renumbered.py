"""The review page where the frames of a master are numbered otherwise than when a person decided."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest

from conftest import Night, wait_until
from glassine.base import corrections, files
from glassine.review.server import Session
from makers.step_calls import write_report

ITEM = "PEH-0005"
MASTER = f"{ITEM}.tif"
DIGEST = "c" * 64
MOVED = {"master": MASTER, "frame": 1, "exclude": True}
HELD = {"master": MASTER, "frame": 3, "rotate": 180}


@pytest.fixture
def session(tmp_path: Path) -> Session:
    """Return a batch whose last night applied one decision to frame 2, and another to none."""
    night = Night(tmp_path / "night", 12)
    path = night.results / "items" / ITEM / "geometry.json"
    record = files.read_json(path)
    record["event"]["detail"] = {
        "corrections": {"frames": [MOVED, HELD]},
        "digests": {MASTER: DIGEST},
        "decisions": [
            {"master": MASTER, "frame": 1, "on": 2, "as_seen": True},
            {"master": MASTER, "frame": 3, "on": None, "as_seen": False},
        ],
    }
    frame = record["masters"][0]["frames"][1]
    frame["measured"] = {key: frame[key] for key in ("corners", "polarity", "process", "blank")}
    frame |= {"source": "correction", "excluded": True}
    files.write_json(path, record)
    batch = tmp_path / "batch"
    batch.mkdir()
    whole = {"corrections": [{"item": ITEM, "by": "op-03", "frames": [MOVED, HELD]}]}
    said = corrections.check(whole, "test").corrections
    (batch / corrections.FILE_NAME).write_text(corrections.as_text(said), "utf-8")
    write_report(night.results, night.given)
    return Session(night.given["batch"], night.results, batch, writable=True)


@pytest.fixture
def address(session: Session, served: Callable[[Session], str]) -> str:
    return served(session)


def save(page: Any) -> str:
    page.get_by_label("Your role id").fill("op-07")
    page.get_by_role("button", name="Save corrections").click()
    text: str = page.locator("#save p").text_content()
    return text


def test_decisions_are_shown_where_they_were_applied_and_saved_as_they_are_seen(
    address: str, page: Any, session: Session
) -> None:
    page.goto(f"{address}#item={ITEM}")
    page.wait_for_selector("dialog[open] .panel")
    page.get_by_label("2 left out").check()
    page.get_by_label("3", exact=True).check()
    assert "not turned" in page.locator(".panel").text_content()  # what was held back is not shown
    page.get_by_role("button", name="Turn right").click()
    assert "has the same number" in (save(page), page.locator("#save p").text_content())[1]
    page.get_by_role("button", name="Drop this decision").click()
    save(page)
    wait_until(page, "document.querySelector('#save p').textContent.startsWith('Saved')")
    read = msgspec.to_builtins(corrections.read(session.target).corrections)
    frames = {each["frame"]: each for each in read[ITEM]["frames"]}
    record = json.loads((session.results / f"items/{ITEM}/geometry.json").read_text("utf-8"))
    found = {each["index"]: each["corners"] for each in record["masters"][0]["frames"]}
    assert sorted(frames) == [2, 3]
    assert (frames[2]["exclude"], frames[3]["rotate"]) == (True, 90)
    for number in (2, 3):
        assert frames[number]["seen"]["corners"] == found[number]
        assert frames[number]["seen"]["sha256"] == DIGEST
