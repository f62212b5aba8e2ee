"""A run killed at some moment, and what the next plain run makes of it."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path
from random import Random

from makers.studio import Studio

TARGETS = ("engine", "worker", "both")


@dataclass(frozen=True)
class Kill:
    """Which processes get which signal, and when: the share of an undisturbed run's files that
    there are by then. A share of its time would depend on what else the machine does."""

    target: str
    signal: int
    share: float

    def __str__(self) -> str:
        name = signal.Signals(self.signal).name
        return f"{name} to {self.target} at {self.share:.0%}"


def plan_kills(count: int, seed: int) -> list[Kill]:
    """Return kills that go through all pairs of target and signal, at random moments."""
    random = Random(seed)
    pairs = [(target, which) for target in TARGETS for which in (signal.SIGKILL, signal.SIGTERM)]
    return [Kill(*pairs[place % 6], random.uniform(0.02, 0.98)) for place in range(count)]


def _parents() -> dict[int, int]:
    found = {}
    for folder in Path("/proc").iterdir():
        if folder.name.isdigit():
            try:
                fields = (folder / "stat").read_text().rpartition(")")[2].split()
            except OSError:
                continue
            if fields[0] != "Z":
                found[int(folder.name)] = int(fields[1])
    return found


def living() -> set[int]:
    """Return the ids of all processes that are not yet dead."""
    return set(_parents())


def descendants(pid: int) -> list[int]:
    """Return all living processes below `pid`."""
    parents = _parents()
    found, look = [], [pid]
    while look:
        parent = look.pop()
        children = [child for child, of in parents.items() if of == parent]
        found += children
        look += children
    return found


def _strike(run: subprocess.Popen[bytes], kill: Kill, random: Random) -> bool:
    """Send the signal; return whether there was anything alive to send it to."""
    if run.poll() is not None:
        return False
    if kill.target == "both":
        os.killpg(run.pid, kill.signal)
        return True
    if kill.target == "engine":
        os.kill(run.pid, kill.signal)
        return True
    while run.poll() is None:
        workers = descendants(run.pid)
        if workers:
            try:
                os.kill(random.choice(sorted(workers)), kill.signal)
            except ProcessLookupError:
                continue
            return True
        time.sleep(0.005)
    return False


@dataclass(frozen=True)
class Reference:
    """An undisturbed run: where, how many files it made, and the digests of what it made."""

    studio: Studio
    files: int
    made: dict[str, dict[str, str]]


def made_by(studio: Studio) -> dict[str, dict[str, str]]:
    """Return the digests of all that lies there, and what each item was handed over as last.

    Handovers tell of changes: a run whose worker was killed hands an item over as held, and the
    next one as delivered. What is compared of them is the last word on each item.
    """
    results = studio.digests("results")
    return {
        "results": {path: found for path, found in results.items() if "/handover/" not in path},
        "deliveries": studio.digests("deliveries"),
        "handed over": _handed_over(studio),
    }


def _handed_over(studio: Studio) -> dict[str, str]:
    found = {}
    for path in sorted((studio.root / "results").glob("*/handover/ledger.json")):
        for item, handed in json.loads(path.read_text())["items"].items():
            found[f"{path.parts[-3]}/{item}"] = f"{handed['state']} {handed['digest']}"
    return found


def undisturbed(studio: Studio) -> Reference:
    outcome = studio.night()
    assert outcome.code == 0, outcome.text[-3000:]
    return Reference(studio, _files_in(studio), made_by(studio))


def _files_in(studio: Studio) -> int:
    folders = (studio.root / "results", studio.root / "deliveries")
    return sum(len(names) for folder in folders for _, _, names in os.walk(folder))


def problems_after(reference: Reference, folder: Path, kill: Kill, random: Random) -> list[str]:
    """Kill a run of the same batch in `folder`, run once more, and return what is wrong then.

    "not struck" alone is returned where the run had ended before the moment came, or ended as
    if nothing had happened.
    """
    studio = Studio(folder)
    shutil.copytree(reference.studio.masters, studio.masters, dirs_exist_ok=True)
    before = studio.masters_state()
    run = subprocess.Popen(
        studio.command(),
        env=studio.environment(),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    while _files_in(studio) < kill.share * reference.files and run.poll() is None:
        time.sleep(0.005)
    struck = _strike(run, kill, random)
    code = run.wait(timeout=300)
    # A run that ends with 0 did all its work: it was over, or what was struck was not at work.
    if not struck or code == 0:
        return ["not struck"]
    if kill.signal == signal.SIGKILL and kill.target != "worker" and code != -signal.SIGKILL:
        return [f"the run was not killed, it ended with code {code}"]
    outcome = studio.night()
    found = []
    if outcome.code != 0:
        found.append(f"exit code {outcome.code}: {outcome.text[-6000:]}")
    made = made_by(studio)
    for name, wanted in reference.made.items():
        have = made[name]
        wrong = sorted(
            path for path in wanted.keys() | have.keys() if wanted.get(path) != have.get(path)
        )
        found += [f"{name}: {len(wrong)} differ, first {wrong[0]}"] if wrong else []
    found += [f"left over: {path}" for path in studio.root.rglob("*.part-*")]
    found += [f"left over: {path}" for path in studio.root.rglob(".part-*")]
    if studio.masters_state() != before:
        found.append("masters changed")
    return found
