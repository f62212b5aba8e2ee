#!/usr/bin/env python3
"""Check a delivered bag (folder, tar or zip) and say everything that is wrong with it.

Exit code 0: whole and valid; 1: something is wrong; 2: there is nothing to check.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import setup_environment

try:
    from glassine.deliver import validation
except ImportError:
    # Started with another Python than the checkout's own: once more, with that.
    if Path(sys.prefix) == setup_environment.ENVIRONMENT:
        raise
    sys.exit(setup_environment.run(setup_environment.ready("run"), ["python", *sys.argv]))


def main(arguments: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument(
        "paths", type=Path, nargs="+", help="a bag: deliveries/<batch>, or its .tar or .zip"
    )
    return max(_checked(path) for path in parser.parse_args(arguments).paths)


def _checked(path: Path) -> int:
    if not path.exists():
        sys.stderr.write(f"{path}: there is no such bag\n")
        return 2
    findings = validation.check(path.absolute())
    for finding in findings:
        sys.stdout.write(finding.sentence() + "\n")
    wrong = [finding for finding in findings if finding.severity == "hold"]
    verdict = f"{len(wrong)} things are wrong with it" if wrong else "whole and valid"
    sys.stdout.write(f"{path}: {verdict}\n")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
