"""Snippets of EAD3 and LIDO are valid by the official schemas, where these are at hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from lxml import etree

from glassine.base.settings import PROJECT
from glassine.handover import snippets
from glassine.handover.facts import FrameFacts, ItemFacts
from glassine.handover.given import Snippet

SCHEMAS = PROJECT.parent / "shared" / "schemas"
# The names under which their keepers publish them: loc.gov/ead, lido-schema.org.
PUBLISHED = {"ead": ("ead3.xsd",), "lido": ("lido-v1.1.xsd", "lido-v1.0.xsd")}
BASE = "https://images.port-ellery.example/PEH-0001"


def schema_of(kind: str) -> Path | None:
    found = [path for name in PUBLISHED[kind] for path in sorted(SCHEMAS.rglob(name))]
    return found[0] if found else None


def item(frames: int) -> ItemFacts:
    made = tuple(
        FrameFacts(
            master="PEH-0001.tif", index=number, label=f"frame {number} & <so on>", width_px=180,
            height_px=120, ppi=4000.0, width_mm=1.1, height_mm=0.8,
            access_url=f"{BASE}/access/{number}.jpg", thumbnail_url=f"{BASE}/thumbs/{number}.jpg",
        )
        for number in range(1, frames + 1)
    )  # fmt: skip
    return ItemFacts("b1", "PEH-0001", "done", manifest_url=f"{BASE}/manifest.json", frames=made)


@pytest.mark.parametrize("frames", [0, 1, 3])
@pytest.mark.parametrize("kind", ["ead", "lido"])
def test_a_snippet_is_valid_by_its_official_schema(kind: Snippet, frames: int) -> None:
    path = schema_of(kind)
    if path is None:
        pytest.skip(f"none of {', '.join(PUBLISHED[kind])} is below {SCHEMAS}")
    # LIDO's refers to GML by addresses on the network, which are not asked.
    parser = etree.XMLParser(no_network=True, resolve_entities=False)
    try:
        schema = etree.XMLSchema(etree.parse(str(path), parser))
    except etree.XMLSchemaParseError as problem:
        pytest.skip(f"{path.name} needs a schema that is not beside it: {problem}")
    content = snippets.document(kind, [item(frames)], "h0001", "2026-03-18T08:55:00Z")
    assert content is not None
    schema.assertValid(etree.fromstring(content))
