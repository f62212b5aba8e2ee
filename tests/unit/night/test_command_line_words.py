"""A wrong word on the command line is one sentence with an exit code, and never a traceback."""

import os
import subprocess
import sys

import pytest

from glassine.base import settings

SCRIPTS = settings.PROJECT / "scripts"


def run(script, *arguments, cwd):
    return subprocess.run(
        [sys.executable, str(SCRIPTS / script), *arguments],
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(SCRIPTS)},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["--explain"], 64, "--explain"),
        (["--explain", "nowhere"], 64, "no such folder"),
        (["--explain", ".", "--frob"], 64, "--frob"),
        (["--explain", ".", "--config", "x"], 64, "--config"),
        (["--explain", ".", "--configfile", "nowhere.yaml"], 78, "nowhere.yaml"),
        (["--explain", ".", "--configfile", "broken.yaml"], 78, "broken.yaml"),
        (["--explain", ".", "--configfile", "list.yaml"], 78, "list.yaml"),
        (["--explain", ".", "--config", "frob=1"], 78, "frob"),
    ],
)
def test_a_dry_look_refuses_in_one_sentence(tmp_path, arguments, code, words):
    (tmp_path / "broken.yaml").write_text("naming: {pattern: [\n")
    (tmp_path / "list.yaml").write_text("- naming\n")
    done = run("explain_batch.py", *arguments, cwd=tmp_path)
    assert done.returncode == code, done.stderr
    assert done.stderr.startswith("STOPPED ")
    assert words in done.stderr
    assert done.stderr.count("\n") == 1
    assert done.stdout == ""


@pytest.mark.parametrize("word", ["harbour-2026-03", "fetsh", "index.html", "/etc/passwd"])
def test_a_name_that_nothing_makes_is_refused_in_one_sentence(tmp_path, word):
    done = run("engine.py", "--snakefile", str(settings.PROJECT / "Snakefile"), word, cwd=tmp_path)
    assert done.returncode == 64
    assert done.stderr.startswith(f"STOPPED There is nothing named '{word}'")
    assert done.stderr.count("\n") == 1
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("arguments", [["--help"], ["-h"], ["--explain", "x", "--help"]])
def test_help_ends_with_0(tmp_path, arguments):
    done = run("nightly", *arguments, cwd=tmp_path)
    assert done.returncode == 0
    assert "--explain FOLDER" in done.stdout
