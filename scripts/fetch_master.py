"""Give one master that came from the storage its place, if it is the listed one."""

from pathlib import Path

from glassine.base import by_rule
from glassine.night import supervision
from glassine.store import masters

by_rule.check(globals())

path, log = snakemake.wildcards.file, Path(snakemake.log[0])
arrived = Path(snakemake.input[0]) if snakemake.input else None

with supervision.file_step("fetch", path, log.parent, Path("results"), log):
    masters.take_master(
        Path(snakemake.params.batch_dir),
        path,
        snakemake.params.sha256,
        arrived,
        Path(snakemake.output.mark),
    )
