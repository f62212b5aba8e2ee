"""Receipts outlive what fails after them; bags that are gone or damaged are told, never remade."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from msgspec import UNSET, structs

from glassine.base import files, hashing, record_files
from glassine.base.errors import GlassineError
from glassine.base.records.receipt import Receipt
from glassine.deliver import ledger, receipt_files
from glassine.deliver import step as delivery
from makers import deliveries
from makers.step_calls import do_delivery

FORMS = {"folder": "b1", "tar": "b1.tar", "zip": "b1.zip"}


@pytest.fixture(autouse=True)
def no_records(monkeypatch: pytest.MonkeyPatch) -> None:
    deliveries.without_records(monkeypatch)


def deliver(root: Path, given: dict[str, Any]) -> delivery.Outcome:
    return do_delivery(root, given)


def held(root: Path, given: dict[str, Any]) -> dict[str, str]:
    with pytest.raises(GlassineError) as caught:
        deliver(root, given)
    assert not any("elete it" in each.next_step and "Do not" not in each.next_step
                   for each in caught.value.findings)  # fmt: skip
    return {finding.code: f"{finding.path} {finding.what}" for finding in caught.value.findings}


def copies(root: Path) -> tuple[Path, Path]:
    folder = root / "deliveries"
    return receipt_files.receipt_path(folder, "b1"), receipt_files.second_copy_path(folder, "b1")


DAMAGES = {
    "empty": b"",
    "half": b'{"batch": "b1", "bags": [',
    "zeros": bytes(500),
    "no receipt": b"{}",
    "a list": b"[]",
}


@pytest.mark.parametrize("content", DAMAGES.values(), ids=DAMAGES)
@pytest.mark.parametrize("which", [0, 1])
def test_a_damaged_copy_is_written_again_and_told(
    tmp_path: Path, which: int, content: bytes
) -> None:
    given = deliveries.make_batch(tmp_path)
    deliver(tmp_path, given)
    sound = copies(tmp_path)[0].read_bytes()
    copies(tmp_path)[which].write_bytes(content)
    assert set(receipt_files.mark(tmp_path / "deliveries", "b1")) == {"b1"}
    outcome = deliver(tmp_path, given)
    assert [note.code for note in outcome.notes] == ["delivery.receipt_rebuilt"]
    assert [path.read_bytes() for path in copies(tmp_path)] == [sound, sound]
    assert outcome.delivery == "b1"
    assert deliver(tmp_path, given).notes == ()


@pytest.mark.parametrize("which", [0, 1])
def test_a_lost_copy_is_written_again(tmp_path: Path, which: int) -> None:
    given = deliveries.make_batch(tmp_path)
    deliver(tmp_path, given)
    sound = copies(tmp_path)[0].read_bytes()
    copies(tmp_path)[which].unlink()
    assert deliver(tmp_path, given).delivery == "b1"
    assert [path.read_bytes() for path in copies(tmp_path)] == [sound, sound]


def without_ledger(root: Path) -> None:
    """As earlier versions left deliveries."""
    ledger.path_of(root / "deliveries").unlink()


def test_where_both_copies_are_damaged_nothing_is_delivered_or_removed(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path)
    deliver(tmp_path, given)
    without_ledger(tmp_path)
    for path in copies(tmp_path):
        path.write_bytes(b"{")
    deliveries.changed_title(tmp_path, "PEH-0002", "The other quay")
    for _ in range(2):
        assert set(held(tmp_path, given)) == {"delivery.receipt"}
    assert not (tmp_path / "deliveries" / "b1.r2").exists()
    assert [path.read_bytes() for path in copies(tmp_path)] == [b"{", b"{"]


def test_two_receipts_that_differ_are_told(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path)
    deliver(tmp_path, given)
    receipt = files.read_json(copies(tmp_path)[0])
    files.write_json(copies(tmp_path)[0], receipt | {"software": "another"})
    assert set(held(tmp_path, given)) == {"delivery.receipt"}


def test_deliveries_that_are_not_mounted_are_not_taken_for_none(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path)
    deliver(tmp_path, given)
    away = tmp_path / "away"
    (tmp_path / "deliveries").rename(away)
    (tmp_path / "deliveries").mkdir()
    told = held(tmp_path, given)
    assert set(told) == {"delivery.receipt_gone"}
    assert "b1 was delivered on 2026-03-18" in told["delivery.receipt_gone"]
    assert list((tmp_path / "deliveries").iterdir()) == []
    (tmp_path / "deliveries").rmdir()
    away.rename(tmp_path / "deliveries")
    assert deliver(tmp_path, given).delivery == "b1"


def test_a_failed_redelivery_leaves_the_first_receipt(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = deliveries.make_batch(tmp_path)
    deliver(tmp_path, given)
    before = [path.read_bytes() for path in copies(tmp_path)]
    deliveries.changed_title(tmp_path, "PEH-0002", "The other quay")

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(hashing, "of_stream", full)
    with pytest.raises((OSError, GlassineError)):
        deliver(tmp_path, given)
    assert [path.read_bytes() for path in copies(tmp_path)] == before


# ---- bags ----


@pytest.mark.parametrize("form", FORMS)
def test_a_bag_that_is_as_delivered_is_here(tmp_path: Path, form: str) -> None:
    given = deliveries.make_batch(tmp_path, form=form)
    deliver(tmp_path, given)
    receipt = record_files.load(copies(tmp_path)[0], "receipt", Receipt)
    states = [each.state for each in receipt_files.look(tmp_path / "deliveries", receipt)]
    assert states == ["here"]
    told = receipt_files.words(tmp_path / "deliveries", "b1", current=True)
    assert told == str(copies(tmp_path)[0])
    bag = structs.replace(receipt.bags[0], archive_bytes=UNSET)  # as earlier versions wrote it
    older = structs.replace(receipt, bags=[bag])
    states = [each.state for each in receipt_files.look(tmp_path / "deliveries", older)]
    assert states == ["here"]


@pytest.mark.parametrize("form", FORMS)
def test_a_bag_that_was_carried_away_is_told_and_not_made_again(tmp_path: Path, form: str) -> None:
    given = deliveries.make_batch(tmp_path, form=form)
    deliver(tmp_path, given)
    assert receipt_files.mark(tmp_path / "deliveries", "b1") == {}
    path = tmp_path / "deliveries" / FORMS[form]
    path.rename(tmp_path / "carried away")
    assert set(receipt_files.mark(tmp_path / "deliveries", "b1")) == {"b1"}
    assert deliver(tmp_path, given).delivery == "b1"
    assert not path.exists()
    told = receipt_files.words(tmp_path / "deliveries", "b1", current=True)
    assert f"no longer at {tmp_path / 'deliveries'}: {FORMS[form]}" in told


def cut(path: Path, by: int) -> None:
    content = path.read_bytes()
    path.write_bytes(content[:-by])


def spoiled(path: Path) -> None:
    (path / "tagmanifest-sha256.txt").write_bytes(b"")


DAMAGED_BAGS = {
    "tar, cut by a byte": ("tar", lambda path: cut(path, 1)),
    "tar, cut by its end": ("tar", lambda path: cut(path, 1024)),
    "tar, half": ("tar", lambda path: cut(path, path.stat().st_size // 2)),
    "tar, empty": ("tar", lambda path: path.write_bytes(b"")),
    "zip, cut by a byte": ("zip", lambda path: cut(path, 1)),
    "zip, half": ("zip", lambda path: cut(path, path.stat().st_size // 2)),
    "a folder without its tag files": ("folder", spoiled),
    "an emptied folder": ("folder", lambda path: (shutil.rmtree(path), path.mkdir())),
    "without an item": ("folder", lambda path: shutil.rmtree(path / "data" / "PEH-0002")),
    "without its data": ("folder", lambda path: shutil.rmtree(path / "data")),
    "without a manifest": ("folder", lambda path: (path / "manifest-sha512.txt").unlink()),
    "a file in its place": ("folder", lambda path: (shutil.rmtree(path), path.write_bytes(b"x"))),
}


@pytest.mark.parametrize("older", [False, True], ids=["", "older receipt"])
@pytest.mark.parametrize("what", DAMAGED_BAGS)
def test_a_bag_that_is_only_partly_there_holds_the_batch(
    tmp_path: Path, what: str, older: bool
) -> None:
    form, damage = DAMAGED_BAGS[what]
    given = deliveries.make_batch(tmp_path, form=form)
    deliver(tmp_path, given)
    if older:
        for copy in copies(tmp_path):
            receipt = files.read_json(copy)
            receipt["bags"][0].pop("archive_bytes", None)
            files.write_json(copy, receipt)
        without_ledger(tmp_path)
    assert receipt_files.mark(tmp_path / "deliveries", "b1") == {}
    damage(tmp_path / "deliveries" / FORMS[form])
    assert set(receipt_files.mark(tmp_path / "deliveries", "b1")) == {"b1"}
    for _ in range(2):
        told = held(tmp_path, given)
        assert set(told) == {"delivery.damaged"}
        assert FORMS[form] in told["delivery.damaged"]
    assert "damaged" in receipt_files.words(tmp_path / "deliveries", "b1", current=True)


def test_one_part_of_several_that_is_gone_is_named(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path, 3)
    given["settings"]["delivery"]["max_bag_gb"] = 1e-9
    deliver(tmp_path, given)
    shutil.rmtree(tmp_path / "deliveries" / "b1.002")
    assert deliver(tmp_path, given).delivery == "b1"
    told = receipt_files.words(tmp_path / "deliveries", "b1", current=True)
    assert told.endswith("no longer at " + str(tmp_path / "deliveries") + ": b1.002")
    assert not (tmp_path / "deliveries" / "b1.002").exists()


def test_damage_of_a_replaced_delivery_is_a_note(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path)
    deliver(tmp_path, given)
    deliveries.changed_title(tmp_path, "PEH-0002", "The other quay")
    deliver(tmp_path, given)
    spoiled(tmp_path / "deliveries" / "b1")
    outcome = deliver(tmp_path, given)
    assert (outcome.delivery, [note.code for note in outcome.notes]) == (
        "b1.r2",
        ["delivery.damaged"],
    )


def test_a_batch_whose_name_begins_as_another_s_has_its_own_receipts(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path)
    deliver(tmp_path, given)
    folder = tmp_path / "deliveries"
    receipt = record_files.load(copies(tmp_path)[0], "receipt", Receipt)
    for name in ("b1.r2", "b10"):
        receipt_files.write(folder, structs.replace(receipt, delivery=name, batch=name))
    assert [each.delivery for each in receipt_files.read(folder, "b1").sound] == ["b1"]
    shutil.rmtree(folder / "b1")
    assert list(receipt_files.mark(folder, "b1")) == ["b1"]


def test_a_damaged_receipt_is_not_sent(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path, form="tar")
    deliver(tmp_path, given)
    copies(tmp_path)[0].write_bytes(b"{")
    with pytest.raises(GlassineError):
        delivery.sound_receipts(tmp_path / "deliveries", "b1")
