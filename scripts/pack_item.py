"""List and check all that belongs to an item's package; write package.json and done.json."""

from pathlib import Path

from glassine import jobs, package, plan

given = snakemake.params.given
item_dir = Path(snakemake.log[0]).parent.parent

with jobs.item_step("pack", given["item"], item_dir, Path(snakemake.log[0])):
    package.pack_item(Path(snakemake.params.batch_dir), item_dir, given)
    plan.write_stamp(item_dir, snakemake.params.key)
