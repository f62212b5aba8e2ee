"""A bag of which every trace is lost but itself is told when the ledger is checked or rebuilt."""

from __future__ import annotations

from pathlib import Path

import pytest

from glassine.deliver import ledger, receipt_files
from glassine.night import ledgers
from makers import deliveries


@pytest.mark.parametrize("form", ["folder", "tar"])
def test_a_bag_without_line_and_receipt_is_told(
    form: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    deliveries.without_records(monkeypatch)
    deliveries.deliver(tmp_path, deliveries.make_batch(tmp_path, 1, form=form))
    folder = tmp_path / "deliveries"
    (folder / "notes.tar").write_bytes(b"no archive")  # what is no bag is nobody's matter
    (folder / "notes").mkdir()
    assert ledgers.check(folder) == []
    for path in (
        receipt_files.receipt_path(folder, "b1"),
        receipt_files.second_copy_path(folder, "b1"),
        ledger.path_of(folder),
    ):
        path.unlink()
    (finding,) = ledgers.check(folder)
    name = "b1" if form == "folder" else "b1.tar"
    assert (finding.code, finding.path) == ("ledger.bag_untold", str(folder / name))
