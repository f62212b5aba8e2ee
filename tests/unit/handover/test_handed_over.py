"""What a collections system is handed back: all that changed, once, and nothing dropped unseen."""

from __future__ import annotations

import csv
import io
import json
import threading
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from glassine import steps
from glassine.base import files
from glassine.base.errors import GlassineError
from glassine.base.settings import PROJECT
from glassine.handover import ledger, snippets
from glassine.handover import step as handover
from glassine.night import sending
from makers import deliveries, made_items
from makers.step_calls import read_rows

BASE = "https://images.port-ellery.example/iiif"
SCHEMAS = PROJECT.parent / "shared" / "schemas"


@pytest.fixture
def root(tmp_path, monkeypatch):
    deliveries.without_records(monkeypatch)
    for seed, item in enumerate(("PEH-0001", "PEH-0002"), 1):
        given = made_items.make_item(tmp_path, item, seed)
        geometry = made_items.item_dir_of(tmp_path, item) / "geometry.json"
        record = files.read_json(geometry)
        record["masters"][0]["frames"][0] |= {"state": "ok", "reasons": []}
        files.write_json(geometry, record)
        publish(tmp_path, item)
        deliveries.finish(tmp_path, given)
    write_intake(tmp_path)
    batch = {
        "batch": "b1", "items": ["PEH-0001", "PEH-0002"], "lacking": [],
        "settings": {"delivery": {}, "package": {}}, "institution": made_items.INSTITUTION,
    }  # fmt: skip
    return tmp_path, batch


def publish(root: Path, item: str) -> None:
    """Write a manifest that publishes the item's pictures."""
    folder = f"{BASE}/{item}"
    paths = [f"access/{item}_access.jpg", f"thumbs/{item}_thumb.jpg"]
    pictures = [{"id": f"{folder}/{path}", "type": "Image"} for path in paths]
    service = {"id": f"{BASE}/{item}", "type": "ImageService3"}
    body = {"id": f"{BASE}/{item}/full/max/0/default.jpg", "service": [service]}
    canvas = {"id": f"{folder}/canvas/1", "rendering": pictures, "items": [{"body": body}]}
    manifest = {"id": f"{folder}/manifest.json", "items": [canvas]}
    files.write_json(made_items.item_dir_of(root, item) / "manifest.json", manifest)


def entry(item: str, **more: Any) -> dict[str, Any]:
    row = {
        "item": item.replace("-", "/"), "row": 2, "title": f"Quay {item}", "rights": {},
        "identifiers": [{"type": "ark", "value": f"ark:99999/fk4{item[-1]}"}],
        "subjects": [{"term": "Harbours", "uri": "https://terms.example/1"}],
        "extra": {"Regal": "7"},
    }  # fmt: skip
    return {
        "item": item, "state": "ready", "masters": [], "catalogue": row, "corrections": None,
        "findings": [], **more,
    }  # fmt: skip


def write_intake(root: Path, *entries: dict[str, Any], withdraw: Any = ()) -> None:
    listed = list(entries) or [entry("PEH-0001"), entry("PEH-0002")]
    files.write_json(
        root / "results" / "b1" / "intake.json",
        {"batch": "b1", "items": listed, "withdraw": list(withdraw)},
    )


def hand_over(root: Path, everything: bool = False, **section: Any) -> Any:
    given = {
        "batch": "b1",
        "settings": {
            "handover": section,
            "iiif": {"base_url": section.pop("base_url", BASE)},
            "identifiers": {"ark_resolver": "https://n2t.net/"},
        },
        "deliveries": str(root / "deliveries"),
    }
    return handover.hand_over(root / "results" / "b1", steps.given("handover", given), everything)


def document(outcome: Any) -> dict[str, Any]:
    return dict(json.loads((outcome.folder / "handover.json").read_text("utf-8")))


def rows(outcome: Any) -> dict[str, dict[str, Any]]:
    return {row["item"]: row for row in document(outcome)["rows"]}


def in_csv(outcome: Any) -> list[dict[str, str]]:
    (path,) = outcome.folder.glob("*.csv")
    return list(csv.DictReader(io.StringIO(path.read_bytes().decode("utf-8"), newline="")))


# --- what stands in it ---


