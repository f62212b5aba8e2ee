"""The ledger of deliveries: added to, never lost, and any change of it is seen."""

from __future__ import annotations

import json
import multiprocessing
import random
import shutil
from pathlib import Path

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from glassine.base import files
from glassine.base.errors import GlassineError
from glassine.base.records.receipt import Receipt
from glassine.deliver import ledger, receipt_files, step
from glassine.night import ledgers
from makers import deliveries
from makers.step_calls import do_delivery


@pytest.fixture(autouse=True)
def no_records(monkeypatch: pytest.MonkeyPatch) -> None:
    deliveries.without_records(monkeypatch)


def receipt(name: str, batch: str = "b1", revision: int = 1) -> Receipt:
    digest = "0" * 64
    return msgspec.convert(
        {
            "delivery": name,
            "batch": batch,
            "revision": revision,
            "replaces": None,
            "continues": None,
            "time": "2026-03-18T02:00:00Z",
            "form": "folder",
            "profile": "plain",
            "content": digest,
            "bags": [
                {
                    "name": name,
                    "bytes": 5,
                    "manifest_sha256": digest,
                    "tagmanifest_sha256": digest,
                    "validated": "2026-03-18T02:00:00Z",
                }
            ],
            "items": [{"item": "PEH-0001", "bag": name, "files": 1, "digest": digest}],
            "lacking": [],
        },
        Receipt,
    )


def several(folder: Path, count: int = 4) -> list[Receipt]:
    listed = [receipt(f"b{number}", f"b{number}") for number in range(count)]
    ledger.add(folder, listed)
    return listed


def test_each_delivery_has_its_line_with_its_receipt(tmp_path: Path) -> None:
    listed = several(tmp_path)
    read = ledger.read(tmp_path)
    assert read.broken is None
    assert [entry.receipt for entry in read.entries] == listed
    assert [entry.number for entry in read.entries] == [1, 2, 3, 4]


def test_the_same_receipt_is_added_once(tmp_path: Path) -> None:
    ledger.add(tmp_path, several(tmp_path))
    assert len(ledger.read(tmp_path).entries) == 4


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(place=st.integers(0, 10**6), bit=st.integers(0, 7))
def test_any_bit_that_changes_is_seen(tmp_path: Path, place: int, bit: int) -> None:
    folder = tmp_path / f"{place}-{bit}"
    several(folder, 3)
    path = ledger.path_of(folder)
    content = bytearray(path.read_bytes())
    sound = ledger.read(folder)
    content[place % len(content)] ^= 1 << bit
    path.write_bytes(content)
    read = ledger.read(folder)
    assert read.broken or read.unfinished
    # What is still taken for sound is as it was.
    assert read.entries == sound.entries[: len(read.entries)]
    shutil.rmtree(folder)


def test_lines_left_out_swapped_or_put_in_twice_are_seen(tmp_path: Path) -> None:
    several(tmp_path)
    path = ledger.path_of(tmp_path)
    lines = path.read_bytes().splitlines(keepends=True)
    for order in ([0, 2, 3], [1, 2, 3], [0, 2, 1, 3], [0, 1, 1, 2, 3]):
        path.write_bytes(b"".join(lines[number] for number in order))
        assert ledger.read(tmp_path).broken, order


def test_nothing_is_added_to_a_broken_chain(tmp_path: Path) -> None:
    several(tmp_path)
    path = ledger.path_of(tmp_path)
    path.write_bytes(path.read_bytes().replace(b"PEH-0001", b"PEH-0007", 1))
    before = path.read_bytes()
    with pytest.raises(GlassineError) as refused:
        ledger.add(tmp_path, [receipt("b9")])
    assert refused.value.findings[0].code == "ledger.chain"
    assert path.read_bytes() == before


