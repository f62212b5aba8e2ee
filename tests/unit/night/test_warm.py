"""The warm process: it does what a job asks for as the job would, and is never needed."""

import json
import os
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import pytest

from glassine.night import leading, warm

SCRIPTS = Path(__file__).resolve().parents[3] / "scripts"

# What stands for the steps of an item; `folder` gets the number of each process that began them.
WORK = """
import os, sys, time
from pathlib import Path
from glassine.night import leading, warm

def work(kind, arguments, threads):
    folder = Path(arguments[0])
    with (folder / "began").open("a") as told:
        told.write(f"{os.getpid()} {os.getppid()}\\n")
    sys.stderr.write(f"{kind} {arguments[1:]} {threads} {os.environ.get('MARK')} {os.getcwd()}\\n")
    if arguments[1] == "slow":
        while not (folder / "go").exists():
            if not leading.goes_on():
                (folder / "left").touch()
                os._exit(70)
            time.sleep(0.01)
    if arguments[1] == "crash":
        os.kill(os.getpid(), 9)
    if arguments[1] == "held":
        os._exit(1)

warm._work = work
"""
SERVER = "import socket\ndoor = socket.socket(fileno=int(sys.argv[-1]))\nwarm.serve(door, 0)\n"
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(SCRIPTS), "MARK": "of the job"}


@pytest.fixture
def run(monkeypatch):
    """The warm process of a run, whose work is WORK."""
    monkeypatch.setattr(
        warm, "command", lambda door, _: [sys.executable, "-c", WORK + SERVER, door]
    )
    monkeypatch.setattr(sys, "path", [*sys.path, str(SCRIPTS)])
    monkeypatch.delenv("MARK", raising=False)
    made = warm.Warm()
    monkeypatch.setenv(warm.PLACE, os.environ[warm.PLACE])
    yield made
    made.end()


def job(folder, what, **environment):
    """Start a job that asks the warm process for `what`."""
    text = WORK + f"warm.do('item', {str(folder)!r}, {what!r}, threads=3)"
    return subprocess.Popen(
        [sys.executable, "-c", text],
        env={**ENVIRONMENT, warm.PLACE: os.environ.get(warm.PLACE, ""), **environment},
        stderr=subprocess.PIPE,
        text=True,
        cwd=folder,
    )


def began(folder, count=1):
    """Return [process, its parent] of each that began the work, once there are so many."""
    path = folder / "began"
    until = time.monotonic() + 30
    while not (path.exists() and path.read_text().count("\n") >= count):
        assert time.monotonic() < until
        time.sleep(0.01)
    return [[int(each) for each in line.split()] for line in path.read_text().splitlines()]


def test_a_fork_does_the_work_in_the_jobs_place(run, tmp_path):
    first, second = job(tmp_path, "x"), job(tmp_path, "x")
    told = [each.communicate(timeout=30)[1] for each in (first, second)]
    assert told == [f"item ['x'] 3 of the job {tmp_path}\n"] * 2
    assert (first.returncode, second.returncode) == (0, 0)
    (one, parent), (other, same) = began(tmp_path, 2)
    assert parent == same
    assert len({one, other, parent, first.pid, second.pid}) == 5


@pytest.mark.parametrize(("what", "code"), [("held", 1), ("crash", 128 + signal.SIGKILL)])
def test_the_job_ends_as_the_fork_ended(run, tmp_path, what, code):
    asking = job(tmp_path, what)
    asking.communicate(timeout=30)
    assert asking.returncode == code


def test_without_a_warm_process_the_job_does_the_work(tmp_path):
    for place in ("", "glassine-that-nobody-made"):
        alone = job(tmp_path, "held", **{warm.PLACE: place})
        alone.communicate(timeout=30)
        assert alone.returncode == 1
        assert began(tmp_path)[-1][0] == alone.pid


