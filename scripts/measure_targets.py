"""Measure a batch's target captures and judge them; write targets.json."""

from pathlib import Path

from glassine.base import by_rule, threads
from glassine.night import supervision, target_captures

by_rule.check(globals())

threads.announce(snakemake.threads)
given = snakemake.params.given
results_dir = Path(snakemake.output.results).parent

with supervision.batch_step("targets", given["batch"], results_dir, Path(snakemake.log[0])):
    batch_dir = Path(snakemake.params.batch_dir)
    target_captures.measure(batch_dir, results_dir, given)
