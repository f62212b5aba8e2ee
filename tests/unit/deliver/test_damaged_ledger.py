"""A ledger that lost its end or was meddled with: what can be kept is kept, the rest is told."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import msgspec
import pytest

from glassine.base import files
from glassine.base.records.receipt import Receipt
from glassine.deliver import ledger, receipt_files
from glassine.night import ledgers, lock
from makers import deliveries

DIGEST = "0" * 64


def receipt(name: str) -> Receipt:
    bag = {"name": name, "bytes": 5, "manifest_sha256": DIGEST, "tagmanifest_sha256": DIGEST,
           "validated": "2026-03-18T02:00:00Z"}  # fmt: skip
    made = {"delivery": name, "batch": name, "revision": 1, "replaces": None, "continues": None,
            "time": "2026-03-18T02:00:00Z", "form": "folder", "profile": "plain",
            "content": DIGEST, "bags": [bag], "lacking": [],
            "items": [{"item": "PEH-0001", "bag": name, "files": 1, "digest": DIGEST}]}  # fmt: skip
    return msgspec.convert(made, Receipt)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Four deliveries of which only the ledger tells: their bags and receipts were carried off."""
    deliveries_dir = tmp_path / "deliveries"
    ledger.add(deliveries_dir, [receipt(f"b{number}") for number in range(4)])
    return deliveries_dir


def names(folder: Path) -> list[str]:
    read = ledger.read(folder)
    assert read.broken is None
    return [entry.receipt.delivery for entry in read.entries]


def lines(folder: Path) -> list[bytes]:
    return ledger.path_of(folder).read_bytes().splitlines(keepends=True)


def rebuild(folder: Path) -> int:
    return ledgers.main(["rebuild", "--directory", str(folder.parent)])


def test_a_last_line_that_lost_its_end_of_line_alone_still_counts(folder: Path) -> None:
    path = ledger.path_of(folder)
    path.write_bytes(path.read_bytes()[:-1])
    assert names(folder) == ["b0", "b1", "b2", "b3"]
    ledger.add(folder, [receipt("b4")])
    assert names(folder) == ["b0", "b1", "b2", "b3", "b4"]


def test_a_cut_line_of_which_nothing_else_tells_is_no_whole_ledger(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = ledger.path_of(folder)
    path.write_bytes(path.read_bytes()[:-40])
    assert ledgers.main(["check", "--directory", str(folder.parent)]) == 1
    assert "ledger.begun" in capsys.readouterr().err
    assert path.read_bytes()[-10:] != b"\n"


@pytest.mark.parametrize("damage", ["a letter", "doubled", "left out"])
def test_sound_lines_behind_the_damage_are_kept_and_told(
    folder: Path, damage: str, capsys: pytest.CaptureFixture[str]
) -> None:
    listed = lines(folder)
    listed[1:2] = {
        "a letter": [listed[1].replace(b"PEH-0001", b"PEH-0007", 1)],
        "doubled": [listed[1], listed[1]],
        "left out": [],
    }[damage]
    ledger.path_of(folder).write_bytes(b"".join(listed))
    assert ledger.read(folder).broken is not None
    assert rebuild(folder) == 1  # a person is to look at what only these lines tell
    expected = ["b0", "b1", "b2", "b3"] if damage == "doubled" else ["b0", "b2", "b3"]
    assert names(folder) == expected
    told = capsys.readouterr().err
    assert "ledger.behind" in told
    assert "b2" in told
    assert "b3" in told


def test_a_line_of_another_ledger_is_never_taken_without_a_word(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = tmp_path / "other" / "deliveries"
    ledger.add(other, [receipt(f"x{number}") for number in range(5)])
    ledger.path_of(folder).write_bytes(b"".join([*lines(folder), lines(other)[4]]))
    assert rebuild(folder) == 1
    assert "x4" in capsys.readouterr().err


def test_a_disk_that_is_full_while_it_is_rebuilt_leaves_the_damaged_one(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = ledger.path_of(folder)
    path.write_bytes(path.read_bytes().replace(b"PEH-0001", b"PEH-0007", 1))
    before = path.read_bytes()

    write = files.write_bytes

    def full(path: Path, content: bytes) -> None:
        if path.name == ledger.NAME:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        write(path, content)

    with monkeypatch.context() as patch:
        patch.setattr(files, "write_bytes", full)
        assert rebuild(folder) == 73
    assert "No space left" in capsys.readouterr().err
    assert path.read_bytes() == before
    assert [each.name for each in folder.iterdir()] == [ledger.NAME]


def test_it_is_not_rebuilt_while_a_run_may_write_to_it(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = ledger.path_of(folder).read_bytes()
    run = lock.RunLock(folder.parent)
    run.take()
    try:
        assert rebuild(folder) == 75
    finally:
        run.ended()
    assert "run.busy" in capsys.readouterr().err
    assert ledger.path_of(folder).read_bytes() == before


@pytest.mark.parametrize("kept", [0, 100])
def test_a_disk_that_is_full_in_a_line_delivers_once_there_is_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kept: int
) -> None:
    deliveries.without_records(monkeypatch)
    given = deliveries.make_batch(tmp_path, 1)
    write = os.pwrite

    def full(handle: int, piece: bytes, at: int) -> int:
        if kept and at == 0:
            return write(handle, piece[:kept], at)
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(os, "pwrite", full)
        with pytest.raises(OSError, match="No space left"):
            deliveries.deliver(tmp_path, given)
    folder = tmp_path / "deliveries"
    assert not receipt_files.receipt_path(folder, "b1").exists()
    assert deliveries.deliver(tmp_path, given)["delivery"] == "b1"
    assert names(folder) == ["b1"]
    assert not list(folder.rglob(".part-*"))
