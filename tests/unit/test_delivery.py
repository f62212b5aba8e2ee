"""Deliveries: whole, read again, never written over, continued after a kill."""

from __future__ import annotations

import csv
import json
import os
import shutil
import sys
import types
import warnings
from pathlib import Path
from typing import Any

import made_items
import pytest
from glassine import bag, carriers, delivery, embed, files, package
from glassine.errors import GlassineError

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import bagit


@pytest.fixture(autouse=True)
def no_records(monkeypatch: pytest.MonkeyPatch) -> None:
    """These items have a METS of one line; the record's own check has tests of its own."""
    stub = types.ModuleType("glassine.records.check")
    stub.check_record = lambda path, item_dir: []  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "glassine.records.check", stub)
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1773800000")


def make_batch(root: Path, count: int = 2) -> dict[str, Any]:
    names = [f"PEH-{number:04d}" for number in range(1, count + 1)]
    for seed, name in enumerate(names, 1):
        given = made_items.make_item(root, name, seed)
        item_dir = made_items.item_dir_of(root, name)
        embed.embed_item(root / "masters" / "b1", item_dir, given)
        package.pack_item(root / "masters" / "b1", item_dir, given)
    return {
        "batch": "b1",
        "items": names,
        "lacking": [],
        "settings": {
            "delivery": {"when": "complete", "form": "folder", "copy": "copy", "max_bag_gb": 0},
            "package": {},
        },
        "institution": made_items.INSTITUTION,
        "version": "1",
    }


def deliver(root: Path, given: dict[str, Any]) -> dict[str, Any]:
    delivery.deliver_batch(
        root / "masters" / "b1", root / "results" / "b1", root / "deliveries", given
    )
    receipt: dict[str, Any] = files.read_json(root / "deliveries" / "b1.receipt.json")
    return receipt


def test_folder(tmp_path: Path) -> None:
    given = make_batch(tmp_path)
    receipt = deliver(tmp_path, given)
    assert bag.validate(tmp_path / "deliveries" / "b1") == []
    assert receipt["bags"][0]["files"] == 2 * (7 + 1 + 2 + 3)
    bagit.Bag(str(tmp_path / "deliveries" / "b1")).validate()
