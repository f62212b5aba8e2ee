"""Prove the cluster profile: the sample batch on a real Slurm of this machine.

    .venv/bin/python tests/cluster/run.py [--keep]

Starts Slurm (Debian's slurm-wlm and munge, two nodes on this host), runs the sample batch through
it and locally, compares all results byte for byte, kills one running job, shows that its item is
tried again, and stops Slurm. The last result stands in tests/cluster/README.md.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(PROJECT / "tests"))

from makers.studio import MOMENT, Studio  # noqa: E402

HERE = Path(__file__).parent
BATCH = "harbour-2026-03"
PROFILE = ["--workflow-profile", str(PROJECT / "config" / "slurm")]
# One moment on every machine: results are compared byte for byte.
ENVIRONMENT = {**os.environ, "SOURCE_DATE_EPOCH": MOMENT}


def prepared(root: Path) -> Studio:
    studio = Studio(root)
    shutil.copytree(PROJECT / "sample_masters" / BATCH, studio.masters / BATCH)
    return studio


def night(studio: Studio, *arguments: str) -> float:
    """Run the workflow; return the seconds it took. Raises where it fails."""
    started = time.monotonic()
    command = studio.command(*arguments)
    done = subprocess.run(command, env=ENVIRONMENT, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(done.stdout[-3000:] + done.stderr[-3000:])
    return time.monotonic() - started


def kill_one(studio: Studio) -> str:
    """Cancel the first running job of a fresh run, then run again; return what was seen."""
    run = subprocess.Popen(
        studio.command(*PROFILE),
        env=ENVIRONMENT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    cancelled = ""
    while run.poll() is None and not cancelled:
        listed = subprocess.run(
            ["squeue", "-h", "-t", "RUNNING", "-o", "%i"],
            capture_output=True,
            text=True,
            check=True,
        )
        running = listed.stdout.split()
        if running and list((studio.root / "results").glob("*/items/*/steps.json")):
            cancelled = running[0]
            subprocess.run(["scancel", "--signal=KILL", cancelled], check=True)
        time.sleep(0.2)
    code = run.wait()
    again = night(studio, *PROFILE)
    return (
        f"job {cancelled} killed, run ended with {code}; the next run ended with 0 in {again:.0f} s"
    )


def compare(one: Studio, other: Studio) -> int:
    """Return the number of equal files; raises where any differs."""
    left, right = one.digests("results"), other.digests("results")
    different = sorted(
        name for name in left.keys() | right.keys() if left.get(name) != right.get(name)
    )
    if different:
        raise SystemExit(f"{len(different)} files differ: {different[:10]}")
    return len(left)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--keep", action="store_true", help="keep the working folders")
    arguments = parser.parse_args()
    root = Path(tempfile.mkdtemp(prefix="glassine-cluster-"))
    slurm = root / "slurm"
    subprocess.run([HERE / "slurm_up.sh", slurm], check=True)
    ENVIRONMENT["PATH"] = os.environ["PATH"] = f"{slurm / 'bin'}:{os.environ['PATH']}"
    try:
        local, cluster, killed = (prepared(root / name) for name in ("local", "cluster", "killed"))
        for studio in (cluster, killed):
            for path in (local.masters / BATCH).iterdir():
                shutil.copystat(path, studio.masters / BATCH / path.name)
        print(f"locally: {night(local):.0f} s", flush=True)
        print(f"on Slurm: {night(cluster, *PROFILE):.0f} s", flush=True)
        print(f"{compare(local, cluster)} files are equal byte for byte", flush=True)
        print(kill_one(killed), flush=True)
        print(f"{compare(local, killed)} files are equal after the kill", flush=True)
    finally:
        subprocess.run([HERE / "slurm_down.sh", slurm], check=False)
        if not arguments.keep:
            shutil.rmtree(root, ignore_errors=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
