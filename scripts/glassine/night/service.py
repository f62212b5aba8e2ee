"""The command that has a night run by the system: systemd units, or lines for cron."""

from __future__ import annotations

import argparse
import getpass
import os
import pwd
import re
import shlex
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from glassine.base import exits, files, settings, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.visible import visible
from glassine.night import by_hand, projects, units
from glassine.night.units import Service
from glassine.night.workplace import MOVES, Workplace

SCRIPTS = settings.PROJECT / "scripts"
# Names of users and units that need no quoting (useradd(8)); files in /etc/cron.d have no dots.
_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_-]{0,63}")
_AT = re.compile(r"(?:[01][0-9]|2[0-3]):[0-5][0-9]")
_MEMORY = re.compile(r"[1-9][0-9]{0,6}[KMGT]|[1-9][0-9]?%|100%")
_SYSTEM_UNITS = Path("/etc/systemd/system")
_CRON = Path("/etc/cron.d")
# There where systemd runs the machine (sd_booted(3)).
_BOOTED = Path("/run/systemd/system")


# --- what is to be run -----------------------------------------------------------------------


def place_of(folder: Path, stated: Sequence[Path], more: dict[str, Any] | None = None) -> Workplace:
    """Return a place by its files of settings. Raises GlassineError where they are wrong."""
    return Workplace.of(settings.joined(settings.stated(stated), more or {}), folder)


@dataclass(frozen=True)
class Asked:
    """The place or places of a night. command: arguments of scripts/nightly; root: of projects."""

    places: tuple[Workplace, ...]
    files: tuple[Path, ...]
    command: tuple[str, ...]
    root: Path | None = None

    @property
    def moves(self) -> bool:
        """Whether masters or deliveries lie in an object storage."""
        return any(place.config["store"][name] for place in self.places for name in MOVES.values())

    @property
    def network(self) -> bool:
        """Whether a night talks to other machines: storage, mail, webhook."""
        told = [place.config["report"]["notify"] for place in self.places]
        return self.moves or any(each["webhook"] or each["mail"]["to"] for each in told)


def asked(options: argparse.Namespace) -> Asked:
    """Return what is to be run. Raises GlassineError where it cannot be."""
    if options.projects:
        root = Path(options.projects).resolve()
        found = projects.find(root)
        if found.problems:
            raise GlassineError([finding for _, finding in found.problems])
        places = tuple(
            place_of(
                each.folder, each.files, {"masters": str(each.masters)} if each.masters else {}
            )
            for each in found.chosen
        )
        stated = tuple(dict.fromkeys(path for each in found.chosen for path in each.files))
        return Asked(places, stated, ("--projects", str(root)), root)
    folder = Path(options.directory).resolve()
    stated = tuple(Path(path).resolve() for path in options.configfile)
    command = ["--directory", str(folder)]
    if stated:
        command += ["--configfile", *map(str, stated)]
    return Asked((place_of(folder, stated),), stated, tuple(command))


def service_of(options: argparse.Namespace, words: Sequence[str]) -> Service:
    """Return what is to be installed. words: the command line's own, kept in the units.

    Raises GlassineError where the settings, the user or a path cannot be used.
    """
    what = asked(options)
    runs_as = None if options.user else _user(options.run_as)
    own = [place.working_dir / name for place in what.places for name in _WRITTEN]
    written = [what.root, *own] if what.root else own
    told = [place.config["report"]["notify"].get("textfile") for place in what.places]
    written += [Path(path).parent for path in told if path]
    masters = [place.masters for place in what.places]
    python = SCRIPTS.parent / ".venv" / "bin" / "python"
    nightly = (
        [str(SCRIPTS / "service"), "night", "--"] if what.moves else [str(SCRIPTS / "nightly")]
    )
    cores = ["--cores", str(options.cores)] if options.cores else []
    needed = [settings.PROJECT, *masters, *([what.root] if what.root else [])]
    needed += [place.working_dir for place in what.places]
    service = Service(
        name=options.name,
        about=f"Nightly processing of film masters ({options.name})",
        command=(
            str(python),
            str(SCRIPTS / nightly[0]),
            *nightly[1:],
            *what.command,
            "--quiet",
            "rules",
            *cores,
        ),
        runs_as=runs_as,
        at=options.at,
        memory=options.memory,
        cores=options.cores,
        network=what.network or options.network,
        written=tuple(dict.fromkeys(written)),
        read=tuple(dict.fromkeys([*masters, *what.files])),
        needed=tuple(dict.fromkeys(needed)),
        options=tuple(words),
    )
    for path in (*service.written, *service.read, *service.needed):
        units.require_writable_as_text(path)
    if "$" in str(settings.PROJECT):
        raise GlassineError.because(
            "service.checkout",
            settings.PROJECT,
            "The name of the checkout's folder holds a `$`, which systemd takes for a variable in "
            "the name of a program.",
            "a path without one.",
            "Move the checkout; nothing was written.",
        )
    return service


