"""Kill deliveries and audits at random moments: after the next plain run nothing is lost or twice.

tests/benchmarks/run deliver-kills --kills 40 --seed 7

Each kill is followed by a plain run, and then: the ledger's chain is whole with one line for each
delivery, both copies of every receipt stand, every bag is valid and holds what its receipt says,
the last delivery that has an item has it as the results do, no temporary name is left, masters are
untouched. Kills of audits are followed by one that reads everything and finds nothing damaged.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

import pytest

from benchmarks.deliver import batches
from benchmarks.result import Outcome, Row
from glassine.audit import holdings, rounds
from glassine.base import clock, files, hashing, threads, workers
from glassine.deliver import bag, causes, due, ledger, receipt_files
from makers import deliveries, made_items, redelivered
from makers.step_calls import do_delivery

FORMS = ("folder", "tar", "zip")


class _Site:
    """A batch that is delivered again and again."""

    def __init__(self, root: Path, items: int) -> None:
        self.root = root
        self.given: dict[str, Any] = batches.make(root, items, 400_000, 20, 3_000)
        self.given["settings"]["delivery"] |= {"later": "changed", "max_bag_gb": 0.001}
        self.masters = self._digests(root / "masters")
        files.write_json(root / "results/b1/intake.json", {"withdraw": [], "items": []})

    @staticmethod
    def _digests(folder: Path) -> dict[str, str]:
        paths = sorted(path for path in folder.rglob("*") if path.is_file())
        return {path.relative_to(folder).as_posix(): hashing.sha256_of(path) for path in paths}

    def change(self, random: Random, number: int) -> None:
        """Let some items have another title, and the delivery another form."""
        for item in random.sample(self.given["items"], len(self.given["items"]) // 2):
            redelivered.changed_title(self.root, item, f"Title {number} of {item}")
        self.given["settings"]["delivery"]["form"] = FORMS[number % len(FORMS)]

    def deliver(self) -> None:
        do_delivery(self.root, self.given)

    def audit(self) -> None:
        places = holdings.Places(
            self.root / "masters", self.root / "results", self.root / "deliveries"
        )
        limits = rounds.Limits(1.0, 0.0, everything=True)
        done = rounds.go(places, ["b1"], limits, clock.now_text)
        record = done.batches.get("b1")
        if record is None or record.findings or not record.delivery.parts:
            raise SystemExit(f"the audit tells: {record.findings if record else 'nothing'}")

    def problems(self) -> list[str]:
        """Return what is not as it should be once a plain run is over."""
        folder = self.root / "deliveries"
        found = [f"left over: {path}" for path in folder.rglob(".part-*")]
        book = ledger.read(folder)
        found += [book.broken.sentence()] if book.broken else []
        found += [f"{book.unfinished} bytes of a line begun"] if book.unfinished else []
        receipts = receipt_files.read(folder, "b1")
        found += [finding.sentence() for finding in (*receipts.damaged, *receipts.notes)]
        told = [entry.receipt.delivery for entry in book.entries]
        names = [receipt.delivery for receipt in receipts.sound]
        if told != names:
            found.append(f"the ledger has {told}, the receipts {names}")
        for receipt in receipts.sound[-1:]:
            found += self._bags(folder, receipt)
        last = causes.last_of(receipts.sound)
        for item in self.given["items"]:
            item_dir = made_items.item_dir_of(self.root, item)
            now = due.item_of(item_dir, due.read_package(item_dir)).digest
            if item not in last or last[item].item.package_digest != now:
                found.append(f"{item} is not delivered as it is")
        if self._digests(self.root / "masters") != self.masters:
            found.append("masters changed")
        return found

    @staticmethod
    def _bags(folder: Path, receipt: Any) -> list[str]:
        found, held = [], []
        for entry in receipt.bags:
            path = folder / entry.name
            found += [finding.sentence() for finding in bag.validate(path)]
            store = bag.open_store(path)
            held += {name.split("/")[1] for name in store.files if name.startswith(bag.PAYLOAD)}
            store.close()
        stated = sorted(item.item for item in receipt.items)
        return found + ([f"{sorted(held)} lies in the bags"] if sorted(held) != stated else [])


def _in_child(work: Callable[[], None], after_s: float | None) -> int:
    """Do the work in a process; kill it after so long. Return 0, 1, or -9 where it was killed."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            work()
            code = 0
        except BaseException as problem:
            sys.stderr.write(f"{problem}\n")
        finally:
            sys.stderr.flush()
            os._exit(code)
    if after_s is not None:
        time.sleep(after_s)
        with contextlib.suppress(ProcessLookupError):
            os.kill(child, signal.SIGKILL)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def _timed(work: Callable[[], None]) -> float:
    begin = time.monotonic()
    if _in_child(work, None) != 0:
        raise SystemExit("the undisturbed run failed")
    return time.monotonic() - begin


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=40)
    parser.add_argument("--items", type=int, default=6)
    parser.add_argument("--seed", type=int, default=7)
    options = parser.parse_args(arguments)
    random = Random(options.seed)
    rows: list[Row] = []
    with (
        tempfile.TemporaryDirectory(prefix="deliver-kills-") as name,
        pytest.MonkeyPatch.context() as patch,
    ):
        patch.setattr(threads, "allowed", lambda: 2)
        patch.setattr(workers, "_FEW", 0)
        patch.setattr(workers, "_FEW_BYTES", 0)
        patch.setattr(workers, "_PIECE", 8)
        site = _Site(Path(name), options.items)
        deliveries.without_records(patch)
        seconds = {"delivery": _timed(site.deliver), "audit": _timed(site.audit)}
        for number in range(1, options.kills + 1):
            what = "audit" if number % 4 == 0 else "delivery"
            work = site.audit if what == "audit" else site.deliver
            # Later rounds of the audit read less: parts of a delivery were just read.
            share = random.uniform(0.02, 0.98 if what == "delivery" else 0.3)
            for sooner in range(6):  # a run that was over too soon is struck earlier
                if what == "delivery":
                    site.change(random, number * 10 + sooner)
                code = _in_child(work, share * seconds[what])
                if code == -signal.SIGKILL:
                    break
                share *= 0.6
            found = [] if _in_child(work, None) == 0 else ["the next plain run failed"]
            found += site.problems()
            form = site.given["settings"]["delivery"]["form"]
            struck = code == -signal.SIGKILL
            rows.append(
                {
                    "kill": f"{number}: {what} ({form}) at {share:.0%}",
                    "struck": struck,
                    "problems": "; ".join(found),
                }
            )
            print(f"{rows[-1]['kill']}, struck {struck}: {'; '.join(found) or 'whole'}", flush=True)
    good = not any(row["problems"] for row in rows)
    struck_count = sum(bool(row["struck"]) for row in rows)
    print(f"{sum(not row['problems'] for row in rows)} of {len(rows)} whole, {struck_count} struck")
    return Outcome(rows, good=good, summary={"kills": len(rows), "struck": struck_count})
