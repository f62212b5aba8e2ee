"""What the engine itself costs: nights of 1,000, 10,000 and 50,000 items whose pixels are stubs.

    tests/benchmarks/run orchestration --items 1000 --first-run
    tests/benchmarks/run orchestration --items 10000

A copy of the project gets steps that only write their records (a few bytes each); intake, graph,
job starts, stamps and locks are the real ones. Timed, each in a process of its own:

    dry_run      what `snakemake -n` takes on a batch that nobody has taken in
    first_run    every item once (with --first-run; else the stubs are written beforehand)
    no_op        a run where nothing is due
    one_changed  a run after one catalogue row changed, and the time until that item was done
    one_item     the same by `--config only=[item]`
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import msgspec

from benchmarks.names import PROJECT
from benchmarks.result import Outcome
from faults import batches
from glassine import steps
from glassine.base import exits, record_files, settings
from glassine.intake import step as intake
from glassine.intake.given import IntakeGiven
from glassine.night.run import Run

BATCH = "bench"
STUB_STEPS = '''
from glassine.base import files

def function(name: str) -> Any:
    """Return a stub that writes the records of the step as they were made of the first item."""

    def write(batch_dir: Path, item_dir: Path, given: dict[str, Any]) -> None:
        for record in _BY_NAME[name].records:
            (item_dir / record).parent.mkdir(exist_ok=True)
            files.write_text(item_dir / record, record_text(item_dir.name, record))

    return write


def record_text(item: str, record: str) -> str:
    template = Path(__file__).parents[2] / "template"
    text = (template / record).read_text("utf-8") if (template / record).exists() else "{}"
    return text.replace((template / "item").read_text("utf-8"), item)
'''
STUB_READING = """

def read(part, places, storage=None):
    return Reading(bytes=part.bytes)
"""
STUB_DELIVERY = """

def deliver_batch(batch_dir, results_dir, deliveries_dir, given):
    return Outcome(results_dir.name)
"""
STUB_REPORT = """

def write_report(results_dir, given):
    from glassine.base import files

    files.write_bytes(results_dir / "report" / "index.html", b"stub")
"""


def stubbed_project(folder: Path) -> Path:
    """Copy what a run needs of the project to `folder`, its pixels and packages replaced."""
    folder.mkdir()
    for name in ("Snakefile", "rules", "scripts", "config", "profiles"):
        source = PROJECT / name
        if source.is_dir():
            shutil.copytree(source, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(source, folder / name)
    package = folder / "scripts" / "glassine"
    for path, stub in (
        (package / "steps.py", STUB_STEPS),
        (package / "deliver" / "step.py", STUB_DELIVERY),
        (package / "report" / "__init__.py", STUB_REPORT),
        (package / "audit" / "reading.py", STUB_READING),
    ):
        path.write_text(path.read_text("utf-8") + stub, "utf-8")
    return folder


def make_masters(masters: Path, count: int) -> list[str]:
    """Write a batch of `count` tiny masters (one file copied); return the ids of its items."""
    folder = masters / BATCH
    one = batches.write_master(folder / "PEH-00001.tif", 1)
    items = [f"PEH-{number:05d}" for number in range(1, count + 1)]
    content = one.read_bytes()
    for number, item in enumerate(items[1:]):
        # Bytes behind the picture: masters of the same bytes are held.
        (folder / f"{item}.tif").write_bytes(content + number.to_bytes(4, "big"))
    past = time.time() - 86400  # no longer growing
    for item in items:
        os.utime(folder / f"{item}.tif", (past, past))
    write_catalogue(folder, items, changed=None)
    facts = "defaults: {kind: mounted_slide, polarity: positive, process: colour}\n"
    (folder / "batch.yaml").write_text(facts, "utf-8")
    return items


def write_catalogue(folder: Path, items: list[str], changed: str | None) -> None:
    rows = [f"{item},Quay {item}{' (new)' * (item == changed)},1906\n" for item in items]
    (folder / "catalogue.csv").write_text("item_id,title,date\n" + "".join(rows), "utf-8")


SETTLE = """
import sys
from pathlib import Path
sys.path.insert(0, "scripts")
from glassine import steps as table
from glassine.base import files, settings
from glassine.night import due, run
# As the night is given them: another setting would make each item due.
config = settings.read_yaml(Path("config/config.yaml"), trusted=True)
night = run.Run({**config, "masters": sys.argv[2]}, Path(sys.argv[1]))
(name,) = night.batches
for item in night.lookup.batch(name).ready():
    folder = night.place.results_dir(name) / "items" / item
    folder.mkdir(parents=True, exist_ok=True)
    for step in table.STEPS:
        for record in step.records:
            (folder / record).parent.mkdir(exist_ok=True)
            (folder / record).write_text(table.record_text(item, record), "utf-8")
    steps = night.lookup.steps_given(name, item)
    files.write_json(folder / "steps.json", {each["step"]: due.digest(each) for each in steps})
    due.write_stamp(folder, night.lookup.item_key(name, item), steps)
