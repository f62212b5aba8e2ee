"""Batches in folders of their own, and the workflow run on them as an operator would."""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[2]
# One moment for every record, so that two runs can be compared byte for byte.
MOMENT = "1773741600"


@dataclass(frozen=True)
class Outcome:
    """How a run ended: exit code, all it printed, and which jobs it did as (step, item)."""

    code: int
    text: str
    jobs: set[tuple[str, str]]


# `ids.json`, `states.json`, `settled.json` and `same.json` keep by their times what was read of
# other records.
_TELLS_TIME = re.compile(
    r"(/timings/|/logs/|\.lock$|report/|results/summary\.json$|results/ids\.json$|audit\.sqlite$"
    r"|results/(room|masters)\.json$"
    r"|/audit\.json$|/alike\.json$|/(states|settled)\.json$|/handover/same\.json$)"
)


class Studio:
    """A working directory with a folder of masters."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.masters = root / "masters"
        self.masters.mkdir(parents=True)

    def command(self, *arguments: str) -> list[str]:
        snakemake = Path(sys.executable).with_name("snakemake")
        given = [*arguments]
        settings = "masters=masters"
        if "--config" in given:
            given.insert(given.index("--config") + 1, settings)
        else:
            given += ["--config", settings]
        snakefile = str(PROJECT / "Snakefile")
        return [str(snakemake), "--snakefile", snakefile, "--directory", str(self.root), *given]

    def environment(self) -> dict[str, str]:
        return {**os.environ, "SOURCE_DATE_EPOCH": MOMENT}

    def night(self, *arguments: str) -> Outcome:
        """Run the workflow to its end. What the engine did stands in its log alone."""
        logs = self.root / ".snakemake" / "log"
        before = set(logs.glob("*.log"))
        done = subprocess.run(
            self.command(*arguments),
            env=self.environment(),
            capture_output=True,
            text=True,
            timeout=900,
        )
        text = done.stdout + done.stderr
        written = [path.read_text("utf-8") for path in sorted({*logs.glob("*.log")} - before)]
        return Outcome(done.returncode, text, jobs_in("".join(written)))

    def item(self, batch: str, item: str) -> Path:
        return self.root / "results" / batch / "items" / item

    def steps_told(self, batch: str, item: str) -> dict[str, int]:
        """Return {step: when its log was last written, in ns}: what changes, ran."""
        logs = (self.item(batch, item) / "logs").glob("*.log")
        return {path.stem: path.stat().st_mtime_ns for path in logs if path.stem != "item"}

    def digests(self, folder: str) -> dict[str, str]:
        """Return {path: sha256} of what a run made, without what tells of time and process."""
        base = self.root / folder
        return {
            str(path.relative_to(base)): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in sorted(base.rglob("*"))
            if path.is_file() and not _TELLS_TIME.search(str(path))
        }

    def masters_state(self) -> dict[str, tuple[str, int, int]]:
        return {
            str(path.relative_to(self.masters)): (
                hashlib.sha256(path.read_bytes()).hexdigest(),
                path.stat().st_mtime_ns,
                path.stat().st_mode,
            )
            for path in sorted(self.masters.rglob("*"))
            if path.is_file()
        }


def jobs_in(text: str) -> set[tuple[str, str]]:
    """Return the jobs that the engine's log tells of, as (rule, item or batch)."""
    found = set()
    pattern = r"^(?:local)?(?:rule|checkpoint) (\w+):\n((?:    .*\n)+)"
    for rule, block in re.findall(pattern, text, re.MULTILINE):
        wildcards = dict(
            re.findall(r"(\w+)=([^,\s]+)", re.search(r"wildcards: (.*)", block + "wildcards: ")[1])
        )
        if rule != "all":
            found.add((rule, wildcards.get("item", wildcards.get("batch", ""))))
    return found
