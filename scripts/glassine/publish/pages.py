"""Lists over the published tree: IIIF collections, and pages to search it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any
from urllib.parse import quote

import jinja2
from markupsafe import Markup

from glassine.publish.given import Site
from glassine.publish.ledger import Published

CONTEXT = "http://iiif.io/api/presentation/3/context.json"
WHOLE = "all"
_HERE = Path(__file__).parent


def collections(
    site: Site, items: dict[str, Published], kept: dict[str, Any]
) -> dict[str, dict[str, Any]]:
    """Return {path in the tree: IIIF collection}: one of each batch with the items that are
    published of it, its rolls in files of their own, and one over all.

    kept: {batch: collection as it was published}, for batches that are not here.
    """
    addresses = {each.manifest for each in items.values()}
    documents: dict[str, dict[str, Any]] = {}
    for batch in sorted({each.batch for each in items.values()}):
        known = site.batches.get(batch) or kept.get(batch) or {}
        listed = _published_of(known.get("items") or [], addresses)
        named = {line["id"] for line in _manifests(listed)}
        listed += [
            _line(each) for each in items.values()
            if each.batch == batch and each.manifest not in named
        ]  # fmt: skip
        address = f"{site.base}/collection/{quote(batch)}.json"
        label = known.get("label") or {"none": [batch]}
        whole = {"@context": CONTEXT, **known, "id": address, "type": "Collection"}
        documents[f"collection/{batch}.json"] = whole | {"label": label, "items": listed}
        for roll in listed:
            path = str(roll["id"]).removeprefix(f"{site.base}/")
            if roll["type"] == "Collection" and path.startswith(f"collection/{quote(batch)}/"):
                documents[path] = {"@context": CONTEXT, **roll}
    tops = [
        {"id": each["id"], "type": "Collection", "label": each["label"]}
        for path, each in documents.items()
        if path.count("/") == 1
    ]
    documents[f"collection/{WHOLE}.json"] = {
        "@context": CONTEXT,
        "id": f"{site.base}/collection/{WHOLE}.json",
        "type": "Collection",
        "label": {"none": [site.institution.name]},
        "items": tops,
    }
    return documents


def _published_of(lines: list[Any], addresses: set[str]) -> list[dict[str, Any]]:
    """Return the lines of a collection of what is published, in its order; no empty roll."""
    found = []
    for line in lines:
        if line.get("type") == "Collection":
            inner = _published_of(line.get("items") or [], addresses)
            found += [{**line, "items": inner}] if inner else []
        elif line.get("id") in addresses:
            found.append(line)
    return found


def _manifests(lines: list[dict[str, Any]]) -> list[dict[str, Any]]:
    inner = [each for line in lines for each in _manifests(line.get("items") or [])]
    return [line for line in lines if line["type"] == "Manifest"] + inner


def _line(each: Published) -> dict[str, Any]:
    return {
        "id": each.manifest,
        "type": "Manifest",
        "label": {"none": [each.title or each.manifest]},
    }


def site(given: Site, items: dict[str, Published]) -> dict[str, str]:
    """Return {name: text} of the pages: a list to search by title, date and place, and a view of
    one item, which takes its manifest as `iiif-content` (IIIF Content State API 1.0, 3.2)."""
    rows = [
        [item, each.title, each.date, each.place, each.thumbnail, each.manifest]
        for item, each in sorted(items.items())
    ]
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(_HERE), autoescape=True, undefined=jinja2.StrictUndefined
    )
    return {
        "catalogue.json": json.dumps(rows, ensure_ascii=False, separators=(",", ":")) + "\n",
        **{
            name: environment.get_template(f"{name}.j2").render(
                institution=given.institution,
                count=len(rows),
                css=Markup((_HERE / "site.css").read_text("utf-8")),  # noqa: S704 - ours
            )
            for name in ("index.html", "view.html")
        },
    }
