"""The image holds the project's modules compiled: its root is read-only, so no process keeps them."""

import json
import re
import shutil
import subprocess
import sys

from glassine.base import settings

TEXT = (settings.PROJECT / "Containerfile").read_text("utf-8")
STEPS = [line for line in re.sub(r"\\\n", " ", TEXT).splitlines() if re.match(r"[A-Z]+ ", line)]


def place_of(wanted):
    (place,) = [place for place, line in enumerate(STEPS) if re.match(wanted, line)]
    return place


def test_modules_are_compiled_when_all_is_there_and_before_the_user_who_may_not_write():
    compiled = place_of(r"RUN .*compileall")
    # By the interpreter of the environment, which exists then: bytecode is of one version of it.
    assert place_of(r"RUN .*setup_environment") < compiled < place_of("USER ")
    assert place_of(r"COPY scripts ") < compiled
    # With this set, Python would not write at build either.
    assert compiled < place_of(r"ENV .*PYTHONDONTWRITEBYTECODE=1")


def test_the_step_compiles_the_package(tmp_path):
    package = tmp_path / "scripts" / "glassine" / "base"
    package.mkdir(parents=True)
    shutil.copy(settings.PROJECT / "scripts" / "glassine" / "base" / "exits.py", package)
    command = json.loads(STEPS[place_of(r"RUN .*compileall")].removeprefix("RUN "))
    subprocess.run([sys.executable, *command[1:]], cwd=tmp_path, check=True, timeout=60)
    assert len([*package.rglob("exits.*.pyc")]) == 1
