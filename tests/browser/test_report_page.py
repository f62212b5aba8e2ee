"""The report in a browser, opened from the disk: it loads, filters, mends and saves."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec
import pytest

from conftest import Night, wait_until
from glassine.base import corrections


def open_item(page: Any, night: Night, item: str) -> None:
    page.goto(f"{night.address}#item={item}")
    page.wait_for_selector("dialog[open] .panel")


def shown(page: Any) -> list[str]:
    found: list[str] = page.eval_on_selector_all(
        "#cards > li:not([hidden]) b", "nodes => nodes.map(node => node.textContent)"
    )
    return found


def saved(page: Any, folder: Path) -> dict[str, Any]:
    """Press the save button; return what the project reads from the downloaded file."""
    page.get_by_label("Your role id").fill("op-07")
    with page.expect_download() as started:
        page.get_by_role("button", name="Download corrections.yaml").click()
    path = folder / "corrections.yaml"
    started.value.save_as(path)
    return msgspec.to_builtins(corrections.read(path).corrections)


def frame_of(read: dict[str, Any], item: str, number: int = 1) -> dict[str, Any]:
    (found,) = [each for each in read[item]["frames"] if each["frame"] == number]
    return dict(found)


def test_it_loads_without_a_complaint_and_shows_every_item(page: Any, night: Night) -> None:
    page.goto(night.address)
    assert len(shown(page)) == 16
    page.locator("#cards img").first.scroll_into_view_if_needed()
    wait_until(page, "document.querySelector('#cards img').naturalWidth > 0")


def test_search_state_material_and_order(page: Any, night: Night) -> None:
    page.goto(night.address)
    page.locator("#find").fill("möwe polyester")
    wait_until(page, "document.querySelectorAll('#cards > li:not([hidden])').length < 16")
    titles = page.locator("#cards > li:not([hidden]) .t").all_text_contents()
    assert titles
    assert all("Möwe" in title for title in titles)
    page.locator("#find").fill("nothing fits this")
    page.locator("#reset").click()
    assert len(shown(page)) == 16
    page.locator("#by-state").select_option("held")
    assert shown(page) == ["PEH-0013", "PEH-0014"]
    page.locator("#by-state").select_option("")
    page.locator("#order").select_option("state")
    assert shown(page)[:3] == ["PEH-0013", "PEH-0014", "PEH-0004"]
    page.locator("#order").select_option("decay")
    assert shown(page)[0] == "PEH-0003"  # nitrate of level 4, the first of them


def test_a_count_leads_to_its_items(page: Any, night: Night) -> None:
    page.goto(night.address)
    page.get_by_role("link", name="review finished").click()
    wait_until(page, "document.querySelector('#by-state').value === 'review'")
    assert shown(page) == ["PEH-0004", "PEH-0007", "PEH-0011"]


def test_the_list_is_walked_and_opened_by_keys(page: Any, night: Night) -> None:
    page.goto(night.address)
    page.keyboard.press("/")
    assert page.evaluate("document.activeElement.id") == "find"
    page.locator("#cards a").first.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert page.evaluate("document.activeElement.textContent") == "PEH-0003"
    page.keyboard.press("Enter")
    page.wait_for_selector("dialog[open] .panel")
    assert "PEH-0003" in page.locator("#item-name").inner_text()
    page.keyboard.press("n")
    wait_until(page, "document.querySelector('#item-name').textContent.includes('0004')")
    page.keyboard.press("Escape")
    page.wait_for_selector("dialog:not([open])", state="attached")
    assert page.evaluate("document.activeElement.textContent") == "PEH-0004"


def test_dragging_a_corner_gives_that_corner(page: Any, night: Night, tmp_path: Path) -> None:
    open_item(page, night, "PEH-0001")
    box = page.locator(".film > svg").bounding_box()
    scale = 6400 / box["width"]  # pixels of the master a pixel of the screen
    grip = page.locator('[data-keep="grip-0"] .ring')
    spot = grip.bounding_box()
    x, y = spot["x"] + spot["width"] / 2, spot["y"] + spot["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 30, y + 10)
    page.mouse.move(x + 50, y + 20)
    page.mouse.up()
    frame = frame_of(saved(page, tmp_path), "PEH-0001")
    assert frame["master"] == "PEH-0001.tif"
    moved, *others = frame["corners"]
    assert moved == pytest.approx([900 + 50 * scale, 700 + 20 * scale], abs=scale)
    assert others == [[5500, 760], [5445, 4100], [850, 4040]]


def test_everything_can_be_done_by_keyboard_alone(page: Any, night: Night, tmp_path: Path) -> None:
    open_item(page, night, "PEH-0001")
    for _ in range(60):  # forward until the second corner has the focus
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.dataset.keep") == "grip-1":
            break
    assert "top right" in page.evaluate("document.activeElement.getAttribute('aria-label')")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowDown")
    assert page.evaluate("document.activeElement.dataset.keep") == "grip-1"
    for key in ("right", "mirror", "exclude"):
        for _ in range(60):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.dataset.keep") == key:
                break
        page.keyboard.press("Space")
    frame = frame_of(saved(page, tmp_path), "PEH-0001")
    assert frame["corners"][1] == [5501, 785]
    assert (frame["rotate"], frame["mirror"], frame["exclude"]) == (90, True, True)


def test_turn_polarity_process_blank_and_note(page: Any, night: Night, tmp_path: Path) -> None:
    open_item(page, night, "PEH-0005")
    page.get_by_label("2", exact=True).check()
    page.get_by_role("button", name="Turn left").click()
    page.get_by_label("Polarity").select_option("positive")
    page.get_by_label("Process").select_option("monochrome")
    page.get_by_label("The frame is blank").check()
    page.get_by_label("Seen, and accepted as it is").check()
    page.get_by_label("Note to the record").fill("seen: “blank” \u2028 end: yes # no")
    page.keyboard.press("Tab")
    read = saved(page, tmp_path)
    frame = frame_of(read, "PEH-0005", 2)
    assert frame.pop("seen")["polarity"] == "negative"  # what the decision was made on
    assert frame == {
        "master": "PEH-0005.tif",
        "frame": 2,
        "rotate": 270,
        "polarity": "positive",
        "process": "monochrome",
        "blank": True,
        "accept": True,
    }
    assert read["PEH-0005"]["note"] == "seen: “blank” \u2028 end: yes # no"
    assert read["PEH-0005"]["by"] == "op-07"


def test_a_frame_is_added_in_numbers_and_removed_again(
    page: Any, night: Night, tmp_path: Path
) -> None:
    open_item(page, night, "PEH-0001")
    page.get_by_role("button", name="Add a frame").click()
    assert page.locator(".film g").count() >= 2
    page.get_by_text("Corners in numbers").click()
    page.get_by_label("top left, x").fill("1234.5")
    page.keyboard.press("Tab")
    read = saved(page, tmp_path)
    assert frame_of(read, "PEH-0001", 2)["corners"][0][0] == 1234.5
    page.get_by_role("button", name="Remove the frame").click()
    assert "PEH-0001" not in saved(page, tmp_path)


def test_undo_takes_back_one_change_after_another(page: Any, night: Night) -> None:
    open_item(page, night, "PEH-0001")
    page.get_by_role("button", name="Turn right").click()
    page.get_by_label("Mirror left to right").check()
    page.get_by_role("button", name="Undo").click()
    assert page.get_by_label("Mirror left to right").is_checked() is False
    assert page.locator("#save").is_visible()
    page.get_by_role("button", name="Undo").click()
    assert page.locator("#save").is_hidden()


def test_crossed_corners_are_not_saved(page: Any, night: Night) -> None:
    open_item(page, night, "PEH-0001")
    page.get_by_text("Corners in numbers").click()
    page.get_by_label("top left, x").fill("6300")
    page.get_by_label("top left, x").press("Tab")
    page.get_by_label("Your role id").fill("op-07")
    page.get_by_role("button", name="Download corrections.yaml").click()
    assert "corners cross" in page.locator("#save p").inner_text()
    assert page.locator("#save").get_by_role("button", name="Download").is_visible()


def test_who_decides_must_be_said(page: Any, night: Night) -> None:
    open_item(page, night, "PEH-0001")
    page.get_by_role("button", name="Turn right").click()
    page.get_by_label("Your role id").fill("Orla Vennick")
    page.get_by_role("button", name="Download corrections.yaml").click()
    assert "role id" in page.locator("#save p").inner_text()


def test_changes_outlive_a_closed_page(page: Any, night: Night) -> None:
    open_item(page, night, "PEH-0001")
    page.get_by_role("button", name="Turn right").click()
    page.goto("about:blank")
    page.goto(night.address)
    assert page.locator("#save p").inner_text().startswith("1 item changed")
    assert page.locator("#cards li.changed b").all_text_contents() == ["PEH-0001"]


def test_without_the_viewer_the_access_image_is_enlarged(page: Any, night: Night) -> None:
    open_item(page, night, "PEH-0001")
    page.get_by_role("button", name="Zoom into the picture").click()
    wait_until(page, "document.querySelector('.zoom .see img')?.naturalWidth === 1500")
    page.keyboard.press("Escape")
    assert page.locator(".zoom").count() == 0
    assert page.locator("dialog[open]").count() == 1


@pytest.mark.parametrize("width", [360, 768, 1280])
def test_nothing_is_wider_than_the_screen(page: Any, night: Night, width: int) -> None:
    """WCAG 2.2, 1.4.10 Reflow: no scrolling in two directions (tables excepted)."""
    page.set_viewport_size({"width": width, "height": 800})
    page.goto(night.address)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.goto(f"{night.address}#item=PEH-0005")
    page.wait_for_selector("dialog[open] .panel")
    assert page.evaluate("document.querySelector('dialog').scrollWidth") <= width


def test_a_script_in_the_records_does_not_run(page: Any, tmp_path: Path) -> None:
    import json

    night = Night(tmp_path, 6)
    path = night.results / "intake.json"
    intake = json.loads(path.read_text("utf-8"))
    steal = "document.title='taken'"
    hostile = f'</script><img src=x onerror="{steal}"><script>{steal}</script>'
    for entry in intake["items"]:
        if entry["catalogue"]:
            entry["catalogue"].update(title=hostile, description=hostile, date_text=hostile)
    path.write_text(json.dumps(intake), "utf-8")
    from makers import step_calls

    step_calls.write_report(night.results, night.given)
    open_item(page, night, "PEH-0001")
    assert hostile in page.locator("#item-name").inner_text()
    assert page.title().startswith("Harbour office")
    assert page.locator("dialog script, main script, dialog img[src=x]").count() == 0
