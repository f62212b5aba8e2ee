"""The texts that make a night a service: a systemd service with its timer, or a line for cron.

Quoting, specifiers and variables as systemd.syntax(7), systemd.unit(5) and systemd.service(5) have
them; `%` in a line for cron as crontab(5).
"""

from __future__ import annotations

import hashlib
import json
import re
import shlex
import unicodedata
from dataclasses import dataclass
from pathlib import Path

from glassine.base.errors import GlassineError

_MARK = "# Written by scripts/service; sha256 of all that follows: "
_OPTIONS = "# Options: "
_MARKED = re.compile(re.escape(_MARK) + r"([0-9a-f]{64})\n")


@dataclass(frozen=True)
class Service:
    """What is to be run, as whom, and what it may touch.

    name: of the units. command: its first word is the program. runs_as: a user's name, None for
    the user whose service manager it is. at: time of day, HH:MM. memory: as MemoryMax= takes it.
    cores: None for all. network: whether it may talk to other machines. written, read: folders and
    files that it may write, and those among them that it may not. needed: folders that must be
    mounted. options: of the command line that it was asked for by.
    """

    name: str
    about: str
    command: tuple[str, ...]
    runs_as: str | None
    at: str
    memory: str
    cores: int | None
    network: bool
    written: tuple[Path, ...]
    read: tuple[Path, ...]
    needed: tuple[Path, ...]
    options: tuple[str, ...]


def require_writable_as_text(path: Path) -> None:
    """Raise GlassineError for a path that no unit can name: with controls, or not UTF-8."""
    text = str(path)
    if any(unicodedata.category(each) in ("Cc", "Cs", "Zl", "Zp") for each in text):
        raise GlassineError.because(
            "service.path",
            text,
            "Its name holds a line end, a control character or bytes that are not UTF-8, which no "
            "unit file can name.",
            "a path of plain characters.",
            "Rename the folder; nothing was written.",
        )