# What a night writes in the place that it works in.
_WRITTEN = ("results", "deliveries", ".snakemake")


def _user(name: str | None) -> str:
    """Return the user that a night runs as: the named one, or the owner of the checkout."""
    if name is None:
        try:
            name = pwd.getpwuid(settings.PROJECT.stat().st_uid).pw_name
        except KeyError:
            name = "root"
    if not _NAME.fullmatch(name) or not _known(name):
        what = f"There is no user {name[:100]!r} on this machine."
    elif pwd.getpwnam(name).pw_uid == 0:
        what = "A night needs no rights of root, and decodes files that others made."
    else:
        return name
    raise GlassineError.because(
        "service.user",
        "--run-as",
        what,
        "a user of its own, who may read the masters and write the results.",
        "Make one (useradd --system glassine) and name it: --run-as glassine.",
    )


def _known(name: str) -> bool:
    try:
        pwd.getpwnam(name)
    except KeyError:
        return False
    return True


# --- files and their owners ------------------------------------------------------------------


def texts(options: argparse.Namespace, service: Service) -> dict[Path, str]:
    """Return {file: its text} of what is to be installed."""
    folder = _folder(options)
    if options.cron:
        return {folder / service.name: units.cron_file(service)}
    return {
        folder / f"{service.name}.service": units.service_unit(service),
        folder / f"{service.name}.timer": units.timer_unit(service),
    }


def _folder(options: argparse.Namespace) -> Path:
    if options.units:
        return Path(options.units).resolve()
    if options.cron:
        return _CRON
    return _user_units() if options.user else _SYSTEM_UNITS


def _user_units() -> Path:
    home = os.environ.get("XDG_CONFIG_HOME") or str(Path.home() / ".config")
    return Path(home) / "systemd" / "user"


def _names(options: argparse.Namespace) -> list[Path]:
    """Return the files that belong to the service of a name, there or not."""
    folder = _folder(options)
    if options.cron:
        return [folder / options.name]
    return [folder / f"{options.name}.{kind}" for kind in ("service", "timer")]


def _there(path: Path) -> str | None:
    """Return what a file holds, None where there is none. Raises GlassineError where it is no
    plain file or cannot be read."""
    if not os.path.lexists(path):
        return None
    try:
        if path.is_symlink() or not path.is_file():
            raise _not_own(path, "It is no plain file.")
        return path.read_bytes().decode("utf-8", "replace")
    except OSError as problem:
        raise _not_own(path, f"It cannot be read: {wording.why(problem)}.") from problem


def _not_own(path: Path, what: str) -> GlassineError:
    return GlassineError.because(
        "service.not_own",
        path,
        f"{what} So it was left as it is.",
        "a file that this command wrote, and that nobody changed since.",
        "Choose another name (--name), or move the file away. What is to be otherwise than "
        "written here belongs into a drop-in (systemctl edit).",
    )


def require_own(path: Path, told: str | None, place: Sequence[str] | None) -> None:
    """Raise GlassineError unless a file may be replaced or removed by this command.

    told: what the file holds, None where there is none. place: the options that name the place
    that is to be run; one that runs another is not replaced. None where that does not matter.
    """
    if told is None:
        return
    if not units.is_own(told):
        raise _not_own(path, "This command did not write it.")
    if not units.is_unchanged(told):
        raise _not_own(path, "It was changed by hand since this command wrote it.")
    before = list(units.options_of(told))
    if place is not None and _place_words(before) != _place_words(place):
        where = " ".join(_place_words(before)) or "this folder"
        raise _not_own(path, f"It runs another place ({where}).")


def _require_alone(options: argparse.Namespace, words: Sequence[str]) -> None:
    """Raise GlassineError where another service of this command runs the same place: of two nights
    in one place the second ends with exit code 75, each day."""
    mine = {str(path) for path in _names(options)}
    folders = {_folder(options)}
    if not options.units:
        folders |= {_CRON, _SYSTEM_UNITS, _user_units()}
    for path in sorted(each for folder in folders if folder.is_dir() for each in folder.iterdir()):
        if path.suffix not in ("", ".service") or str(path) in mine or not path.is_file():
            continue
        try:
            with path.open("rb") as opened:
                told = opened.read(_MOST_BYTES).decode("utf-8", "replace")
            other = _place_words(units.options_of(told)) if units.is_own(told) else None
        except (OSError, ValueError, SystemExit):
            continue
        if other == _place_words(words):
            raise GlassineError.because(
                "service.twice",
                path,
                f"It runs the same place already ({' '.join(other)}).",
                "one service for a place.",
                "Remove that one first: scripts/service remove, with its --name, --user or --cron.",
            )


