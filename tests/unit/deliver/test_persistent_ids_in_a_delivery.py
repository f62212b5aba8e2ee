"""A delivery's own lists name the persistent identifiers of its items, in the bag and beside it."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

from makers import deliveries, made_items


def test_the_lists_in_the_bag_and_beside_it_name_them(tmp_path, monkeypatch):
    deliveries.without_records(monkeypatch)
    batch = deliveries.make_batch(tmp_path)
    given = made_items.given_for("PEH-0001", tmp_path / "masters" / "b1" / "PEH-0001.tif")
    ids = [
        {"type": "ark", "value": "ark:99999/fk4001"}, {"type": "box", "value": "12"},
        {"type": "doi", "value": "10.1000/1"},
    ]  # fmt: skip
    given["catalogue"] = {**given["catalogue"], "identifiers": ids}
    deliveries.finish(tmp_path, given)
    deliveries.deliver(tmp_path, batch)
    folder = tmp_path / "deliveries"
    for place in (f"{folder}/b1.handover", f"{folder}/b1/delivery/handover"):
        rows = csv.DictReader(io.StringIO(Path(f"{place}.csv").read_bytes().decode("utf-8")))
        found = {(row["item"], row["persistent_ids"]) for row in rows}
        assert found == {("PEH-0001", "ark:99999/fk4001 10.1000/1"), ("PEH-0002", "")}
        items = json.loads(Path(f"{place}.json").read_text("utf-8"))["items"]
        assert [item.get("persistent_ids") for item in items] == [
            "ark:99999/fk4001 10.1000/1",
            None,
        ]
