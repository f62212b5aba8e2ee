"""Questions about files, put to a process that has done nothing before.

`confine.answer` forks; a test process has threads of libraries (pixels, a browser) whose locks a
fork would inherit. Here a process of its own does the forking, as the pipeline's jobs do.

    python tests/apart.py module:function seconds memory_bytes
"""

from __future__ import annotations

import importlib
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

TESTS = Path(__file__).parent


class Apart:
    """Asks `question` ("module:function", strings in, JSON out), each time in a fork with limits.

    seconds: wall time for one answer; memory_bytes: private memory of one answer.
    """

    def __init__(self, question: str, seconds: float, memory_bytes: int) -> None:
        command = [sys.executable, __file__, question, str(seconds), str(memory_bytes)]
        self._process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def ask(self, *values: str) -> Any | None:
        """Return the answer, or None where it failed, crashed or passed its limits."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(values) + "\n")
        self._process.stdin.flush()
        return json.loads(self._process.stdout.readline())

    def __enter__(self) -> Apart:
        return self

    def __exit__(self, *problem: object) -> None:
        assert self._process.stdin is not None
        self._process.stdin.close()
        self._process.wait()
        assert self._process.stdout is not None
        self._process.stdout.close()


def main() -> None:
    sys.path[:0] = [str(TESTS), str(TESTS.parent / "scripts")]
    from glassine import confine

    module, _, name = sys.argv[1].partition(":")
    question = getattr(importlib.import_module(module), name)
    seconds, memory_bytes = float(sys.argv[2]), int(sys.argv[3])
    for line in sys.stdin:
        values = json.loads(line)
        told = confine.answer(lambda values=values: question(*values), seconds, memory_bytes)
        print(json.dumps(told), flush=True)


if __name__ == "__main__":
    main()