# More than any file that this command writes.
_MOST_BYTES = 2**20


def _place_words(words: Sequence[str]) -> list[str]:
    """Return those of a command line's words that name the place."""
    parsed = _parser().parse_args(["install", *words])
    if parsed.projects:
        return ["--projects", parsed.projects]
    return ["--directory", parsed.directory]


# --- what is done ----------------------------------------------------------------------------


def _absolute(words: Sequence[str]) -> list[str]:
    """Return the options of an installation with whole paths, as the units keep them."""
    given = _parser().parse_args(["install", *words])
    kept = ["--name", given.name, "--at", given.at, "--memory", given.memory]
    if given.projects:
        kept += ["--projects", str(Path(given.projects).resolve())]
    else:
        kept += ["--directory", str(Path(given.directory).resolve())]
    for path in given.configfile:
        kept += ["--configfile", str(Path(path).resolve())]
    kept += ["--cores", str(given.cores)] if given.cores else []
    kept += ["--run-as", given.run_as] if given.run_as else []
    flags = {"--user": given.user, "--cron": given.cron, "--network": given.network}
    return [*kept, *(name for name, is_set in flags.items() if is_set)]


def verified(written: dict[Path, str]) -> list[str]:
    """Return what systemd itself finds wrong with units, line by line; nothing where it is not
    installed."""
    with tempfile.TemporaryDirectory(prefix="glassine-units-") as folder:
        paths = [Path(folder) / path.name for path in written]
        for path, text in zip(paths, written.values(), strict=True):
            path.write_text(text, "utf-8")
        command = ["systemd-analyze", "verify", "--man=no", *map(str, paths)]
        try:
            done = subprocess.run(
                command, capture_output=True, text=True, errors="replace", check=False, timeout=60
            )
        except (FileNotFoundError, subprocess.TimeoutExpired):
            return []
    # It loads the units of the machine as well: only what it says of these counts.
    names = {path.name for path in paths}
    lines = [line for line in done.stderr.splitlines() if any(name in line for name in names)]
    return [line for line in lines if "Failed to create" not in line]


def install(options: argparse.Namespace, words: Sequence[str]) -> int:
    """Write the units or the line for cron, and start the timer. Raises GlassineError."""
    words = _absolute(words)
    service = service_of(_parser().parse_args(["install", *words]), words)
    written = texts(options, service)
    if options.dry_run:
        for path, text in written.items():
            print(f"# {visible(str(path))}\n{text}")
        return 0
    if options.user and options.cron:
        print("Put this line into your own table, by crontab -e:")
        print(units.cron_line(service), end="")
        return 0
    for path in written:
        require_own(path, _there(path), words)
    _require_alone(options, words)
    wrong = [] if options.cron else verified(written)
    if wrong:
        raise GlassineError.because(
            "service.verify",
            options.name,
            f"systemd does not take these units: {'; '.join(wrong)[:600]}.",
            "units without a complaint of systemd-analyze verify.",
            "Look at them with --dry-run; nothing was written.",
        )
    _make_folders(service)
    if "night" in service.command:  # made now: at night the checkout can only be read
        code = "import setup_environment; setup_environment.ready('store')"
        subprocess.run([sys.executable, "-c", code], cwd=SCRIPTS, check=True)
    for path, text in written.items():
        files.write_text(path, text)
        path.chmod(0o644)
        print(visible(f"wrote {path}"))
    if options.user:
        print("So that it runs while nobody is logged in: loginctl enable-linger")
    if options.cron or options.units:
        return 0
    return _control(options, ["daemon-reload"], ["enable", "--now", f"{service.name}.timer"])


def _make_folders(service: Service) -> None:
    """Make the folders that a night writes into, for its user: systemd starts nothing where one
    is missing."""
    owner = pwd.getpwnam(service.runs_as) if service.runs_as and os.geteuid() == 0 else None
    for folder in service.written:
        if not folder.exists():
            folder.mkdir(parents=True)
            if owner:
                os.chown(folder, owner.pw_uid, owner.pw_gid)
    if owner:
        _require_rights(service, owner)


