"""Take one item through its steps, from the first that is due to the package."""

from pathlib import Path

from glassine.base import by_rule
from glassine.night import warm

by_rule.check(globals())

warm.do(
    "item",
    snakemake.params.batch_dir,
    str(Path(snakemake.output.done).parent),
    snakemake.params.steps,
    snakemake.params.key,
    snakemake.resources.mem_mb,
    threads=snakemake.threads,
)
