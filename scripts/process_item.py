"""Take one item through its steps, from the first that is due to the package."""

from pathlib import Path

from glassine.base import by_rule, threads
from glassine.night import item_job

by_rule.check(globals())

threads.announce(snakemake.threads)
item_job.process_item(
    Path(snakemake.params.batch_dir),
    Path(snakemake.output.done).parent,
    snakemake.params.steps,
    snakemake.params.key,
    snakemake.resources.mem_mb,
)
