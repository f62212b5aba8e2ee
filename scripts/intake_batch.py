"""Tell which files belong to which item of a batch; write intake.json."""

from pathlib import Path

from glassine.base import files, threads
from glassine.intake import step as intake
from glassine.night import run, supervision

threads.announce(snakemake.threads)
given = snakemake.params.given
output = Path(snakemake.output.intake)

with supervision.batch_step("intake", given["batch"], output.parent, Path(snakemake.log[0])):
    taken = intake.take_in(Path(snakemake.params.batch_dir), given)
    run.clear_vanished(output.parent / "items", {item["item"] for item in taken["items"]})
    files.write_json(output, taken)
