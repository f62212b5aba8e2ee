"""Put metadata into an item's pictures without touching pixels; write access/ and thumbs/."""

from pathlib import Path

from glassine import embed, jobs

given = snakemake.params.given
item_dir = Path(snakemake.log[0]).parent.parent

with jobs.item_step("embed", given["item"], item_dir, Path(snakemake.log[0])):
    embed.embed_item(Path(snakemake.params.batch_dir), item_dir, given)
