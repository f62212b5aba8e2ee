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
    from glassine.deliver import signing, validation
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
    parser.add_argument(
        "--schemas",
        type=Path,
        metavar="FOLDER",
        help="the official XSDs of METS, MODS, PREMIS, MIX and Dublin Core, to check records by",
    )
    parser.add_argument(
        "--key",
        type=Path,
        metavar="FILE",
        help="the public key (PEM) of who delivers: each bag must be signed with its private half",
    )
    options = parser.parse_args(arguments)
    try:
        key = signing.public_key(options.key) if options.key else None
    except signing.Unusable as problem:
        sys.stderr.write(f"{options.key}: this is no public key to check with: {problem}\n")
        return 2
    return max(_checked(path, options.schemas, key) for path in options.paths)


def _checked(path: Path, schema_dir: Path | None, key: signing.Ed25519PublicKey | None) -> int:
    if not path.exists():
        sys.stderr.write(f"{path}: there is no such bag\n")
        return 2
    verdict = validation.judged(path.absolute(), schema_dir, key)
    for finding in verdict.findings:
        sys.stdout.write(finding.sentence() + "\n")
    sys.stdout.write(f"{path}: {verdict.sentence()}\n")
    return 1 if verdict.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
