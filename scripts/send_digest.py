"""Write the digest that lies beside an object; the object is it, or this fails."""

from pathlib import Path

from glassine.base import by_rule, files
from glassine.night import supervision
from glassine.store import deliveries

by_rule.check(globals())

name, log = snakemake.wildcards.name, Path(snakemake.log[0])

with supervision.file_step("digest", name, log.parent, Path("results"), log):
    copy, sha256 = Path(snakemake.input[0]), snakemake.params.sha256
    deliveries.prove(copy, name, sha256)
    deliveries.note_proved(
        Path("deliveries"),
        snakemake.wildcards.batch,
        snakemake.params.delivery,
        name,
        snakemake.params.address,
        copy,
        sha256,
    )
    line = deliveries.stated_line(name, sha256)
    files.write_text(Path(snakemake.output[0]), line)