"""


TEMPLATE = """
import sys
from pathlib import Path
from benchmarks.orchestration.run import make_template
make_template(Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3])
"""


def make_template(project: Path, masters: Path, item: str) -> None:
    """Leave the records that the real steps make of an item in the project, for the stubs: what
    the end of a run costs depends on their size and on whether they are whole."""
    folder, made_in = project / "template", project / "template-made"
    folder.mkdir()
    one = made_in / "masters" / BATCH
    one.mkdir(parents=True)
    for name in (f"{item}.tif", "catalogue.csv", "batch.yaml"):
        shutil.copy2(masters / BATCH / name, one / name)
    config = settings.read_yaml(PROJECT / "config" / "config.yaml", trusted=True)
    night = Run({**config, "masters": str(made_in / "masters")}, made_in)
    given = msgspec.convert(night.lookup.intake_given(BATCH), IntakeGiven)
    record_files.save(night.place.intake_path(BATCH), "intake", intake.take_in(one, given))
    for step in night.lookup.steps_given(BATCH, item) or []:
        if step["step"] != steps.DEVELOP:
            values = steps.given(step["step"], step | {"masters_read": True})
            steps.function(step["step"])(one, folder, values)
    (folder / "METS.xml").unlink()  # of a hundred kB an item, and read by nobody here
    (folder / "item").write_text(item, "utf-8")


class Bench:
    """One working directory, and the runs made in it."""

    def __init__(self, folder: Path, count: int) -> None:
        self.project = stubbed_project(folder / "project")
        self.masters = folder / "masters"
        self.work = folder / "work"
        self.work.mkdir()
        self.items = make_masters(self.masters, count)
        # In a process of its own: what pixels take here would count as the memory of each run.
        subprocess.run(
            [sys.executable, "-c", TEMPLATE, str(self.project), str(self.masters), self.items[0]],
            check=True,
        )
        self.log = folder / "night.log"

    def command(self, *arguments: str) -> list[str]:
        snakemake = str(Path(sys.executable).with_name("snakemake"))
        command = [snakemake, "--snakefile", str(self.project / "Snakefile")]
        command += ["--directory", str(self.work), *arguments]
        return [*command, "--config", f"masters={self.masters}", "delivery={when: passed}"]

    def timed(self, *arguments: str, only: str = "", rest: bool = False) -> dict[str, float]:
        """Run the workflow; return its wall time, processor time (with its jobs), peak memory.

        rest: it may end with items that are not done yet.
        """
        command = self.command(*arguments) + ([f"only=[{only}]"] if only else [])
        started = time.perf_counter()
        with self.log.open("wb") as told:
            process = subprocess.Popen(command, stdout=told, stderr=told)
            _, status, used = os.wait4(process.pid, 0)
            process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode and not (rest and process.returncode == exits.HELD):
            raise SystemExit(self.log.read_text("utf-8", "replace")[-3000:])
        return {
            "wall_s": round(time.perf_counter() - started, 2),
            "cpu_s": round(used.ru_utime + used.ru_stime, 2),
            "peak_mb": round(used.ru_maxrss / 1024),
        }

    def settle(self) -> None:
        """Take the batch in, then leave what a whole night of stubs would leave."""
        intake = f"results/{BATCH}/intake.json"
        self.timed(intake, rest=True)
        subprocess.run(
            [sys.executable, "-c", SETTLE, str(self.work), str(self.masters)],
            cwd=self.project,
            check=True,
        )
        self.timed()
        if list(self.work.glob(f"results/{BATCH}/items/*/timings")):
            raise SystemExit("items were done anew that were settled: nothing can be timed")

    def check_stubs(self) -> None:
        """End with words where the real steps wrote an item's records: nothing here is timed then."""
        template = (self.project / "template" / "quality.json").read_text("utf-8")
        for item in (self.items[0], self.items[-1]):
            path = self.work / "results" / BATCH / "items" / item / "quality.json"
            if path.read_text("utf-8") != template.replace(self.items[0], item):
                raise SystemExit(f"{path} was not written by a stub: the real steps ran")

    def change(self, item: str) -> float:
        """Change the item's catalogue row; return the moment."""
        write_catalogue(self.masters / BATCH, self.items, changed=item)
        return time.time()

    def done_at(self, item: str) -> float:
        return (self.work / "results" / BATCH / "items" / item / "done.json").stat().st_mtime


def measure(folder: Path, count: int, first_run: bool) -> dict[str, Any]:
    bench = Bench(folder, count)
    found: dict[str, Any] = {"dry_run": bench.timed("-n", "--quiet", "all")}
    if first_run:
        found["first_run"] = bench.timed()
        spent = found["first_run"]["cpu_s"] / count
        found["first_run"]["cpu_ms_an_item"] = round(spent * 1000, 1)
    else:
        bench.settle()
    bench.check_stubs()
    found["no_op"] = bench.timed()
    for name, item in (("one_changed", bench.items[count // 2]), ("one_item", bench.items[7])):
        since = bench.change(item)
        found[name] = bench.timed(only=item if name == "one_item" else "")
        until = bench.done_at(item) - since
        if until <= 0:
            raise SystemExit(f"{item} was not done again")
        bench.check_stubs()
        found[name]["until_done_s"] = round(until, 2)
    return found


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--items", type=int, default=1000)
    parser.add_argument("--first-run", action="store_true")
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="orchestration-") as name:
        found = measure(Path(name), options.items, options.first_run)
    print(json.dumps(found, indent=2))
    print(f"load of the machine: {os.getloadavg()[0]:.1f}")
    return Outcome([{"run": run, "items": options.items, **times} for run, times in found.items()])
