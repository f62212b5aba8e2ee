"""Items that stay as they were delivered though newer software would make them otherwise.

Where `delivery.on_new_version` is `keep`, an item is no more due for newer software alone: where
that is proved by what its steps were given, and what lies in the results is what was delivered.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from msgspec import UNSET

from glassine.base import files
from glassine.base.errors import GlassineError
from glassine.base.model import ItemId
from glassine.base.records.receipt import Receipt
from glassine.deliver import causes
from glassine.night import due


def software_alone(
    batch: due.Batch, items_dir: Path, config: dict[str, Any], unsettled: list[ItemId]
) -> list[ItemId]:
    """Return those of the unsettled items that are finished, and due by versions alone."""
    return [item for item in unsettled if _by_versions_alone(batch, items_dir / item, item, config)]


def _by_versions_alone(
    batch: due.Batch, item_dir: Path, item: ItemId, config: dict[str, Any]
) -> bool:
    try:
        stamp = files.read_json(item_dir / due.STAMP)
        key, inputs = str(stamp["key"]), stamp["inputs"]
    except (GlassineError, KeyError, TypeError):
        return False
    return due.is_settled(item_dir, key) and inputs == due.inputs_of(
        due.steps_given(batch, item, config)
    )


def kept(
    batch: due.Batch,
    items_dir: Path,
    config: dict[str, Any],
    unsettled: list[ItemId],
    receipts: list[Receipt],
) -> list[ItemId]:
    """Return those of the unsettled items that stay as they are. Items that a run asks for by name
    are none of them.

    receipts: of the batch's deliveries, the first one first.
    """
    asked = config["only"] or config["delivery"]["on_new_version"] != "keep"
    if asked or not unsettled or not receipts:
        return []
    last = causes.last_of(receipts)
    pooling = {key: config["tone"][key] for key in ("pool", "pool_step")}
    now = due.delivered_inputs(items_dir, [*batch.ready()], pooling)
    same = [
        item
        for item in unsettled
        if item in last and last[item].item.inputs not in (UNSET, None)
        if last[item].item.inputs == now.get(item)
    ]
    return software_alone(batch, items_dir, config, same)
