"""Make a delivery's derivatives again and compare; fail where a byte parts."""

import sys
import tempfile
from pathlib import Path

from glassine.base import by_rule, files, threads
from glassine.reproduce import step as reproduce

by_rule.check(globals())

threads.announce(snakemake.threads)
path, log = Path(snakemake.params.delivery), Path(snakemake.log[0]).absolute()

# On the disk of the results: what is made anew can have their size.
with tempfile.TemporaryDirectory(prefix=files.TEMPORARY_PREFIX, dir=log.parent) as work:
    lines, code = reproduce.told(path, reproduce.reproduce(path.absolute(), Path(work)))

log.write_text("\n".join(lines) + "\n", "utf-8")
sys.stderr.write("\n".join(lines) + "\n")
sys.stderr.flush()
if code:
    sys.exit(code)
