"""What the film says of itself is handed over, and nothing is where it says nothing."""

from __future__ import annotations

import msgspec
import pytest

from glassine.base import files
from glassine.base.records.render import Rendering
from glassine.handover import columns
from glassine.handover.facts import ItemFacts, of_batch
from makers import deliveries, made_items


@pytest.fixture(scope="module")
def facts(tmp_path_factory: pytest.TempPathFactory) -> ItemFacts:
    root = tmp_path_factory.mktemp("batch")
    with pytest.MonkeyPatch.context() as patch:
        deliveries.without_records(patch)
        given = made_items.make_item(root, "PEH-0001", 1)
        item = made_items.item_dir_of(root, "PEH-0001")
        record = files.read_json(item / "geometry.json")
        master = record["masters"][0]
        master["frames"][0] |= {"state": "ok", "reasons": [], "film_frame": "12A"}
        code = {"text": "115-10/12A", "at": [1.0, 2.0], "counts": True}
        edge = {"frames": [1], "stock": "115-10", "emulsion": "away", "turn": 0, "against": ""}
        master |= {"edges": [{**edge, "codes": [code]}], "kind": "plate", "ppi": 508.0}
        outline = [[0, 0], [2390, 0], [2390, 1790], [0, 1790]]
        master |= {"ppi_source": "batch", "object_corners": outline}
        seen = {"place": outline, "confidence": 0.9, "turned_degrees": 0, "mirrored": False}
        texts = ("12A", "Pier 9", "12A")
        master["seen_text"] = [{**seen, "text": text, "on": "margin"} for text in texts]
        files.write_json(item / "geometry.json", record)
        rendering = files.read_json(item / "render" / "render.json")
        rendering["frames"][0]["film_frame"] = "12A"
        msgspec.convert(rendering, Rendering)
        files.write_json(item / "render" / "render.json", rendering)
        files.write_json(item / "manifest.json", {})
        deliveries.finish(root, given)
    entry = {
        "item": "PEH-0001", "catalogue": None, "corrections": None, "findings": [],
        "masters": [{"path": "PEH-0001.tif"}],
    }  # fmt: skip
    results = root / "results" / "b1"
    files.write_json(results / "intake.json", {"batch": "b1", "items": [entry], "withdraw": []})
    (found,) = of_batch(results, (), {})
    assert found.reasons == (), found.reasons
    return found


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("film_frame", ["12A"]),
        ("format", ["9 x 12 cm"]),
        ("films", ["115-10"]),
        ("transcription", ["12A", "Pier 9"]),
    ],
)
def test_numbers_sizes_and_kinds_of_film_are_values(
    facts: ItemFacts, name: str, value: list[str]
) -> None:
    assert columns.VALUES[name](columns.Row(facts, facts.frames)) == value
    bare = ItemFacts("b1", "PEH-0002", "held")
    assert columns.VALUES[name](columns.Row(bare, ())) == []
