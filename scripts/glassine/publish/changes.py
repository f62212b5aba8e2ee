"""What changed in the published tree, as an activity stream (IIIF Change Discovery API 1.0)."""

from __future__ import annotations

import math
from typing import Any, Literal

import msgspec

CONTEXT = "http://iiif.io/api/discovery/1/context.json"
# So many activities stand on a page.
PAGE = 100
Kind = Literal["Create", "Update", "Delete"]


class Change(msgspec.Struct, frozen=True, kw_only=True):
    """A change of a manifest. time: xs:dateTime, UTC."""

    type: Kind
    manifest: str
    time: str


def pages(changes: list[Change], base: str) -> dict[str, dict[str, Any]]:
    """Return {path in the tree: document}: the collection and its pages, earliest change first
    (sections 3.2 to 3.4)."""
    count = max(1, math.ceil(len(changes) / PAGE))
    whole = f"{base}/activity/all.json"
    documents: dict[str, dict[str, Any]] = {
        "activity/all.json": {
            "@context": CONTEXT,
            "id": whole,
            "type": "OrderedCollection",
            "totalItems": len(changes),
            "first": _page(base, 0),
            "last": _page(base, count - 1),
        }
    }
    for number in range(count):
        some = changes[number * PAGE : (number + 1) * PAGE]
        document: dict[str, Any] = {
            "@context": CONTEXT,
            **_page(base, number),
            "partOf": {"id": whole, "type": "OrderedCollection"},
            "startIndex": number * PAGE,
            "orderedItems": [_activity(change) for change in some],
        }
        if number:
            document["prev"] = _page(base, number - 1)
        if number + 1 < count:
            document["next"] = _page(base, number + 1)
        documents[f"activity/page-{number:05d}.json"] = document
    return documents


def _page(base: str, number: int) -> dict[str, str]:
    return {"id": f"{base}/activity/page-{number:05d}.json", "type": "OrderedCollectionPage"}


def _activity(change: Change) -> dict[str, Any]:
    return {
        "type": change.type,
        "object": {"id": change.manifest, "type": "Manifest"},
        "endTime": change.time,
    }
