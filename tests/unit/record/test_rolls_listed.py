"""Items that are frames of one roll stand together in the batch's collection, as the film counts."""

from glassine.base.records.given import Institution
from glassine.record import presentation

BASE = "https://images.port-ellery.example/iiif"


def manifest(item):
    return {"id": f"{BASE}/{item}/manifest.json", "type": "Manifest", "label": {"none": [item]}}


def listed(rolls, *items):
    at = {f"{BASE}/{item}/manifest.json": place for item, place in rolls.items()}
    entries = [manifest(item) for item in items]
    return presentation.collection("b1", None, entries, BASE, Institution(), at).items


def test_frames_of_a_roll_are_listed_together_in_the_order_of_the_film():
    rolls = {f"F-{place}": ("R 17", place) for place in ("10", "2", "0A", "00", "12A")}
    one, roll, last = listed(rolls, "A", *sorted(rolls), "Z")
    assert (one["id"], last["id"]) == (manifest("A")["id"], manifest("Z")["id"])
    assert roll["type"] == "Collection"
    assert roll["id"] == f"{BASE}/collection/b1/R%2017.json"
    assert [each["id"].split("/")[-2] for each in roll["items"]] == [
        "F-00", "F-0A", "F-2", "F-10", "F-12A",
    ]  # fmt: skip


def test_no_item_is_lost_among_rolls():
    items = ["A", "B", "C", "D"]
    shown = listed({"B": ("x", ""), "D": ("y", "3")}, *items)
    inner = [each for part in shown for each in part.get("items", [part])]
    assert sorted(each["id"] for each in inner) == [manifest(item)["id"] for item in items]
