"""Compare a batch's deliveries with what the storage has; say what is to be sent."""

from pathlib import Path

import msgspec

from glassine.base import by_rule, files
from glassine.night import supervision
from glassine.store import deliveries

by_rule.check(globals())

batch = snakemake.wildcards.batch
state = Path(snakemake.output.due).parent
folder = Path("deliveries")

with supervision.batch_step("send", batch, state.parent, Path(snakemake.log[0])):
    stated = {
        Path(copy).name.removesuffix(deliveries.DIGEST_SUFFIX): Path(copy)
        for copy in snakemake.input
    }
    wanted = deliveries.delivered_files(folder, batch)
    due = deliveries.compare(folder, state, wanted, snakemake.params.there, stated)
    deliveries.note_there(folder, batch, snakemake.params.base, due)
    files.write_json(Path(snakemake.output.due), msgspec.to_builtins(due))
