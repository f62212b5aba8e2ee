"""Lay one file of a delivery where the storage plugin takes it from."""

from pathlib import Path

from glassine.base import by_rule
from glassine.night import supervision
from glassine.store import deliveries

by_rule.check(globals())

name, log = snakemake.wildcards.name, Path(snakemake.log[0])

with supervision.file_step("send", name, log.parent, Path("results"), log):
    deliveries.offer(
        Path("deliveries") / name,
        snakemake.params.sha256,
        log.parent / "digest.json",
        Path(snakemake.output[0]),
    )
