"""Write the morning report of a batch."""

from pathlib import Path

from glassine import report, steps
from glassine.base import by_rule, threads
from glassine.night import supervision

by_rule.check(globals())

threads.announce(snakemake.threads)
given = snakemake.params.given
results_dir = Path(snakemake.log[0]).parent.parent

with supervision.batch_step("report", given["batch"], results_dir, Path(snakemake.log[0])):
    report.write_report(results_dir, steps.given("report", given))
