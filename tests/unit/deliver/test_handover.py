"""What the collections system gets: files that link records and pictures, safe to open."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from hypothesis import given as for_all
from hypothesis import strategies as st

from glassine.base import hashing
from glassine.deliver import handover
from makers import deliveries


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("handover")
    lacking = {
        "item": "PEH-0009",
        "state": "held",
        "findings": [
            {
                "code": "verify.digest",
                "path": "=cmd|' /C calc'!A0.tif",
                "what": "It differs.",
                "expected": "the listed digest.",
                "next_step": "Copy it again.",
                "severity": "hold",
            }
        ],
    }
    with pytest.MonkeyPatch.context() as patch:
        deliveries.without_records(patch)
        batch = deliveries.make_batch(root, when="passed") | {"lacking": [lacking]}
        deliveries.deliver(root, batch)
    return root / "deliveries"


def rows(folder: Path) -> list[dict[str, str]]:
    text = (folder / "b1.handover.csv").read_bytes().decode("utf-8")
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_a_row_a_file_with_what_links_it(made: Path) -> None:
    found = rows(made)
    assert [(row["item"], row["use"]) for row in found] == [
        ("PEH-0001", "access"),
        ("PEH-0001", "master"),
        ("PEH-0001", "thumb"),
        ("PEH-0002", "access"),
        ("PEH-0002", "master"),
        ("PEH-0002", "thumb"),
        ("PEH-0009", ""),
    ]
    for row in found[:6]:
        path = made / row["bag"] / "data" / row["item"] / row["file"]
        digests = hashing.of_file(path)
        assert (int(row["bytes"]), row["sha256"], row["sha512"]) == (
            digests.bytes,
            digests.sha256,
            digests.sha512,
        )
        assert row["state"] == "delivered"
        assert row["quality"] == "pass"
        assert row["iiif_manifest"].endswith(f"/iiif/{row['item']}/manifest")
        assert int(row["width_px"]) > 0
    assert found[0]["iiif_image"] == "PEH-0001"
    assert found[0]["format"] == "fmt/43"
    assert found[1]["captured"] == "2026-03-17T10:00:00+00:00"
    assert found[0]["delivered"] == "2026-03-18T02:13:20Z"


def test_what_is_lacking_has_a_row_and_a_reason(made: Path) -> None:
    last = rows(made)[-1]
    assert last["state"] == "held"
    assert "verify.digest" in last["reason"]
    assert last["delivered"] == ""


def test_json_says_the_same(made: Path) -> None:
    told = json.loads((made / "b1.handover.json").read_text("utf-8"))
    assert told["delivery"] == "b1"
    listed = [(item["item"], entry["sha256"]) for item in told["items"] for entry in item["files"]]
    assert listed == [(row["item"], row["sha256"]) for row in rows(made) if row["file"]]


def test_it_travels_in_the_bag(made: Path) -> None:
    for name in ("handover.csv", "handover.json"):
        assert (made / f"b1.{name}").read_bytes() == (made / "b1/delivery" / name).read_bytes()


def item(reason: str) -> handover.ItemRow:
    return handover.ItemRow(item="PEH-0001", state="held", reason=reason)


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", '=HYPERLINK("x")']
)
def test_no_cell_is_a_formula(text: str) -> None:
    content = handover.as_csv([item(reason=text)], "b1", "now").decode()
    (row,) = csv.DictReader(io.StringIO(content, newline=""))
    assert row["reason"] == "'" + text


@for_all(st.text(st.characters(exclude_categories=["Cs"]), max_size=60))
def test_any_text_stays_in_its_cell(text: str) -> None:
    content = handover.as_csv([item(reason=text)], "b1", "now").decode()
    (row,) = csv.DictReader(io.StringIO(content, newline=""))
    assert row["reason"].removeprefix("'") == text.removeprefix("'")
    assert not row["reason"].startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
