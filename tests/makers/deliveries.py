"""Small batches packed and delivered for the tests of what comes after the pixels."""

from __future__ import annotations

import sys
import types
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips

from glassine.base import captions, files, hashing, settings
from glassine.masters import colour
from glassine.night import due
from makers import made_items
from makers.step_calls import do_delivery, do_step

ITEM = "PEH-0001"


def without_records(patch: pytest.MonkeyPatch) -> None:
    """Fix the clock; set the record's own check aside: these items have a METS of few lines."""
    stub = types.ModuleType("glassine.record.check")
    stub.check_record = lambda path, item_dir, **more: []  # type: ignore[attr-defined]
    patch.setitem(sys.modules, "glassine.record.check", stub)
    # So does the validation of what was delivered: what it does with whole records, see
    # test_resealed.py.
    patch.setattr("glassine.deliver.validation._Checking.contents", lambda self, item: None)
    patch.setenv("SOURCE_DATE_EPOCH", "1773800000")
    # Waiting for the disk is what these tests would mostly do; test_hashing.py calls it.
    patch.setattr(hashing, "sync", lambda folder: None)


def finish(root: Path, given: dict[str, Any]) -> None:
    """Embed, record (a small METS that lists the files) and pack one item."""
    batch_dir = root / "masters" / "b1"
    item_dir = made_items.item_dir_of(root, given["item"])
    do_step("embed", batch_dir, item_dir, given)
    made_items.write_mets(item_dir)
    do_step("pack", batch_dir, item_dir, given)
    files.write_json(item_dir / due.STAMP, {"inputs": due.inputs_of([given])})


def make_batch(root: Path, count: int = 2, **settings: Any) -> dict[str, Any]:
    """Make a finished batch below `root`; return what its delivery is given."""
    names = [f"PEH-{number:04d}" for number in range(1, count + 1)]
    for seed, name in enumerate(names, 1):
        finish(root, made_items.make_item(root, name, seed))
    return given_of(names, **settings)


def given_of(names: list[str], **settings: Any) -> dict[str, Any]:
    """Return what the delivery of a batch of these items is given."""
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
    do_delivery(root, given)
    receipts = [files.read_json(path) for path in (root / "deliveries").glob("*.receipt.json")]
    return dict(max(receipts, key=lambda receipt: int(receipt["revision"])))


def changed_title(root: Path, item: str, title: str) -> None:
    """Embed and pack an item anew with another title in the catalogue."""
    item_dir = made_items.item_dir_of(root, item)
    master = files.read_json(item_dir / "fixity.json")["masters"][0]
    path = root / "masters" / "b1" / master["path"]
    given = made_items.given_for(item, path)
    given["catalogue"] = {**given["catalogue"], "title": title}
    finish(root, given)


def draw_master(path: Path, seed: int = 7) -> None:
    """Draw a 16-bit negative: a soft scene, another for another seed, clear base about it, sRGB
    profile embedded."""
    rng = np.random.default_rng(seed)
    rows, columns = np.mgrid[0:400, 0:560] / 400
    waves = 9 * columns + (4 + 3 * (7 - seed)) * rows
    scene = 0.5 + 0.3 * np.sin(waves) + rng.normal(0, 0.01, (400, 560))
    pixels = np.full((400, 560, 3), 0.85)
    pixels[40:360, 50:510] = scene[40:360, 50:510, None] * (0.8, 0.6, 0.5)
    stored = (np.clip(pixels, 0, 1) * 65535).astype(np.uint16)
    image = pyvips.Image.new_from_array(stored).copy(interpretation="rgb16")
    profile = path.with_suffix(".icc")
    profile.write_bytes(colour.srgb_profile())
    image.tiffsave(str(path), profile=str(profile), compression="none", xres=157.48, yres=157.48)
    profile.unlink()


