"""Zooming into the full resolution with the page's own means: wheel, drag, keys, static tiles."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from test_viewer import SIZE, night_with_tiles

from conftest import wait_until
from glassine.review import server as review_server

SCALE = "Number(document.querySelector('canvas.tiles').dataset.scale)"
# The colour in the middle of the view, read off the canvas.
MIDDLE = """() => {
  const canvas = document.querySelector('canvas.tiles');
  return [...canvas.getContext('2d').getImageData(canvas.width / 2, canvas.height / 2, 1, 1).data];
}"""


def test_wheel_and_drag_reach_every_tile_and_show_what_is_there(
    page: Any, served: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("glassine.report.viewer_file", lambda stated: None)
    night = night_with_tiles(tmp_path)
    session = review_server.Session(night.given["batch"], night.results, tmp_path, False)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(f"{served(session)}#item=PEH-0001")
    page.wait_for_selector("dialog[open] .panel")
    page.get_by_role("button", name="Zoom into the picture").click()
    wait_until(page, "document.querySelector('canvas.tiles')?.dataset.scale > 0")
    fitting = page.evaluate(SCALE)
    assert fitting < 0.6
    box = page.locator("canvas.tiles").bounding_box()
    middle = (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.move(*middle)
    for _ in range(12):
        page.mouse.wheel(0, -100)
    wait_until(page, f"{SCALE} >= 1")
    page.mouse.down()
    page.mouse.move(middle[0] - 300, middle[1] - 200, steps=3)
    page.mouse.up()
    page.wait_for_load_state("networkidle")
    full_size = {url.rpartition("/iiif/PEH-0001/")[2] for url in asked if "/iiif/" in url}
    assert any(name.startswith("1024,512,512,512/512,512/") for name in full_size)
    # The picture's blue grows with x, its green with y (see `write_tiles`, which hands over blue
    # first); a screen pixel is at
    # `scale` of a picture's, and the middle was dragged from the picture's middle.
    page.wait_for_timeout(200)
    scale = page.evaluate(SCALE)
    x, y = SIZE[0] / 2 + 300 / scale, SIZE[1] / 2 + 200 / scale
    _, green, blue, alpha = page.evaluate(MIDDLE)
    assert alpha == 255
    assert blue == pytest.approx(x * 255 / SIZE[0], abs=4)
    assert green == pytest.approx(y * 255 / SIZE[1], abs=4)
    page.keyboard.press("0")
    wait_until(page, f"Math.abs({SCALE} - {fitting}) < 0.001")
