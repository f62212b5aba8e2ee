"""A process that has loaded what an item's steps need, and forks for each item of the night.

To start Python and load the libraries takes as long as half the steps of a small master. So the
run starts one warm process beside the engine; the job of an item asks it, and its fork does what
the job would have done itself: it supervises the steps, which run in a fork of their own
(`base/sandbox.py`). The warm process has no thread and touches no master: what crashes, hangs or
fills the memory is a fork, and costs one item.

Where there is none (another machine, a job started by hand, one that was killed), the job does the
item's steps in its own process. This module is all that such a job loads before it knows.
"""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import select
import signal
import socket
import struct
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from glassine.night import leading

# Set by the run to the name of the socket where its warm process listens.
PLACE = "GLASSINE_WARM"

# A warm process that has not taken a job after so long is not waited for.
_PATIENCE_S = 60.0
_QUEUE = 256
# Exit code of a job whose run's leader is gone.
_ABANDONED = 70
# One that ends so soon did not end well; after so many the run does without.
_SHORT_S, _TRIES = 20.0, 3
# The libraries of matrices start a thread a core as they are loaded, unless they are told not to
# (OpenBLAS, which numpy and cv2 bring with them): a fork would inherit the locks of these.
ONE_THREAD = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
# Modules that the steps load on the way, beside their own.
_LATER = (
    "cv2",
    "lxml.etree",
    "numpy",
    "pyvips",
    "tifffile",
    "glassine.masters.holes",
    "glassine.masters.notes",
    "glassine.masters.labels",
)


# ------------------------------------------------------------------ the job that asks


def do(work: str, *arguments: Any, threads: int) -> None:
    """Do the steps of an item: `work` of `_work`, with arguments that JSON knows.

    Ends the process where the item is held, and where the warm process has done it.
    """
    code = _asked(work, arguments, threads)
    if code is None and leading.goes_on():
        _work(work, arguments, threads)
        return
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(_ABANDONED if code is None else code)


def _work(work: str, arguments: Any, threads: int) -> None:
    from glassine.base import threads as job_threads
    from glassine.night import item_job

    doing: dict[str, Callable[..., None]] = {
        "item": item_job.process_item,
        "look": item_job.look_at_item,
    }
    job_threads.announce(threads)
    batch_dir, item_dir, *rest = arguments
    doing[work](Path(batch_dir), Path(item_dir), *rest)


def _asked(work: str, arguments: Any, threads: int) -> int | None:
    """Return the exit code of the job as the warm process did it; None: it is to be done here."""
    place = os.environ.get(PLACE)
    if not place:
        return None
    told = {
        "work": work,
        "arguments": arguments,
        "threads": threads,
        "environment": dict(os.environ),
        "folder": os.getcwd(),  # noqa: PTH109
    }
    fork = 0
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as link:
            link.settimeout(_PATIENCE_S)
            link.connect(f"\0{place}")
            if _other_end(link)[1] != os.getuid():
                return None
            socket.send_fds(link, [b"\n"], [1, 2])
            link.sendall(json.dumps(told).encode())
            link.shutdown(socket.SHUT_WR)
            with link.makefile("r", encoding="ascii") as answers:
                fork = int(answers.readline() or 0)
                if not fork:
                    return None  # it ended before it took the job
                link.settimeout(None)
                answer = answers.readline()
    except (OSError, ValueError):
        # Before it took the job; afterwards the link can only end, as its fork may.
        answer = ""
    if not answer and fork:
        _wait_until_gone(fork)
    return int(answer) if answer else None


def _other_end(link: socket.socket) -> tuple[int, int]:
    """Return the number and the user of the process at the other end (unix(7), SO_PEERCRED)."""
    form = "3i"
    found = link.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, struct.calcsize(form))
    pid, user, _ = struct.unpack(form, found)
    return pid, user


def _wait_until_gone(pid: int) -> None:
    """Wait until a fork has ended whose warm process was killed: it dies with it, and no two
    processes may work on an item."""
    with contextlib.suppress(ProcessLookupError, PermissionError):
        handle = os.pidfd_open(pid)
        try:
            ended = select.poll()
            ended.register(handle, select.POLLIN)
            ended.poll()
        finally:
            os.close(handle)


# ------------------------------------------------------------------ the run that starts it


def command(door: str, leader: int) -> list[str]:
    """Return what starts a warm process. door: its socket's descriptor; leader: of the run."""
    return [sys.executable, "-m", "glassine.night.warm", door, str(leader)]


