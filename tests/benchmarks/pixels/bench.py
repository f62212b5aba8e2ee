"""Time and memory of the pixel work, beside a careful script of separate commands, and a bound.

  tests/benchmarks/run pixels                  one master of 151 megapixels, 5 runs
  tests/benchmarks/run pixels --size 6000x4000 --copies 8 --runs 3
  tests/benchmarks/run pixels --render-only    without the other steps

Per run, in turn, so that a busy machine is busy for all of them:
  ours   every step of an item (verify, locate, render, embed, record, pack) in one process, as
         the workflow's job does them, two items at a time
  peer   what a technician's script would do (peers.py): libvips' own commands, a process each, two
         items at a time; it neither inverts nor finds the frame (it is told the crop)
  peer in one process   the same by pyvips: each master decoded once, all in one process
  night  with --night: `snakemake` on the same batch, from intake to report (the delivery's copies
         by hard link); the time of its delivery is also told apart, since the peer makes none
  bound  one process: decode once, hash once, encode every byte of the pictures once
The result: medians and peak memory of each, and the medians of the runs' ratios.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from benchmarks.names import PROJECT, environment
from benchmarks.pixels import peers
from benchmarks.result import Outcome, Row

# This module in a process of its own: the steps of one item, or the bound.
AGAIN = [sys.executable, "-P", "-m", "benchmarks.pixels.bench"]
ONE_PROCESS = "peer in one process"
STEPS = ("verify", "locate", "render", "embed", "record", "pack")


def timed(command: list[str], **options: Any) -> dict[str, float]:
    """Run a command; return its wall time, processor time and peak memory (MB)."""
    started = time.perf_counter()
    with tempfile.TemporaryFile() as told:
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=told, **options)
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode:
            told.seek(0)
            why = told.read().decode("utf-8", "replace")[-2000:]
            raise SystemExit(f"failed ({process.returncode}): {' '.join(command)[-300:]}\n{why}")
    return {
        "wall_s": time.perf_counter() - started,
        "cpu_s": used.ru_utime + used.ru_stime,
        "peak_mb": used.ru_maxrss / 1024,
    }


# ------------------------------------------------------------------ ours


def make_batch(folder: Path, size: str, copies: int, item: str) -> Path:
    """Make a batch of `copies` masters below `folder`; return the folder of masters."""
    masters = folder / "masters"
    command = [sys.executable, str(PROJECT / "tests/makers/make_film.py"), "--item", item]
    command += ["--size", size, "--copies", str(copies), "--out", str(masters / "bench")]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return masters


def take_in(masters: Path, work: Path) -> Any:
    """Run intake (not timed here) and return the run with its settings."""
    import msgspec

    from glassine.base import record_files
    from glassine.intake import step as intake
    from glassine.intake.given import IntakeGiven
    from glassine.night import run

    made = run.Run({"masters": str(masters)}, work)
    name = made.batches[0]
    given = made.lookup.intake_given(name)
    taken = intake.take_in(masters / name, msgspec.convert(given, IntakeGiven))
    record_files.save(work / "results" / name / "intake.json", "intake", taken)
    return made


def do_steps(batch_dir: str, item_dir: str, given: str) -> None:
    """Do the steps of one item in this process; leave each one's figures beside `given`."""
    from glassine import steps as steps_table

    figures = {}
    for step, content in json.loads(Path(given).read_text()).items():
        wall, cpu = time.perf_counter(), time.process_time()
        values = steps_table.given(step, content)
        steps_table.function(step)(Path(batch_dir), Path(item_dir), values)
        figures[step] = {
            "wall_s": time.perf_counter() - wall,
            "cpu_s": time.process_time() - cpu,
            "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        }
    Path(given).write_text(json.dumps(figures))


def ours(run: Any, steps: tuple[str, ...]) -> dict[str, Any]:
    """Do the steps of every item, two items at a time; return figures per step and in all."""
    from glassine.night import due

    name = run.batches[0]

    def one(item: str) -> tuple[dict[str, float], dict[str, dict[str, float]]]:
        item_dir = run.place.results_dir(name) / "items" / item
        item_dir.mkdir(parents=True, exist_ok=True)
        given = item_dir.parent / f"{item}.given"
        # The chain that does these steps in one process says so to the last one.
        wanted = {
            step: due.given(step, run.lookup.batch(name), item, run.place.config)
            | {"masters_read": True}
            for step in steps
        }
        given.write_text(json.dumps(wanted))
        command = [*AGAIN, "steps", str(run.place.batch_dir(name)), str(item_dir), str(given)]
        used = timed(command, env=environment())
        return used, json.loads(given.read_text())

    started = time.perf_counter()
    with ThreadPoolExecutor(2) as pool:
        parts = list(pool.map(one, run.lookup.batch(name).ready()))
    return {
        "wall_s": time.perf_counter() - started,
        "cpu_s": sum(used["cpu_s"] for used, _ in parts),
        "peak_mb": max(used["peak_mb"] for used, _ in parts),
        "steps": {
            step: {
                key: statistics.mean(figures[step][key] for _, figures in parts)
                for key in ("wall_s", "cpu_s", "peak_mb")
            }
            for step in steps
        },
    }


# ------------------------------------------------------------------ the peer


def crop_of(geometry: dict[str, Any]) -> list[str]:
    """Return angle, left, top, width, height for the peer, from the geometry found by ours."""
    from glassine.masters import pixels

    master = geometry["masters"][0]
    corners = master["frames"][0]["corners"]
    angle, across, down = pixels.frame_shape(corners)
    degrees = -angle * 57.29577951308232
    width, height = master["width"], master["height"]
    cosine, sine = abs(_cosine(angle)), abs(_cosine(angle - 1.5707963267948966))
    turned = (width * cosine + height * sine, width * sine + height * cosine)
    left, top = (turned[0] - across) / 2, (turned[1] - down) / 2
    return [str(value) for value in (degrees, int(left), int(top), int(across), int(down))]


def _cosine(angle: float) -> float:
    import math

    return math.cos(angle)


def _peer_jobs(run: Any, out: Path) -> list[tuple[Path, list[str], Path]]:
    """Return master, crop and folder of every item."""
    name = run.batches[0]
    jobs = []
    for item in run.lookup.batch(name).ready():
        geometry = json.loads(
            (run.place.results_dir(name) / "items" / item / "geometry.json").read_text()
        )
        master = run.place.batch_dir(name) / geometry["masters"][0]["path"]
        jobs.append((master, crop_of(geometry), out / item))
    return jobs


def peer_commands(run: Any, out: Path) -> dict[str, float]:
    """Do every item by separate commands, two at a time."""
    started = time.perf_counter()
    with ThreadPoolExecutor(2) as pool:
        jobs = _peer_jobs(run, out)
        parts = list(pool.map(lambda job: peers.by_commands(*job, timed), jobs))
    return {
        "wall_s": time.perf_counter() - started,
        "cpu_s": sum(part["cpu_s"] for part in parts),
        "peak_mb": max(part["peak_mb"] for part in parts),
    }


def peer_one_process(run: Any, out: Path) -> dict[str, float]:
    """Do every item in one process, with the threads that libvips takes."""
    jobs = [[str(master), str(to), *crop] for master, crop, to in _peer_jobs(run, out)]
    return timed([*AGAIN, "peer", json.dumps(jobs)], env=environment())


# ------------------------------------------------------------------ the whole night


def night(masters: Path, out: Path) -> dict[str, float]:
    """Run the workflow on the batch in a fresh folder; deliver_s: wall time of the delivery."""
    shutil.rmtree(out, ignore_errors=True)
    out.mkdir()
    snakemake = str(Path(sys.executable).with_name("snakemake"))
    command = [snakemake, "--snakefile", str(PROJECT / "Snakefile"), "--directory", str(out)]
    command += ["--config", f"masters={masters}", "delivery={copy: hardlink}"]
    used = timed(command)
    (told,) = out.glob("results/*/timings/deliver.json")
    used["deliver_s"] = float(json.loads(told.read_text())["seconds"])
    shutil.rmtree(out)
    return used


# ------------------------------------------------------------------ the bound


def do_bound(master: str, out: str) -> None:
    """Decode once, hash once at the same time, then encode all pictures once, two threads."""
    import hashlib

    import cv2
    import numpy as np
    import pyvips

    from glassine.render import encoded, tiles

    cv2.setNumThreads(1)
    pyvips.cache_set_max(0)

    def digest() -> None:
        with Path(master).open("rb") as stream:
            hashlib.file_digest(stream, "sha256")

    with ThreadPoolExecutor(2) as pool:
        hashing = pool.submit(digest)
        decoded = pyvips.Image.new_from_file(master, access="sequential").numpy()
        picture = np.ascontiguousarray(decoded.view(np.uint8)[:, :, 1::2])  # the high bytes
        del decoded
        hashing.result()
        height, width = picture.shape[:2]
        shutil.rmtree(out, ignore_errors=True)
        form = tiles.Form(tile_px=512, quality=85, api="3", icc=None, ppi=1)
        writer = tiles.Writer(Path(out), width, height, form)
        half = np.empty((-(-height // 2), -(-width // 2), 3), np.uint8)

        def band(top: int) -> None:
            rows = picture[top : top + 512]
            small = tiles.halved(rows)
            half[top // 2 : top // 2 + len(small)] = small
            writer.first_band(top, rows)

        list(pool.map(band, range(0, height, 512)))

        def small() -> None:
            shown = encoded.smaller(half, *encoded.fitted(width, height, 3000))
            encoded.jpeg(shown, 90)

        writer.finish(picture, half, "https://images.port-ellery.example/iiif/x", pool, [small])


def bound(run: Any, out: Path) -> dict[str, float]:
    name = run.batches[0]
    parts = []
    for item in run.lookup.batch(name).ready():
        path = run.lookup.batch(name).items[item].masters[0].path
        master = str(run.place.batch_dir(name) / path)
        parts.append(timed([*AGAIN, "bound", master, str(out / "bound")], env=environment()))
    return {
        "wall_s": sum(part["wall_s"] for part in parts),
        "cpu_s": sum(part["cpu_s"] for part in parts),
        "peak_mb": max(part["peak_mb"] for part in parts),
    }


# ------------------------------------------------------------------ all together


def median(runs: list[dict[str, Any]], key: str) -> float:
    return round(statistics.median(run[key] for run in runs), 2)


def summary(runs: dict[str, list[dict[str, Any]]]) -> dict[str, Any]:
    found: dict[str, Any] = {
        who: {key: median(parts, key) for key in ("wall_s", "cpu_s", "peak_mb")}
        for who, parts in runs.items()
    }
    if "night" in runs:
        found["night"]["deliver_s"] = median(runs["night"], "deliver_s")
        for name, less in (("night", 0.0), ("night without delivery", 1.0)):
            ratios = [
                (mine["wall_s"] - less * mine["deliver_s"]) / theirs["wall_s"]
                for mine, theirs in zip(runs["night"], runs["peer"], strict=True)
            ]
            found[f"{name}/peer wall_s"] = round(statistics.median(ratios), 3)
        for other in ("peer", ONE_PROCESS):
            work = [
                mine["cpu_s"] / theirs["cpu_s"]
                for mine, theirs in zip(runs["night"], runs[other], strict=True)
            ]
            found[f"night/{other} cpu_s"] = round(statistics.median(work), 3)
        shares = [
            1 - items["wall_s"] / (whole["wall_s"] - whole["deliver_s"])
            for items, whole in zip(runs["ours"], runs["night"], strict=True)
        ]
        found["orchestration's share of the night"] = round(statistics.median(shares), 3)
    steps = runs["ours"][0]["steps"]
    found["ours"]["steps"] = {
        step: {
            key: median([run["steps"][step] for run in runs["ours"]], key)
            for key in ("wall_s", "cpu_s", "peak_mb")
        }
        for step in steps
    }
    for other in ("peer", ONE_PROCESS, "bound"):
        for key in ("wall_s", "cpu_s"):
            pairs = zip(runs["ours"], runs[other], strict=True)
            ratios = [mine[key] / theirs[key] for mine, theirs in pairs]
            found[f"ours/{other} {key}"] = round(statistics.median(ratios), 3)
    return found


def rows_of(medians: dict[str, Any]) -> list[Row]:
    """Return a row for each who, each of its steps and each ratio."""
    rows: dict[str, Row] = {}
    for what, value in medians.items():
        if isinstance(value, dict):
            rows[what] = {"what": what} | {k: v for k, v in value.items() if k != "steps"}
            for step, figures in value.get("steps", {}).items():
                rows[step] = {"what": f"{what}, {step}", **figures}
            continue
        label, _, column = what.rpartition(" ")
        if column not in ("wall_s", "cpu_s"):
            label, column = what, "share"
        rows.setdefault(label, {"what": label})[column] = value
    return list(rows.values())


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--size", default="14204x10652")
    parser.add_argument("--copies", type=int, default=1)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--item", default="PEH-0001", help="the sample that is drawn")
    parser.add_argument("--scratch", type=Path, default=None, help="folder for the masters")
    parser.add_argument("--masters", type=Path, help="folder with one batch, made before")
    parser.add_argument("--night", action="store_true", help="the whole workflow too")
    parser.add_argument("--render-only", action="store_true")
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(dir=options.scratch) as scratch:
        return _bench(options, Path(scratch))


def _bench(options: argparse.Namespace, scratch: Path) -> Outcome:
    masters = options.masters or make_batch(scratch, options.size, options.copies, options.item)
    run = take_in(masters, scratch)
    ours(run, STEPS[:2])  # geometry for the peer, and the masters into the page cache
    steps = ("render",) if options.render_only else STEPS
    runs: dict[str, list[dict[str, Any]]] = {"ours": [], "peer": [], ONE_PROCESS: [], "bound": []}
    if options.night:
        runs["night"] = []
    for number in range(options.runs):
        runs["ours"].append(ours(run, steps))
        runs["peer"].append(peer_commands(run, scratch / "peer"))
        runs[ONE_PROCESS].append(peer_one_process(run, scratch / "peer"))
        if options.night:
            runs["night"].append(night(masters, scratch / "night"))
        runs["bound"].append(bound(run, scratch))
        walls = ", ".join(f"{who} {parts[-1]['wall_s']:.1f} s" for who, parts in runs.items())
        print(f"run {number + 1}: {walls}", flush=True)
    medians = summary(runs)
    print(json.dumps(medians, indent=2))
    print(f"load of the machine: {os.getloadavg()[0]:.1f}")
    return Outcome(rows_of(medians))


if __name__ == "__main__":
    {
        "steps": do_steps,
        "bound": do_bound,
        "peer": lambda jobs: peers.in_one_process(json.loads(jobs)),
    }[sys.argv[1]](*sys.argv[2:])
