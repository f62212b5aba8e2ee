"""scripts/audit: what it says and its exit codes; and what a night makes of a damaged file."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
import yaml

from glassine.base import exits, files
from glassine.night import audits, lock
from makers import deliveries


@pytest.fixture
def root(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    deliveries.without_records(monkeypatch)
    deliveries.deliver(tmp_path, deliveries.make_batch(tmp_path, 2))
    for folder in (tmp_path / "results" / "b1" / "items").iterdir():
        files.write_json(folder / "done.json", {})
    files.write_json(tmp_path / "results" / "b1" / "intake.json", {})
    (tmp_path / "config.yaml").write_text(yaml.safe_dump({"masters": str(tmp_path / "masters")}))
    return tmp_path


def audit(root: Path, *words: str) -> int:
    places = ["--directory", str(root), "--configfile", str(root / "config.yaml")]
    return audits.main([*words, *places])


def damage(root: Path) -> Path:
    path = root / "masters" / "b1" / "PEH-0001.tif"
    state = path.stat()
    content = bytearray(path.read_bytes())
    content[500] ^= 4
    path.chmod(0o644)
    path.write_bytes(content)
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))
    return path


def test_all_is_sound(root: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert audit(root, "--all") == 0
    assert "nothing damaged" in capsys.readouterr().out


def test_a_damaged_master_ends_with_1_and_is_named(
    root: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = damage(root)
    assert audit(root, "--all", "b1") == exits.HELD
    assert f"DAMAGED {path}" in capsys.readouterr().out


def test_a_batch_that_nobody_knows_is_refused(
    root: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert audit(root, "b2") == exits.USAGE
    assert "No batch of this name" in capsys.readouterr().err


def test_while_a_run_goes_on_nothing_is_read(
    root: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run = lock.RunLock(root)
    run.take()
    assert audit(root, "--all") == exits.LATER
    assert "Another run is going on" in capsys.readouterr().err


def test_readings_are_written_as_premis(root: Path) -> None:
    audit(root, "--all")
    assert audit(root, "--premis", str(root / "readings.xml")) == 0
    assert "premis:event" in (root / "readings.xml").read_text()