def test_a_killed_one_takes_its_forks_along_and_another_takes_its_place(run, tmp_path):
    asking = job(tmp_path, "slow")
    [[fork, parent]] = began(tmp_path)
    os.kill(parent, signal.SIGKILL)
    # The job does the work itself, once its fork is gone.
    _, [own, _] = began(tmp_path, 2)
    assert own == asking.pid
    assert not Path(f"/proc/{fork}").exists() or "Z" in Path(f"/proc/{fork}/stat").read_text()
    (tmp_path / "go").touch()
    asking.communicate(timeout=30)
    assert asking.returncode == 0
    after = job(tmp_path, "x")
    after.communicate(timeout=30)
    *_, [last, new_parent] = began(tmp_path, 3)
    assert last != after.pid
    assert new_parent != parent


def test_a_fork_leaves_when_its_job_was_killed(run, tmp_path):
    asking = job(tmp_path, "slow")
    began(tmp_path)
    asking.kill()
    asking.communicate(timeout=30)
    until = time.monotonic() + 30
    while not (tmp_path / "left").exists():
        assert time.monotonic() < until
        time.sleep(0.01)


def test_it_ends_with_the_process_that_leads_the_run(tmp_path):
    text = f"""
        import os, sys, time
        from glassine.night import warm
        warm.command = lambda door, _: [sys.executable, "-c", {WORK + SERVER!r}, door]
        run = warm.Warm()
        print(os.environ[warm.PLACE], flush=True)
        time.sleep(60)
    """
    leader = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(text)],
        env=ENVIRONMENT,
        stdout=subprocess.PIPE,
        text=True,
    )
    place = leader.stdout.readline().strip()
    asking = job(tmp_path, "slow", **{warm.PLACE: place})
    [[fork, parent]] = began(tmp_path)
    leader.kill()
    leader.communicate()
    until = time.monotonic() + 30
    while any(_alive(each) for each in (parent, fork)):
        assert time.monotonic() < until
        time.sleep(0.01)
    asking.kill()
    asking.communicate()


def test_one_that_is_still_loading_ends_with_the_process_that_leads_the_run(tmp_path):
    """Nor does a job wait for it."""
    loading = "import sys, time; from glassine.base import sandbox; "
    loading += "sandbox.die_with_parent(int(sys.argv[2])); open('loading', 'w'); time.sleep(60)"
    text = f"""
        import os, sys, time
        from glassine.night import leading, warm
        warm.command = lambda *given: [sys.executable, "-c", {loading!r}, *map(str, given)]
        run = warm.Warm()
        print(os.environ[warm.PLACE], leading.mark_of(os.getpid()), flush=True)
        time.sleep(60)
    """
    leader = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(text)],
        env=ENVIRONMENT,
        stdout=subprocess.PIPE,
        text=True,
        cwd=tmp_path,
    )
    place, _, mark = leader.stdout.readline().strip().partition(" ")
    asking = job(tmp_path, "x", **{warm.PLACE: place, leading.LEADER: mark})
    until = time.monotonic() + 30
    while not (tmp_path / "loading").exists():
        assert time.monotonic() < until
        time.sleep(0.01)
    leader.kill()
    leader.communicate()
    asking.communicate(timeout=10)
    assert asking.returncode == 70
    assert not (tmp_path / "began").exists()


def _alive(pid):
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in "ZX"
    except OSError:
        return False


def test_one_that_cannot_stay_is_not_tried_for_ever(monkeypatch, tmp_path):
    monkeypatch.setattr(warm, "command", lambda door, _: ["/bin/false", door])
    made = warm.Warm()
    monkeypatch.setenv(warm.PLACE, os.environ[warm.PLACE])
    alone = job(tmp_path, "x")
    alone.communicate(timeout=30)
    assert alone.returncode == 0
    assert began(tmp_path)[0][0] == alone.pid
    made.end()


def test_a_job_loads_next_to_nothing_before_it_asks():
    text = """
        import sys
        before = {*sys.modules}
        from glassine.base import by_rule
        from glassine.night import warm
        import json
        print(json.dumps(sorted({*sys.modules} - before)))
    """
    out = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(text)],
        env=ENVIRONMENT,
        capture_output=True,
        check=True,
    ).stdout
    loaded = {name.partition(".")[0] for name in json.loads(out)}
    assert not loaded & {"numpy", "cv2", "pyvips", "lxml", "msgspec", "yaml"}
    ours = {name for name in json.loads(out) if name.startswith("glassine.night.")}
    assert ours == {"glassine.night.leading", "glassine.night.warm"}
