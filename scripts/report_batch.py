"""Write the morning report of a batch."""

from pathlib import Path

from glassine import jobs, report

given = snakemake.params.given
results_dir = Path(snakemake.log[0]).parent.parent

with jobs.batch_step("report", given["batch"], results_dir, Path(snakemake.log[0])):
    report.write_report(results_dir, given)
