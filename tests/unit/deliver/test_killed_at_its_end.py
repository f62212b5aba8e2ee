"""A run that was killed when a delivery was as good as done: nothing delivered is lost or twice."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from glassine.deliver import bag, ledger, receipt_files, step
from makers import deliveries


class Killed(BaseException):
    """The run ends here, as by a kill: nothing that follows is done."""


@pytest.fixture
def batch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, dict[str, Any]]:
    deliveries.without_records(monkeypatch)
    return tmp_path, deliveries.make_batch(tmp_path, 1)


def killed(root: Path, given: dict[str, Any], module: Any, name: str) -> None:
    """Deliver, and be killed where `name` of a module is called."""

    def kill(*_: object, **__: object) -> None:
        raise Killed

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, name, kill)
        with pytest.raises(Killed):
            deliveries.deliver(root, given)


def names(root: Path) -> list[str]:
    """Return the deliveries of the ledger; each is to have its receipt, and a bag that is whole."""
    folder = root / "deliveries"
    told = [entry.receipt.delivery for entry in ledger.read(folder).entries]
    receipts = receipt_files.read(folder, "b1")
    assert [receipt.delivery for receipt in receipts.sound] == told
    assert not [*receipts.damaged, *receipts.notes]
    for receipt in receipts.sound:
        for entry in receipt.bags:
            assert bag.validate(folder / entry.name) == []
    assert not [path.name for path in folder.rglob(".part-*")]
    return told


PLACES = [(step.plans, "end"), (receipt_files, "write")]


@pytest.mark.parametrize(("module", "name"), PLACES)
def test_the_next_run_finishes_it(
    module: Any, name: str, batch: tuple[Path, dict[str, Any]], monkeypatch: pytest.MonkeyPatch
) -> None:
    root, given = batch
    killed(root, given, module, name)
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1773900000")
    deliveries.deliver(root, given)
    assert names(root) == ["b1"]


@pytest.mark.parametrize(("module", "name"), PLACES)
def test_what_was_delivered_stays_where_the_batch_goes_on_otherwise(
    module: Any, name: str, batch: tuple[Path, dict[str, Any]]
) -> None:
    root, given = batch
    killed(root, given, module, name)
    deliveries.changed_title(root, "PEH-0001", "Another quay")
    deliveries.deliver(root, given)
    assert names(root) == ["b1", "b1.r2"]
