"""The one door to the files of a batch folder: no link is followed, nothing hangs, all is bounded.

Whoever fills a batch folder decides what lies there under which name. A pipe would keep a reader
waiting for ever, a device fill its memory, a link lead it to somebody else's files. So each name is
looked at (lstat) before it is opened, opened without following or waiting, and looked at again.
"""

from __future__ import annotations

import errno
import os
import stat
import time
from dataclasses import dataclass, field
from io import BufferedReader
from pathlib import Path, PurePosixPath

from glassine.base import naming

# Folders below one another; no studio nests deeper, and each level costs an open folder.
MAX_DEPTH = 40
# Looks at a folder whose entries come and go, and the pause between two of them.
_LOOKS, _PAUSE_S = 3, 0.05

_READ = os.O_RDONLY | os.O_NOCTTY | os.O_NONBLOCK | os.O_CLOEXEC
_FOLDER = os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC


class Refused(OSError):
    """A file that is not opened; `strerror` says in plain words what it is."""

    def __str__(self) -> str:
        return str(self.strerror)


def kind_of(mode: int) -> str | None:
    """Return in words what is no regular file, or None for one that is."""
    if stat.S_ISREG(mode):
        return None
    for is_kind, words in (
        (stat.S_ISLNK, "a symbolic link"),
        (stat.S_ISDIR, "a folder"),
        (stat.S_ISFIFO, "a pipe"),
        (stat.S_ISSOCK, "a socket"),
    ):
        if is_kind(mode):
            return words
    return "a device"


def _check_kind(mode: int) -> None:
    kind = kind_of(mode)
    if kind:
        raise Refused(errno.EINVAL, f"it is {kind}, not a file")


def _parts(path: Path, root: Path) -> tuple[str, ...]:
    try:
        parts = path.relative_to(root).parts
    except ValueError:
        parts = ()
    if not parts or ".." in parts:
        raise Refused(errno.EINVAL, "it is no file inside the batch folder")
    return parts


