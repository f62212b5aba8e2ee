"""From the page to the picture: a corner is dragged and saved, and the next run crops so."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import yaml

from conftest import wait_until
from glassine.base import settings
from glassine.review import server as review_server
from makers.film.samples import Sample
from makers.studio import Studio

BATCH = "mended"
ITEMS = {"PEH-0301": "frame_135", "PEH-0302": "sheet"}


def make_batch(folder: Path) -> None:
    folder.mkdir(parents=True)
    for number, (item, kind) in enumerate(ITEMS.items()):
        sample = Sample(item, kind, 0.0, 500 + number, {}, time="13:05:00")
        sample.write(folder, sample.plan(900))
    rows = [f"{item},Quay {item},Hafen Ævø,c. 1905" for item in ITEMS]
    header = "item_id,title,description,date"
    (folder / "catalogue.csv").write_text("\n".join([header, *rows]) + "\n", "utf-8")
    facts = {"items": [{"match": "PEH-0301", "kind": "frame_135"}]}
    (folder / "batch.yaml").write_text(yaml.safe_dump(facts), "utf-8")


def only_frame(studio: Studio, item: str) -> dict[str, Any]:
    record = json.loads((studio.item(BATCH, item) / "geometry.json").read_text("utf-8"))
    (master,) = record["masters"]
    found: dict[str, Any] = master["frames"][0]
    return found


def drag_and_save(page: Any, address: str, item: str) -> None:
    page.goto(f"{address}#item={item}")
    page.wait_for_selector("dialog[open] .panel")
    spot = page.locator('[data-keep="grip-2"] .ring').bounding_box()
    x, y = spot["x"] + spot["width"] / 2, spot["y"] + spot["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 60, y - 40, steps=4)
    page.mouse.up()
    page.get_by_label("Your role id").fill("op-07")
    page.get_by_role("button", name="Save corrections").click()
    wait_until(page, "document.querySelector('#save p').textContent.startsWith('Saved')")


@pytest.mark.slow
def test_a_dragged_corner_is_the_next_run_s_crop(page: Any, served: Any, tmp_path: Path) -> None:
    studio = Studio(tmp_path)
    make_batch(studio.masters / BATCH)
    first = studio.night()
    assert first.code == 0, first.text[-3000:]
    before = only_frame(studio, "PEH-0301")
    config = settings.load({"masters": "masters"})
    session = review_server.open_session(config, tmp_path, BATCH)
    drag_and_save(page, served(session), "PEH-0301")
    wanted = session.standing().corrections["PEH-0301"].frames[0].corners
    assert wanted[:2] == [pytest.approx(point, abs=0.01) for point in before["corners"][:2]]
    assert wanted[2][0] < before["corners"][2][0] - 20

    second = studio.night()
    assert second.code == 0, second.text[-3000:]
    after = only_frame(studio, "PEH-0301")
    assert after["corners"] == wanted
    assert after["source"] == "correction"
    # The frame's last edge moved in, so the picture that readers see is smaller.
    rendered = json.loads(
        (studio.item(BATCH, "PEH-0301") / "render" / "render.json").read_text("utf-8")
    )["frames"][0]
    longer = max(wanted[2][0] - wanted[3][0], wanted[1][0] - wanted[0][0])
    assert rendered["width"] <= longer + 2
    # And no other item was touched.
    assert {item for step, item in second.jobs if item in ITEMS} <= {"PEH-0301"}
