"""Entry scripts of the workflow's rules, started by hand: they say what they are."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from typing import Any

from glassine.base import exits


def check(script: Mapping[str, Any]) -> None:
    """End with what a script is for, where no rule runs it. script: its globals().

    `--help` ends with 0, anything else with 64: such a script takes no command line.
    """
    if "snakemake" in script:
        return
    about = str(script.get("__doc__") or "").strip()
    words = "A rule of the workflow runs this; it takes no command line. See scripts/nightly --help"
    if {"-h", "--help"} & {*sys.argv[1:]}:
        sys.stdout.write(f"{about}\n\n{words}\n")
        sys.exit(0)
    sys.stderr.write(f"STOPPED {words}\n")
    sys.exit(exits.USAGE)
