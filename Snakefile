"""From a batch of film masters to access images, records and a delivery.

The way of a master, and of this file:

    intake                                                       rules/intake.smk    one job a batch
      -> verify -> locate -> look                                rules/films.smk     a job an item and
         (where negatives share films)                                               one a batch
      -> render -> embed -> record -> pack                       rules/items.smk     one job an item
      -> deliver -> report                                       rules/batch.smk     one job a batch

`snakemake` alone does the night's work; profiles/default/config.yaml says how.
"""

import sys
from pathlib import Path

from snakemake.logging import logger
from snakemake.utils import min_version

min_version("9.27")

sys.path.insert(0, str(Path(workflow.basedir) / "scripts"))

from glassine.night import checks
from glassine.night import run as runs


configfile: str(Path(workflow.basedir) / "config" / "config.yaml")


RUN = runs.start(config, Path.cwd(), workflow.is_main_process, sys.argv[1:])
RUN.watch(logger)
PLACE, LOOKUP = RUN.place, RUN.lookup


wildcard_constraints:
    batch=r"[A-Za-z0-9][A-Za-z0-9._-]*",
    item=r"[A-Za-z0-9][A-Za-z0-9._-]*",


include: "rules/common.smk"
include: "rules/intake.smk"
include: "rules/films.smk"
include: "rules/items.smk"
include: "rules/targets.smk"
include: "rules/batch.smk"
include: "rules/reproduce.smk"


if PLACE.moves:

    include: "rules/store.smk"


if "fetch" in PLACE.moves:

    include: "rules/fetch.smk"


if "send" in PLACE.moves:

    include: "rules/send.smk"


rule all:
    default_target: True
    input:
        # A function for each batch: one that cannot be taken in keeps no other from its turn.
        *[due_of(batch) for batch in RUN.batches],


onstart:
    RUN.begin_jobs(here=workflow.local_exec)


onsuccess:
    RUN.finish(failed=False)


onerror:
    RUN.finish(failed=True)
