"""Take one item up to the look at its frames, and to its end where they share no film."""

from pathlib import Path

from glassine.base import by_rule
from glassine.night import warm

by_rule.check(globals())

warm.do(
    "look",
    snakemake.params.batch_dir,
    str(Path(snakemake.output.looked).parent),
    snakemake.params.steps,
    snakemake.params.key,
    snakemake.resources.mem_mb,
    threads=snakemake.threads,
)
