"""Measure a batch's target captures and judge them; write targets.json."""

from pathlib import Path

import msgspec

from glassine.base import by_rule, threads
from glassine.night import supervision
from glassine.targets import gate
from glassine.targets.given import TargetsGiven

by_rule.check(globals())

threads.announce(snakemake.threads)
given = snakemake.params.given
results_dir = Path(snakemake.output.results).parent

with supervision.batch_step("targets", given["batch"], results_dir, Path(snakemake.log[0])):
    batch_dir = Path(snakemake.params.batch_dir)
    gate.measure(batch_dir, results_dir, msgspec.convert(given, TargetsGiven))
