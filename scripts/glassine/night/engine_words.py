"""What of the engine's words reaches the terminal: only what no step of ours has told already.

The engine tells of each job and repeats each failure as an error of its own; a held item has its
reason in plain words. All of the engine's words stand in its log below `.snakemake/log`. What it
says of a failure that no `held.json` explains is shown, at the end of the run or of the process,
whichever comes first.
"""

from __future__ import annotations

import logging
from collections.abc import Sequence
from pathlib import Path
from typing import Any

# Who asks the engine to say more hears the engine itself.
_ASKED = {"--verbose", "--printshellcmds", "-p", "--show-failed-logs", "--debug-dag"}


def wants_all(arguments: Sequence[str]) -> bool:
    """Return whether the command line asks the engine to tell more."""
    return not _ASKED.isdisjoint(arguments)


class EngineWords(logging.Filter):
    """Keeps the engine's errors back until it is known whether they are explained."""

    def __init__(self, working_dir: Path) -> None:
        super().__init__()
        self._working_dir = working_dir
        self._kept: list[logging.LogRecord] = []
        self._jobs: list[logging.LogRecord] = []
        self._handlers: list[logging.StreamHandler[Any]] = []

    def attach(self, log: logging.Logger) -> None:
        """Stand before what the engine writes to the terminal; its log file is left alone."""
        for handler in log.handlers:
            if isinstance(handler, logging.StreamHandler) and not isinstance(
                handler, logging.FileHandler
            ):
                handler.addFilter(self)
                self._handlers.append(handler)

    def filter(self, record: logging.LogRecord) -> bool:
        if record.levelno >= logging.ERROR:
            self._kept.append(record)
            return False
        return record.levelno >= logging.WARNING

    def _is_explained(self, record: logging.LogRecord) -> bool:
        """Return whether the step of a failed job told its reason beside the job's outputs."""
        outputs = [str(output).split(" ")[0] for output in getattr(record, "output", None) or []]
        folders = [(self._working_dir / output).parent for output in outputs]
        return any((folder / "held.json").is_file() for folder in folders)

    def _unexplained(self) -> list[logging.LogRecord]:
        """Return the errors to show: of jobs that told nothing, and then of the engine too.

        Where each failed job told its reason, what the engine says beside them sums them up.
        """
        new = [record for record in self._kept if hasattr(record, "jobid")]
        self._jobs += new
        alone = [record for record in self._jobs if not self._is_explained(record)]
        if self._jobs and not alone:
            return []
        return [record for record in self._kept if record in alone or record not in new]

    def show(self) -> None:
        """Write what is not explained to the terminal, each once: where the run ends, and again
        where its process does."""
        shown, self._kept = self._unexplained(), []
        for handler in self._handlers:
            handler.removeFilter(self)
            for record in shown:
                handler.handle(record)
            handler.addFilter(self)
