"""Write what is known of an item: METS.xml and the IIIF manifest."""

from pathlib import Path

from glassine import jobs, records

given = snakemake.params.given
item_dir = Path(snakemake.log[0]).parent.parent

with jobs.item_step("record", given["item"], item_dir, Path(snakemake.log[0])):
    records.record_item(Path(snakemake.params.batch_dir), item_dir, given)
