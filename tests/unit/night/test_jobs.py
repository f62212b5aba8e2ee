"""How a job fails, and that it does not outlive its run."""

import json
import os
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest

from glassine.base.errors import GlassineError
from glassine.night import leading, lock

SCRIPTS = Path(__file__).resolve().parents[3] / "scripts"


def run_step(folder, body, **environment):
    """Run a step of a job in a process of its own, as an entry script does."""
    text = f"""
        import sys
        sys.path.insert(0, {str(SCRIPTS)!r})
        from pathlib import Path
        from glassine.night import supervision as jobs
        from glassine.base.errors import GlassineError
        item_dir = Path({str(folder)!r}) / "results/b1/items/PEH-1"
        log = item_dir / "logs/locate.log"
        with (
            jobs.item_job("PEH-1", item_dir, log, None, lambda: "locate"),
            jobs.item_step("locate", "PEH-1", item_dir, log),
        ):
            {body}
    """
    return subprocess.run(
        [sys.executable, "-c", textwrap.dedent(text)],
        capture_output=True,
        text=True,
        env={**os.environ, **environment},
        timeout=60,
    )


def held(folder):
    return json.loads((folder / "results/b1/items/PEH-1/held.json").read_text())


FAIL = 'raise GlassineError.because("locate.none", "a.tif", "No frame.", "one.", "Correct it.")'


def test_a_held_item_is_told_in_one_line_without_a_traceback(tmp_path):
    done = run_step(tmp_path, FAIL)
    assert done.returncode == 1
    assert done.stderr.splitlines() == [
        "HELD a.tif: No frame. Expected: one. Next step: Correct it. [locate.none]"
    ]
    assert held(tmp_path)["step"] == "locate"
    assert held(tmp_path)["findings"][0]["next_step"] == "Correct it."


@pytest.mark.parametrize(
    ("body", "word"),
    [
        ("1 / 0", "unexpectedly"),
        ("raise OSError(28, 'No space left on device')", "disk is full"),
        ("raise OSError(116, 'Stale file handle', 'x.tif')", "Stale file handle"),
        ("raise MemoryError", "Memory ran out"),
    ],
)
def test_the_unexpected_is_told_in_plain_words_too(tmp_path, body, word):
    done = run_step(tmp_path, body)
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert word in held(tmp_path)["findings"][0]["what"]
    assert "Traceback" in (tmp_path / "results/b1/items/PEH-1/logs/locate.log").read_text()


def test_success_releases_what_this_step_held_and_leaves_a_timing(tmp_path):
    run_step(tmp_path, FAIL)
    assert run_step(tmp_path, "import time; time.sleep(0.2)").returncode == 0
    item_dir = tmp_path / "results/b1/items/PEH-1"
    assert not (item_dir / "held.json").exists()
    assert 0.2 <= json.loads((item_dir / "timings/locate.json").read_text())["seconds"] < 60


def test_a_job_ends_with_the_run_that_started_it(tmp_path):
    leader = subprocess.Popen(["sleep", "30"])
    mark = f"{leader.pid} {leading.process_start(leader.pid)}"
    started = time.monotonic()
    leader.kill()
    leader.wait()
    # The mark of a process that is gone: such a job must not start its work at all ...
    job = run_step(tmp_path, "import time; time.sleep(20)", GLASSINE_LEADER=mark)
    assert time.monotonic() - started < 15
    assert job.returncode == 70


def test_a_second_run_is_told_of_the_first(tmp_path):
    first = lock.RunLock(tmp_path)
    first.take()
    with pytest.raises(GlassineError, match=f"process {os.getpid()}"):
        lock.RunLock(tmp_path).take()
    assert first.path.exists()


def test_a_run_after_a_killed_one_clears_locks_and_leftovers(tmp_path):
    text = f"""
        import os, sys
        sys.path.insert(0, {str(SCRIPTS)!r})
        from pathlib import Path
        from glassine.night import lock as runlock
        runlock.RunLock(Path({str(tmp_path)!r})).take()
        os.kill(os.getpid(), 9)
    """
    subprocess.run([sys.executable, "-c", textwrap.dedent(text)], timeout=60)
    locks = tmp_path / ".snakemake" / "locks"
    locks.mkdir(parents=True)
    (locks / "0.output.lock").write_text("x")
    leftover = tmp_path / "results" / "b1" / ".part-1-x.json"
    leftover.parent.mkdir(parents=True)
    leftover.write_text("half")
    lock.RunLock(tmp_path).take()
    assert not leftover.exists()
    assert list(locks.iterdir()) == []


