"""Disks that are full, read-only or gone, rights that are missing: told plainly, then mended."""

import ctypes
import json
import os
import shutil
import subprocess
import time
from contextlib import contextmanager
from pathlib import Path

import pytest

from faults import batches
from glassine.base import sandbox
from glassine.base.errors import GlassineError
from glassine.night import preflight
from makers.studio import Studio


@contextmanager
def mounted(folder, *options):
    """A small file system in memory; skipped with a message where mounting is not allowed."""
    folder.mkdir(parents=True, exist_ok=True)
    command = ["mount", "-t", "tmpfs", "-o", ",".join(options), "tmpfs", str(folder)]
    if os.geteuid() != 0 or subprocess.run(command, capture_output=True).returncode:
        pytest.skip("mounting a file system needs root and is not allowed here")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def small_limits(**changes):
    return "limits=" + json.dumps({"free_mb": 1, **changes})


def test_a_full_disk_holds_what_has_no_room_and_a_later_run_does_the_rest(tmp_path):
    with mounted(tmp_path / "disk", "size=6m") as disk:
        studio = Studio(disk / "night")
        shutil.rmtree(studio.masters)
        real = tmp_path / "masters"
        items = batches.make_batch(real, 4)
        studio.masters = real
        before = studio.masters_state()
        config = ("--config", f"masters={real}", small_limits())
        first = studio.night(*config)
        assert first.code != 0
        told = first.text.lower()
        assert "full" in told or "room" in told or "no space left" in told or "gb free" in told
        subprocess.run(["mount", "-o", "remount,size=200m", str(disk)], check=True)
        last = studio.night(*config)
        assert last.code == 0, last.text[-3000:]
        assert all((studio.item(batches.BATCH, item) / "done.json").exists() for item in items)
        assert not list(studio.root.rglob(".part-*"))
        assert studio.masters_state() == before


def test_a_run_does_not_start_on_a_disk_without_its_reserve(pair):
    outcome = pair.night("--config", 'limits={"free_mb": 100000000}')
    assert outcome.code == 73
    assert "[run.no_room]" in outcome.text
    assert "Traceback" not in outcome.text
    assert outcome.jobs == set()


def test_what_is_due_is_weighed_against_what_is_free(tmp_path):
    (tmp_path / "big.tif").write_bytes(b"x" * 5000)
    (tmp_path / "link.tif").symlink_to(tmp_path / "big.tif")
    assert preflight.masters_bytes(tmp_path) == 5000
    assert preflight.check_room(tmp_path, 5000, 0) is None
    told = preflight.check_room(tmp_path, 10**18, 0)
    assert told is not None
    assert "run.little_room" in told


def test_cropped_tiffs_are_weighed_too(tmp_path):
    due = preflight.free_bytes(tmp_path) // 2
    assert preflight.check_room(tmp_path, due, 0) is None
    assert preflight.check_room(tmp_path, due, 0, crops=True) is not None


def without_rights(studio, *arguments):
    """Run a night as a user to whom the rights of files apply (they do not apply to root)."""
    drop = ["setpriv", "--bounding-set=-dac_override,-dac_read_search"]
    if os.geteuid() != 0:
        drop = []
    elif shutil.which("setpriv") is None:
        pytest.skip("root is above all rights, and setpriv is not here to take that away")
    done = subprocess.run(
        [*drop, *studio.command(*arguments)],
        env=studio.environment(),
        capture_output=True,
        text=True,
        timeout=300,
    )
    return done.returncode, done.stdout + done.stderr


def test_results_that_may_not_be_written_stop_the_run_with_one_line(pair):
    (pair.root / "results").mkdir(mode=0o555)
    code, text = without_rights(pair)
    assert code == 73, text[-2000:]
    assert text.count("[run.not_writable]") == 1
    assert "Permission denied" in text
    assert "Traceback" not in text


def test_a_read_only_disk_stops_the_run_with_one_line(tmp_path):
    with mounted(tmp_path / "disk", "size=4m") as disk:
        (disk / "masters").mkdir()
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        with pytest.raises(GlassineError, match="Read-only file system"):
            preflight.check_writable(disk / "results")


def test_a_master_that_may_not_be_read_holds_its_item_alone(tmp_path):
    studio = Studio(tmp_path)
    batches.make_batch(studio.masters, 2)
    closed = studio.masters / batches.BATCH / "PEH-0001.tif"
    closed.chmod(0o000)
    code, text = without_rights(studio)
    assert code == 1, text[-2000:]
    assert "PEH-0001.tif: This file is not taken in: the night's user may not read it" in text
    assert "Traceback" not in text
    assert (studio.item(batches.BATCH, "PEH-0002") / "done.json").exists()
    assert not (studio.item(batches.BATCH, "PEH-0001") / "done.json").exists()
    closed.chmod(0o644)
    assert without_rights(studio)[0] == 0


def test_masters_on_a_read_only_share_are_enough(tmp_path):
    """Nothing is ever written beside the masters: a user who may not does the whole night."""
    studio = Studio(tmp_path)
    batches.make_batch(studio.masters, 1)
    for path in [studio.masters, *studio.masters.rglob("*")]:
        path.chmod(0o555 if path.is_dir() else 0o444)
    before = studio.masters_state()
    code, text = without_rights(studio)
    assert code == 0, text[-2000:]
    assert studio.masters_state() == before


@pytest.mark.parametrize("number", [5, 28, 116, 121, 122])  # EIO ENOSPC ESTALE EREMOTEIO EDQUOT
def test_what_the_system_says_of_a_failing_write_is_passed_on(tmp_path, number, monkeypatch):
    def fail(*_):
        raise OSError(number, os.strerror(number), "x")

    monkeypatch.setattr(Path, "write_bytes", fail)
    with pytest.raises(GlassineError, match="Nothing can be written here"):
        preflight.check_writable(tmp_path)


def test_a_question_that_crashes_hangs_or_overflows_is_answered_by_none():
    limits = {"seconds": 1.0, "memory_bytes": 600 * 2**20}
    assert sandbox.answer(lambda: [1, "two"], **limits) == [1, "two"]
    assert sandbox.answer(lambda: ctypes.string_at(0), **limits) is None
    assert sandbox.answer(lambda: time.sleep(30), **limits) is None
    assert sandbox.answer(lambda: len(bytearray(2**30)), **limits) is None
    assert sandbox.answer(lambda: [0] * 200_000, **{**limits, "seconds": 20}) == [0] * 200_000
