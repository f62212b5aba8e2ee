"""The engine's errors reach the terminal where no step told the reason, and only there."""

from __future__ import annotations

import io
import logging
from collections.abc import Iterator
from pathlib import Path

import pytest

from glassine.night.engine_words import EngineWords, wants_all


class Terminal:
    def __init__(self, root: Path) -> None:
        self.root, self.shown = root, io.StringIO()
        self.log = logging.Logger("engine")
        self.log.addHandler(logging.StreamHandler(self.shown))
        self.file = logging.FileHandler(root / "engine.log")
        self.log.addHandler(self.file)
        self.words = EngineWords(root)
        self.words.attach(self.log)

    def job_fails(self, item: str, held: bool) -> None:
        folder = self.root / "results" / "b1" / "items" / item
        folder.mkdir(parents=True)
        if held:
            (folder / "held.json").write_text("{}", "utf-8")
        output = [f"results/b1/items/{item}/done.json"]
        self.log.error("Error in rule item %s", item, extra={"jobid": 1, "output": output})
        self.log.error("RuleException of %s", item)

    def text(self) -> str:
        return self.shown.getvalue()


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    made = Terminal(tmp_path)
    yield made
    made.file.close()


def test_chatter_stays_in_the_log(terminal: Terminal) -> None:
    terminal.log.setLevel(logging.INFO)
    terminal.log.info("Select jobs to execute...")
    terminal.log.warning("The disk is slow.")
    terminal.words.show()
    assert terminal.text() == "The disk is slow.\n"
    terminal.file.flush()
    assert "Select jobs" in (terminal.root / "engine.log").read_text("utf-8")


def test_what_a_step_told_is_not_told_again(terminal: Terminal) -> None:
    terminal.job_fails("a", held=True)
    terminal.job_fails("b", held=True)
    terminal.words.show()
    terminal.log.error("WorkflowError: At least one job did not complete successfully.")
    terminal.words.show()
    assert terminal.text() == ""


def test_a_failure_that_nothing_explains_is_told_with_all_that_the_engine_says(
    terminal: Terminal,
) -> None:
    terminal.job_fails("a", held=True)
    terminal.job_fails("b", held=False)
    terminal.words.show()
    assert "Error in rule item b" in terminal.text()
    assert "RuleException of b" in terminal.text()
    assert "Error in rule item a" not in terminal.text()
    terminal.words.show()
    assert terminal.text().count("Error in rule item b") == 1


def test_an_error_of_the_engine_itself_is_told(terminal: Terminal) -> None:
    terminal.log.error("MissingInputException in rule films")
    assert terminal.text() == ""
    terminal.words.show()
    assert "MissingInputException" in terminal.text()


def test_who_asks_for_more_hears_all() -> None:
    assert wants_all(["--cores", "2", "--verbose"]) and wants_all(["-p"])
    assert not wants_all(["--quiet", "rules"])