@pytest.mark.parametrize(
    ("arguments", "looks"),
    [(["-n"], True), (["--dry-run"], True), (["--lint", "json"], True), (["--cores", "2"], False)],
)
def test_looking_needs_no_lock(arguments, looks):
    assert lock.only_looks(arguments) is looks


def limited(**changes):
    return {"GLASSINE_LIMITS": json.dumps(changes)}


def test_a_step_that_never_ends_is_ended_and_told(tmp_path):
    """Deaf to signals and deep in C, where no Python thread could end it: a regular expression."""
    body = "import re; re.match('(a+)+b', 'a' * 60)"
    started = time.monotonic()
    done = run_step(tmp_path, body, **limited(seconds=1))
    assert (done.returncode, time.monotonic() - started < 20) == (1, True)
    (finding,) = held(tmp_path)["findings"]
    assert finding["code"] == "locate.time"
    assert "limits.seconds" in finding["next_step"]
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    "body",
    [
        "held = bytearray(900 * 2**20)",
        "import numpy; numpy.ones((120, 2**20))",
        "import pyvips; pyvips.Image.black(20000, 20000, bands=3).copy_memory()",
    ],
)
def test_a_step_that_fills_the_memory_is_ended_and_told(tmp_path, body):
    done = run_step(tmp_path, body, **limited(memory_mb=600))
    assert done.returncode == 1
    assert held(tmp_path)["findings"][0]["what"].startswith("Memory ran out")


def test_the_same_steps_end_well_within_larger_limits(tmp_path):
    body = "import pyvips; pyvips.Image.black(2000, 2000, bands=3).rot90().copy_memory()"
    done = run_step(tmp_path, body, **limited(memory_mb=600, seconds=60))
    assert done.returncode == 0, done.stderr


def test_a_crash_of_a_decoder_is_told(tmp_path):
    body = "import ctypes; ctypes.string_at(0)"
    done = run_step(tmp_path, body)
    assert done.returncode == 1
    (finding,) = held(tmp_path)["findings"]
    assert (finding["code"], "SIGSEGV" in finding["what"]) == ("locate.crash", True)


def test_open_files_are_limited(tmp_path):
    body = "kept = [open('/dev/null') for _ in range(300)]"
    run_step(tmp_path, body)
    assert "Too many open files" in held(tmp_path)["findings"][0]["what"]


def test_a_step_does_not_start_on_a_full_disk(tmp_path):
    done = run_step(tmp_path, "print('started')", **limited(free_mb=10**9))
    assert (done.returncode, done.stdout) == (1, "")
    assert held(tmp_path)["findings"][0]["code"] == "item.room"
    assert run_step(tmp_path, "pass").returncode == 0
    assert not (tmp_path / "results/b1/items/PEH-1/held.json").exists()


def test_the_work_ends_with_its_supervisor(tmp_path):
    """Killed without a word, the supervisor takes the working process with it."""
    told = tmp_path / "pid"
    body = f"import os, time; open({str(told)!r}, 'w').write(str(os.getpid())); time.sleep(60)"
    text = textwrap.dedent(f"""
        import sys
        sys.path.insert(0, {str(SCRIPTS)!r})
        from pathlib import Path
        from glassine.night import supervision as jobs
        item_dir = Path({str(tmp_path)!r}) / "results/b1/items/PEH-1"
        log = item_dir / "logs/locate.log"
        with (
            jobs.item_job("PEH-1", item_dir, log, None, lambda: "locate"),
            jobs.item_step("locate", "PEH-1", item_dir, log),
        ):
            {body}
    """)
    supervisor = subprocess.Popen([sys.executable, "-c", text])
    deadline = time.monotonic() + 30
    while not (told.exists() and told.read_text()) and time.monotonic() < deadline:
        time.sleep(0.02)
    worker = int(told.read_text())
    assert leading.process_start(worker) is not None
    supervisor.kill()
    supervisor.wait()
    while leading.process_start(worker) is not None and time.monotonic() < deadline:
        time.sleep(0.02)
    assert leading.process_start(worker) is None
