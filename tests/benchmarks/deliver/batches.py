"""Finished batches of any size for the benchmarks of deliveries: files of random bytes in the
folders of real items, whose records are those of one small item that was drawn."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

import pytest

from glassine.base import files, hashing
from glassine.night import due
from makers import deliveries, made_items

DRAWN = "PEH-0001"


def make(root: Path, items: int, master_bytes: int, tiles: int, tile_bytes: int) -> dict[str, Any]:
    """Make a batch below `root`; return what its delivery is given."""
    drawn = root / "drawn"
    with pytest.MonkeyPatch.context() as patch:
        deliveries.without_records(patch)
        deliveries.make_batch(drawn, 1)
    (root / "masters/b1").mkdir(parents=True)
    names = [f"PEH-{number:06d}" for number in range(1, items + 1)]
    for name in names:
        _item(root, drawn, name, master_bytes, tiles, tile_bytes)
    shutil.rmtree(drawn)
    return deliveries.given_of(names)


def _item(
    root: Path, drawn: Path, name: str, master_bytes: int, tiles: int, tile_bytes: int
) -> None:
    item_dir = made_items.item_dir_of(root, name)
    master = root / "masters/b1" / f"{name}.tif"
    _random(master, master_bytes)
    for path in sorted(made_items.item_dir_of(drawn, DRAWN).rglob("*")):
        relative = path.relative_to(made_items.item_dir_of(drawn, DRAWN)).as_posix()
        if path.is_dir() or relative.startswith("iiif/") or relative == "package.json":
            continue
        target = item_dir / relative.replace(DRAWN, name)
        target.parent.mkdir(parents=True, exist_ok=True)
        content = path.read_bytes()
        if path.suffix in (".json", ".xml"):
            content = content.replace(DRAWN.encode(), name.encode())
        target.write_bytes(content)
    (item_dir / "iiif" / name).mkdir(parents=True)
    for number in range(tiles):
        _random(item_dir / "iiif" / name / f"{number}.jpg", tile_bytes)
    _pack(root, drawn, name, master)
    files.write_json(item_dir / due.STAMP, {"inputs": hashing.of_bytes(name.encode()).sha256})


def _random(path: Path, size: int) -> None:
    block = os.urandom(min(size, 2**20))
    with path.open("wb") as written:
        for begin in range(0, size, len(block) or 1):
            written.write(block[: size - begin])


def _pack(root: Path, drawn: Path, name: str, master: Path) -> None:
    """Write fixity.json and package.json with the digests of what lies there."""
    item_dir = made_items.item_dir_of(root, name)
    fixity = files.read_json(item_dir / "fixity.json")
    digests = hashing.of_file(master)
    fixity["masters"][0] |= {
        "bytes": digests.bytes,
        "digests": fixity["masters"][0]["digests"]
        | {"sha256": digests.sha256, "sha512": digests.sha512},
    }
    files.write_json(item_dir / "fixity.json", fixity)
    package = files.read_json(made_items.item_dir_of(drawn, DRAWN) / "package.json")
    placed = [
        {key: str(entry[key]).replace(DRAWN, name) for key in ("path", "source", "use")}
        for entry in package["files"]
        if entry["use"] != "tile"
    ]
    placed += [
        {"path": path, "source": f"item:{path}", "use": "tile"}
        for path in sorted(
            each.relative_to(item_dir).as_posix() for each in (item_dir / "iiif").rglob("*.jpg")
        )
    ]
    for entry in placed:
        kind, _, relative = entry["source"].partition(":")
        known = hashing.of_file((master.parent if kind == "master" else item_dir) / relative)
        entry |= {"bytes": known.bytes, "sha256": known.sha256, "sha512": known.sha512}
    files.write_json(item_dir / "package.json", {**package, "item": name, "files": placed})
