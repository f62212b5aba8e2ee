"""Nothing is built by tools that no lock names."""

from __future__ import annotations

import os
import re
import subprocess
from pathlib import Path
from typing import Any

import pytest

import setup_environment

PROJECT = Path(__file__).resolve().parents[3]


def entries(name: str) -> dict[str, str]:
    """Return {package: version and hashes} of a lock."""
    text = re.sub(r"\\\n\s*", " ", (PROJECT / name).read_text("utf-8"))
    lines = [line for line in text.splitlines() if line[:1].isalnum()]
    return {line.split("==")[0].lower(): line.split("==", 1)[1] for line in lines}


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> list[tuple[list[str], dict[str, Any]]]:
    made: list[tuple[list[str], dict[str, Any]]] = []

    def run(command: list[Any], **options: Any) -> subprocess.CompletedProcess[str]:
        made.append(([str(word) for word in command], options))
        return subprocess.CompletedProcess(command, 0)

    monkeypatch.setattr(setup_environment.subprocess, "run", run)
    setup_environment.install_lock(Path("/x/bin/python"), PROJECT / "requirements.lock")
    return made


def test_the_build_tools_come_first_as_wheels_by_hash(calls: Any) -> None:
    (tools, _), (packages, _) = calls
    assert tools[-1].endswith("requirements-build.lock")
    assert packages[-1].endswith("requirements.lock")
    for command in (tools, packages):
        assert {"--require-hashes", "--no-deps"} <= {*command}
        assert command[command.index("--only-binary") + 1] == ":all:"
    assert "--no-binary" not in tools


def test_what_has_no_wheel_is_built_by_them_alone(calls: Any) -> None:
    _, (packages, options) = calls
    assert "--no-build-isolation" in packages
    named = packages[packages.index("--no-binary") + 1].split(",")
    assert named == list(setup_environment.SOURCES)
    locked = {name for lock in setup_environment.LOCKS.values() for name in entries(lock)}
    assert set(named) <= locked
    # A libvips of the machine, with its headers, would be linked in place of the locked one.
    assert options["env"]["PKG_CONFIG_LIBDIR"] == options["env"]["PKG_CONFIG_PATH"] == os.devnull


def test_every_tool_is_locked_by_version_and_hash() -> None:
    tools = entries("requirements-build.lock")
    assert {"setuptools", "setuptools-scm", "pkgconfig", "cffi"} <= set(tools)
    for name, rest in tools.items():
        assert re.match(r"\S+ .*--hash=sha256:[0-9a-f]{64}", rest), name


@pytest.mark.parametrize("lock", setup_environment.LOCKS.values())
def test_what_both_locks_hold_has_one_version(lock: str) -> None:
    def versions(name: str) -> dict[str, str]:
        return {package: rest.split()[0] for package, rest in entries(name).items()}

    tools, packages = versions("requirements-build.lock"), versions(lock)
    shared = tools.keys() & packages.keys()
    assert shared
    assert {name: tools[name] for name in shared} == {name: packages[name] for name in shared}


def test_an_environment_is_renewed_when_the_build_lock_changes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in (setup_environment.BUILD_LOCK, setup_environment.LOCKS["run"]):
        (tmp_path / name).write_text(name)
    monkeypatch.setattr(setup_environment, "PROJECT", tmp_path)
    before = setup_environment._lock_digest("run")
    (tmp_path / setup_environment.BUILD_LOCK).write_text("another")
    assert setup_environment._lock_digest("run") != before
