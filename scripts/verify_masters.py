"""Read each master of an item once: digests, comparison, header facts; write fixity.json."""

from pathlib import Path

from glassine import fixity, jobs

given = snakemake.params.given
item_dir = Path(snakemake.log[0]).parent.parent

with jobs.item_step("verify", given["item"], item_dir, Path(snakemake.log[0])):
    fixity.verify_item(Path(snakemake.params.batch_dir), item_dir, given)
