"""The benchmarks by name, and where their processes find the package and the makers."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
PROJECT = HERE.parents[1]


@dataclass(frozen=True)
class Benchmark:
    """module: below `benchmarks`, with a `main(arguments) -> result.Outcome`; about: one line."""

    module: str
    about: str


BENCHMARKS = {
    "deliver-kills": Benchmark(
        "deliver.kills", "deliveries and audits killed at random moments lose nothing"
    ),
    "deliver-speed": Benchmark(
        "deliver.speed", "time, work and memory of a delivery, beside cp and digests"
    ),
    "edge-codes": Benchmark(
        "edges.run", "numbers, side and turn that codes in the margin of 35 mm film tell"
    ),
    "faults-fuzz": Benchmark("faults.fuzz", "damaged masters are taken or held, in bounded time"),
    "faults-kills": Benchmark(
        "faults.kills", "runs killed at random moments recover byte for byte"
    ),
    "faults-load": Benchmark("faults.load", "a night of many small masters: time, memory, files"),
    "identity": Benchmark("identity.run", "captures with the item they belong to, or held"),
    "identity-alike": Benchmark(
        "identity.alike", "the same film under two ids is told, and no other pair of pictures"
    ),
    "identity-nights": Benchmark(
        "identity.nights", "each file of a studio's days has the fate that a person wrote"
    ),
    "locate": Benchmark("locate.run", "frames found in drawn scenes, beside two simple ways"),
    "locate-map": Benchmark("locate.map", "what the learned map tells of frames that are wrong"),
    "locate-random": Benchmark(
        "locate.random_scenes", "frames found in scenes of no maker's kinds"
    ),
    "locate-real": Benchmark("locate.real", "frames found on real plates of three exposures"),
    "locate-scales": Benchmark("locate.scales", "frames found where the resolution is wrong"),
    "locate-speed": Benchmark("locate.speed", "processor time and memory of the step locate alone"),
    "orchestration": Benchmark("orchestration.run", "what the engine costs, its steps stubs"),
    "pixels": Benchmark("pixels.bench", "time and memory of an item's steps, beside commands"),
    "pixels-steps": Benchmark(
        "pixels.steps", "processor time of each step in the fork of a warm process"
    ),
    "pixels-trials": Benchmark("pixels.trials", "what each way of doing a part of it costs"),
    "publish-viewers": Benchmark(
        "publish.viewers", "a published tree opened in two general IIIF viewers: no failed request"
    ),
    "raw-night": Benchmark(
        "raw.night", "a night of raw captures beside the same from TIFFs: processor time"
    ),
    "raw-profiles": Benchmark(
        "raw.profiles", "how near a camera's profile comes: a matrix, and a root polynomial"
    ),
    "raw-speed": Benchmark(
        "raw.speed", "time and memory of developing, beside LibRaw by the same method"
    ),
    "raw-tone": Benchmark(
        "raw.tone", "the tone of colour negatives captured raw, beside that of perfect TIFFs"
    ),
    "records": Benchmark("records.bench", "time of the steps record and pack"),
    "report-large": Benchmark(
        "report.large", "the page of 10,000 items: first load, search, memory of the browser"
    ),
    "resealed": Benchmark(
        "delivered.resealed", "packages changed and sealed anew: does validation tell"
    ),
    "seen-text": Benchmark(
        "edges.written", "characters of writing that is read on margins of film and labels"
    ),
    "review-queue": Benchmark("review.queue", "300 frames reviewed by keyboard: keys and waits"),
    "review-team": Benchmark(
        "review.team", "20 reviewers, 2,000 decisions, the server killed: none lost or doubled"
    ),
    "simulated-night": Benchmark(
        "orchestration.simulate", "a night on 1 to 16 cores from unit costs: a simulation"
    ),
    "targets": Benchmark("targets.run", "eighty drawn targets, measured and judged"),
    "targets-speed": Benchmark("targets.speed", "time of a target of more than 100 megapixels"),
    "tone": Benchmark("tone.run", "how near automatic tone comes to known pictures"),
    "tone-faults": Benchmark(
        "tone.run_faults", "how surely faults of frames made from physics are found"
    ),
    "tone-film": Benchmark("tone.run_film", "how near tone comes to the truth on unlike films"),
    "tone-judge": Benchmark("tone.judge", "automatic tone beside honest prints of film by physics"),
    "tone-frames": Benchmark(
        "tone.run_frames", "how surely weak and strong faults of frames are found"
    ),
    "tone-quality": Benchmark("tone.run_quality", "how surely faults of masters are found"),
    "tone-roll": Benchmark(
        "tone.run_roll", "frames of a roll captured one by one, apart and pooled"
    ),
    "tone-stock": Benchmark(
        "tone.run_stock", "what the stock library gains on films of two frames"
    ),
    "tone-speed": Benchmark("tone.run_speed", "what tone and measures add to rendering"),
}


def environment() -> dict[str, str]:
    """Return the environment of a process that runs a module of the benchmarks.

    All others get that of the caller, without PYTHONPATH: it would show the package of this
    checkout to the workflow of another folder.
    """
    folders = [str(PROJECT / "scripts"), str(PROJECT / "tests")]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(folders)}
