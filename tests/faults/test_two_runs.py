"""Two runs in one place: the second leaves with a message and touches nothing, whatever happens.

Locks are flock(2). On a share they hold between hosts where the share passes them on (NFS does
since Linux 2.6.12, SMB by mount option); where it does not, a run refuses to start.
"""

import fcntl
import json
import os
import subprocess
import sys
import time

import pytest

from faults import batches
from glassine.base.errors import GlassineError
from glassine.night import lock as runlock
from glassine.night import supervision


def hold(path, how):
    """A process of its own that holds a lock, as a run elsewhere would."""
    path.parent.mkdir(parents=True, exist_ok=True)
    text = (
        f"import fcntl, time; f = open({str(path)!r}, 'a'); "
        f"fcntl.flock(f, fcntl.{how}); print('held', flush=True); time.sleep(60)"
    )
    holder = subprocess.Popen([sys.executable, "-c", text], stdout=subprocess.PIPE)
    with holder.stdout:
        assert holder.stdout.readline() == b"held\n"
    return holder


def test_a_run_leaves_while_another_holds_the_lock(pair):
    holder = hold(pair.root / "results" / ".run.lock", "LOCK_EX")
    try:
        outcome = pair.night()
    finally:
        holder.kill()
        holder.wait()
    assert outcome.code == 75
    assert "[run.busy]" in outcome.text
    assert "Traceback" not in outcome.text
    assert {path.name for path in (pair.root / "results").iterdir()} == {".run.lock"}
    assert pair.night().code == 0


def test_a_run_waits_for_the_last_jobs_of_a_killed_one(tmp_path):
    holder = hold(tmp_path / "results" / ".jobs.lock", "LOCK_SH")
    started = time.monotonic()
    ender = subprocess.Popen(
        [sys.executable, "-c", f"import os, time; time.sleep(2); os.kill({holder.pid}, 9)"]
    )
    runlock.RunLock(tmp_path).take()
    assert time.monotonic() - started > 1.5
    ender.wait()
    holder.wait()


def test_jobs_that_do_not_end_stop_the_next_run_with_a_message(tmp_path, monkeypatch):
    monkeypatch.setattr(runlock, "_PATIENCE_S", 0.3)
    handle = supervision.share_jobs_lock(tmp_path / "results")
    with pytest.raises(GlassineError, match="still alive"):
        runlock.RunLock(tmp_path).take()
    os.close(handle)


def test_of_many_runs_that_start_together_one_works(pair):
    runs = [
        subprocess.Popen(
            pair.command(),
            env=pair.environment(),
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        for _ in range(3)
    ]
    texts = [run.communicate(timeout=300)[0] for run in runs]
    codes = sorted(run.returncode for run in runs)
    assert codes[0] == 0
    assert set(codes) <= {0, 75}
    assert all("Traceback" not in text for text in texts)
    logs = (pair.root / ".snakemake" / "log").glob("*.log")
    worked = [path for path in logs if "rule item:" in path.read_text("utf-8")]
    assert len(worked) == 1
    assert (pair.root / "deliveries" / f"{batches.BATCH}.receipt.json").exists()


def test_a_share_without_locks_is_refused(tmp_path, monkeypatch):
    def refuse(*_):
        raise OSError(37, "No locks available")

    monkeypatch.setattr(fcntl, "flock", refuse)
    with pytest.raises(GlassineError, match="cannot be locked"):
        runlock.RunLock(tmp_path).take()


def test_the_lock_tells_who_works(tmp_path):
    lock = runlock.RunLock(tmp_path)
    lock.take()
    told = json.loads(lock.path.read_text())
    assert told["pid"] == os.getpid()
    assert told["host"]
    lock.ended()
    assert lock.path.read_text() == ""
