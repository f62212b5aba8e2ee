"""Measure a batch's target captures and judge them; write targets.json."""

from pathlib import Path

from glassine.base import threads
from glassine.night import supervision
from glassine.targets import gate

threads.announce(snakemake.threads)
given = snakemake.params.given
results_dir = Path(snakemake.output.results).parent

with supervision.batch_step("targets", given["batch"], results_dir, Path(snakemake.log[0])):
    gate.measure(Path(snakemake.params.batch_dir), results_dir, given)
