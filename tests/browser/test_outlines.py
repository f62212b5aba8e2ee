"""Outlines lie on the frame, to a pixel of the screen, whatever the master's shape and the width."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import pyvips

from makers import make_results, step_calls

# Width and height of masters in px: upright, square, wide, a strip, a sleeve page, an upright strip.
SHAPES = (
    (3000, 4500), (4000, 4000), (6400, 4800), (9000, 1800), (5100, 6600), (1200, 8000), (7000, 3001),
    (2999, 4001),
)  # fmt: skip
# From the middle of a drawn line to the edge of the frame, in px of the screen.
ALLOWED_PX = 1.0
# Where each corner of each outline lies, and where it must lie by the picture as it is drawn.
PLACES = """(where) => [...document.querySelectorAll(where + ' .pic')].filter(each => each.querySelector('svg')).map(each => {
  const svg = each.querySelector('svg'), image = each.querySelector('img'), box = image.getBoundingClientRect();
  const fit = Math.min(box.width / image.naturalWidth, box.height / image.naturalHeight);
  const drawn = getComputedStyle(image).objectFit === 'contain' ? [image.naturalWidth * fit, image.naturalHeight * fit] : [box.width, box.height];
  const at = [box.left + (box.width - drawn[0]) / 2, box.top + (box.height - drawn[1]) / 2];
  const [, , width, height] = svg.getAttribute('viewBox').split(' ').map(Number);
  const toScreen = svg.getScreenCTM();
  const found = svg.querySelector('.edge').getAttribute('d').match(/[-\\d.]+/g).map(Number);
  return [0, 2, 4, 6].map(i => {
    const is = new DOMPoint(found[i], found[i + 1]).matrixTransform(toScreen);
    return Math.hypot(is.x - (at[0] + found[i] / width * drawn[0]), is.y - (at[1] + found[i + 1] / height * drawn[1]));
  });
})"""


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A batch with a master of each shape, all of them for review."""
    root = tmp_path_factory.mktemp("shapes")
    given = make_results.write_batch(root, len(SHAPES) + 4)
    results = root / "results" / make_results.BATCH
    for number, (width, height) in enumerate(SHAPES, 1):
        _reshape(results / "items" / f"PEH-{number:04d}", width, height)
    return step_calls.write_report(results, given).as_uri()


def _reshape(folder: Path, width: int, height: int) -> None:
    geometry = json.loads((folder / "geometry.json").read_text("utf-8"))
    (master,) = geometry["masters"]
    master |= {"width": width, "height": height}
    frame = make_results.frame_record(
        1,
        [[width * x, height * y] for x, y in ((0.1, 0.1), (0.9, 0.12), (0.88, 0.9), (0.11, 0.88))],
        sure=False,
    )
    master["frames"] = [frame]
    make_results.write_json(folder / "geometry.json", geometry)
    fixity = json.loads((folder / "fixity.json").read_text("utf-8"))
    fixity["masters"][0]["header"] |= {"width": width, "height": height}
    make_results.write_json(folder / "fixity.json", fixity)
    preview = folder / "previews" / f"{folder.name}.jpg"
    preview.unlink()
    scale = 1600 / max(width, height)
    drawn = pyvips.Image.black(round(width * scale), round(height * scale), bands=3)
    drawn.jpegsave(str(preview))


@pytest.mark.parametrize("width_px", [1440, 700, 390])
@pytest.mark.parametrize("where", ["#look", "#cards"])
def test_an_outline_lies_on_its_frame(
    chromium: Any, address: str, width_px: int, where: str
) -> None:
    page = chromium.new_page(viewport={"width": width_px, "height": 900})
    page.goto(address)
    page.evaluate(
        "() => Promise.all([...document.images].filter(each => each.src).map(each => {"
        " each.loading = 'eager'; return each.decode().catch(() => 0); }))"
    )
    found = page.evaluate(PLACES, where)
    page.close()
    assert len(found) >= len(SHAPES)
    assert max(offset for corners in found for offset in corners) <= ALLOWED_PX, found
