"""Turn an item's masters into encoded pictures in one pass; write render/ and quality.json."""

from pathlib import Path

from glassine import jobs, render

given = snakemake.params.given
item_dir = Path(snakemake.log[0]).parent.parent

with jobs.item_step("render", given["item"], item_dir, Path(snakemake.log[0])):
    render.render_item(Path(snakemake.params.batch_dir), item_dir, given)