def _require_rights(service: Service, owner: pwd.struct_passwd) -> None:
    """Raise GlassineError where the night's user may not do what a night does."""
    wanted = {str(path): os.R_OK | os.X_OK for path in service.needed if path.exists()}
    wanted |= {str(path): os.W_OK | os.X_OK for path in service.written}
    wanted[service.command[0]] = os.X_OK
    code = "import os, sys; sys.exit(not os.access(sys.argv[1], int(sys.argv[2])))"
    for path, right in wanted.items():
        done = subprocess.run(
            [sys.executable if right != os.X_OK else path, "-c", code, path, str(right)],
            user=owner.pw_uid,
            group=owner.pw_gid,
            extra_groups=os.getgrouplist(owner.pw_name, owner.pw_gid),
            capture_output=True,
            check=False,
        )
        if done.returncode:
            verb = "write into" if right & os.W_OK else "read"
            raise GlassineError.because(
                "service.rights",
                path,
                f"The user {owner.pw_name} may not {verb} it.",
                "a user who may read masters and checkout, and write results and deliveries.",
                "Give the right (chown, chgrp, chmod), or name another user by --run-as.",
            )


def _control(options: argparse.Namespace, *commands: list[str]) -> int:
    """Run commands of systemctl, or say them where systemd does not run; return the exit code."""
    base = ["systemctl", *(["--user"] if options.user else [])]
    if not _BOOTED.is_dir():
        print("systemd does not run here, so nothing was started. Where it does:")
        print("\n".join(f"    {' '.join([*base, *command])}" for command in commands))
        return exits.HELD
    for command in commands:
        done = subprocess.run([*base, *command], check=False)
        if done.returncode:
            print(f"NOT DONE {' '.join([*base, *command])} ended with {done.returncode}")
            return exits.HELD
    return 0


def remove(options: argparse.Namespace) -> int:
    """Stop the timer and remove what this command wrote, nothing else. Raises GlassineError."""
    there = {path: text for path in _names(options) if (text := _there(path)) is not None}
    if not there:
        print(visible(f"There is no service {options.name} in {_folder(options)}."))
        return exits.HELD
    for path, text in there.items():
        require_own(path, text, None)
    if options.dry_run:
        print("\n".join(visible(f"would remove {path}") for path in there))
        return 0
    code = 0
    if not (options.cron or options.units) and _BOOTED.is_dir():
        code = _control(options, ["disable", "--now", f"{options.name}.timer"])
    for path in there:
        path.unlink()
        print(visible(f"removed {path}"))
    if not (options.cron or options.units) and _BOOTED.is_dir():
        code = _control(options, ["daemon-reload"]) or code
    return code


def status(options: argparse.Namespace) -> int:
    """Say what is installed and whether it is as it would be written now; return the exit code:
    0 where it is, 1 where something is missing or otherwise."""
    code = 0
    for path in _names(options):
        state = _state(path, options)
        print(visible(f"{path}: {state or 'installed, and as it would be written now'}"))
        code = exits.HELD if state else code
    if not (options.cron or options.units or code) and _BOOTED.is_dir():
        base = ["systemctl", *(["--user"] if options.user else [])]
        subprocess.run([*base, "list-timers", "--all", f"{options.name}.timer"], check=False)
        shown = "--property=Result,ExecMainStatus,InactiveEnterTimestamp"
        subprocess.run([*base, "show", shown, f"{options.name}.service"], check=False)
    return code


def _state(path: Path, options: argparse.Namespace) -> str:
    """Return what is wrong with an installed file, empty where it is as it should be."""
    text = _there(path)
    if text is None:
        return "not installed"
    if not units.is_own(text):
        return "there, but this command did not write it"
    if not units.is_unchanged(text):
        return "changed by hand since it was written"
    words = list(units.options_of(text))
    now = texts(options, service_of(_parser().parse_args(["install", *words]), words))
    if now.get(path) == text:
        return ""
    again = f"scripts/service install {shlex.join(words)}"
    return f"older than settings or software; write it anew: {again}"


# --- a night with object storage -------------------------------------------------------------


