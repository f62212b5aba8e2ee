"""Small batches packed and delivered for the tests of what comes after the pixels."""

from __future__ import annotations

import sys
import types
from pathlib import Path
from typing import Any

import pytest

import made_items
from glassine import delivery, embed, files, package


def without_records(patch: pytest.MonkeyPatch) -> None:
    """Fix the clock and set the record's own check aside: these items have a METS of few lines."""
    stub = types.ModuleType("glassine.records.check")
    stub.check_record = lambda path, item_dir, **more: []  # type: ignore[attr-defined]
    patch.setitem(sys.modules, "glassine.records.check", stub)
    patch.setenv("SOURCE_DATE_EPOCH", "1773800000")


def finish(root: Path, given: dict[str, Any]) -> None:
    """Embed, record (a small METS that lists the files) and pack one item."""
    batch_dir = root / "masters" / "b1"
    item_dir = made_items.item_dir_of(root, given["item"])
    embed.embed_item(batch_dir, item_dir, given)
    made_items.write_mets(item_dir)
    package.pack_item(batch_dir, item_dir, given)


def make_batch(root: Path, count: int = 2, **settings: Any) -> dict[str, Any]:
    """Make a finished batch below `root`; return what its delivery is given."""
    names = [f"PEH-{number:04d}" for number in range(1, count + 1)]
    for seed, name in enumerate(names, 1):
        finish(root, made_items.make_item(root, name, seed))
    own = {"when": "complete", "form": "folder", "copy": "copy", "max_bag_gb": 0} | settings
    return {
        "batch": "b1",
        "items": names,
        "lacking": [],
        "settings": {"delivery": own, "package": {}},
        "institution": made_items.INSTITUTION,
        "version": "1",
    }


def deliver(root: Path, given: dict[str, Any]) -> dict[str, Any]:
    """Deliver the batch; return the latest receipt."""
    delivery.deliver_batch(
        root / "masters" / "b1", root / "results" / "b1", root / "deliveries", given
    )
    receipt: dict[str, Any] = files.read_json(root / "deliveries" / "b1.receipt.json")
    return receipt


def changed_title(root: Path, item: str, title: str) -> None:
    """Embed and pack an item anew with another title in the catalogue."""
    item_dir = made_items.item_dir_of(root, item)
    master = files.read_json(item_dir / "fixity.json")["masters"][0]
    path = root / "masters" / "b1" / master["path"]
    given = made_items.given_for(item, path)
    given["catalogue"] = {**given["catalogue"], "title": title}
    finish(root, given)
