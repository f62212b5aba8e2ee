"""Make the checkout's own Python environment from the locked, hash-checked packages.

Only the standard library is used here: this runs before anything is installed.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import subprocess
import sys
import venv
from collections.abc import Iterator
from pathlib import Path

CANNOT_WRITE = 73  # as <sysexits.h> has it; the environment cannot be made

try:
    import fcntl
except ImportError:  # Windows itself
    sys.stderr.write(
        "STOPPED This system has no file locks (Python's fcntl), by which two runs keep out of "
        "each other's way. Expected: Linux, or macOS. Next step: on Windows install WSL (wsl "
        "--install), keep checkout, masters and results in its own file system, and start the "
        "command there.\n"
    )
    sys.exit(CANNOT_WRITE)

PROJECT = Path(__file__).resolve().parents[1]
ENVIRONMENT = PROJECT / ".venv"
MINIMUM = (3, 11)
# The larger locks hold all of the first one, at the same versions.
LOCKS = {
    "run": "requirements.lock",
    "test": "requirements-test.lock",
    "cluster": "requirements-cluster.lock",
    "store": "requirements-store.lock",
    "text": "requirements-text.lock",
}

# Packages that are published as sources only. All others are installed as wheels, so that
# nothing is built by tools that no lock names; these are built by those of BUILD_LOCK.
SOURCES = ("bagit", "connection-pool", "pairtree", "pyvips")
BUILD_LOCK = "requirements-build.lock"


def _lock_digest(purpose: str) -> str:
    text = (PROJECT / LOCKS[purpose]).read_bytes() + (PROJECT / BUILD_LOCK).read_bytes()
    version = f"{sys.version_info.major}.{sys.version_info.minor}".encode()
    return hashlib.sha256(text + version).hexdigest()


def _mark(purpose: str) -> Path:
    return ENVIRONMENT / f".installed-{purpose}"


def _is_current(purpose: str) -> bool:
    """Return whether the environment holds what the lock of this purpose (or a larger) says."""
    if not (ENVIRONMENT / "bin" / "python").exists():
        return False
    return any(
        _mark(name).exists() and _mark(name).read_text("utf-8") == _lock_digest(name)
        for name in ({*LOCKS} if purpose == "run" else {purpose})
    )


def _install(purpose: str) -> None:
    _mark(purpose).unlink(missing_ok=True)
    python = ENVIRONMENT / "bin" / "python"
    if not python.exists() or subprocess.run([python, "-c", ""], check=False).returncode:
        print(f"Making {ENVIRONMENT}", flush=True)
        shutil.rmtree(ENVIRONMENT, ignore_errors=True)
        venv.create(ENVIRONMENT, with_pip=True)
    lock = PROJECT / LOCKS[purpose]
    print(f"Installing the packages of {lock.name} (each checked by its hash)", flush=True)
    install_lock(python, lock)
    _mark(purpose).write_text(_lock_digest(purpose), "utf-8")


@contextlib.contextmanager
def _alone() -> Iterator[None]:
    """Hold the lock of those who make or renew the environment."""
    handle = os.open(PROJECT / ".venv.lock", os.O_RDWR | os.O_CREAT, 0o644)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def install_lock(python: Path, lock: Path) -> None:
    """Install the packages of a lock and what builds some of them, each checked by its hash.

    python: that of the environment they go to. Raises CalledProcessError where pip fails.
    """
    command = [python, "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    command += ["--require-hashes", "--no-deps", "--only-binary", ":all:"]
    subprocess.run([*command, "-r", PROJECT / BUILD_LOCK], check=True)
    command += ["--no-binary", ",".join(SOURCES), "--no-build-isolation"]
    # pyvips would be built against a libvips of the machine, where it finds one's headers, in
    # place of the locked one: it is to find none.
    hidden = {**os.environ, "PKG_CONFIG_LIBDIR": os.devnull, "PKG_CONFIG_PATH": os.devnull}
    subprocess.run([*command, "-r", lock], check=True, env=hidden)


def ready(purpose: str) -> Path:
    """Return the environment's `bin` folder, making or renewing the environment where needed.

    purpose: a key of LOCKS. Two callers at once take turns. Ends the process with
    a plain message where Python is too old or a package cannot be had.
    """
    if sys.version_info < MINIMUM:
        sys.stderr.write(
            f"STOPPED Python {sys.version.split()[0]} is too old. Expected: 3.11 or newer. Next "
            "step: install it and start this command with it, e.g. python3.11 scripts/nightly\n"
        )
        sys.exit(CANNOT_WRITE)
    try:
        if not _is_current(purpose):
            with _alone():
                if not _is_current(purpose):
                    _install(purpose)
    except (subprocess.CalledProcessError, OSError) as problem:
        sys.stderr.write(
            f"STOPPED The environment could not be made: {problem}. Expected: a checkout that this "
            "user may write to, Python with venv and pip, and a package index within reach. Next "
            "step: see the lines above, then start again.\n"
        )
        sys.exit(CANNOT_WRITE)
    return ENVIRONMENT / "bin"


def run(bin_dir: Path, command: list[str], shown: list[str] | None = None) -> int:
    """Run a command of the environment; return its exit code. shown: what is printed of it."""
    environment = {**os.environ, "PATH": f"{bin_dir}{os.pathsep}{os.environ.get('PATH', '')}"}
    environment.pop("PYTHONHOME", None)
    environment["VIRTUAL_ENV"] = str(ENVIRONMENT)
    print("$ " + " ".join(shown or command), flush=True)
    return subprocess.run(
        [bin_dir / command[0], *command[1:]], env=environment, check=False
    ).returncode
