"""Killed runs: whatever is killed, one plain run later the bytes are those of a quiet night.

Four kills here; forty by `tests/benchmarks/run faults-kills`.
"""

import os
import shutil
import subprocess
import time
from dataclasses import replace
from random import Random
from signal import SIGKILL, SIGTERM

import pytest

from faults import batches, kills
from makers.studio import Studio

ITEMS = 3


@pytest.fixture(scope="module")
def reference(tmp_path_factory):
    studio = Studio(tmp_path_factory.mktemp("undisturbed"))
    batches.make_batch(studio.masters, ITEMS)
    return kills.undisturbed(studio)


@pytest.mark.parametrize(
    "kill",
    [
        kills.Kill("engine", SIGKILL, 0.45),
        kills.Kill("engine", SIGTERM, 0.25),
        kills.Kill("worker", SIGKILL, 0.30),
        kills.Kill("both", SIGKILL, 0.60),
    ],
    ids=str,
)
def test_the_next_plain_run_gives_the_same_bytes(reference, tmp_path, kill):
    for another in range(4):  # the process that was struck may have been at no work
        sooner = replace(kill, share=kill.share * 0.8**another)
        found = kills.problems_after(reference, tmp_path / str(another), sooner, Random(another))
        if found != ["not struck"]:
            break
    assert found == []


def test_no_job_outlives_a_killed_engine(reference, tmp_path):
    """Orphans would write beside the next run; they end within a second."""
    studio = Studio(tmp_path)
    shutil.copytree(reference.studio.masters, studio.masters, dirs_exist_ok=True)
    run = subprocess.Popen(
        studio.command(),
        env=studio.environment(),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    deadline = time.monotonic() + 120
    while len(orphans := kills.descendants(run.pid)) < 3 and time.monotonic() < deadline:
        time.sleep(0.01)
    assert len(orphans) >= 3
    assert run.poll() is None, "the run had ended before it could be killed"
    assert set(orphans) & kills.living()
    os.kill(run.pid, SIGKILL)
    assert run.wait() == -SIGKILL
    struck = time.monotonic()
    while (alive := set(orphans) & kills.living()) and time.monotonic() < struck + 10:
        time.sleep(0.05)
    assert not alive
