"""The sketch of a correction has the colours that the picture has."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips

from glassine.base.item_states import ItemStatus, Reason
from glassine.report import sketch
from glassine.report.shown import Batch, Frame, Item, Master, PictureFile

SIZE = (1600, 1200)
CORNERS = [[400.0, 300.0], [1200.0, 320.0], [1190.0, 900.0], [390.0, 880.0]]


def frame(**more: Any) -> Frame:
    return Frame(**{
        "n": 1, "corners": CORNERS, "angle": 0, "rotate": 0, "mirror": False,
        "polarity": "negative", "process": "colour", "blank": False, "exclude": False,
        "confidence": 0.9, "state": "review", "seen": None, "source": "measured", "reasons": [],
        "files": {}, "tiles": None, "measures": [], **more,
    })  # fmt: skip


def scene() -> Any:
    """Return a picture of 290 x 400 px with colours that do not go together."""
    y, x = np.mgrid[0:290, 0:400] / 290
    layers = [0.5 + 0.4 * np.sin(4 * x), 0.5 + 0.4 * np.cos(5 * y), 0.3 + 0.3 * np.sin(3 * x * y)]
    return np.clip(np.stack(layers, -1) * 255, 0, 255)


def film_of(picture: Any, negative: bool = True) -> Any:
    """Return how each channel of a picture stands on an orange film, by a curve of its own."""
    light = picture / 255
    told = np.array([0.9, 0.6, 0.4]) * np.exp(-1.3 * light) if negative else light**0.8
    return told * 255


def preview_of(picture: Any, negative: bool = True) -> Any:
    """Return the preview (400 x 300) of a master that holds the picture, a light table about it."""
    whole = np.full((300, 400, 3), 250.0)
    film = film_of(picture, negative)
    for y in range(75, 226):
        for x in range(97, 301):
            u, v = (x - 98.75) / 201.25, (y - 77.5) / 147.5
            at = min(289, max(0, int(v * 290))), min(399, max(0, int(u * 400)))
            whole[y, x] = film[at]
    return whole.astype(np.uint8)


@pytest.mark.parametrize("negative", [True, False])
def test_the_curves_make_the_picture_of_the_film(negative: bool) -> None:
    picture = scene()
    polarity = "negative" if negative else "positive"
    found = sketch.curves(
        preview_of(picture, negative), picture.astype(np.uint8), frame(polarity=polarity), SIZE
    )
    assert found is not None
    film = film_of(picture, negative)
    drawn = np.stack(
        [np.interp(film[..., c], np.linspace(0, 255, len(found[c])), found[c]) for c in range(3)],
        -1,
    )
    # A hundredth of a channel's codes at each end is not looked at.
    assert np.abs(drawn - picture).mean() < 6
    assert np.percentile(np.abs(drawn - picture), 95) < 16


def test_a_frame_outside_of_the_preview_or_of_one_tone_has_none() -> None:
    picture = scene().astype(np.uint8)
    outside = [[-50.0, 0.0], [900.0, 0.0], [900.0, 700.0], [-50.0, 700.0]]
    assert sketch.curves(preview_of(scene()), picture, frame(corners=outside), SIZE) is None
    flat = np.full((300, 400, 3), 120, np.uint8)
    assert sketch.curves(flat, picture, frame(), SIZE) is None


def test_only_items_for_review_get_them_and_a_damaged_picture_none(tmp_path: Path) -> None:
    items = []
    for name, state in (("a", "review"), ("b", "done"), ("c", "review")):
        folder = tmp_path / "items" / name
        folder.mkdir(parents=True)
        pyvips.Image.new_from_array(preview_of(scene())).jpegsave(str(folder / "p.jpg"))
        pyvips.Image.new_from_array(scene().astype(np.uint8)).jpegsave(str(folder / "t.jpg"))
        if name == "c":
            (folder / "t.jpg").write_bytes(b"no picture")
        thumb = PictureFile(src=f"../items/{name}/t.jpg", w=400, h=290, bytes=1, sha256="ab")
        master = Master(
            path=f"{name}.tif", width=SIZE[0], height=SIZE[1], preview=f"../items/{name}/p.jpg",
            frames=[frame(files={"thumb": thumb})],
        )  # fmt: skip
        status = ItemStatus(name, state=state, reasons=[Reason("x")])  # type: ignore[arg-type]
        items.append(Item(status, masters=[master]))
    (tmp_path / "report").mkdir()
    sketch.add(Batch("night", "Night", items=items), tmp_path)
    has = [each.masters[0].frames[0].sketch is not None for each in items]
    assert has == [True, False, False]
