"""Take one item through its steps, from the first that is due to the package."""

from pathlib import Path

from glassine import chain

chain.process_item(
    Path(snakemake.params.batch_dir),
    Path(snakemake.output.done).parent,
    snakemake.params.steps,
    snakemake.params.key,
    snakemake.resources.mem_mb,
)
