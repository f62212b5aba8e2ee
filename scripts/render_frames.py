"""Turn an item's masters into encoded pictures in one pass; write render/ and quality.json."""

from pathlib import Path

from glassine import jobs, render

given = snakemake.params.given
log = Path(snakemake.log[0])
item_dir = log.parent.parent

with jobs.item_step("render", given["item"], item_dir, log, snakemake.resources.mem_mb):
    render.render_item(Path(snakemake.params.batch_dir), item_dir, given)