def test_an_item_with_its_files_addresses_and_measures(root):
    folder, batch = root
    receipt = deliveries.deliver(folder, batch)
    row = rows(hand_over(folder))["PEH-0001"]
    assert row["state"] == "done"
    assert row["catalogue_item"] == "PEH/0001"
    assert row["catalogue.title"] == "Quay PEH-0001"
    assert row["manifest_url"] == f"{BASE}/PEH-0001/manifest.json"
    assert row["image_urls"] == [f"{BASE}/PEH-0001"]
    assert row["access_urls"] == [f"{BASE}/PEH-0001/access/PEH-0001_access.jpg"]
    assert row["persistent_ids"] == ["ark:99999/fk41"]
    assert row["persistent_urls"] == ["https://n2t.net/ark:99999/fk41"]
    assert row["captured"] == ["2026-03-17T10:00:00+00:00"]
    # 180 x 120 px at 4000 pixels an inch: 180 / 4000 x 25.4 mm.
    assert (row["ppi"], row["size_mm"]) == ([4000], ["1.1 x 0.8"])
    assert row["delivery"] == receipt["delivery"]
    master = files.read_json(made_items.item_dir_of(folder) / "fixity.json")["masters"][0]
    assert row["master_sha256"] == [master["digests"]["sha256"]]


def test_only_what_the_manifest_publishes_has_an_address(root):
    folder, _ = root
    path = made_items.item_dir_of(folder) / "manifest.json"
    files.write_json(path, {"id": f"{BASE}/PEH-0001/manifest.json", "items": []})
    row = rows(hand_over(folder))["PEH-0001"]
    assert row["manifest_url"]
    assert row["image_urls"] == row["access_urls"] == row["thumbnail_urls"] == [""]


def test_what_nobody_may_see_has_no_address_though_a_manifest_of_before_lies_there(root):
    folder, _ = root
    path = made_items.item_dir_of(folder) / "embedded.json"
    record = files.read_json(path)
    record["event"]["detail"]["access"] = {
        "level": "closed", "until": "2031-12-31", "public": "none",
    }  # fmt: skip
    files.write_json(path, record)
    row = rows(hand_over(folder))["PEH-0001"]
    assert row["access"] == "closed until 2031-12-31, then open"
    assert row["manifest_url"] == ""
    assert row["image_urls"] == row["access_urls"] == row["thumbnail_urls"] == [""]


def test_an_item_that_changed_since_its_delivery_names_none(root):
    folder, batch = root
    deliveries.deliver(folder, batch)
    deliveries.changed_title(folder, "PEH-0001", "New")
    found = rows(hand_over(folder))
    assert found["PEH-0001"]["delivery"] == ""
    assert found["PEH-0002"]["delivery"] == "b1"


def test_columns_by_the_template(root):
    folder, _ = root
    columns = [
        {"column": "Objekt", "value": "item"},
        "ark",
        {"column": "Ort", "value": "catalogue.Regal"},
        "catalogue.subjects",
        {"column": "Leer", "value": "catalogue.no such column"},
    ]
    first = in_csv(hand_over(folder, columns=columns))[0]
    assert first == {
        "Objekt": "PEH-0001",
        "ark": "ark:99999/fk41",
        "Ort": "7",
        "catalogue.subjects": "Harbours <https://terms.example/1>",
        "Leer": "",
    }


@pytest.mark.parametrize(
    "columns",
    [["item", "no_such"], ["item", "item"], ["state"], ["item", "catalogue."]],
)
def test_a_template_that_cannot_be_used_is_refused(root, columns):
    with pytest.raises(GlassineError) as refused:
        hand_over(root[0], columns=columns)
    assert [each.code for each in refused.value.findings] == ["handover.columns"]
    assert not (root[0] / "results" / "b1" / "handover").exists()


@pytest.mark.parametrize("base", ["", "images/iiif", "//host/iiif", "https:///iiif", "ftp://x/y"])
def test_addresses_that_are_no_whole_ones_are_refused(root, base):
    with pytest.raises(GlassineError) as refused:
        hand_over(root[0], base_url=base)
    assert [each.code for each in refused.value.findings] == ["handover.address"]
    assert hand_over(root[0], base_url=base, columns=["item", "state"])


