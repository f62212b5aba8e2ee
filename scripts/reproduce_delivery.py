#!/usr/bin/env python3
"""Make the derivatives of a delivered bag (or of one package in it) again and compare the bytes.

Exit code 0: every byte comes out again; 1: something differs; 2: there is nothing to compare,
or packages without masters were not;
3: no other picture comes out, but some differ in last bits, as another processor rounds them.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

import setup_environment

try:
    from glassine.reproduce import step as reproduce
except ImportError:
    # Started with another Python than the checkout's own: once more, with that.
    if Path(sys.prefix) == setup_environment.ENVIRONMENT:
        raise
    sys.exit(setup_environment.run(setup_environment.ready("run"), ["python", *sys.argv]))


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("path", type=Path, help="a bag (folder, .tar, .zip), or data/<item> in one")
    parser.add_argument("--work", type=Path, help="folder to keep what is made (default: none)")
    options = parser.parse_args(arguments)
    if not options.path.exists():
        sys.stderr.write(f"{options.path}: there is no such delivery\n")
        return 2
    with tempfile.TemporaryDirectory() as temporary:
        work = options.work or Path(temporary)
        findings = reproduce.reproduce(options.path.absolute(), work.absolute())
    lines, code = reproduce.told(options.path, findings)
    sys.stdout.write("\n".join(lines) + "\n")
    return code


if __name__ == "__main__":
    sys.exit(main())
