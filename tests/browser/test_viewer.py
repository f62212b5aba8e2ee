"""The zoom viewer that npm installs (`npm install openseadragon`) opens the project's own tiles."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from conftest import Night, wait_until
from glassine import report
from glassine.base import settings
from glassine.render import tiles
from glassine.review import server as review_server
from makers import make_results, step_calls

VIEWER = report.viewer_file(None)
SIZE = (2300, 1700)

pytestmark = pytest.mark.skipif(
    VIEWER is None,
    reason=f"OpenSeadragon is not installed (in {settings.PROJECT}: npm install openseadragon)",
)


def write_tiles(folder: Path) -> None:
    """Write the tile set of a drawn picture, as render does: in bands of full-size rows."""
    width, height = SIZE
    y, x = np.mgrid[0:height, 0:width]
    picture = np.stack([x * 255 // width, y * 255 // height, (x + y) % 256], -1).astype(np.uint8)
    folder.parent.mkdir(parents=True)
    form = tiles.Form(tile_px=512, quality=85, api="3", icc=None, ppi=None)
    writer = tiles.Writer(folder, width, height, form)
    for top in range(0, height, 512):
        writer.first_band(top, picture[top : top + 512])
    service = "https://images.port-ellery.example/iiif/PEH-0001"
    writer.finish(picture, tiles.halved(picture), service, None, [])


def night_with_tiles(root: Path) -> Night:
    night = Night(root, 6)
    folder = night.results / "items" / "PEH-0001"
    write_tiles(folder / "iiif" / "PEH-0001")
    path = folder / "render" / "render.json"
    record = json.loads(path.read_text("utf-8"))
    record["frames"][0].update(
        width=SIZE[0],
        height=SIZE[1],
        tiles={
            "path": "iiif/PEH-0001", "width": SIZE[0], "height": SIZE[1], "tile_px": 512,
            "count": 1, "bytes": 1, "sha256": "00",
        },
    )  # fmt: skip
    make_results.write_json(path, record)
    step_calls.write_report(night.results, night.given)
    return night


VIEW = "glassineViewer.viewport"
ZOOMED_IN = f"Math.abs({VIEW}.viewportToImageZoom({VIEW}.getZoom()) - 1) < 0.01"
DRAWN = "glassineViewer.world.getItemAt(0)?.getFullyLoaded()"


def look_closely(page: Any, address: str) -> list[str]:
    """Open the viewer, go to full size in every part; return the tiles that were asked for."""
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(f"{address}#item=PEH-0001")
    page.wait_for_selector("dialog[open] .panel")
    page.get_by_role("button", name="Zoom into the picture").click()
    wait_until(page, "window.glassineViewer?.world.getItemCount() === 1")
    wait_until(page, DRAWN)
    full = "glassineViewer.viewport.imageToViewportZoom(1)"
    page.evaluate(f"glassineViewer.viewport.zoomTo({full}, null, true)")
    for x in (0.1, 0.5, 0.9):
        for y in (0.05, 0.35, 0.65):
            page.evaluate(f"glassineViewer.viewport.panTo(new OpenSeadragon.Point({x}, {y}), true)")
            wait_until(page, DRAWN)
    wait_until(page, ZOOMED_IN)
    return [url for url in asked if "/iiif/" in url]


def test_the_viewer_reaches_full_zoom_from_the_disk(page: Any, tmp_path: Path) -> None:
    night = night_with_tiles(tmp_path)
    asked = look_closely(page, night.address)  # a missing tile is a complaint of the page
    full_size = {url.rpartition("/iiif/PEH-0001/")[2] for url in asked}
    assert "0,0,512,512/512,512/0/default.jpg" in full_size
    assert "2048,1536,252,164/252,164/0/default.jpg" in full_size


def test_the_viewer_reaches_full_zoom_through_the_server(
    page: Any, served: Any, tmp_path: Path
) -> None:
    night = night_with_tiles(tmp_path)
    session = review_server.Session(night.given["batch"], night.results, tmp_path, False)
    assert len(look_closely(page, served(session))) >= 20