def test_a_manifest_of_another_base_is_no_address(root):
    path = made_items.item_dir_of(root[0]) / "manifest.json"
    files.write_json(path, {"id": "iiif/PEH-0001/manifest.json"})
    with pytest.raises(GlassineError) as refused:
        hand_over(root[0])
    assert [each.code for each in refused.value.findings] == ["handover.address"]


def test_a_row_a_frame(root):
    found = in_csv(hand_over(root[0], rows="frame", columns=["item", "frame", "access_urls"]))
    assert [(row["item"], row["frame"]) for row in found] == [("PEH-0001", "1"), ("PEH-0002", "1")]


def test_held_waiting_and_what_a_person_decided(root):
    folder, _ = root
    hold = {
        "code": "verify.digest", "path": "a.tif", "what": "It differs.", "expected": "x.",
        "next_step": "Copy it again.", "severity": "hold",
    }  # fmt: skip
    decided = {
        "by": "op-07", "when": "2026-03-18T08:55:00Z", "note": "seen",
        "frames": [{"frame": 1, "accept": True}],
    }  # fmt: skip
    write_intake(
        folder,
        entry("PEH-0001", state="held", findings=[hold]),
        entry("PEH-0002", corrections=decided),
        entry("PEH-0003", state="waiting"),
        entry("PEH-0004"),
    )
    found = rows(hand_over(folder))
    assert found["PEH-0001"]["state"] == "held"
    assert "It differs." in found["PEH-0001"]["reasons"][0]
    assert found["PEH-0001"]["access_urls"] == []  # of another night; nothing vouches for them
    assert found["PEH-0002"]["decisions"] == ["seen", "frame 1: accept"]
    assert found["PEH-0003"]["state"] == "waiting"
    assert "PEH-0004" not in found  # due: it follows when it is done


# --- what changed, what is gone ---


def test_the_second_tells_only_what_changed(root):
    folder, _ = root
    assert [*rows(hand_over(folder))] == ["PEH-0001", "PEH-0002"]
    assert hand_over(folder) is None
    changed = entry("PEH-0002")
    changed["catalogue"]["title"] = "Ferry"
    write_intake(folder, entry("PEH-0001"), changed)
    second = hand_over(folder)
    assert (second.number, [*rows(second)]) == (2, ["PEH-0002"])
    assert hand_over(folder) is None
    assert [*rows(hand_over(folder, everything=True))] == ["PEH-0001", "PEH-0002"]


def test_another_template_hands_all_over_again(root):
    hand_over(root[0])
    assert len(rows(hand_over(root[0], columns=["item", "state"]))) == 2


def test_what_is_withdrawn_is_told_once_with_its_reason_and_identifier(root):
    folder, batch = root
    deliveries.deliver(folder, batch)
    hand_over(folder)
    word = {
        "item": "PEH-0001", "reason": "given back", "by": "op-07", "when": "2026-03-18T08:55:00Z",
    }  # fmt: skip
    write_intake(folder, entry("PEH-0002"), withdraw=[word])
    second = hand_over(folder)
    row = rows(second)["PEH-0001"]
    assert row["state"] == "withdrawn"
    assert row["reasons"] == ["given back (op-07, 2026-03-18T08:55:00Z)"]
    assert row["persistent_ids"] == ["ark:99999/fk41"]
    assert row["manifest_url"] == ""
    assert document(second)["withdrawn"] == ["PEH-0001"]
    assert hand_over(folder) is None


def test_what_is_gone_without_a_word_is_told(root):
    folder, _ = root
    hand_over(folder)
    write_intake(folder, entry("PEH-0002"))
    second = hand_over(folder)
    assert rows(second)["PEH-0001"]["state"] == "gone"
    assert document(second)["gone"] == ["PEH-0001"]
    assert hand_over(folder) is None


# --- killed, damaged ---


def test_a_handover_that_was_written_counts_though_the_ledger_was_not(root):
    folder, _ = root
    hand_over(folder)
    (folder / "results" / "b1" / "handover" / "ledger.json").unlink()
    assert hand_over(folder) is None
    assert (folder / "results" / "b1" / "handover" / "ledger.json").exists()


