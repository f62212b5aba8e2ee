"""A new base address leaves every pixel alone: only what names the address is written again."""

from __future__ import annotations

import contextlib
import copy
import shutil
from pathlib import Path
from typing import Any

import pytest

from glassine import steps
from glassine.base import files
from glassine.night import due, item_job
from glassine.render import addresses
from unit.render.test_render import Item

OLD, NEW = "https://images.port-ellery.example/iiif", "https://pictures.port-ellery.example/a"


def given_at(item: Item, base: str, **changed: Any) -> dict[str, Any]:
    settings = copy.deepcopy(item.settings)
    settings["iiif"]["base_url"] = base
    settings["iiif"] |= changed
    return {
        "step": "render",
        "batch": "harbour",
        "item": "PEH-0001",
        "masters": item.masters,
        "facts": item.facts.as_dict(),
        "settings": settings,
    }


def content_of(folder: Path) -> dict[str, bytes]:
    kept = [path for path in folder.rglob("*") if path.is_file()]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in kept}


@pytest.fixture(scope="module")
def rendered(tmp_path_factory: pytest.TempPathFactory) -> Item:
    """An item rendered for the old address."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("SOURCE_DATE_EPOCH", "1773800000")
        item = Item(tmp_path_factory.mktemp("address"))
        item.settings["iiif"]["base_url"] = OLD
        item.run()
    return item


@pytest.fixture
def item_dir(rendered: Item, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1773800000")
    shutil.copytree(rendered.dir, tmp_path / "item")
    return tmp_path / "item"


class Chain:
    """The chain of one step, that notes whether it computed pixels."""

    def __init__(self, rendered: Item, item_dir: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.item, self.dir, self.drawn = rendered, item_dir, 0
        files.write_json(item_dir / due.STEPS_DONE, {"render": due.digest(given_at(rendered, OLD))})
        render = steps.function("render")

        def counting(*given: Any) -> None:
            self.drawn += 1
            render(*given)

        monkeypatch.setattr(item_job.table, "function", lambda name: counting)
        monkeypatch.setattr(
            item_job.supervision, "item_step", lambda *given: contextlib.nullcontext()
        )

    def take(self, given: dict[str, Any]) -> int:
        """Take the item through render; return how often pixels were computed."""
        job = item_job.Job(self.item.batch, self.dir, [given], "key", None)
        item_job._do_from(job, item_job._first_due(job), 1)
        assert due.steps_done(self.dir) == {"render": due.digest(given)}
        return self.drawn


@pytest.fixture
def chain(rendered: Item, item_dir: Path, monkeypatch: pytest.MonkeyPatch) -> Chain:
    return Chain(rendered, item_dir, monkeypatch)


def test_what_comes_out_is_what_render_would_make_and_no_pixel_was_touched(
    chain: Chain, rendered: Item, tmp_path: Path
) -> None:
    pictures = list(chain.dir.rglob("*.jpg"))
    before = {path: (path.stat().st_ino, path.stat().st_mtime_ns) for path in pictures}
    assert chain.take(given_at(rendered, NEW)) == 0
    assert {path: (path.stat().st_ino, path.stat().st_mtime_ns) for path in pictures} == before
    whole = tmp_path / "whole"
    shutil.copytree(rendered.dir, whole)
    typed = steps.given("render", given_at(rendered, NEW))
    from glassine.render.step import render_item

    render_item(rendered.batch, whole, typed)
    (chain.dir / due.STEPS_DONE).unlink()
    assert content_of(chain.dir) == content_of(whole)
    assert NEW in (whole / "iiif" / "PEH-0001" / "info.json").read_text("utf-8")


def test_another_setting_beside_the_address_makes_the_pictures_anew(
    chain: Chain, rendered: Item
) -> None:
    assert chain.take(given_at(rendered, NEW, quality=40)) == 1


def test_the_same_address_again_does_nothing(chain: Chain, rendered: Item) -> None:
    assert chain.take(given_at(rendered, OLD)) == 0


@pytest.mark.parametrize("damage", ["tile", "missing", "more", "record"])
def test_what_is_not_as_recorded_is_made_anew_not_given_a_new_address(
    chain: Chain, rendered: Item, damage: str
) -> None:
    """The damage must not be sealed with a new digest."""
    tile = chain.dir / "iiif" / "PEH-0001" / "full" / "max" / "0" / "default.jpg"
    if damage == "tile":
        tile.write_bytes(tile.read_bytes()[:-1] + b"x")
    elif damage == "missing":
        tile.unlink()
    elif damage == "more":
        (tile.parent / "more.jpg").write_bytes(b"x")
    else:
        (chain.dir / "render" / "render.json").write_text("{", "utf-8")
    assert chain.take(given_at(rendered, NEW)) == 1
    assert not (tile.parent / "more.jpg").exists()


def test_a_run_that_ended_in_between_makes_the_pictures_anew(
    chain: Chain, rendered: Item, monkeypatch: pytest.MonkeyPatch
) -> None:
    def dying(*given: Any) -> bool:
        raise KeyboardInterrupt

    with monkeypatch.context() as patched, pytest.raises(KeyboardInterrupt):
        patched.setattr(addresses.record_files, "save", dying)
        chain.take(given_at(rendered, NEW))
    assert chain.take(given_at(rendered, NEW)) == 1
