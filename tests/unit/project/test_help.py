"""Each script says what it is for: `--help` ends with 0."""

import subprocess
import sys

import pytest

from glassine.base import settings

SCRIPTS = settings.PROJECT / "scripts"
# What stands there as a command, and what the interpreter starts.
COMMANDS = [
    "film-stocks",
    "nightly",
    "progress",
    "review",
    "service",
    "tidy",
    "upgrade",
    "withdraw",
]
MODULES = sorted(path.name for path in SCRIPTS.glob("*.py") if path.name != "setup_environment.py")


def started(name, *arguments):
    return subprocess.run(
        [sys.executable, str(SCRIPTS / name), *arguments],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


@pytest.mark.parametrize("name", [*COMMANDS, *MODULES])
def test_help_is_given(name):
    done = started(name, "--help")
    assert done.returncode == 0, done.stderr
    assert len(done.stdout.split()) > 8
    assert "Traceback" not in done.stderr


def test_a_rules_script_started_by_hand_says_what_it_is():
    done = started("intake_batch.py")
    assert done.returncode == 64
    assert done.stderr.startswith("STOPPED A rule of the workflow runs this")


def test_a_wrong_key_is_told_of_the_file_that_has_it(tmp_path):
    (tmp_path / "maps.yaml").write_text("nameing: {pattern: x}\n")
    done = started("engine.py", "--configfile", str(tmp_path / "maps.yaml"))
    assert done.returncode == 78
    assert f"STOPPED {tmp_path}/maps.yaml: There is no key `nameing`." in done.stderr
