"""Take a batch's checksum list and side files from the storage; say which masters are due."""

from pathlib import Path

import msgspec

from glassine.base import by_rule, files
from glassine.night import supervision
from glassine.store import masters

by_rule.check(globals())

batch_dir = Path(snakemake.params.batch_dir)
state = Path(snakemake.output.due).parent
arrived = dict(zip(snakemake.params.names, map(Path, snakemake.input), strict=True))

with supervision.batch_step("fetch", batch_dir.name, state.parent, Path(snakemake.log[0])):
    due = masters.take_list(batch_dir, state, arrived)
    files.write_json(Path(snakemake.output.due), msgspec.to_builtins(due))
