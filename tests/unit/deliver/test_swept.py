"""What a killed run had begun to write of receipts and lists goes; nothing else does."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from glassine.base import files
from glassine.deliver import receipt_files

DEAD = 2**22 + 7  # beyond what Linux numbers processes with (proc(5), pid_max)


@pytest.mark.parametrize("batch", ["b1", f"{DEAD}-b1"])
def test_only_what_a_dead_process_had_begun(batch: str, tmp_path: Path) -> None:
    begun = [
        f".part-{DEAD}-{batch}.receipt.json.json",
        f".part-{DEAD}-{batch}.r7.receipt.json.json",
        f".part-{DEAD}-{batch}.r7.handover.csv.csv",
        f".part-{DEAD}-.part-{batch}.json.json",
        f"receipts/.part-{DEAD}-{batch}.r7.json.json",
        f"receipts/.part-{DEAD}-{batch}.objects.zip.zip",
    ]
    kept = [
        f".part-{batch}.json",  # the plan of a delivery under way
        f".part-{batch}.tar",
        f".part-{batch}.002.zip",
        f".part-{os.getppid()}-{batch}.receipt.json.json",  # of one that is alive
        f".part-{DEAD}-other.receipt.json.json",
        f"{batch}.receipt.json",
        f"receipts/{batch}.json",
    ]
    for name in (*begun, *kept):
        files.write_text(tmp_path / name, name)
    receipt_files.sweep(tmp_path, batch)
    left = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()}
    assert left == set(kept)


def test_the_names_are_those_that_files_are_written_by(tmp_path: Path) -> None:
    for name in ("b1.receipt.json", "b1.r2.handover.csv", "b1.objects.zip"):
        with files.replacing(tmp_path / name) as temporary:
            assert temporary.name == f".part-{os.getpid()}-{name}{Path(name).suffix}"
            temporary.write_text(name)
