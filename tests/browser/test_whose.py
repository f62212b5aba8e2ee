"""A capture whose item is not known is given to a row of the catalogue by one key, and saved."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest

from conftest import wait_until
from faults import batches
from glassine.base import corrections, naming
from glassine.review.server import Session
from makers import make_results, step_calls

CAPTURES = ("DSC_0107.tif", "DSC_0108.tif")
STAND_INS = [naming.stand_in(path) for path in CAPTURES]


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    root = tmp_path_factory.mktemp("unnamed")
    given = make_results.write_batch(root, 5)
    folder = root / "results" / make_results.BATCH
    masters = root / "masters" / make_results.BATCH
    record = json.loads((folder / "intake.json").read_text("utf-8"))
    for number, path in enumerate(CAPTURES):
        batches.write_master(masters / path, number)
        told = make_results.finding("naming.off_template", path, "Its name does not tell the item.")
        line = make_results.entry(STAND_INS[number], 0, "held", catalogue=None, findings=[told])
        line["masters"][0] |= {"path": path, "size_px": [300, 220], "mtime_ns": number}
        record["items"].insert(0, line)
    record["rows"]["without_master"] = ["PEH-0107", "PEH-0300"]
    make_results.write_json(folder / "intake.json", record)
    rows = "".join(f"PEH-{n:04d},Slipway {n} <b>,1906\n" for n in (1, 2, 107, 108, 300))
    (masters / "catalogue.csv").write_text(f"item_id,title,date\n{rows}", "utf-8")
    columns = {"item": "item_id", "title": "title", "date": "date"}
    step_calls.write_report(
        folder,
        given | {"masters": str(masters), "settings": {"catalogue": {"columns": columns}}},
    )
    yield folder


@pytest.fixture
def session(results: Path, tmp_path: Path) -> Session:
    return Session(make_results.BATCH, results, tmp_path, writable=True)


def identities(session: Session) -> dict[str, Any]:
    if not session.target.exists():
        return {}
    read = msgspec.to_builtins(corrections.read(session.target).corrections)
    return {each["master"]: each["item"] for one in read.values() for each in one["identity"]}


def saved(page: Any, session: Session, wanted: dict[str, str]) -> None:
    for _ in range(200):
        if identities(session) == wanted:
            return
        page.wait_for_timeout(20)
    raise AssertionError(f"{identities(session)}: {page.locator('#save p').text_content()}")


def enter(page: Any, address: str) -> None:
    page.goto(f"{address}#queue=0")
    page.wait_for_selector("dialog[open] .keyed")
    page.get_by_label("Your role id").first.fill("op-07")
    page.get_by_label("Your role id").first.blur()


def test_a_digit_gives_the_capture_to_its_row_and_goes_on(
    page: Any, session: Session, served: Callable[[Session], str]
) -> None:
    enter(page, served(session))
    shown = page.locator(".rows button").first
    assert "PEH-0108" in shown.text_content() and "<b>" in shown.text_content()
    wait_until(page, "document.querySelector('.film img').naturalWidth === 300")
    page.keyboard.press("1")
    wait_until(page, "document.querySelector('.panel h3').textContent.startsWith('2 of')")
    saved(page, session, {"DSC_0108.tif": "PEH-0108"})
    page.keyboard.press("u")
    saved(page, session, {})


def test_another_row_is_found_by_its_words_or_typed_and_taken_back(
    page: Any, session: Session, served: Callable[[Session], str]
) -> None:
    address = served(session)
    enter(page, address)
    page.keyboard.press("w")
    page.keyboard.type("slipway 300")
    page.wait_for_selector("ul.rows button")
    page.keyboard.press("Enter")
    saved(page, session, {"DSC_0108.tif": "PEH-0300"})
    wait_until(page, "document.querySelector('.panel h3').textContent.startsWith('2 of')")
    page.keyboard.press("w")
    page.keyboard.type("PEH-7777")
    wait_until(page, "/no such row/.test(document.querySelector('ul.rows')?.textContent || '')")
    page.keyboard.press("Enter")
    saved(page, session, {"DSC_0107.tif": "PEH-7777", "DSC_0108.tif": "PEH-0300"})
    page.goto(f"{address}#queue=0")
    page.get_by_role("button", name="Take back").click()
    saved(page, session, {"DSC_0107.tif": "PEH-7777"})


def test_what_was_decided_about_an_item_that_is_gone_is_said_when_the_page_is_loaded(
    page: Any, session: Session, served: Callable[[Session], str]
) -> None:
    address = served(session)
    page.goto(address)
    shelf = f"glassine corrections of {make_results.BATCH}"
    kept = {"edits": {"unidentified-00000000": {"frames": []}}, "bases": {}, "by": "op-07"}
    page.evaluate("([key, value]) => localStorage.setItem(key, value)", [shelf, json.dumps(kept)])
    page.reload()
    said = "document.querySelector('#save').textContent"
    wait_until(page, f"{said}.includes('unidentified-00000000')")
    assert "no such item any more" in page.locator("#save").text_content()