def test_killed_before_the_folder_has_its_name_all_is_handed_over(root, monkeypatch):
    folder, _ = root

    def killed(*_: Any) -> bytes:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("glassine.handover.tables.as_csv", killed)
        with pytest.raises(KeyboardInterrupt):
            hand_over(folder)
    made = hand_over(folder)
    assert (made.number, len(rows(made))) == (1, 2)


def test_a_damaged_ledger_is_refused(root):
    folder, _ = root
    hand_over(folder)
    (folder / "results" / "b1" / "handover" / "ledger.json").write_text("{", "utf-8")
    with pytest.raises(GlassineError) as refused:
        hand_over(folder)
    assert [each.code for each in refused.value.findings] == ["handover.ledger"]


def test_a_damaged_record_of_an_item_is_told_as_held(root):
    folder, _ = root
    (made_items.item_dir_of(folder) / "embedded.json").write_text('{"item": 3}', "utf-8")
    row = rows(hand_over(folder))["PEH-0001"]
    assert row["state"] == "held"
    assert row["access_urls"] == []


# --- snippets ---


def test_snippets_lead_to_the_pictures(root):
    made = hand_over(root[0], snippets=["ead", "mods", "lido"])
    for kind, path in (("ead", "//{*}dao"), ("mods", "//{*}url"), ("lido", "//{*}linkResource")):
        root_element = etree.parse(str(made.folder / snippets.NAMES[kind])).getroot()
        found = root_element.findall(f".{path}")
        links = {each.text or each.get("href") for each in found}
        for item in ("PEH-0001", "PEH-0002"):
            assert f"{BASE}/{item}/manifest.json" in links, kind
            assert f"{BASE}/{item}/access/{item}_access.jpg" in links, kind


@pytest.mark.skipif(not SCHEMAS.exists(), reason=f"{SCHEMAS} is not there")
def test_the_location_is_valid_by_the_official_schema_of_mods(root):
    made = hand_over(root[0], snippets=["mods"])
    import sys

    sys.path.insert(0, str(SCHEMAS))
    try:
        import offline_schema
    finally:
        sys.path.pop(0)
    schema = offline_schema.load(SCHEMAS / "mods-3-8.xsd")
    tree = etree.parse(str(made.folder / snippets.NAMES["mods"]))
    assert schema.validate(tree), schema.error_log


@pytest.mark.parametrize("kind", ["ead", "mods", "lido"])
def test_a_catalogue_reader_finds_the_items_by_their_numbers(root, tmp_path, kind):
    made = hand_over(root[0], snippets=[kind])
    path = tmp_path / "catalogue.xml"
    path.write_bytes((made.folder / snippets.NAMES[kind]).read_bytes())
    found = read_rows(path, {"catalogue": {}})
    assert {record["item"] for record in found.records.values()} | set(found.bad_items) == {
        "PEH/0001", "PEH/0002",
    }  # fmt: skip
    assert {record["title"] for record in found.records.values()} <= {
        "Quay PEH-0001", "Quay PEH-0002",
    }  # fmt: skip


# --- sent ---


class _Server(BaseHTTPRequestHandler):
    got: list[dict[str, Any]]
    status = 200

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        if type(self).status == 200:
            type(self).got.append(json.loads(body))
        self.send_response(type(self).status)
        self.end_headers()

    def log_message(self, *_: Any) -> None:
        pass


def test_each_is_sent_once_and_again_where_it_did_not_arrive(root):
    folder, _ = root
    results = folder / "results" / "b1"
    _Server.got = []
    server = HTTPServer(("127.0.0.1", 0), _Server)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    address = f"http://127.0.0.1:{server.server_port}/"
    hand_over(folder)
    _Server.status = 500
    with pytest.raises(GlassineError) as failed:
        sending.send(results, address)
    assert [each.code for each in failed.value.findings] == ["handover.not_sent"]
    _Server.status = 200
    hand_over(folder, everything=True)
    sending.send(results, address)
    sending.send(results, address)
    server.shutdown()
    server.server_close()
    assert [each["handover"] for each in _Server.got] == [1, 2]
    assert ledger.read(results).sent == 2
    with pytest.raises(GlassineError):
        hand_over(folder, everything=True)
        sending.send(results, None)
