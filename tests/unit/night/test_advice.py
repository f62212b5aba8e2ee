"""What an operator is advised to do fits the file, and the cause, that it is said of."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from glassine.base import files, item_states, record_files, sandbox
from glassine.base.errors import Finding, GlassineError
from glassine.night import supervision

SOURCES = Path(files.__file__).parents[1]


@pytest.mark.parametrize(
    "place",
    [
        "deliveries/harbour.receipt.json",
        "deliveries/receipts/harbour.r2.json",
        "deliveries/harbour/delivery/delivery.json",
        "elsewhere/harbour.receipt.json",
        "masters/harbour/corrections.json",
    ],
)
def test_nobody_is_told_to_delete_what_is_not_made_again(tmp_path, place):
    path = tmp_path / place
    path.parent.mkdir(parents=True)
    for content in ("{", "[]", '{"a": 1, "a": 2}'):
        path.write_text(content, "utf-8")
        with pytest.raises(GlassineError) as refused:
            record_files.read(path, "receipt")
        advice = refused.value.findings[0].next_step
        assert "makes it again" not in advice and "backup" in advice
        assert not re.search(r"(?i)(?<!not )delete|remove|move it away", advice), advice


@pytest.mark.parametrize("name", ["intake.json", "items/PEH-1/fixity.json"])
def test_a_damaged_record_of_a_step_is_made_again(tmp_path, name):
    path = tmp_path / "results" / "harbour" / name
    path.parent.mkdir(parents=True)
    path.write_text("{", "utf-8")
    with pytest.raises(GlassineError) as refused:
        files.read_json(path)
    assert "the next run makes it again" in refused.value.findings[0].next_step


def test_a_record_that_never_was_is_not_to_be_removed(tmp_path):
    with pytest.raises(GlassineError) as refused:
        files.read_json(tmp_path / "results" / "harbour" / "intake.json")
    assert "Run again" in refused.value.findings[0].next_step
    assert "away; the next run" not in refused.value.findings[0].next_step


def _frame(tmp_path, facts):
    return supervision._Frame("report", facts, tmp_path, tmp_path, tmp_path / "x.log", 5.0, None)


@pytest.mark.parametrize(
    ("facts", "named", "other"),
    [
        ({"item": "PEH-1"}, "`limits.seconds`", "batch_seconds"),
        ({"batch": "harbour"}, "`limits.batch_seconds`", "`limits.seconds`"),
        ({"file": "a.tar"}, "`limits.batch_seconds`", "`limits.seconds`"),
    ],
)
def test_the_limit_that_acted_is_the_one_named(tmp_path, facts, named, other):
    late = sandbox.Ending(code=None, signal=None, late=True, abandoned=False)
    finding = supervision._ended("report", _frame(tmp_path, facts), late)
    assert named in finding.expected and named in finding.next_step
    assert other not in finding.sentence()


def test_a_limit_that_does_not_bind_is_not_to_be_raised(tmp_path):
    finding = supervision._unexpected(_frame(tmp_path, {"batch": "harbour"}), MemoryError())
    assert "limits.memory_mb" not in finding.next_step
    assert "the master" not in finding.next_step


def _held(tmp_path, step, findings):
    files.write_json(
        tmp_path / "held.json", {"step": step, "findings": [each.as_dict() for each in findings]}
    )


def test_what_intake_found_is_shown_once_and_as_its_own(tmp_path):
    found = Finding("intake.entry", "a.tif", "It is a link.", "a file.", "Copy it.")
    entry = {"item": "PEH-1", "state": "held", "findings": [found.as_dict()]}
    _held(tmp_path, "verify", [found, found])
    state = item_states.item_status(entry, tmp_path)
    assert (state.step, state.findings) == ("intake", [found])
    other = Finding("verify.digest", "a.tif", "It differs.", "as listed.", "Copy it.")
    _held(tmp_path, "verify", [found, other])
    state = item_states.item_status(entry, tmp_path)
    assert (state.step, state.findings) == ("verify", [found, other])


def _texts(node: ast.AST) -> list[str]:
    return [
        each.value
        for each in ast.walk(node)
        if isinstance(each, ast.Constant) and isinstance(each.value, str)
    ]


def _finding_texts() -> list[tuple[str, str]]:
    """Return (place, text) of every text in a call that makes a finding."""
    found = []
    for path in sorted(SOURCES.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            name = getattr(getattr(node, "func", None), "attr", "") or getattr(
                getattr(node, "func", None), "id", ""
            )
            if name in {"Finding", "because", "_hold", "_finding"}:
                found += [(f"{path.name}:{node.lineno}", text) for text in _texts(node)]
    return found


def test_findings_are_in_plain_trade_english():
    texts = _finding_texts()
    assert len(texts) > 400  # the look goes through the package
    odd = [(where, text) for where, text in texts if re.search(r"(?i)\bmend|leaves with", text)]
    assert odd == []


def test_no_finding_shows_a_pattern_as_what_was_expected():
    for path in SOURCES.rglob("*.py"):
        assert ".pattern.pattern" not in path.read_text("utf-8"), path.name
