"""The sketch in the review queue has the colours of the picture beside it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pyvips

from conftest import Night
from makers import step_calls


def mean_of(png: bytes) -> Any:
    shown = pyvips.Image.new_from_buffer(png, "").numpy()[..., :3].astype(float)
    height, width = shown.shape[:2]
    inner = shown[height // 4 : -height // 4, width // 4 : -width // 4]
    return inner.reshape(-1, 3).mean(0)


def test_a_negative_is_sketched_in_the_colours_that_it_has(page: Any, tmp_path: Path) -> None:
    """The film is orange and the picture is not: turning the preview over would make it blue."""
    night = Night(tmp_path, 8)
    folder = night.results / "items" / "PEH-0004"
    path = folder / "geometry.json"
    assert json.loads(path.read_text("utf-8"))["masters"][0]["frames"][0]["polarity"] == "negative"
    (thumb,) = (folder / "thumbs").glob("*.jpg")
    y, x = np.mgrid[0:290, 0:400]
    picture = np.stack([90 + x / 4, 120 + y / 4, 70 + (x + y) / 8], -1).astype(np.uint8)
    thumb.unlink()
    pyvips.Image.new_from_array(picture).jpegsave(str(thumb), Q=95)
    step_calls.write_report(night.results, night.given)
    page.goto(f"{night.address}#queue=0")
    page.wait_for_selector("dialog[open] .now canvas")
    page.wait_for_timeout(500)
    assert "PEH-0004" in page.locator("#item-name").text_content()
    sketched = mean_of(page.locator(".now canvas").screenshot())
    beside = mean_of(page.locator(".now img").screenshot())
    assert np.abs(sketched - beside).max() < 14, (sketched, beside)
