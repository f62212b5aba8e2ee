"""Make the films of a batch from what the frames of its items show; write films.json."""

from pathlib import Path

import msgspec

from glassine.base import by_rule, files, threads
from glassine.films import step
from glassine.films.given import FilmsGiven
from glassine.night import supervision

by_rule.check(globals())

threads.announce(snakemake.threads)
given = snakemake.params.given
stamp = Path(snakemake.output.stamp)

with supervision.batch_step("films", given["batch"], stamp.parent, Path(snakemake.log[0])):
    step.pool_batch(stamp.parent, msgspec.convert(given, FilmsGiven))
    files.write_json(stamp, {"key": given["key"]})
