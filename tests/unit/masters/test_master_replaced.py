"""What is hashed is what is decoded: a file that takes a master's place meanwhile is noticed."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest
import tifffile

from glassine.base import files, hashing, settings
from glassine.base.errors import GlassineError
from glassine.base.model import Facts, Frame, ItemGeometry, MasterGeometry
from glassine.base.records.given import Master
from glassine.masters import colour, fixity, opening
from makers import verified
from makers.step_calls import do_step

NAME = "PEH-0001.tif"
CORNERS = ((20.0, 20.0), (180.0, 20.0), (180.0, 130.0), (20.0, 130.0))
FRAME = Frame(1, CORNERS, 0.0, "positive", "colour", confidence=1, state="ok")


def write(path: Path, seed: int, compression: str | None) -> Path:
    pixels = np.random.default_rng(seed).integers(5000, 60000, (150, 200, 3)).astype(np.uint16)
    tifffile.imwrite(
        path,
        pixels,
        photometric="rgb",
        compression=compression,
        iccprofile=colour.srgb_profile(),
        metadata=None,
    )
    return path


class Item:
    """An item whose one master was verified, and another picture beside the batch."""

    def __init__(self, root: Path, compression: str | None) -> None:
        self.batch, self.dir = root / "batch", root / "item"
        self.batch.mkdir()
        self.dir.mkdir()
        self.master = write(self.batch / NAME, 1, compression)
        self.other = write(root / "other.tif", 2, compression)
        self.copy = write(root / "copy.tif", 1, compression)
        status = self.master.stat()
        known = {"path": NAME, "part": None, "sequence": None, "expected": {}}
        known |= {"bytes": status.st_size, "mtime_ns": status.st_mtime_ns}
        self.given: dict[str, Any] = {
            "batch": "harbour",
            "item": "PEH-0001",
            "masters": [known],
            "facts": Facts().as_dict(),
            "findings": [],
            "settings": settings.load({}),
        }
        geometry = MasterGeometry(NAME, 200, 150, frames=(FRAME,), ppi=1200.0, ppi_source="tag")
        item = ItemGeometry("PEH-0001", (geometry,))
        files.write_json(self.dir / "geometry.json", item.as_dict())
        verified.write(self.dir, "PEH-0001", [verified.verified(self.master)])

    def codes(self, step: str) -> set[str]:
        with pytest.raises(GlassineError) as caught:
            do_step(step, self.batch, self.dir, self.given)
        return {finding.code for finding in caught.value.findings}


@pytest.fixture(params=[None, "zlib"], ids=["uncompressed", "deflate"])
def item(request: pytest.FixtureRequest, tmp_path: Path) -> Item:
    return Item(tmp_path, request.param)


def before(monkeypatch: pytest.MonkeyPatch, owner: Any, name: str, act: Any) -> None:
    """Do `act` once, right before the function is called."""
    function, done = getattr(owner, name), []

    def called(*values: Any, **named: Any) -> Any:
        if not done:
            done.append(True)
            act()
        return function(*values, **named)

    monkeypatch.setattr(owner, name, called)


def test_render_makes_the_pictures_of_an_unchanged_master(item: Item) -> None:
    do_step("render", item.batch, item.dir, item.given)
    assert (item.dir / "render" / "render.json").is_file()


def test_another_picture_that_gives_way_to_the_master_before_the_digest_is_held(
    item: Item, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The digest of the path would be right: it is another file by then."""
    item.other.replace(item.master)
    before(monkeypatch, hashing, "sha256_of", lambda: item.copy.replace(item.master))
    assert item.codes("render") == {"render.digest"}
    assert not (item.dir / "render").exists()


def test_a_master_that_gives_way_to_another_while_it_is_rendered_is_held(
    item: Item, monkeypatch: pytest.MonkeyPatch
) -> None:
    before(monkeypatch, hashing, "sha256_of", lambda: item.other.replace(item.master))
    assert item.codes("render") == {"render.changed"}


def test_a_master_that_vanishes_while_it_is_rendered_is_held(
    item: Item, monkeypatch: pytest.MonkeyPatch
) -> None:
    before(monkeypatch, hashing, "sha256_of", item.master.unlink)
    assert item.codes("render") == {"render.changed"}


def test_a_master_overwritten_in_place_with_its_time_set_back_is_held(
    item: Item, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The time of the last change of state is not to be set by who writes (stat(2): st_ctim)."""
    content = item.other.read_bytes()

    def overwrite() -> None:
        status = item.master.stat()
        item.master.write_bytes(content)
        os.utime(item.master, ns=(status.st_atime_ns, status.st_mtime_ns))

    before(monkeypatch, opening, "prove_pixels", overwrite)
    assert "verify.changed" in item.codes("verify")


def test_a_master_replaced_between_its_header_and_its_digest_is_held(
    item: Item, monkeypatch: pytest.MonkeyPatch
) -> None:
    before(monkeypatch, fixity, "digests", lambda: item.other.replace(item.master))
    assert item.codes("verify") == {"verify.changed"}


def test_the_header_of_verify_is_of_the_file_that_it_hashes(
    item: Item, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another file stands at the path for the time of reading the header alone."""

    def out() -> None:
        item.master.rename(item.copy)
        item.other.replace(item.master)

    before(monkeypatch, opening, "read_header", out)
    assert "verify.changed" in item.codes("verify")


def test_a_link_is_not_followed_when_it_is_opened(item: Item) -> None:
    item.master.unlink()
    item.master.symlink_to(item.other)
    with pytest.raises(GlassineError) as caught:
        fixity.verify_master(
            item.master, msgspec.convert(item.given["masters"][0], Master), require_manifest=False
        )
    assert caught.value.findings[0].code == "verify.unreadable"
