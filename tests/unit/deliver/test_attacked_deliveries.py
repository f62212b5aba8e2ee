"""Deliveries whose disk is away or full, whose batch changes on the way: never wrong in silence."""

from __future__ import annotations

import errno
import os
import shutil
from pathlib import Path
from typing import Any

import pytest

from glassine.base import files, hashing
from glassine.base.errors import GlassineError
from glassine.deliver import bag, ledger, receipt_files
from glassine.deliver import step as delivery
from makers import deliveries, made_items
from makers.step_calls import do_delivery


@pytest.fixture(autouse=True)
def no_records(monkeypatch: pytest.MonkeyPatch) -> None:
    deliveries.without_records(monkeypatch)


def held(root: Path, given: dict[str, Any], batch: str = "b1") -> dict[str, str]:
    with pytest.raises(GlassineError) as caught:
        do_delivery(root, given, batch)
    return {each.code: f"{each.what} {each.next_step}" for each in caught.value.findings}


def renamed(root: Path, name: str) -> dict[str, Any]:
    """Let the batch b1 be there under another name too; return what its delivery is given."""
    shutil.copytree(root / "masters" / "b1", root / "masters" / name)
    shutil.copytree(root / "results" / "b1", root / "results" / name)
    (root / "results" / name / receipt_files.LIST).unlink(missing_ok=True)
    items = sorted(path.name for path in (root / "results" / name / "items").iterdir())
    entries = [{"item": item} for item in items]
    files.write_json(root / "results" / name / "intake.json", {"batch": name, "items": entries})
    return deliveries.given_of(items) | {"batch": name}


def word(item: str, **more: str) -> dict[str, str]:
    return {"item": item, "reason": "given back to the lender", "by": "op-07",
            "when": "2026-03-19T02:00:00Z", **more}  # fmt: skip


def ledgers_deliveries(root: Path) -> list[str]:
    return [each.receipt.delivery for each in ledger.read(root / "deliveries").entries]


def noted(outcome: delivery.Outcome) -> set[str]:
    return {note.code for note in outcome.notes}


def test_nothing_is_delivered_beside_a_disk_of_deliveries_that_is_not_mounted(
    tmp_path: Path,
) -> None:
    """The new batch was never delivered; what others' results tell shows that the disk is away."""
    given = deliveries.make_batch(tmp_path)
    deliveries.deliver(tmp_path, given)
    do_delivery(tmp_path, given)  # the night after: results know what was delivered
    new = renamed(tmp_path, "b2")
    new["settings"]["delivery"]["same_ids"] = "told"
    (tmp_path / "deliveries").rename(tmp_path / "away")
    (tmp_path / "deliveries").mkdir()
    told = held(tmp_path, new, "b2")
    assert set(told) == {"delivery.not_mounted"}
    assert "b1" in told["delivery.not_mounted"]
    assert list((tmp_path / "deliveries").iterdir()) == []
    (tmp_path / "deliveries").rmdir()
    (tmp_path / "away").rename(tmp_path / "deliveries")
    assert do_delivery(tmp_path, new, "b2").delivery == "b2"
    assert ledgers_deliveries(tmp_path) == ["b1", "b2"]


def test_the_results_know_of_a_delivery_as_soon_as_it_is_made(tmp_path: Path) -> None:
    """Else a disk that is away the very next night would be taken for an empty one."""
    given = deliveries.make_batch(tmp_path, 1)
    do_delivery(tmp_path, given)
    assert "b1" in files.read_json(tmp_path / "results" / "b1" / receipt_files.LIST)["deliveries"]


def test_a_batch_renamed_after_its_delivery_is_told_so(tmp_path: Path) -> None:
    deliveries.deliver(tmp_path, deliveries.make_batch(tmp_path, 1))
    given = renamed(tmp_path, "b1-new")
    told = held(tmp_path, given, "b1-new")
    assert set(told) == {"delivery.id_twice"}
    assert "give the folder of this batch its name b1 again" in told["delivery.id_twice"]


@pytest.mark.parametrize("where", ["bag-info.txt", "index.html", "tagmanifest-sha512.txt"])
def test_a_disk_that_is_full_among_the_tag_files_delivers_once_there_is_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    given = deliveries.make_batch(tmp_path, 1)
    write = files.write_bytes

    def full(path: Path, content: bytes) -> None:
        if path.name == where:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))
        write(path, content)

    with monkeypatch.context() as patch:
        patch.setattr(files, "write_bytes", full)
        with pytest.raises(OSError, match="No space left"):
            do_delivery(tmp_path, given)
    folder = tmp_path / "deliveries"
    assert ledger.read(folder).entries == []
    assert not (folder / "b1").exists()
    assert do_delivery(tmp_path, given).delivery == "b1"
    assert bag.validate(folder / "b1") == []
    assert not list(folder.rglob(".part-*"))


@pytest.mark.parametrize("form", ["folder", "tar", "zip"])
def test_a_disk_that_is_full_among_the_masters_is_not_told_as_one_that_cannot_be_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, form: str
) -> None:
    given = deliveries.make_batch(tmp_path, 1, form=form)
    digests_of = hashing.of_stream

    def full(stream: Any, target: Any = None) -> hashing.Digests:
        if target is not None:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))  # a write names no file
        return digests_of(stream)

    with monkeypatch.context() as patch:
        patch.setattr(hashing, "of_stream", full)
        with pytest.raises(OSError, match="No space left"):
            do_delivery(tmp_path, given)
    assert do_delivery(tmp_path, given).delivery == "b1"
    assert ledgers_deliveries(tmp_path) == ["b1"]


def test_an_item_withdrawn_while_its_delivery_is_under_way_goes_with_the_next(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = deliveries.make_batch(tmp_path, 2)

    def killed(*_: Any) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(ledger, "add", killed)
        with pytest.raises(KeyboardInterrupt):
            do_delivery(tmp_path, given)
    outcome = do_delivery(tmp_path, given | {"withdraw": [word("PEH-0002")]})
    assert outcome.withdrawn == ("PEH-0002",)
    folder = tmp_path / "deliveries"
    [entry] = ledger.read(folder).entries
    assert [item.item for item in entry.receipt.items] == ["PEH-0001"]
    assert not (folder / "b1" / "data" / "PEH-0002").exists()
    assert bag.validate(folder / "b1") == []


def test_a_withdrawn_item_that_is_captured_again_is_told(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path, 2)
    do_delivery(tmp_path, given)
    given["withdraw"] = [word("PEH-0002")]
    assert "delivery.withdrawn_again" not in noted(do_delivery(tmp_path, given))
    shutil.rmtree(made_items.item_dir_of(tmp_path, "PEH-0002"))
    deliveries.finish(tmp_path, made_items.make_item(tmp_path, "PEH-0002", 9))
    for _ in range(2):
        outcome = do_delivery(tmp_path, given)
        assert outcome.delivery == "b1.r2"
        assert "delivery.withdrawn_again" in noted(outcome)
    given["withdraw"] = []
    assert do_delivery(tmp_path, given).delivery == "b1.r3"