def _descriptor(path: Path, root: Path | None) -> int:
    """Return a descriptor of the file; raises OSError."""
    if root is None:  # named by the settings, which may use links
        _check_kind(path.stat().st_mode)
        return os.open(path, _READ)
    *folders, name = _parts(path, root)
    folder = os.open(root, os.O_PATH | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        for part in folders:
            try:
                below = os.open(part, os.O_PATH | _FOLDER, dir_fd=folder)
            except NotADirectoryError as problem:
                raise Refused(errno.ENOTDIR, f"on its way, {part} is a link or no folder") from (
                    problem
                )
            os.close(folder)
            folder = below
        _check_kind(os.stat(name, dir_fd=folder, follow_symlinks=False).st_mode)
        return os.open(name, _READ | os.O_NOFOLLOW, dir_fd=folder)
    finally:
        os.close(folder)


def open_file(path: Path, root: Path | None, max_bytes: int | None = None) -> BufferedReader:
    """Return the regular file `path`, opened for reading.

    root: the batch folder; no link is followed below it. None where the settings name the file:
    then links are followed, but what is no regular file is refused all the same.
    Raises OSError; where it is `Refused`, `strerror` says what the file is.
    """
    handle = _descriptor(path, root)
    try:
        status = os.fstat(handle)
        _check_kind(status.st_mode)
        if max_bytes is not None and status.st_size > max_bytes:
            raise Refused(errno.EFBIG, f"it has {status.st_size} bytes, more than {max_bytes}")
        return os.fdopen(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def read_file(path: Path, root: Path | None, max_bytes: int) -> bytes:
    """Return the content of the regular file `path`; see `open_file`."""
    with open_file(path, root, max_bytes) as stream:
        content = stream.read(max_bytes + 1)
    if len(content) > max_bytes:
        raise Refused(errno.EFBIG, f"it grew to more than {max_bytes} bytes while it was read")
    return content


@dataclass(frozen=True)
class Entry:
    """One directory entry: `path` relative to the batch folder (escaped where not UTF-8).

    raw: the path as the system has it. readable: whether this process may read the file, or list
    and enter the folder. place: device and inode. problem: why it cannot be taken in, in plain
    words, or None.
    """

    raw: bytes
    path: str
    name: str
    size: int
    mtime_ns: int
    mode: int
    owner: tuple[int, int]
    place: tuple[int, int]
    readable: bool
    problem: str | None

    @property
    def kind(self) -> str | None:
        return kind_of(self.mode)

    @property
    def plain(self) -> bool:
        """Whether it is a regular file that may be read."""
        return self.kind is None and self.readable

    def mark(self) -> str:
        """Return what changes when the entry, or the right to read it, may have changed."""
        told = (self.path, self.size, self.mtime_ns, self.mode, self.owner, self.readable)
        return repr(told)


@dataclass
class Listing:
    """All entries below a batch folder, sorted by path.

    files: what is no folder. closed: folders that could not be listed or entered, with the reason.
    vanished: names that were listed and could not be looked at, with the reason.
    """

    files: list[Entry] = field(default_factory=list)
    folders: list[Entry] = field(default_factory=list)
    closed: dict[str, str] = field(default_factory=dict)
    vanished: dict[str, str] = field(default_factory=dict)

    def marks(self) -> list[str]:
        """Return what changes when anything in the folder may have changed."""
        told = [entry.mark() for entry in [*self.files, *self.folders]]
        return [*told, repr(sorted(self.closed.items())), repr(sorted(self.vanished.items()))]


def listing(root: Path) -> Listing:
    """Return all that lies below the batch folder; nothing is opened but folders.

    Never raises for what is there: a folder that cannot be listed stands in `closed`.
    """
    found = Listing()
    try:
        handle = os.open(root, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    except OSError as problem:
        found.closed["."] = _words(problem)
        return found
    try:
        _list_folder(handle, b"", found, 0)
    finally:
        os.close(handle)
    found.files.sort(key=lambda entry: entry.path)
    found.folders.sort(key=lambda entry: entry.path)
    return found


def _words(problem: OSError) -> str:
    return str(problem.strerror or problem)


def shown(raw: bytes) -> str:
    """Return a path as text that can be printed and stored, bytes that are no UTF-8 escaped."""
    return raw.decode("utf-8", "backslashreplace")


def _list_folder(handle: int, above: bytes, found: Listing, depth: int) -> None:
    """Add what lies in the opened folder `above` (relative, with its final slash) to `found`."""
    gone: dict[str, str] = {}
    for look in range(_LOOKS):
        gone.clear()
        try:
            names = sorted(os.fsencode(name) for name in os.listdir(handle))
            seen = _look_at(names, handle, above, gone)
        except OSError as problem:  # no right to list it, or to enter it
            found.closed[shown(above[:-1]) or "."] = _words(problem)
            return
        if not gone:
            break
        if look + 1 < _LOOKS:
            time.sleep(_PAUSE_S)
    found.vanished.update(gone)
    for name, entry in seen:
        if not stat.S_ISDIR(entry.mode):
            found.files.append(entry)
            continue
        found.folders.append(entry)
        _enter(name, handle, above, found, depth)


def _look_at(
    names: list[bytes], handle: int, above: bytes, gone: dict[str, str]
) -> list[tuple[bytes, Entry]]:
    seen = []
    for name in names:
        try:
            seen.append((name, _entry(name, handle, above)))
        except PermissionError:
            raise
        except OSError as problem:
            gone[shown(above + name)] = _words(problem)
    return seen


def _enter(name: bytes, handle: int, above: bytes, found: Listing, depth: int) -> None:
    inner = above + name + b"/"
    if depth + 1 >= MAX_DEPTH:
        found.closed[shown(inner[:-1])] = f"it lies more than {MAX_DEPTH} folders deep"
        return
    try:
        below = os.open(name, os.O_RDONLY | _FOLDER, dir_fd=handle)
    except OSError as problem:
        found.closed[shown(inner[:-1])] = _words(problem)
        return
    try:
        _list_folder(below, inner, found, depth + 1)
    finally:
        os.close(below)


def _entry(name: bytes, handle: int, above: bytes) -> Entry:
    status = os.stat(name, dir_fd=handle, follow_symlinks=False)
    path = shown(above + name)
    wanted = os.R_OK | os.X_OK if stat.S_ISDIR(status.st_mode) else os.R_OK
    # The right of the link itself says nothing, and is no matter: it is never followed.
    readable = stat.S_ISLNK(status.st_mode) or os.access(
        name, wanted, dir_fd=handle, effective_ids=True, follow_symlinks=False
    )
    return Entry(
        raw=above + name,
        path=path,
        name=PurePosixPath(path).name,
        size=status.st_size,
        mtime_ns=status.st_mtime_ns,
        mode=status.st_mode,
        owner=(status.st_uid, status.st_gid),
        place=(status.st_dev, status.st_ino),
        readable=readable,
        problem=_problem(above + name, status.st_mode, readable),
    )


def _problem(relative: bytes, mode: int, readable: bool) -> str | None:
    kind = kind_of(mode)
    if kind and not stat.S_ISDIR(mode):
        return f"it is {kind}"
    for part in relative.split(b"/"):
        problem = naming.name_problem(os.fsdecode(part))
        if problem:
            return problem
    if not readable and not stat.S_ISDIR(mode):
        return "the night's user may not read it"
    return None
