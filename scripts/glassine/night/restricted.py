"""What a run's summary says of items that not all may see, and of embargoes that end."""

from __future__ import annotations

from typing import Any

import msgspec

from glassine.base.access import ListedAccess
from glassine.night.lookup import Lookup


def added(summary: dict[str, Any], lookup: Lookup) -> dict[str, Any]:
    """Return the summary with `access` for each batch that has such items:
    {"restricted": so many, "ended": ids of items whose embargo ended lately, "soon": {id: day on
    which it opens}}."""
    batches = []
    for entry in summary["batches"]:
        listed = msgspec.convert(lookup.listed_access(str(entry["batch"])), list[ListedAccess])
        batches.append({**entry, "access": _counted(listed)} if listed else entry)
    return {**summary, "batches": batches}


def _counted(listed: list[ListedAccess]) -> dict[str, Any]:
    return {
        "restricted": sum(each.is_restricted for each in listed),
        "ended": [each.item for each in listed if each.ended],
        "soon": {each.item: each.opens for each in listed if each.soon},
    }
