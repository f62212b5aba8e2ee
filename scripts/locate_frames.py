"""Decide where the frames lie on each master of an item; write geometry.json."""

from pathlib import Path

from glassine import jobs, locate

given = snakemake.params.given
log = Path(snakemake.log[0])
item_dir = log.parent.parent

with jobs.item_step("locate", given["item"], item_dir, log, snakemake.resources.mem_mb):
    locate.locate_item(Path(snakemake.params.batch_dir), item_dir, given)
