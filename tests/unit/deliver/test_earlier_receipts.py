"""Receipts as earlier versions wrote them are read; one that was damaged is not taken for one."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import pytest

from glassine.base import files
from glassine.deliver import drops, receipt_files
from makers import deliveries


@pytest.fixture
def delivered(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, dict[str, Any]]:
    deliveries.without_records(monkeypatch)
    given = deliveries.make_batch(tmp_path, 2)
    return tmp_path, deliveries.deliver(tmp_path, given)


def copies(root: Path) -> tuple[Path, Path]:
    folder = root / "deliveries"
    return receipt_files.beside(folder, "b1"), receipt_files.kept(folder, "b1")


def test_what_an_earlier_version_did_not_say_is_no_damage(
    delivered: tuple[Path, dict[str, Any]],
) -> None:
    root, receipt = delivered
    for key in ("withdrawn", "handover", "software"):
        del receipt[key]
    del receipt["bags"][0]["files"]
    for item in receipt["items"]:
        del item["bytes"], item["replaces"], item["masters"]
    for path in copies(root):
        files.write_json(path, receipt)
    receipts = receipt_files.read(root / "deliveries", "b1")
    assert (receipts.damaged, receipts.restored) == ([], [])
    earlier = drops.delivered(root / "deliveries", receipts.sound)
    digests = {item["item"]: item["digest"] for item in receipt["items"]}
    assert {name: known.digest for name, known in earlier.items()} == digests
    assert all(known.masters for known in earlier.values())  # the hand-over list names them


def test_what_another_version_says_beside_it_is_passed_over_where_both_copies_say_so(
    delivered: tuple[Path, dict[str, Any]],
) -> None:
    root, receipt = delivered
    receipt["countersigned"] = "op-07"
    receipt["items"][0]["masters"][0]["note"] = "x"
    for path in copies(root):
        files.write_json(path, receipt)
    receipts = receipt_files.read(root / "deliveries", "b1")
    assert (len(receipts.sound), receipts.damaged) == (1, [])
    assert receipt_files.mark(root / "deliveries", "b1") == {}


@pytest.mark.parametrize("lost", [0, 1])
def test_a_misspelt_key_of_the_only_copy_is_damage(
    delivered: tuple[Path, dict[str, Any]], lost: int
) -> None:
    root, _ = delivered
    copies(root)[lost].unlink()
    left = copies(root)[1 - lost]
    left.write_text(left.read_text("utf-8").replace('"withdrawn"', '"withdrqwn"'), "utf-8")
    receipts = receipt_files.read(root / "deliveries", "b1")
    assert receipts.sound == []
    assert [finding.code for finding in receipts.damaged] == ["delivery.receipt"]


@pytest.mark.parametrize("lost", [0, 1])
def test_a_lost_copy_is_written_again_byte_by_byte(
    delivered: tuple[Path, dict[str, Any]], lost: int
) -> None:
    root, _ = delivered
    before = copies(root)[lost].read_bytes()
    copies(root)[lost].unlink()
    receipt_files.restore(receipt_files.read(root / "deliveries", "b1"))
    assert copies(root)[lost].read_bytes() == before


def test_the_digest_of_a_delivery_is_made_of_the_settings_as_they_are_written(
    delivered: tuple[Path, dict[str, Any]],
) -> None:
    """A whole number stays one: else a delivery of an earlier version would be made again."""
    _, receipt = delivered
    items = sorted([item["item"], item["digest"]] for item in receipt["items"])
    text = json.dumps([items, [], ["folder", 0]], separators=(",", ":"))
    assert receipt["content"] == hashlib.sha256(text.encode()).hexdigest()
