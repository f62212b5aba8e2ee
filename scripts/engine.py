"""Start Snakemake as scripts/nightly does: what it would answer with a traceback is told first.

Run by the environment's Python with Snakemake's own arguments. The command line, the files and
the folder that it names are looked at; the settings themselves are checked by the Snakefile.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path
from typing import NoReturn

from snakemake import cli

from glassine.base import exits, settings, wording
from glassine.base.errors import GlassineError
from glassine.base.visible import visible
from glassine.night import preflight


def _refuse(text: str, code: int) -> NoReturn:
    sys.stderr.write(f"STOPPED {visible(text)}\n")
    sys.stderr.flush()
    sys.exit(code)


def _bad_usage(_: argparse.ArgumentParser, message: str) -> NoReturn:
    """Take the place of argparse's own answer, which prints every option there is."""
    _refuse(
        f"This command line cannot be used: {message}. Next step: correct it; scripts/nightly "
        "--help says what it takes, and .venv/bin/snakemake --help the further options.",
        exits.USAGE,
    )


def _check_config(entries: list[str]) -> None:
    for entry in entries:
        try:
            cli.parse_config([entry])
        except Exception:  # whatever the parsers make of it
            _refuse(
                f"--config cannot take {entry!r}. Expected: settings as name=value, as in "
                "masters=/srv/capture/masters or 'batches=[harbour-2026-03]'.",
                exits.USAGE,
            )


def _check_config_file(path: Path) -> None:
    """End the run where a file of settings is not there, is no plain file or holds no settings."""
    expected = "Expected: a YAML file of settings, as config/config.yaml is."
    try:
        regular = path.is_file()
        what = "is no plain file" if path.exists() else "does not exist"
    except OSError as problem:
        regular, what = False, f"cannot be reached ({problem.strerror})"
    if not regular:
        _refuse(f"The file of settings {path} {what}. {expected}", exits.SETTINGS)
    loaded = settings.read_yaml(path.resolve())
    if loaded is not None and not isinstance(loaded, dict):
        _refuse(f"The file of settings {path} holds no settings. {expected}", exits.SETTINGS)
    # Each by itself, so that a mistake is told of the file that has it.
    if found := settings.mistakes(loaded or {}, str(path)):
        raise GlassineError(found)


def _check_folder(path: Path) -> None:
    """End the run where the working directory cannot be one; it is made where it is missing. As a
    service a night may write into the engine's folder there, and not beside it."""
    own = path / ".snakemake"
    # os.path, as a folder that may not be entered is no error here: it cannot be written either.
    preflight.check_writable(own if os.path.isdir(own) else path)  # noqa: PTH112


# What can be asked for by name; anything else is a file that a rule makes.
_TARGETS = ("all", "fetch", "send", "reproduce")


def _check_targets(targets: list[str]) -> None:
    """End the run where the command line names something that no rule makes."""
    for target in targets:
        if target in _TARGETS or Path(target).parts[:1] in (("results",), ("deliveries",)):
            continue
        _refuse(
            f"There is nothing named {target!r} that can be made.{wording.near(target, _TARGETS)} "
            "Expected: no name at all for a night's work, or one of "
            f"{', '.join(_TARGETS[1:])}. Next step: name a batch as in --config "
            "'batches=[harbour-2026-03]', an item as in --item PEH-0004.",
            exits.USAGE,
        )


def _use_a_cache_that_can_be_written() -> None:
    """Where the user has no home of its own, the engine's cache goes to the temporary folder."""
    home = os.environ.get("XDG_CACHE_HOME") or os.path.expanduser("~/.cache")  # noqa: PTH111
    try:
        Path(home, "snakemake").mkdir(parents=True, exist_ok=True)
        usable = os.access(Path(home, "snakemake"), os.W_OK | os.X_OK)
    except OSError:
        usable = False
    if not usable:
        os.environ["XDG_CACHE_HOME"] = tempfile.mkdtemp(prefix="glassine-")


def _check(arguments: list[str]) -> None:
    try:
        given = cli.get_argument_parser().parse_args(arguments)
    except Exception as problem:  # whatever the engine's own types of values raise
        _bad_usage(argparse.ArgumentParser(), str(problem).rstrip("."))
    _check_targets([*(given.targets or [])])
    _check_config(given.config or [])
    default = settings.PROJECT / "config" / "config.yaml"
    for path in [default, *[Path(each) for each in given.configfile or []]]:
        _check_config_file(path)
    _check_folder(Path(given.directory) if given.directory else Path.cwd())


def main(arguments: list[str]) -> None:
    """Check the arguments and hand over to the engine, which ends the process."""
    argparse.ArgumentParser.error = _bad_usage  # type: ignore[assignment, method-assign]
    try:
        _check(arguments)
    except GlassineError as problem:
        code = exits.SETTINGS
        if problem.findings[0].code.startswith("run."):
            code = exits.CANNOT_WRITE
        _refuse(" ".join(finding.sentence() for finding in problem.findings), code)
    except OSError as problem:
        _refuse(preflight.refused(problem).findings[0].sentence(), exits.CANNOT_WRITE)
    _use_a_cache_that_can_be_written()
    cli.main(arguments)


if __name__ == "__main__":
    sys.argv[0] = "snakemake"
    main(sys.argv[1:])
