"""Several collections on one server: each a folder with settings, masters and results of its own.

    scripts/nightly --projects /srv/projects

    /srv/projects/common.yaml            what holds for all of them
    /srv/projects/<name>/config.yaml     what this one states otherwise
    /srv/projects/<name>/masters/        its masters, where its settings name no other folder
    /srv/projects/<name>/results/, deliveries/

One after the other is run as a night of its own, with its own lock; what is wrong with one keeps
no other from its turn. An overview of all, with the nights of the last 30 days, lies beside them.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from glassine.base import clock, exits, folders, naming, settings, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.visible import visible
from glassine.night import lock, overview
from glassine.night.workplace import MOVES

COMMON, OWN = "common.yaml", overview.OWN
_NAME = (
    "Its name cannot be that of a project: only letters, digits, '.', '_' and '-' may stand in it, "
    "100 at most."
)
ENGINE = settings.PROJECT / "scripts" / "engine.py"
_PLACES = ("--directory", "-d", "--configfile", "--configfiles")


@dataclass(frozen=True)
class Project:
    """A collection. files: its settings, later ones win. masters: its own folder of masters, where
    its settings name none; None where they do."""

    name: str
    folder: Path
    files: tuple[Path, ...]
    masters: Path | None = None


@dataclass
class Projects:
    """Those that can be run, in order, and what cannot: (name, why)."""

    chosen: list[Project] = field(default_factory=list)
    problems: list[tuple[str, Finding]] = field(default_factory=list)


def find(root: Path, wanted: Sequence[str] = ()) -> Projects:
    """Return the projects in a folder. wanted: names of those to take, all where it is empty.

    Raises GlassineError where the folder holds none, or not one that is wanted.
    """
    try:
        names = sorted(path.name for path in root.iterdir() if path.is_dir())
    except OSError as problem:
        raise _refused(
            str(root), f"The folder of projects cannot be listed: {wording.why(problem)}."
        ) from problem
    shown = [name for name in names if not name.startswith(".")]
    known = [name for name in shown if (root / name / OWN).is_file()]
    for name in wanted:
        if name not in known:
            near = wording.near(name, known)
            raise _refused(name, f"There is no project of this name.{near}")
    if not known:
        raise _refused(str(root), "No folder in it holds the settings of a project.")
    found = Projects()
    for name in shown:
        if not wanted or name in wanted:
            _take(found, root, name, known)
    _part_by_masters(found)
    return found


def _refused(path: str, what: str) -> GlassineError:
    return GlassineError.because(
        "run.projects",
        path,
        what,
        f"a folder with one folder a project, each with a {OWN}.",
        "Correct the name after --projects or --project, or write the settings.",
    )


def _take(found: Projects, root: Path, name: str, known: list[str]) -> None:
    if name not in known:
        what = f"This folder has no {OWN}, so that nothing in it was processed."
        found.problems.append(
            (name, _wrong(root / name, what, f"Write one, or move it out of {root}."))
        )
        return
    try:
        naming.check_batch(name)
        stated = settings.read_yaml(root / name / OWN, trusted=True) or {}
    except (ValueError, GlassineError) as problem:
        why = problem.findings[0].what if isinstance(problem, GlassineError) else _NAME
        found.problems.append((name, _wrong(root / name, why, "Correct it, then run again.")))
        return
    if not isinstance(stated, dict):
        what = f"Its {OWN} holds no settings."
        found.problems.append((name, _wrong(root / name, what, "Correct it, then run again.")))
        return
    common = root / COMMON
    files = ((common,) if common.is_file() else ()) + (root / name / OWN,)
    masters = None if "masters" in stated else root / name / "masters"
    found.chosen.append(Project(name, root / name, files, masters))


def _wrong(path: Path, what: str, next_step: str) -> Finding:
    return Finding(
        "run.project",
        str(path),
        what,
        f"a folder named as a batch may be, with a {OWN} of settings.",
        next_step,
    )


def _part_by_masters(found: Projects) -> None:
    """Refuse projects that would process the same masters, or those of one within another's."""
    places = {project.name: _masters_of(project) for project in found.chosen}
    for project in [*found.chosen]:
        own = places[project.name]
        others = [
            name
            for name, place in places.items()
            if name != project.name and (place.is_relative_to(own) or own.is_relative_to(place))
        ]
        if others:
            what = f"Its masters ({own}) are those of {wording.listed(others)} too, or lie within."
            step = f"State `masters` in the {OWN} of each; none of them was run."
            found.problems.append((project.name, _wrong(project.folder, what, step)))
            found.chosen.remove(project)


