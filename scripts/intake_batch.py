"""Tell which files belong to which item of a batch; write intake.json."""

from pathlib import Path

import msgspec

from glassine.base import by_rule, record_files, threads
from glassine.intake import minting, passed_over
from glassine.intake import step as intake
from glassine.intake.given import IntakeGiven
from glassine.night import item_folders, supervision, taken_down

by_rule.check(globals())

threads.announce(snakemake.threads)
given = snakemake.params.given
output = Path(snakemake.output.intake)

with supervision.batch_step("intake", given["batch"], output.parent, Path(snakemake.log[0])):
    taken = intake.take_in(Path(snakemake.params.batch_dir), msgspec.convert(given, IntakeGiven))
    taken = minting.give(taken, msgspec.convert(snakemake.params.minting, minting.MintingGiven))
    item_folders.clear_vanished(output.parent / "items", {entry.item for entry in taken.items})
    withdrawn = passed_over.withdrawn(msgspec.to_builtins(taken))
    taken_down.take_down(output.parent, withdrawn)
    record_files.save(output, "intake", taken)
