"""The review queue: every frame that asks for a look, one key each, saved as it is decided."""

from __future__ import annotations

import time
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


def decided(session: Session) -> dict[str, Any]:
    if not session.target.exists():
        return {}
    read = msgspec.to_builtins(corrections.read(session.target).corrections)
    return {item: each["frames"] for item, each in read.items()}


# Captures of items without a row, the last of the queue.
NAMELESS = 1


def enter(page: Any, address: str) -> int:
    """Open the queue and say who decides; return how many frames it holds."""
    page.goto(f"{address}#queue=0")
    page.wait_for_selector("dialog[open] .keyed")
    page.get_by_label("Your role id").first.fill("op-07")
    page.get_by_label("Your role id").first.blur()
    whole = page.locator(".panel h3").first.text_content().split(" of ")[1].split(",")[0]
    return int(whole) - NAMELESS


def at(page: Any, number: int, of: int) -> None:
    wait_until(
        page,
        f"document.querySelector('.panel h3').textContent.startsWith('{number} of {of + NAMELESS}')",
    )


def saved(page: Any, session: Session, items: int) -> dict[str, Any]:
    for _ in range(200):
        found = decided(session)
        if len(found) >= items:
            return found
        page.wait_for_timeout(20)
    raise AssertionError(f"only {decided(session)} was saved")


def test_one_key_a_frame_clears_the_queue(page: Any, address: str, session: Session) -> None:
    count = enter(page, address)
    for number in range(1, count + 1):
        at(page, number, count)
        page.keyboard.press("a")
    found = saved(page, session, 3)
    assert sorted(found) == ["PEH-0004", "PEH-0007", "PEH-0011"]
    assert sum(len(frames) for frames in found.values()) == count
    assert all(frame["accept"] for frames in found.values() for frame in frames)
    wait_until(page, f"document.querySelector('.panel h3').textContent.endsWith('{count} decided')")


def test_a_decision_lies_in_the_file_before_the_next_one_is_made(
    page: Any, address: str, session: Session
) -> None:
    enter(page, address)
    page.keyboard.press("a")
    assert len(saved(page, session, 1)) == 1


def test_undo_goes_back_to_the_frame_and_takes_its_decision_out_of_the_file(
    page: Any, address: str, session: Session
) -> None:
    count = enter(page, address)
    page.keyboard.press("a")
    saved(page, session, 1)
    at(page, 2, count)
    page.keyboard.press("u")
    at(page, 1, count)
    wait_until(page, "document.querySelector('.panel h3').textContent.endsWith('0 decided')")
    for _ in range(200):
        if not decided(session):
            break
        page.wait_for_timeout(20)
    assert decided(session) == {}, page.locator("#save p").text_content()


def test_keys_turn_mirror_leave_out_and_change_the_polarity(
    page: Any, address: str, session: Session
) -> None:
    enter(page, address)
    for key in ("t", "t", "T", "m", "x", "i"):
        page.keyboard.press(key)
    wanted = {"rotate": 90, "mirror": True, "exclude": True, "polarity": "positive"}
    for _ in range(200):
        frames = [frame for each in decided(session).values() for frame in each]
        if frames and wanted.items() <= frames[0].items():
            return
        page.wait_for_timeout(20)
    raise AssertionError(decided(session))


def test_a_frame_is_drawn_anew_with_the_mouse(page: Any, address: str, session: Session) -> None:
    enter(page, address)
    page.keyboard.press("r")
    box = page.locator(".stage .film").bounding_box()
    page.mouse.move(box["x"] + box["width"] * 0.2, box["y"] + box["height"] * 0.25)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] * 0.8, box["y"] + box["height"] * 0.75, steps=4)
    page.mouse.up()
    (frames,) = saved(page, session, 1).values()
    (left, top), _, (right, bottom), _ = frames[0]["corners"]
    assert [left, top, right, bottom] == pytest.approx([1280, 1200, 5120, 3600], abs=12)


def test_a_side_is_moved_with_its_two_corners(page: Any, address: str) -> None:
    enter(page, address)
    grip = page.locator('.grip[data-keep="grip-6"]')
    before = grip.get_attribute("aria-label")
    grip.focus()
    page.keyboard.press("Shift+ArrowRight")
    assert "right side" in before
    page.get_by_text("Corners in numbers").click()
    rights = [
        page.get_by_label(f"{corner}, x").input_value() for corner in ("top right", "bottom right")
    ]
    assert [float(each) for each in rights] == [5525, 5470]


def test_all_of_one_reason_are_accepted_from_a_sheet_but_for_those_taken_out(
    page: Any, address: str, session: Session
) -> None:
    page.goto(address)
    page.evaluate("localStorage.clear()")
    enter(page, address)
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Look at all of these at once").first.click()
    page.wait_for_selector("dialog[open] .sheet")
    marks = page.locator(".sheet input")
    count = marks.count()
    marks.nth(0).uncheck()
    name = f"Accept {count - 1} of {count}"
    accept = page.locator("dialog .bar-top button.main")
    assert accept.text_content() == name
    if count == 1:
        assert accept.is_disabled()
        return
    accept.click()
    found = saved(page, session, count - 1)
    assert sum(len(frames) for frames in found.values()) == count - 1


def test_what_a_session_wrote_itself_is_not_kept_once_more(
    page: Any, address: str, session: Session
) -> None:
    session.target.write_text("# by hand\ncorrections: []\n", "utf-8")
    folder = session.results / "report" / "corrections-before"
    before = len(list(folder.glob("*")))
    count = enter(page, address)
    for number in range(1, count + 1):
        at(page, number, count)
        page.keyboard.press("a")
    saved(page, session, 3)
    assert len(list(folder.glob("*"))) == before + 1


def test_what_is_decided_while_a_save_is_on_its_way_is_saved_too(
    page: Any, address: str, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The answer comes late: what is undone meanwhile must not stand in the file at the end."""
    save = Session.save

    def late(self: Session, body: Any) -> dict[str, Any]:
        answer = save(self, body)
        time.sleep(0.4)
        return answer

    monkeypatch.setattr(Session, "save", late)
    enter(page, address)
    page.keyboard.press("a")
    saved(page, session, 1)
    page.keyboard.press("u")
    for _ in range(200):
        if not decided(session):
            break
        page.wait_for_timeout(20)
    assert decided(session) == {}
    page.wait_for_timeout(500)