def night(arguments: Sequence[str], run: Callable[[list[str]], int] | None = None) -> int:
    """Run a night with what comes before and after it where the settings name an object storage;
    return the exit code that says most.

    arguments: of scripts/nightly. A fetch or a sending that failed keeps no night from running.
    """
    run = run or _run
    parser = argparse.ArgumentParser(add_help=False)
    parser.add_argument("--directory", default=".")
    parser.add_argument("--configfile", nargs="+", action="extend", default=[])
    parser.add_argument("--projects")
    given, _ = parser.parse_known_args(list(arguments))
    what = asked(given)
    codes = []
    for step in ("fetch", None, "send"):
        if step is None:
            codes.append(run([str(SCRIPTS / "nightly"), *arguments]))
            continue
        for place in what.places:
            if place.config["store"][MOVES[step]]:
                only = ["--project", place.working_dir.name] if what.root else []
                codes.append(run([str(SCRIPTS / "nightly"), step, *only, *arguments]))
    order = (exits.CANNOT_WRITE, *exits.ORDER)
    return next((code for code in order if code in codes), max(codes, key=abs))


def _run(words: list[str]) -> int:
    return subprocess.run([sys.executable, *words], check=False).returncode


# --- the command line ------------------------------------------------------------------------


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        sys.stderr.write(
            f"STOPPED {visible(message)}. scripts/service --help says what it takes.\n"
        )
        sys.exit(exits.USAGE)


def _matching(pattern: re.Pattern[str], expected: str) -> Callable[[str], str]:
    def checked(text: str) -> str:
        if not pattern.fullmatch(text):
            raise argparse.ArgumentTypeError(f"{text[:100]!r} cannot be used; expected {expected}")
        return text

    return checked


def _cores(text: str) -> int:
    if not re.fullmatch(r"[1-9][0-9]{0,3}", text):
        raise argparse.ArgumentTypeError(f"{text[:100]!r} is no number of cores")
    return int(text)


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="scripts/service",
        allow_abbrev=False,
        description="Have a night run by the system each day: by systemd (a service and a timer, "
        "with only the rights that a night needs), or by cron (--cron). What this command did not "
        "write, or somebody changed since, it neither replaces nor removes.",
    )
    parser.add_argument("action", choices=["install", "status", "remove"])
    parser.add_argument("--name", default="glassine", type=_matching(_NAME, "letters, digits, - _"))
    parser.add_argument("--user", action="store_true", help="for your own service manager")
    parser.add_argument("--cron", action="store_true", help="a line for cron in place of units")
    parser.add_argument("--dry-run", action="store_true", help="print, and do nothing")
    parser.add_argument("--units", help="another folder for the files; nothing is started")
    place = parser.add_argument_group("install")
    place.add_argument("--directory", default=".", help="the folder for results and deliveries")
    place.add_argument("--configfile", action="append", default=[], help="settings, as nightly has")
    place.add_argument("--projects", help="a folder of several collections, in place of these two")
    place.add_argument("--at", default="21:00", type=_matching(_AT, "HH:MM"), help="time of day")
    place.add_argument("--run-as", help="the user it runs as; else the owner of the checkout")
    place.add_argument(
        "--memory", default="90%", type=_matching(_MEMORY, "as in 24G or 80%%"), help="at most"
    )
    place.add_argument("--cores", type=_cores, help="at most so many; else all")
    place.add_argument("--network", action="store_true", help="allow it though nothing needs it")
    return parser


def main(arguments: list[str] | None = None) -> int:
    """Return the exit code: 0, 1 where something is missing or could not be started, 64 for a
    command line, 73 where a file cannot be written, 78 where settings or place cannot be used."""
    words = sys.argv[1:] if arguments is None else arguments
    try:
        if words[:1] == ["night"]:
            return night(words[2:] if words[1:2] == ["--"] else words[1:])
        options = _parser().parse_args(words)
        if options.action == "install":
            own = [word for word in words if word not in ("install", "--dry-run")]
            return install(options, _without(own, "--units"))
        return status(options) if options.action == "status" else remove(options)
    except GlassineError as error:
        return by_hand.refused(error, exits.SETTINGS)
    except OSError as problem:
        where = str(problem.filename or "the units")
        found = Finding(
            "service.write",
            where,
            f"It cannot be written or removed: {wording.why(problem)}.",
            "the rights of root for the whole system, or --user for your own service manager.",
            f"Run it as root (you are {_who()}), or with --user.",
        )
        return by_hand.refused(GlassineError([found]), exits.CANNOT_WRITE)


def _who() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return str(os.getuid())


def _without(words: list[str], name: str) -> list[str]:
    """Return a command line without an option and its value."""
    kept: list[str] = []
    rest = list(words)
    while rest:
        word = rest.pop(0)
        if word == name:
            rest[:1] = []
        elif not word.startswith(f"{name}="):
            kept.append(word)
    return kept


if __name__ == "__main__":
    sys.exit(main())
