"""A process that answers questions in forks loads once what each of them needs."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from glassine.base.helper_process import Apart

QUESTION = """
import os
ready = []
def prepare():
    ready.append(os.getpid())
def asked(text):
    return [text, len(ready), ready[0] == os.getppid()]
"""


def test_what_a_question_prepares_is_there_in_each_fork(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "asks.py").write_text(QUESTION)
    monkeypatch.syspath_prepend(str(tmp_path))
    with Apart("asks:asked") as reader:
        told = [reader.ask(text, seconds=20, memory_bytes=2**30) for text in "ab"]
    assert told == [["a", 1, True], ["b", 1, True]]


def test_preparing_for_labels_starts_no_thread_whose_locks_a_fork_would_inherit() -> None:
    code = (
        "import json, os, sys; from glassine.masters import alike; alike.prepare();"
        "print(json.dumps([len(os.listdir('/proc/self/task')), 'tifffile' in sys.modules]))"
    )
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, check=True)
    assert json.loads(done.stdout) == [1, True]
