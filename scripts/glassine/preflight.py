"""Before a run starts: can it write where it must, and is there room for what is due?"""

from __future__ import annotations

import contextlib
import os
import re
import stat
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from glassine import files
from glassine import settings as settings_
from glassine.errors import Finding, GlassineError

# A delivery holds the masters byte for byte, and the results beside it; measured on the sample
# batch (compressed masters) and on plain 16-bit ones: pictures and tiles come to 0.1 to 0.5.
_SHARE_OF_MASTERS = 1.3
# A cropped TIFF of 16 bits hardly shrinks: twice in the results, once in the delivery.
_SHARE_OF_CROPS = 3.0


# What stands in every record, and no default could know: key, example, where to find it.
_IDENTITY = (
    ("institution.name", "Name of your institution"),
    ("institution.id", "https://www.your-institution.org/"),
    ("iiif.base_url", "https://images.your-institution.org/iiif"),
    ("rights.jurisdiction", "gb"),
)
# The worked example, and the top-level domains that RFC 2606 (section 2) reserves: nobody's.
_SAMPLES = {"Port Ellery Harbour Archive", *(example for _, example in _IDENTITY[:3])}
_NOBODYS = re.compile(
    r"[.@](?:example|invalid|test)(?:[/:]|$)|[.@/]example\.(?:com|net|org)(?:[/:]|$)"
)
SAMPLE_MASTERS = settings_.PROJECT / "sample_masters"


def check_identity(config: dict[str, Any]) -> None:
    """See that the settings say who keeps the film, before any record is made.

    Raises GlassineError (run.identity), once for all that is missing, with the lines to write.
    """
    missing = [key for key, _ in _IDENTITY if not _setting(config, key).strip()]
    if not missing:
        return
    raise GlassineError.because(
        "run.identity",
        "config/config.yaml",
        f"It is not said who keeps the film and where it will be served: {', '.join(missing)} "
        f"{'is' if len(missing) == 1 else 'are'} missing. These stand in every record, picture and "
        "delivery; nothing was started.",
        "your own values; there is no default for them.",
        "Write into config/config.yaml (under a section that is there already, the inner part "
        "alone):\n" + _lines(missing) + "\n",
    )


def _lines(missing: list[str]) -> str:
    """Return YAML of the missing keys, a line a section, with values to be replaced."""
    sections: dict[str, list[str]] = {}
    for key, example in _IDENTITY:
        if key in missing:
            section, name = key.split(".")
            sections.setdefault(section, []).append(f'{name}: "{example}"')
    return "\n".join(f"{name}: {{{', '.join(keys)}}}" for name, keys in sections.items())


def _setting(config: dict[str, Any], key: str) -> str:
    section, name = key.split(".")
    return str(config.get(section, {}).get(name) or "")


def placeholders(config: dict[str, Any], masters: Path) -> Finding | None:
    """Return a finding where film of one's own would get the names of the worked example.

    masters: the folder of masters, or of a batch in it; the sample's own is left alone.
    """
    if masters.resolve().is_relative_to(SAMPLE_MASTERS):
        return None
    keys = (
        "institution.name", "institution.id", "institution.homepage", "institution.contact",
        "iiif.base_url", "rights.holder", "rights.credit", "delivery.profile_identifier",
    )  # fmt: skip
    found = [
        f"{key}: {value}"
        for key in keys
        if (value := _setting(config, key)) and (value in _SAMPLES or _NOBODYS.search(value))
    ]
    if not found:
        return None
    return Finding(
        "run.placeholder",
        "config/config.yaml",
        f"The settings still hold values of the worked example: {'; '.join(found)}. They stand in "
        "every record.",
        "your institution's own name and addresses.",
        "Correct these keys; the next run makes the records anew.",
        "review",
    )


def check_writable(folder: Path) -> None:
    """Make `folder` where missing and see that a file can be written there.

    Raises GlassineError in plain words: read-only, no rights, in the way, full.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / f"{files.TEMPORARY_PREFIX}{os.getpid()}-probe"
        probe.write_bytes(b"x")
        probe.unlink()
    except OSError as problem:
        raise GlassineError.because(
            "run.not_writable",
            folder,
            f"Nothing can be written here: {problem.strerror or problem}.",
            "a folder that the night's user may write to, on a disk with room.",
            "Check the disk, the share and the rights; nothing was started.",
        ) from problem


def refused(problem: OSError) -> GlassineError:
    """Return what is told where the system refused something before the run had started."""
    return GlassineError.because(
        "run.refused",
        problem.filename or "(no file)",
        f"The system refused this: {problem.strerror or problem}.",
        "files and folders that the night's user may read and write.",
        "Check the disk, the share and the rights; nothing was started.",
    )


def unexpected(place: str, problem: Exception) -> Finding:
    """Return what is told of an error that nobody foresaw, at the end of a run."""
    return Finding(
        "run.unexpected",
        place,
        f"This ended unexpectedly: {type(problem).__name__}: {problem}"[:500] + ".",
        "a run that can tell how each batch stands.",
        "Run again; if it repeats, send the run's output to whoever maintains this installation.",
    )


def bring_to_now(paths: Iterable[Path]) -> None:
    """Give files of ours that are younger than now the present time.

    A clock that was ahead and has been set right leaves such; the engine would refuse whatever
    is made from them until the old time has come.
    """
    now = time.time()
    for path in paths:
        with contextlib.suppress(FileNotFoundError):
            if path.stat().st_mtime > now + 1:
                os.utime(path)


def free_bytes(folder: Path) -> int:
    status = os.statvfs(folder)
    return status.f_bavail * status.f_frsize


def masters_bytes(batch_dir: Path) -> int:
    """Return the bytes of all plain files below a batch folder; links are not followed."""
    total = 0
    for folder, _, names in os.walk(batch_dir):
        for name in names:
            try:
                status = (Path(folder) / name).lstat()
            except OSError:
                continue
            total += status.st_size if stat.S_ISREG(status.st_mode) else 0
    return total


def check_room(
    results: Path, due_bytes: int, reserve_mb: int, *, crops: bool = False
) -> str | None:
    """Return a warning where the disk may fill up on the way, else None.

    due_bytes: of the masters not yet delivered. crops: whether each frame is also kept as a
    cropped TIFF. Raises GlassineError where not even the reserve
    is free: no step would start.
    """
    free = free_bytes(results)
    if free < reserve_mb * 2**20:
        raise GlassineError.because(
            "run.no_room",
            results,
            f"The disk is full but for {free // 2**20} MB.",
            f"at least {reserve_mb} MB free (`limits.free_mb`).",
            "Free space on that disk and run again; nothing was started.",
        )
    wanted = int(due_bytes * (_SHARE_OF_MASTERS + (_SHARE_OF_CROPS if crops else 0)))
    if free - reserve_mb * 2**20 >= wanted:
        return None
    return (
        f"{results}: about {wanted // 2**20} MB are due and {free // 2**20} MB are free. What fits "
        "is done; the rest is held until there is room [run.little_room]"
    )
