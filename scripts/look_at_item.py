"""Take one item up to the look at its frames, and to its end where they share no film."""

from pathlib import Path

from glassine.base import by_rule, threads
from glassine.night import item_job

by_rule.check(globals())

threads.announce(snakemake.threads)
item_job.look_at_item(
    Path(snakemake.params.batch_dir),
    Path(snakemake.output.looked).parent,
    snakemake.params.steps,
    snakemake.params.key,
    snakemake.resources.mem_mb,
)
