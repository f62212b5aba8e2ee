"""The review page behind its server: saving lands in the batch folder, conflicts are told."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest

from conftest import Night, wait_until
from glassine.base import corrections
from glassine.review.server import Session


@pytest.fixture
def session(night: Night, tmp_path: Path) -> Session:
    return Session(night.given["batch"], night.results, tmp_path, writable=True)


@pytest.fixture
def address(session: Session, served: Callable[[Session], str]) -> str:
    return served(session)


def turn_and_save(page: Any, address: str, item: str) -> str:
    page.goto(f"{address}#item={item}")
    page.wait_for_selector("dialog[open] .panel")
    page.get_by_role("button", name="Turn right").click()
    page.get_by_label("Your role id").fill("op-07")
    page.get_by_role("button", name="Save corrections").click()
    wait_until(page, "document.querySelector('#save p').textContent.startsWith('Saved')")
    text: str = page.locator("#save p").text_content()
    return text


SEEN = ("corners", "polarity", "process", "blank")


def test_saving_lands_in_the_batch_folder(address: str, page: Any, session: Session) -> None:
    told = turn_and_save(page, address, "PEH-0001")
    assert str(session.target) in told
    read = msgspec.to_builtins(corrections.read(session.target).corrections)
    (frame,) = read["PEH-0001"]["frames"]
    seen = frame.pop("seen")  # by which the frame is found again whatever its number is then
    assert all(key.startswith("r") for key in seen.pop("reasons"))  # what the page told of it
    assert frame == {"master": "PEH-0001.tif", "frame": 1, "rotate": 90}
    record = json.loads((session.results / "items/PEH-0001/geometry.json").read_text("utf-8"))
    found = record["masters"][0]["frames"][0]
    assert seen == {key: found[key] for key in SEEN if key != "reasons"}
    assert read["PEH-0001"]["by"] == "op-07"


def test_saving_a_second_time_goes_on_from_the_first(
    address: str, page: Any, session: Session
) -> None:
    turn_and_save(page, address, "PEH-0001")
    page.get_by_role("button", name="Turn right").click()
    page.get_by_role("button", name="Save corrections").click()
    wait_until(page, "document.querySelector('#save p').textContent.startsWith('Saved')")
    read = msgspec.to_builtins(corrections.read(session.target).corrections)
    assert read["PEH-0001"]["frames"][0]["rotate"] == 180


def test_what_another_person_saved_is_not_lost(
    chromium: Any, address: str, session: Session
) -> None:
    """Without the fixture that fails on complaints: a refusal shows in the console."""
    context = chromium.new_context()
    page = context.new_page()
    page.goto(f"{address}#item=PEH-0001")
    page.wait_for_selector("dialog[open] .panel")
    theirs = "{master: PEH-0001.tif, frame: 1, rotate: 180}"
    session.target.write_text(
        f"corrections: [{{item: PEH-0001, by: op-09, note: theirs, frames: [{theirs}]}}]", "utf-8"
    )
    page.get_by_role("button", name="Turn right").click()
    page.get_by_label("Your role id").fill("op-08")
    page.get_by_role("button", name="Save corrections").click()
    wait_until(page, "document.querySelector('#save p').textContent.includes('meanwhile')")
    stands = corrections.read(session.target).corrections["PEH-0001"]
    assert (stands.note, stands.frames[0].rotate) == ("theirs", 180)
    page.get_by_role("button", name="Save mine").click()
    page.get_by_role("button", name="Save corrections").click()
    wait_until(page, "document.querySelector('#save p').textContent.startsWith('Saved')")
    stands = corrections.read(session.target).corrections["PEH-0001"]
    assert (stands.by, stands.frames[0].rotate) == ("op-08", 90)
    context.close()


def test_where_writing_is_not_allowed_a_download_is_offered(
    address: str, page: Any, session: Session
) -> None:
    session.writable = False
    page.goto(f"{address}#item=PEH-0001")
    page.wait_for_selector("dialog[open] .panel")
    page.get_by_role("button", name="Turn right").click()
    assert page.get_by_role("button", name="Download corrections.yaml").is_visible()


def test_pictures_come_through_the_server(address: str, page: Any) -> None:
    page.goto(address)
    page.locator("#cards img").first.scroll_into_view_if_needed()
    wait_until(page, "document.querySelector('#cards img').naturalWidth > 0")
