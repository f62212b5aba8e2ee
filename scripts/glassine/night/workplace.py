"""Where a run works, by which settings, and what for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Self

from glassine.base import files, folders, settings

# The target that compares a delivery (rules/reproduce.smk).
REPRODUCE = "reproduce"
# The targets that move files from and to object storage (rules/store.smk), and what they move.
MOVES = {"fetch": "masters", "send": "deliveries"}
# Where the masters of the results lie, as the last night had it.
MASTERS_NOTE = "masters.json"


@dataclass(frozen=True)
class Workplace:
    """The folders and the settings of one run.

    config: complete settings. masters: the folder of batch folders. compares: whether this run only
    compares a delivery with what comes out today. moves: what this run only moves from and to
    object storage, keys of MOVES.
    """

    working_dir: Path
    config: dict[str, Any]
    masters: Path
    compares: bool = False
    moves: tuple[str, ...] = ()

    @classmethod
    def of(cls, config: dict[str, Any], working_dir: Path, arguments: Sequence[str] = ()) -> Self:
        """Return the workplace of a run.

        config: the settings as stated; arguments: of the command line. Raises GlassineError where
        settings are wrong.
        """
        complete = settings.load(config)
        return cls(
            working_dir=working_dir,
            config=complete,
            masters=folders.masters_place(complete["masters"], working_dir),
            compares=REPRODUCE in arguments,
            moves=tuple(move for move in MOVES if move in arguments),
        )

    @property
    def works(self) -> bool:
        """Whether the run does a night's work, and does not only compare or move."""
        return not self.compares and not self.moves

    @property
    def results(self) -> Path:
        return self.working_dir / "results"

    @property
    def deliveries(self) -> Path:
        return self.working_dir / "deliveries"

    def note_masters(self) -> None:
        """Note in the results where their masters lie. Raises OSError."""
        files.write_json(self.results / MASTERS_NOTE, {"masters": str(self.masters.resolve())})

    def noted_masters(self) -> Path | None:
        """Return where the last night took masters from; None where none noted it. Raises
        GlassineError where the note cannot be read."""
        path = self.results / MASTERS_NOTE
        return Path(str(files.read_json(path).get("masters"))) if path.exists() else None

    def batch_dir(self, batch: str) -> Path:
        return self.masters / batch

    def results_dir(self, batch: str) -> Path:
        return self.results / batch

    def intake_path(self, batch: str) -> Path:
        return self.results_dir(batch) / "intake.json"