def quoted(text: str) -> str:
    """Return a word of a setting that takes several: in quotes, specifiers switched off."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%")
    return f'"{escaped}"'


def argument(text: str) -> str:
    """Return an argument of ExecStart=, where `$` would begin a variable."""
    return quoted(text.replace("$", "$$"))


def _paths(paths: tuple[Path, ...]) -> str:
    return " ".join(quoted(str(path)) for path in paths)


def marked(text: str, options: tuple[str, ...]) -> str:
    """Return a text with the lines by which it is known as written here and unchanged."""
    body = f"{_OPTIONS}{json.dumps(list(options))}\n{text}"
    return f"{_MARK}{hashlib.sha256(body.encode()).hexdigest()}\n{body}"


def is_own(text: str) -> bool:
    """Return whether a text was written by this command, changed by hand since or not."""
    return _MARKED.match(text) is not None


def is_unchanged(text: str) -> bool:
    """Return whether a text is, to the byte, as this command wrote it."""
    found = _MARKED.match(text)
    body = text[found.end() :] if found else ""
    return bool(found) and hashlib.sha256(body.encode()).hexdigest() == found[1]  # type: ignore[index]


def options_of(text: str) -> tuple[str, ...]:
    """Return the options that a text was made by. Raises ValueError where it does not tell them."""
    line = text.split("\n", 2)[1] if text.count("\n") > 1 else ""
    if not line.startswith(_OPTIONS):
        raise ValueError("no line of options")
    read = json.loads(line.removeprefix(_OPTIONS))
    if not isinstance(read, list) or not all(isinstance(each, str) for each in read):
        raise ValueError("options of another form")
    return tuple(read)


# What is left to a service that reads masters and writes results. Not MemoryDenyWriteExecute=:
# calls into libvips are built in memory as they are made (libffi). Not UMask=: others read reports
# and published pictures.
_HARDENED = """\
NoNewPrivileges=yes
LockPersonality=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
SystemCallArchitectures=native
SystemCallFilter=@system-service
SystemCallErrorNumber=EPERM
ProtectSystem=strict
"""
# What the service manager of a user cannot take away by itself (systemd.exec(5)).
_BY_ROOT_ALONE = """\
CapabilityBoundingSet=
PrivateDevices=yes
ProtectClock=yes
ProtectControlGroups=yes
ProtectHome=read-only
ProtectHostname=yes
ProtectKernelLogs=yes
ProtectKernelModules=yes
ProtectKernelTunables=yes
ProtectProc=invisible
RemoveIPC=yes
RestrictNamespaces=yes
"""


def _limits(service: Service) -> str:
    lines = [f"MemoryMax={service.memory}", "OOMPolicy=continue"]
    if service.cores is not None:
        lines.append(f"CPUQuota={service.cores * 100}%")
    return "\n".join([*lines, "Nice=10", ""])


def _network(service: Service) -> str:
    if service.network:
        return "RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6\n"
    return "PrivateNetwork=yes\nRestrictAddressFamilies=AF_UNIX\n"


def _under(path: Path, *roots: str) -> bool:
    return any(path.is_relative_to(root) for root in roots)


def service_unit(service: Service) -> str:
    """Return the text of NAME.service."""
    after = "Wants=network-online.target\nAfter=network-online.target\n" if service.network else ""
    user = f"User={service.runs_as}\n" if service.runs_as else "PrivateUsers=yes\n"
    temporary = "PrivateTmp=yes\n"
    if any(_under(path, "/tmp", "/var/tmp") for path in service.needed):  # noqa: S108
        temporary = "ReadWritePaths=/tmp /var/tmp\n"
    program, *arguments = service.command
    command = " ".join([quoted(program), *map(argument, arguments)])
    read = " ".join(quoted(f"-{path}") for path in service.read)
    text = (
        f"[Unit]\nDescription={service.about}\nRequiresMountsFor={_paths(service.needed)}\n{after}"
        f"\n[Service]\nType=oneshot\n{user}ExecStart={command}\n"
        "# What is held ends a night with code 1: the unit counts as failed until it is settled.\n"
        f"StandardOutput=journal\nStandardError=journal\nSyslogIdentifier={service.name}\n"
        f"CacheDirectory={service.name}\nEnvironment=XDG_CACHE_HOME=%C/{service.name}\n"
        "Environment=PYTHONUNBUFFERED=1\n"
        f"\n# A step that is killed for memory holds its item, and the night goes on.\n"
        f"{_limits(service)}"
        "\n# All is read-only but what a night writes; masters are, wherever they lie.\n"
        f"ReadWritePaths={_paths(service.written)}\nReadOnlyPaths={read}\n"
        f"{_HARDENED}{_BY_ROOT_ALONE if service.runs_as else ''}"
        f"{temporary}{_network(service)}"
    )
    return marked(text, service.options)


def timer_unit(service: Service) -> str:
    """Return the text of NAME.timer: each evening, or when the machine is next up."""
    text = (
        f"[Unit]\nDescription={service.about}, each day at {service.at}\n"
        f"\n[Timer]\nOnCalendar=*-*-* {service.at}:00\nPersistent=true\n"
        "\n[Install]\nWantedBy=timers.target\n"
    )
    return marked(text, service.options)


def cron_line(service: Service) -> str:
    """Return the line for cron, without a user; its output goes to the system's log.

    Raises GlassineError for a path with a backslash, which the crons read differently.
    """
    for word in service.command:
        if "\\" in word:
            raise GlassineError.because(
                "service.cron_path",
                word,
                "A backslash in a line of cron means different things to different crons.",
                "paths without one.",
                "Rename the folder, or let systemd run the night (without --cron).",
            )
    hour, minute = service.at.split(":")
    command = " ".join(shlex.quote(word) for word in service.command).replace("%", "\\%")
    who = f"{service.runs_as} " if service.runs_as else ""
    log = f"2>&1 | logger -t {service.name}"
    return f"{int(minute)} {int(hour)} * * *  {who}nice -n 10 {command} {log}\n"


def cron_file(service: Service) -> str:
    """Return the text of /etc/cron.d/NAME."""
    path = "PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"
    return marked(f"SHELL=/bin/sh\n{path}\n{cron_line(service)}", service.options)
