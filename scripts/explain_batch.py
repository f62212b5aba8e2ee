"""Tell what a night would make of a batch folder: `scripts/nightly --explain FOLDER`.

Takes the night's own arguments for settings: --config, --configfile, --directory; with --item it
tells which rules of the settings hold for an item, and why.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any, NoReturn

from snakemake import cli

from glassine.base import exits, settings
from glassine.base.errors import GlassineError
from glassine.base.visible import visible
from glassine.night import explain
from glassine.night.explained import merged


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        _refuse(
            f"This command line cannot be used: {message}. Next step: correct it; "
            "scripts/nightly --help says what it takes.",
            exits.USAGE,
        )


def _refuse(text: str, code: int) -> NoReturn:
    sys.stderr.write(f"STOPPED {visible(text)}\n")
    sys.exit(code)


def _config(files: list[str], entries: list[str]) -> dict[str, Any]:
    """Return the settings as stated: the project's file, then those named, then single values."""
    config: dict[str, Any] = {}
    for path in [settings.PROJECT / "config" / "config.yaml", *map(Path, files)]:
        loaded = settings.read_yaml(path.resolve(), trusted=True)
        if loaded is not None and not isinstance(loaded, dict):
            _refuse(f"The file of settings {path} holds no settings.", exits.SETTINGS)
        config = merged(config, loaded or {})
    try:
        return merged(config, cli.parse_config(entries))
    except Exception:  # whatever the parsers make of it
        _refuse(
            f"--config cannot take {' '.join(entries)!r}. Expected: settings as name=value.",
            exits.USAGE,
        )


def main(arguments: list[str]) -> int:
    parser = _Parser(
        prog="scripts/nightly", description="Tell what a night would make of a folder."
    )
    parser.add_argument("--explain", metavar="FOLDER", required=True)
    parser.add_argument("--item", action="append", default=[])
    parser.add_argument("--config", "-C", nargs="*", action="extend", default=[])
    parser.add_argument("--configfile", "--configfiles", nargs="+", action="extend", default=[])
    parser.add_argument("--directory", "-d", default=".")
    given = parser.parse_args(arguments)
    if not given.explain:
        parser.error("--explain wants a folder")
    try:
        config = _config(given.configfile, given.config)
    except GlassineError as error:
        _refuse(" ".join(finding.sentence() for finding in error.findings), exits.SETTINGS)
    return explain.run(given.explain, config, Path(given.directory).resolve(), items=given.item)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
