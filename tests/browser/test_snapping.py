"""A side or corner that is dragged stops at an edge that was found; a key, or Alt, lets it go."""

from __future__ import annotations

import json
from typing import Any

import pytest

from conftest import Night
from makers import make_results, step_calls

PIECE = [[820.0, 640.0], [5620.0, 700.0], [5565.0, 4200.0], [770.0, 4140.0]]


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    night = Night(tmp_path_factory.mktemp("edges"), 6)
    path = night.results / "items" / "PEH-0001" / "geometry.json"
    record = json.loads(path.read_text("utf-8"))
    record["masters"][0]["pieces"] = [{"corners": PIECE, "taken_for": "frame"}, {"corners": 7}, 3]
    make_results.write_json(path, record)
    return step_calls.write_report(night.results, night.given).as_uri()


def enter(page: Any, address: str) -> float:
    """Open an item of one frame; return how many pixels of the screen one of the master takes."""
    page.goto(f"{address}#item=PEH-0001")
    page.wait_for_selector("dialog[open] .grip")
    page.get_by_text("Corners in numbers").click()
    return page.locator(".stage .film").bounding_box()["width"] / make_results.MASTER_PX[0]


def drag(page: Any, grip: int, right: float, down: float) -> None:
    box = page.locator(f'.grip[data-keep="grip-{grip}"] .ring').bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + right, y + down, steps=3)
    page.mouse.up()


def corner(page: Any, words: str) -> tuple[float, float]:
    x, y = (float(page.get_by_label(f"{words}, {axis}").input_value()) for axis in "xy")
    return x, y


def off_the_piece(point: tuple[float, float], side: int) -> float:
    """Return how far a point lies from the line through a side of the piece, px of the master."""
    (ax, ay), (bx, by) = PIECE[side], PIECE[(side + 1) % 4]
    length = ((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5
    return abs((bx - ax) * (ay - point[1]) - (ax - point[0]) * (by - ay)) / length


def test_a_side_dragged_near_a_piece_lies_on_its_edge_at_both_ends(page: Any, address: str) -> None:
    scale = enter(page, address)
    drag(page, 6, 120 * scale - 4, 0)  # the right side, four pixels of the screen too little
    for words in ("top right", "bottom right"):
        assert off_the_piece(corner(page, words), 1) < 0.1
    assert corner(page, "top left") == (900, 700)


def test_a_corner_snaps_to_both_edges_that_meet_there(page: Any, address: str) -> None:
    scale = enter(page, address)
    drag(page, 2, 120 * scale - 3, 100 * scale + 3)
    assert corner(page, "bottom right") == pytest.approx(PIECE[2], abs=0.5)


@pytest.mark.parametrize("how", ["key", "Alt"])
def test_a_key_lets_a_side_go_where_the_hand_puts_it(page: Any, address: str, how: str) -> None:
    scale = enter(page, address)
    if how == "key":
        page.keyboard.press("s")
        assert not page.get_by_label("Snap to found edges").is_checked()
    else:
        page.keyboard.down("Alt")
    drag(page, 6, 120 * scale - 4, 0)
    assert off_the_piece(corner(page, "top right"), 1) > 10


def test_far_from_an_edge_a_side_lies_where_the_hand_put_it(page: Any, address: str) -> None:
    scale = enter(page, address)
    drag(page, 6, -40, 0)
    assert corner(page, "top right")[0] == pytest.approx(5500 - 40 / scale, abs=2 / scale)


def test_a_finger_drags_a_side_to_an_edge_as_well(chromium: Any, address: str) -> None:
    context = chromium.new_context(viewport={"width": 900, "height": 700}, has_touch=True)
    page = context.new_page()
    scale = enter(page, address)
    box = page.locator('.grip[data-keep="grip-6"] .ring').bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    touch = context.new_cdp_session(page)
    for kind, at in (("touchStart", 0), ("touchMove", 3), ("touchMove", 120 * scale - 3)):
        points = [{"x": x + at, "y": y}]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    assert off_the_piece(corner(page, "top right"), 1) < 0.1
    context.close()