class Warm:
    """The warm process of a run: started when the first job asks, and anew where it was killed.

    It ends with `end`, or with this process.
    """

    def __init__(self) -> None:
        # In no folder, so that nothing is left of it however the run ends (unix(7), abstract).
        name = f"glassine-{secrets.token_hex(16)}"
        self._door = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._door.bind(f"\0{name}")
        self._door.listen(_QUEUE)
        self._over, self._end = os.pipe()
        self._keeper = threading.Thread(target=self._keep, daemon=True)
        self._keeper.start()
        os.environ[PLACE] = name

    def end(self) -> None:
        """End the process; no job is under way any more."""
        os.environ.pop(PLACE, None)
        os.close(self._end)
        self._keeper.join()
        os.close(self._over)

    def _keep(self) -> None:
        """See that a warm process is there while jobs ask. One that cannot stay is not tried for
        ever: the door is closed, and jobs do without."""
        with self._door:
            short = 0
            while short < _TRIES and not self._is_over(self._door.fileno()):
                since = time.monotonic()
                self._once()
                short = short + 1 if time.monotonic() - since < _SHORT_S else 0

    def _is_over(self, other: int) -> bool:
        """Return, once there is something to do at the handle `other`, False; True: at the end."""
        waiting = select.poll()
        waiting.register(self._over, select.POLLIN)
        waiting.register(other, select.POLLIN)
        return self._over in [handle for handle, _ in waiting.poll()]

    def _once(self) -> None:
        """Run a warm process until it ends, or the run does."""
        door = self._door.fileno()
        try:
            process = subprocess.Popen(
                command(str(door), os.getpid()),
                stdin=subprocess.PIPE,
                pass_fds=[door],
                env={
                    **os.environ,
                    **ONE_THREAD,
                    "PYTHONPATH": os.pathsep.join(filter(None, sys.path)),
                },
            )
        except OSError:  # no room for a process: the next try may find some
            return
        handle = os.pidfd_open(process.pid)
        self._is_over(handle)
        os.close(handle)
        assert process.stdin is not None
        process.stdin.close()
        try:
            process.wait(_PATIENCE_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def started() -> Warm | None:
    """Return the warm process of a run, None where the system does not let it be."""
    try:
        return Warm()
    except OSError:
        return None


# ------------------------------------------------------------------ the warm process


def _load() -> None:
    """Load what an item's steps load, and prepare what they would work out for each item."""
    import gc
    import importlib

    from glassine import steps
    from glassine.night import item_job  # noqa: F401

    for name in _LATER:
        importlib.import_module(name)
    for step in steps.STEPS:
        if step.name != "develop":  # raw masters alone need it, and it loads a decoder of its own
            steps.prepare(step.name)
    # What is there now stays where it is: forks need no copies of pages that they would only mark.
    gc.collect()
    gc.freeze()


def serve(door: socket.socket, leader: int) -> None:
    """Fork for each job that asks, and tell it how the fork ended, until `leader` is closed."""
    waiting = select.poll()
    waiting.register(door, select.POLLIN)
    waiting.register(leader, select.POLLIN)
    # By descriptor of the fork: its number, and the job that asked.
    forks: dict[int, tuple[int, socket.socket]] = {}
    while True:
        for handle, _ in waiting.poll():
            if handle == leader:
                return
            if handle in forks:
                waiting.unregister(handle)
                _tell_end(handle, *forks.pop(handle))
            else:
                link, _ = door.accept()
                if _other_end(link)[1] != os.getuid():
                    link.close()
                    continue
                pid = _fork(link, [door.fileno(), leader, *forks])
                handle = os.pidfd_open(pid)
                forks[handle] = pid, link
                waiting.register(handle, select.POLLIN)


def _tell_end(handle: int, pid: int, link: socket.socket) -> None:
    os.close(handle)
    _, status = os.waitpid(pid, 0)
    code = os.waitstatus_to_exitcode(status)
    with link, contextlib.suppress(OSError):  # the job that asked may be gone
        # As a shell tells it, where a signal ended the fork.
        link.sendall(f"{code if code >= 0 else 128 - code}\n".encode())


def _fork(link: socket.socket, others: list[int]) -> int:
    """Return the process that does what the job at `link` asks for. others: handles to close."""
    parent = os.getpid()
    pid = os.fork()
    if pid:
        return pid
    code = _ABANDONED
    try:
        from glassine.base import sandbox

        sandbox.die_with_parent(parent)
        for handle in others:
            os.close(handle)
        _answer(link)
        code = 0
    except Exception:
        import traceback

        traceback.print_exc()
        code = 1
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


def _answer(link: socket.socket) -> None:
    """Do what the job at the other end of the link asks for, in its folder and its environment."""
    asking, _ = _other_end(link)
    mark = leading.mark_of(asking)
    _, handles, _, _ = socket.recv_fds(link, 1, 2)
    for place, handle in enumerate(handles, 1):
        os.dup2(handle, place)
        os.close(handle)
    link.sendall(f"{os.getpid()}\n".encode())
    pieces = []
    while piece := link.recv(2**16):
        pieces.append(piece)
    link.close()
    told = json.loads(b"".join(pieces))
    os.environ.clear()
    os.environ.update(told["environment"])
    os.environ[leading.ASKED_BY] = mark
    os.chdir(told["folder"])
    _work(told["work"], told["arguments"], told["threads"])


def main() -> None:
    from glassine.base import sandbox

    # At once: to load takes a while, and no job may wait for it longer than its run goes on.
    sandbox.die_with_parent(int(sys.argv[2]))
    # Who presses Ctrl-C ends the jobs: their forks end with them, and this with the run.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _load()
    with socket.socket(fileno=int(sys.argv[1])) as door:
        serve(door, sys.stdin.fileno())


if __name__ == "__main__":
    main()