def test_a_line_that_a_killed_run_had_begun_is_written_over(tmp_path: Path) -> None:
    several(tmp_path)
    path = ledger.path_of(tmp_path)
    content = path.read_bytes()
    for cut in random.Random(3).sample(range(len(content) * 3 // 4 + 1, len(content)), 5):
        path.write_bytes(content[:cut])
        assert ledger.read(tmp_path).broken is None
        ledger.add(tmp_path, [receipt("b3", "b3")])
        assert path.read_bytes() == content


def _add(folder: Path, name: str) -> None:
    ledger.add(folder, [receipt(name, name)])


def test_batches_delivered_side_by_side_all_have_their_line(tmp_path: Path) -> None:
    context = multiprocessing.get_context("fork")
    names = [f"c{number}" for number in range(8)]
    jobs = [context.Process(target=_add, args=(tmp_path, name)) for name in names]
    for job in jobs:
        job.start()
    for job in jobs:
        job.join()
    read = ledger.read(tmp_path)
    assert read.broken is None
    assert {entry.receipt.delivery for entry in read.entries} == {*names}


# --- in a delivery ------------------------------------------------------------------------------


@pytest.fixture
def delivered(tmp_path: Path) -> Path:
    deliveries.deliver(tmp_path, deliveries.make_batch(tmp_path, 2))
    return tmp_path


def standing(root: Path) -> receipt_files.Receipts:
    return step.standing(root / "results" / "b1", root / "deliveries", "b1")


def both(root: Path) -> tuple[Path, Path]:
    folder = root / "deliveries"
    return receipt_files.receipt_path(folder, "b1"), receipt_files.second_copy_path(folder, "b1")


def test_a_delivery_stands_in_the_ledger(delivered: Path) -> None:
    [entry] = ledger.read(delivered / "deliveries").entries
    assert entry.receipt.delivery == "b1"
    assert not ledgers.check(delivered / "deliveries")


def test_a_receipt_of_which_both_copies_are_lost_is_made_again(delivered: Path) -> None:
    before = both(delivered)[0].read_bytes()
    for spoil in (Path.unlink, lambda path: path.write_text("{")):
        for path in both(delivered):
            spoil(path)
        receipts = standing(delivered)
        assert [note.code for note in receipts.notes] == ["ledger.receipt"]
        assert [path.read_bytes() for path in both(delivered)] == [before, before]


def test_a_receipt_that_was_changed_in_both_copies_holds(delivered: Path) -> None:
    for path in both(delivered):
        content = json.loads(path.read_text())
        content["items"] = content["items"][:1]
        files.write_json(path, content)
    with pytest.raises(GlassineError) as held:
        standing(delivered)
    assert held.value.findings[0].code == "ledger.differs"
    assert [each.code for each in ledgers.check(delivered / "deliveries")] == ["ledger.differs"]


def test_a_broken_ledger_holds_the_next_delivery(delivered: Path) -> None:
    path = ledger.path_of(delivered / "deliveries")
    path.write_bytes(path.read_bytes().replace(b"b1", b"b2", 1))
    with pytest.raises(GlassineError) as held:
        standing(delivered)
    assert held.value.findings[0].code == "ledger.chain"


def test_a_ledger_that_is_lost_is_made_again_from_receipts_and_told(delivered: Path) -> None:
    path = ledger.path_of(delivered / "deliveries")
    before = path.read_bytes()
    path.unlink()
    assert [note.code for note in standing(delivered).notes] == ["ledger.added"]
    assert path.read_bytes() == before
    assert not standing(delivered).notes


def test_a_damaged_ledger_is_rebuilt_by_hand(
    delivered: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = delivered / "deliveries"
    before = ledger.path_of(folder).read_bytes()
    ledger.path_of(folder).write_bytes(before[:200] + b"?" + before[201:])
    assert ledgers.main(["check", "--directory", str(delivered)]) == 1
    assert "ledger.chain" in capsys.readouterr().err
    assert ledgers.main(["rebuild", "--directory", str(delivered)]) == 0
    assert ledger.path_of(folder).read_bytes() == before
    assert len(list(folder.glob("ledger.jsonl.damaged-*"))) == 1
    assert ledgers.main(["list", "--directory", str(delivered)]) == 0
    assert "b1: 2 items" in capsys.readouterr().out


def again(root: Path) -> step.Outcome:
    """Deliver the batch once more, one item with another title."""
    deliveries.changed_title(root, "PEH-0002", "The other quay")
    return do_delivery(root, deliveries.given_of(["PEH-0001", "PEH-0002"]))


def test_a_batch_delivered_anew_though_the_ledger_has_it_is_told(delivered: Path) -> None:
    """Receipts and the list of deliveries are gone, by intent or not: the name comes again."""
    for path in both(delivered):
        path.unlink()
    (delivered / "results" / "b1" / receipt_files.LIST).unlink()
    shutil.rmtree(delivered / "deliveries" / "b1")
    outcome = again(delivered)
    assert outcome.delivery == "b1"
    assert "ledger.delivered_before" in {note.code for note in outcome.notes}
    assert len(ledger.read(delivered / "deliveries").entries) == 2
    assert again(delivered).notes == ()


def test_what_was_written_again_is_told_though_a_delivery_was_made_too(delivered: Path) -> None:
    both(delivered)[0].write_text("{")
    outcome = again(delivered)
    assert outcome.delivery == "b1.r2"
    assert "delivery.receipt_rebuilt" in {note.code for note in outcome.notes}
