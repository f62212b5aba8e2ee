"""Twenty reviewers decide at the team's desk while its server is killed again and again.

The real command, the real server, a login each. Frames are dealt out at random, so that reviewers
meet on the same items all the time; who gets no answer sends the same again, as the page does. At
the end corrections.yaml must hold each decision, and the journal each one once, by who made it.
"""

from __future__ import annotations

import argparse
import contextlib
import http.client
import json
import os
import random
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec

from benchmarks.names import PROJECT
from benchmarks.result import Outcome, Row, figure
from glassine.base import corrections, decisions
from makers import make_results

BATCH = make_results.BATCH
_FRAMES_OF_AN_ITEM = 5


@dataclass
class Desk:
    """The server of the desk in a folder, which can be killed and started again."""

    root: Path
    port: int
    process: subprocess.Popen[bytes] | None = None
    kills: int = 0

    def start(self) -> None:
        command = [sys.executable, "-m", "glassine.review.command", BATCH, "--directory", "."]
        command += ["--configfile", "config.yaml", "--host", "127.0.0.1", "--port", str(self.port)]
        given = os.environ | {"PYTHONPATH": str(PROJECT / "scripts")}
        self.process = subprocess.Popen(
            command, cwd=self.root, env=given, stdout=subprocess.DEVNULL
        )

    def kill(self) -> None:
        if self.process is not None:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait()
            self.kills += 1


@dataclass
class Reviewer:
    port: int
    role: str
    token: str
    places: list[tuple[str, int]]
    done: list[tuple[str, int]]
    cookie: str = ""
    known: dict[str, Any] = field(default_factory=dict)
    revision: str = ""
    waits: list[float] = field(default_factory=list)
    sent_again: int = 0

    def _ask(self, path: str, body: str, kind: str) -> tuple[int, bytes, str]:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        headers = {
            "Origin": f"http://127.0.0.1:{self.port}",
            "Content-Type": kind,
            "Cookie": self.cookie,
        }
        try:
            connection.request("POST", path, body, headers)
            answer = connection.getresponse()
            return answer.status, answer.read(), answer.getheader("Set-Cookie") or ""
        finally:
            connection.close()

    def _until_answered(self, path: str, body: str, kind: str) -> tuple[int, bytes, str]:
        while True:
            try:
                answer = self._ask(path, body, kind)
            except (OSError, http.client.HTTPException):
                self.sent_again += 1
                time.sleep(0.3)
                continue
            if answer[0] != 429:
                return answer
            time.sleep(1)

    def work(self) -> None:
        form = "application/x-www-form-urlencoded"
        status, _, line = self._until_answered("/login", f"token={self.token}", form)
        self.cookie = line.split(";")[0]
        if status != 303:
            raise RuntimeError(f"{self.role} could not log in: {status}")
        for item, number in self.places:
            self._decide(item, number)
            self.done.append((item, number))

    def _decide(self, item: str, number: int) -> None:
        seen = self.known.get(item)
        frames = [*(seen or {"frames": []})["frames"], {"frame": number, "accept": True}]
        asked = {"corrections": [{"item": item, "frames": frames}], "seen": {item: seen}}
        body = json.dumps({**asked, "seconds": {item: 1.0}, "since": self.revision})
        started = time.monotonic()
        status, content, _ = self._until_answered(f"/{BATCH}/corrections", body, "application/json")
        self.waits.append(time.monotonic() - started)
        answer = json.loads(content)
        if status != 200:
            raise RuntimeError(f"{item}, frame {number}: {status}, {answer['message']}")
        self.known = answer.get("corrections", self.known) | answer.get("changes", {})
        self.revision = answer["revision"]


