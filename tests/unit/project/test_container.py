"""The Containerfile by its own lines: what goes into the image is there, and it is run by no root.

It was built by no engine here; a night with what it copies is in `tests/workflow`.
"""

import fnmatch
import json
import re
import shlex
import subprocess
import sys

import pytest

from glassine.base import settings

PROJECT = settings.PROJECT
# Needed at run time: what the commands read of the checkout.
NEEDED = {"Snakefile", "config", "profiles", "rules", "scripts", "requirements.lock"}


def steps():
    """Yield (instruction, rest) of each step; lines that end with a backslash go on."""
    text = re.sub(r"\\\n", " ", (PROJECT / "Containerfile").read_text("utf-8"))
    for line in text.splitlines():
        if line.strip() and not line.startswith("#"):
            name, _, rest = line.partition(" ")
            yield name, rest.strip()


STEPS = list(steps())


def of(name):
    return [rest for each, rest in STEPS if each == name]


def test_only_known_instructions_are_used():
    known = {"ARG", "FROM", "WORKDIR", "COPY", "RUN", "ENV", "USER", "VOLUME", "ENTRYPOINT", "CMD"}
    assert {name for name, _ in STEPS} <= known


def test_the_base_is_pinned_by_a_tag_of_the_smallest_python_that_is_asked_for():
    (base,) = [rest.partition("=")[2] for rest in of("ARG") if rest.startswith("BASE=")]
    assert of("FROM") == ["${BASE}"]
    assert re.fullmatch(r"docker\.io/library/python:3\.\d+-slim-[a-z]+", base)
    import setup_environment

    version = tuple(map(int, re.findall(r"\d+", base.partition(":")[2])[:2]))
    assert version >= setup_environment.MINIMUM


def test_what_is_copied_is_there_and_all_that_is_needed_is_copied():
    copied = [word for rest in of("COPY") for word in shlex.split(rest)[:-1]]
    assert [name for name in copied if not (PROJECT / name).exists()] == []
    assert {*copied} >= NEEDED
    ignored = (PROJECT / ".containerignore").read_text("utf-8").split()
    assert not [name for name in copied if any(fnmatch.fnmatch(name, each) for each in ignored)]
    assert all(not name.startswith(("tests", "sample_masters")) for name in copied)


def test_packages_come_by_the_locks_alone():
    (run,) = [each for each in of("RUN") if "compileall" not in each]
    assert "pip" not in run
    words = shlex.split(run)
    code = words[words.index("-c") + 1]
    import setup_environment

    assert re.findall(r"ready\('(\w+)'\)", code) == ["run"]
    assert "run" in setup_environment.LOCKS


def test_it_is_run_by_no_root_and_the_command_is_the_nights():
    order = [name for name, _ in STEPS]
    (user,) = of("USER")
    assert re.fullmatch(r"[1-9]\d{3,}:[1-9]\d{3,}", user)
    assert order.index("USER") > max(place for place, name in enumerate(order) if name == "RUN")
    entry = json.loads(of("ENTRYPOINT")[0])
    (root,) = of("WORKDIR")
    assert entry[1] == f"{root}/scripts/nightly"
    assert (PROJECT / "scripts" / "nightly").exists()
    assert entry[2:] == ["--directory", of("VOLUME")[0]]


def test_a_user_without_a_name_has_one():
    """By getpass, which the engine asks: a number that no passwd knows ends it otherwise."""
    names = {word.partition("=")[0] for rest in of("ENV") for word in shlex.split(rest)}
    assert {"LOGNAME", "XDG_CACHE_HOME", "HOME"} <= names


def test_the_guide_starts_it_with_a_root_that_is_read_only():
    text = (PROJECT / "scripts" / "SERVICE.md").read_text("utf-8")
    (line,) = [each for each in text.splitlines() if each.startswith("podman run")]
    assert {"--read-only", "--tmpfs", "--network=none"} <= {*shlex.split(line.rstrip("\\"))}


@pytest.mark.parametrize("command", ["nightly", "progress"])
def test_where_there_are_no_file_locks_a_sentence_says_what_works(command):
    """As on Windows without its Linux: Python has no fcntl there."""
    code = (
        "import runpy, sys; sys.modules['fcntl'] = None; sys.path.insert(0, 'scripts'); "
        f"sys.argv = ['{command}', '--help']; "
        f"runpy.run_path('scripts/{command}', run_name='__main__')"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=PROJECT, capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 73
    assert done.stderr.startswith("STOPPED This system has no file locks")
    assert "WSL" in done.stderr and "Traceback" not in done.stderr
