"""Questions put to a process of its own, each answered in a fork of it with limits.

A fork inherits the locks that other threads hold at that moment, and hangs on them. This process
has no thread: it loads the question's module, calls its `prepare` where it has one (what each
question would load for itself), waits, and forks for each question. What crashes, hangs or fills
the memory costs one answer.

    python -m glassine.base.helper_process module:function
"""

from __future__ import annotations

import importlib
import json
import os
import subprocess
import sys
from typing import Any

from glassine.base import sandbox


class Apart:
    """Asks `question` ("module:function", of texts, answered in JSON) in a process beside this.

    It is started by the first question and ends with the `with` block, or with this process.
    """

    def __init__(self, question: str) -> None:
        self._question = question
        self._process: subprocess.Popen[str] | None = None

    def _started(self) -> subprocess.Popen[str]:
        if self._process is None:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "glassine.base.helper_process", self._question],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
            )
        return self._process

    def ask(self, *values: str, seconds: float, memory_bytes: int) -> Any | None:
        """Return the answer, or None where it failed, crashed or passed its limits.

        seconds: wall time; memory_bytes: private memory.
        """
        process = self._started()
        assert process.stdin is not None
        assert process.stdout is not None
        asked = {"values": values, "seconds": seconds, "memory_bytes": memory_bytes}
        try:
            process.stdin.write(json.dumps(asked) + "\n")
            process.stdin.flush()
            told = process.stdout.readline()
        except BrokenPipeError:
            told = ""
        if not told:  # the process itself was ended; the next question gets a new one
            self.close()
            return None
        return json.loads(told)

    def close(self) -> None:
        """End the process."""
        if self._process is None:
            return
        for stream in (self._process.stdin, self._process.stdout):
            assert stream is not None
            stream.close()
        self._process.wait()
        self._process = None

    def __enter__(self) -> Apart:
        return self

    def __exit__(self, *problem: object) -> None:
        self.close()


def main() -> None:
    module, _, name = sys.argv[1].partition(":")
    loaded = importlib.import_module(module)
    question = getattr(loaded, name)
    getattr(loaded, "prepare", lambda: None)()
    # Answers go where the asker reads; whatever else prints must not come between.
    answers = os.fdopen(os.dup(1), "w")
    os.dup2(2, 1)
    for line in sys.stdin:
        asked = json.loads(line)

        def answer(values: list[str] = asked["values"]) -> Any:
            return question(*values)

        told = sandbox.answer(answer, asked["seconds"], asked["memory_bytes"])
        answers.write(json.dumps(told) + "\n")
        answers.flush()


if __name__ == "__main__":
    main()
