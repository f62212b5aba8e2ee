"""What scripts/nightly answers where it cannot start: one plain sentence and a code for each.

The codes are those of <sysexits.h> (FreeBSD and glibc): 64 EX_USAGE, 66 EX_NOINPUT, 73
EX_CANTCREAT, 77 EX_NOPERM, 78 EX_CONFIG.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

import pytest

from makers.studio import PROJECT

NOBODY = 65534


def nightly(root: Path, *arguments: str, user: int | None = None) -> tuple[int, str]:
    command = [str(PROJECT / "scripts" / "nightly"), *arguments]
    if user is not None:
        ids = [f"--reuid={user}", f"--regid={user}", "--clear-groups"]
        command = ["setpriv", *ids, *command]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, cwd=root)
    return done.returncode, done.stdout + done.stderr


def refused(root: Path, *arguments: str, user: int | None = None) -> tuple[int, str]:
    """Return the exit code and the one sentence that the command answered."""
    code, text = nightly(root, *arguments, user=user)
    assert "Traceback" not in text and "WorkflowError" not in text, text
    told = [line for line in text.splitlines() if line.startswith("STOPPED ")]
    assert len(told) == 1, text
    return code, told[0]


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A folder with files of settings that are none, and a masters folder."""
    (tmp_path / "masters").mkdir()
    (tmp_path / "list.yaml").write_text("- a\n- b\n", "utf-8")
    (tmp_path / "broken.yaml").write_text("masters: [\n", "utf-8")
    (tmp_path / "bytes.yaml").write_bytes(b"\xff\xfe\x00\x80")
    (tmp_path / "twice.yaml").write_text("masters: a\nmasters: b\n", "utf-8")
    (tmp_path / "wrong.yaml").write_text("mastres: masters\n", "utf-8")
    (tmp_path / "folder.yaml").mkdir()
    os.mkfifo(tmp_path / "fifo.yaml")
    (tmp_path / "file").write_text("x", "utf-8")
    return tmp_path


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["--configfile", "none.yaml"], 78, "none.yaml does not exist"),
        (["--configfile", "fifo.yaml"], 78, "fifo.yaml is no plain file"),
        (["--configfile", "folder.yaml"], 78, "folder.yaml is no plain file"),
        (["--configfile", "list.yaml"], 78, "list.yaml holds no settings"),
        (["--configfile", "broken.yaml"], 78, "broken.yaml: This file cannot be read"),
        (["--configfile", "bytes.yaml"], 78, "bytes.yaml: This file cannot be read"),
        (["--configfile", "twice.yaml"], 78, "'masters' stands twice"),
        (["--configfile", "wrong.yaml"], 78, "mastres"),
        (["--directory", "file"], 73, "file: Nothing can be written here"),
        (["--directory"], 64, "--directory"),
        (["--frobnicate"], 64, "--frobnicate"),
        (["--cores", "many"], 64, "--cores"),
        (["--config", "nonsense"], 64, "'nonsense'"),
        (["--config", "1x=2"], 64, "'1x=2'"),
        (["--config", "batches=5"], 78, "batches: 5 is not of type 'array'"),
        (["--config", "verify=yes"], 78, "verify"),
        (["--item"], 64, "--item"),
        (["--item", "--cores", "1"], 64, "--item"),
        (["--item", "../x"], 64, "'../x'"),
    ],
)
def test_what_cannot_start_is_told_in_one_sentence(place, arguments, code, words):
    given = arguments if "--directory" in arguments else [*arguments, "--directory", "out"]
    found, told = refused(place, *given)
    assert (found, words in told) == (code, True), told


def test_help_ends_with_0(place):
    code, text = nightly(place, "--help")
    assert (code, "--item" in text) == (0, True)


@pytest.fixture
def foreign():
    """A folder that another user than root may enter, with folders that are root's alone."""
    if os.geteuid() != 0 or not shutil.which("setpriv"):
        pytest.skip("needs root, to become another user")
    # Not in tmp_path: every start of pytest closes that to others.
    with tempfile.TemporaryDirectory() as made:
        root = Path(made)
        root.chmod(0o755)
        (root / "mine").mkdir()
        os.chown(root / "mine", NOBODY, NOBODY)
        (root / "closed").mkdir(mode=0o700)
        (root / "mine" / "masters" / "shut").mkdir(parents=True)
        (root / "mine" / "masters" / "shut").chmod(0o700)
        (root / "secret.yaml").write_text("masters: masters\n", "utf-8")
        (root / "secret.yaml").chmod(0o600)
        yield root


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["--directory", "closed"], 73, "closed: Nothing can be written here"),
        (["--directory", "closed/new"], 73, "closed/new: Nothing can be written here"),
        (["--directory", "mine", "--configfile", "secret.yaml"], 78, "secret.yaml"),
        ([], 73, "Nothing can be written here"),
    ],
)
def test_rights_that_lack_are_told_to_whoever_runs_it(foreign, arguments, code, words):
    found, told = refused(foreign, *arguments, user=NOBODY)
    assert (found, words in told) == (code, True), told


def test_masters_that_may_not_be_listed_are_told(foreign):
    closed = ["--directory", "mine", "--config", f"masters={foreign}/closed"]
    code, text = nightly(foreign, *closed, user=NOBODY)
    assert code == 77, text
    assert "The folder of masters cannot be listed: Permission denied" in text
    assert "Traceback" not in text
    code, text = nightly(foreign, "--directory", "mine", "--config", "masters=masters", user=NOBODY)
    assert code == 77, text
    assert "shut: This batch folder cannot be listed: Permission denied" in text