def _studio(root: Path, items: int, roles: list[str]) -> dict[str, str]:
    """Write a batch of so many items, and a token for each role; return the tokens."""
    from glassine.review import tokens

    given = make_results.write_batch(root, 3, pictures=False)
    results = root / "results" / BATCH
    intake = json.loads((results / "intake.json").read_text("utf-8"))
    first = intake["items"][0]
    intake["items"] = [{**first, "item": f"PEH-{number:04d}"} for number in range(1, items + 1)]
    (results / "intake.json").write_text(json.dumps(intake), "utf-8")
    (results / "report").mkdir(exist_ok=True)
    (results / "report" / "index.html").write_text(given["batch"], "utf-8")
    (root / "masters" / BATCH).mkdir(parents=True)
    settings = "masters: masters\nreport: {desk: {tokens: reviewers}}\n"
    (root / "config.yaml").write_text(settings, "utf-8")
    return {role: tokens.grant(root / "reviewers", role) for role in roles}


def _free_port(chance: random.Random) -> int:
    """Return a port outside of those that the system gives to clients: one of them that asks for a
    server that is down could else meet itself there."""
    while True:
        port = chance.randint(15_000, 30_000)
        with socket.socket() as found, contextlib.suppress(OSError):
            found.bind(("127.0.0.1", port))
            return port


def _row(root: Path, wanted: dict[tuple[str, int], str], people: list[Reviewer]) -> Row:
    read = corrections.read(root / "masters" / BATCH / corrections.FILE_NAME).corrections
    plain = msgspec.to_builtins(read)
    held = Counter((item, each["frame"]) for item, said in plain.items() for each in said["frames"])
    noted = Counter(
        (each.item, each.part.frame, each.by)
        for each in decisions.read(root / "results" / BATCH / decisions.FILE_NAME)
    )
    waits = sorted(wait for each in people for wait in each.waits)
    return {
        "reviewers": len(people),
        "decisions": len(wanted),
        "sent_again": sum(each.sent_again for each in people),
        "lost": len(wanted.keys() - held.keys()),
        "not_decided_by_anybody": len(held.keys() - wanted.keys()),
        "doubled": sum(each - 1 for each in held.values()),
        "not_in_the_journal": len({(*place, by) for place, by in wanted.items()} - noted.keys()),
        "doubled_in_the_journal": sum(each - 1 for each in noted.values()),
        "answer_ms_median": figure(1000 * statistics.median(waits), 0),
        "answer_ms_p95": figure(1000 * waits[int(0.95 * len(waits))], 0),
    }


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(prog="tests/benchmarks/run review-team")
    parser.add_argument("--reviewers", type=int, default=20)
    parser.add_argument("--decisions", type=int, default=2000)
    parser.add_argument("--kills", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    roles = [f"op-{number:02d}" for number in range(1, options.reviewers + 1)]
    items = -(-options.decisions // _FRAMES_OF_AN_ITEM)
    places = [
        (f"PEH-{item:04d}", number)
        for number in range(1, _FRAMES_OF_AN_ITEM + 1)
        for item in range(1, items + 1)
    ][: options.decisions]
    chance = random.Random(options.seed)
    chance.shuffle(places)
    done: list[tuple[str, int]] = []
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        granted = _studio(root, items, roles)
        desk = Desk(root, _free_port(chance))
        desk.start()
        people = [
            Reviewer(desk.port, role, granted[role], places[at :: len(roles)], done)
            for at, role in enumerate(roles)
        ]
        threads = [threading.Thread(target=each.work, daemon=True) for each in people]
        for thread in threads:
            thread.start()
        while any(thread.is_alive() for thread in threads):
            time.sleep(0.02 + chance.random() * 0.05)
            if desk.process is not None and desk.process.poll() is not None:
                raise RuntimeError(f"the server ended by itself: {desk.process.returncode}")
            if len(done) > (desk.kills + 1) * len(places) / (options.kills + 1):
                desk.kill()
                desk.start()
        kills = desk.kills
        desk.kill()
        wanted = {place: each.role for each in people for place in each.places}
        row = _row(root, wanted, people) | {"kills": kills}
    print("\n".join(f"{name}: {value}" for name, value in row.items()))
    wrong = ("lost", "not_decided_by_anybody", "doubled", "not_in_the_journal")
    good = not any(row[name] for name in (*wrong, "doubled_in_the_journal"))
    return Outcome([row], good=good and kills >= options.kills)