def _masters_of(project: Project) -> Path:
    if project.masters is not None:
        return project.masters.resolve()
    stated = settings.read_yaml(project.folder / OWN, trusted=True)["masters"]
    return folders.masters_place(str(stated), project.folder).resolve()


# --- the run -----------------------------------------------------------------------------


def command(project: Project, arguments: Sequence[str]) -> list[str]:
    """Return the command of one project's night. arguments: of the engine."""
    own = ["--directory", str(project.folder), "--configfile", *map(str, project.files)]
    words = [*arguments]
    if project.masters is not None:
        masters = f"masters={project.masters}"
        if "--config" in words:
            words.insert(words.index("--config") + 1, masters)
        else:
            words += ["--config", masters]
    return [sys.executable, str(ENGINE), *own, *words]


def run_all(
    root: Path,
    found: Projects,
    arguments: Sequence[str],
    run: Callable[[list[str]], int] | None = None,
) -> int:
    """Run each project's night, write the overview after each; return the exit code of all.

    run: runs a command and returns its exit code.
    """
    run = run or _run
    keeps = not (lock.only_looks([*arguments]) or set(MOVES) & {*arguments})
    nights = []
    for name, finding in found.problems:
        sys.stderr.write(f"NOT DONE {finding.sentence()}\n")
        nights.append(overview.Night(name, clock.now_text(), exits.SETTINGS, {}, finding.what))
    _keep(root, nights, keeps)
    for project in found.chosen:
        sys.stdout.write(f"== {visible(project.name)}\n")
        sys.stdout.flush()
        started = time.time()
        code = run(command(project, arguments))
        night = overview.Night(
            project.name, clock.now_text(), code, overview.counts_of(project.folder, started)
        )
        nights.append(night)
        _keep(root, [night], keeps)
    if keeps:
        sys.stdout.write(f"Overview: {root / overview.PAGE}\n")
    for night in nights:
        sys.stdout.write(f"  {visible(night.project)}: {night.words}\n")
    return _worst([night.exit_code for night in nights])


def _keep(root: Path, nights: list[overview.Night], keeps: bool) -> None:
    """Add nights to the overview; a dry run, or one that only moves files, is no night."""
    if keeps:
        overview.add(root, nights)


def _run(words: list[str]) -> int:
    environment = {**os.environ, "PYTHONPATH": str(ENGINE.parent)}
    return subprocess.run(words, env=environment, check=False).returncode


def _worst(codes: list[int]) -> int:
    if all(code == 0 for code in codes):
        return 0
    return next((code for code in exits.ORDER if code in codes), exits.HELD)


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> Any:
        _stop(f"This command line cannot be used: {message}. Next step: correct it.")


def _stop(text: str) -> None:
    sys.stderr.write(f"STOPPED {visible(text)}\n")
    sys.exit(exits.USAGE)


def main(arguments: list[str]) -> int:
    """Do what scripts/nightly asks: --projects FOLDER [--project NAME ...] -- ARGUMENTS."""
    cut = arguments.index("--") if "--" in arguments else len(arguments)
    parser = _Parser(add_help=False)
    parser.add_argument("--projects", required=True)
    parser.add_argument("--project", action="append", default=[])
    given = parser.parse_args(arguments[:cut])
    engine = arguments[cut + 1 :]
    if any(word.partition("=")[0] in _PLACES for word in engine):
        _stop("--directory and --configfile do not go with --projects: each project has its own.")
    root = Path(given.projects).resolve()
    try:
        found = find(root, given.project)
        return run_all(root, found, engine)
    except GlassineError as error:
        _stop(" ".join(finding.sentence() for finding in error.findings))
    except OSError as problem:
        sys.stderr.write(f"STOPPED {visible(f'{root}: {wording.why(problem)}')}.\n")
        return exits.CANNOT_WRITE
    return exits.USAGE


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