def geometry(master: str) -> dict[str, Any]:
    corners = [[50.3, 40.2], [509.1, 42.9], [507.6, 359.2], [48.8, 356.4]]
    frame = {
        "index": 1,
        "corners": corners,
        "angle_deg": 0.34,
        "polarity": "negative",
        "process": "colour",
        "confidence": 0.9,
        "state": "ok",
    }
    base = [[5.0, 5.0], [545.0, 5.0], [545.0, 30.0], [5.0, 30.0]]
    return {
        "item": ITEM,
        "event": {
            "type": "image modification",
            "time": "2026-03-18T02:00:00Z",
            "outcome": "success",
            "software": {},
            "operator": None,
            "detail": {},
        },
        "masters": [
            {
                "path": master,
                "width": 560,
                "height": 400,
                "ppi": 4000.0,
                "ppi_source": "tag",
                "kind": "sheet",
                "frames": [frame],
                "base_regions": [base],
            }
        ],
    }


def night(
    root: Path,
    profile: str,
    form: str = "folder",
    name: str = "PEH-0001.tif",
    *,
    more: dict[str, Any] | None = None,
    facts: dict[str, str] | None = None,
) -> dict[str, Any]:
    """Take one item through the real steps from verify to delivery; return what it was given.

    name: path of its master in the batch folder. more: settings by section. facts: of the batch.
    """
    given = taken_through(root, profile, ITEM, name, form=form, more=more, facts=facts)
    deliver(root, taken_in(given, [ITEM]))
    return given


def packed_as(root: Path, profile: str, given: dict[str, dict[str, Any]]) -> None:
    """Pack items in this layout and deliver them. given: by item, what they were taken through."""
    for item, of_item in given.items():
        config = of_item["settings"]
        package = {**config["package"], "profile": profile}
        packing = {**of_item, "settings": {**config, "package": package}}
        do_step("pack", root / "masters" / "b1", made_items.item_dir_of(root, item), packing)
    deliver(root, taken_in(next(iter(given.values())), list(given)))


def taken_in(given: dict[str, Any], items: list[str]) -> dict[str, Any]:
    """Return what the delivery is given of items that were taken through the steps."""
    config = given["settings"]
    return {
        "batch": "b1",
        "items": items,
        "lacking": [],
        "settings": {"delivery": config["delivery"], "package": config["package"]},
        "institution": made_items.INSTITUTION,
    }


def taken_through(
    root: Path,
    profile: str,
    item: str,
    name: str,
    *,
    seed: int = 7,
    form: str = "folder",
    more: dict[str, Any] | None = None,
    facts: dict[str, str] | None = None,
) -> dict[str, Any]:
    """Take one item through the real steps from verify to pack; return what it was given.

    name: path of its master in the batch folder. seed: of the drawn master.
    """
    batch_dir = root / "masters" / "b1"
    item_dir = made_items.item_dir_of(root, item)
    item_dir.mkdir(parents=True)
    (batch_dir / name).parent.mkdir(parents=True, exist_ok=True)
    draw_master(batch_dir / name, seed)
    own_settings = {"package": {"profile": profile}, "delivery": {"form": form}}
    config = settings.load({**own_settings, **(more or {})})
    given = {
        **made_items.given_for(item, batch_dir / name),
        "settings": config,
        "findings": [],
        "facts": {"kind": "sheet", "polarity": "negative", "process": "colour", **(facts or {})},
        "batch_facts": {},
    }
    given["masters"][0]["path"] = name
    if item != ITEM:
        named = {"identifiers": [{"type": "local", "value": item}], "title": f"Quay of {item}"}
        given["catalogue"] = {**given["catalogue"], **named}
    given["caption"] = captions.facts_of(given["catalogue"], config)
    do_step("verify", batch_dir, item_dir, given)
    files.write_json(item_dir / "geometry.json", {**geometry(name), "item": item})
    do_step("render", batch_dir, item_dir, given)
    do_step("embed", batch_dir, item_dir, given)
    do_step("record", batch_dir, item_dir, given)
    do_step("pack", batch_dir, item_dir, given)
    return given
