"""A person's word that something is no longer delivered: written without harm to what stands."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgspec
import pytest

from glassine.base import corrections, settings
from glassine.base.errors import GlassineError
from glassine.base.records.corrections import Withdrawal
from glassine.review import withdraw

ENTRY = {
    "item": "PEH-0004",
    "reason": "given back: the lender's copy",
    "by": "op-07",
    "when": "2026-03-18T08:55:00Z",
}


def with_entry(text: str, entry: dict[str, Any], where: str) -> str:
    return withdraw.with_entry(text, msgspec.convert(entry, Withdrawal), where)


STANDING = """# seen by op-07
corrections:
  - item: PEH-0002  # the quay
    note: left edge
    frames: [{frame: 1, rotate: 90}]
"""


@pytest.fixture
def studio(tmp_path: Path) -> Path:
    batch = tmp_path / "masters" / "b1"
    batch.mkdir(parents=True)
    results = tmp_path / "results" / "b1"
    results.mkdir(parents=True)
    items = [{"item": "PEH-0002"}, {"item": "PEH-0004"}]
    (results / "intake.json").write_text(json.dumps({"items": items}), "utf-8")
    (tmp_path / "config.yaml").write_text("masters: masters\n", "utf-8")
    return tmp_path


def run(studio: Path, item: str, *more: str, by: str = "op-07", reason: str = "given back") -> int:
    own = ["--directory", str(studio), "--configfile", str(studio / "config.yaml")]
    return withdraw.main(["b1", item, "--reason", reason, "--by", by, *more, *own])


def target(studio: Path) -> Path:
    return studio / "masters" / "b1" / corrections.FILE_NAME


@pytest.mark.parametrize(
    "text",
    [
        "",
        "# nothing decided yet\n",
        "corrections: []",
        STANDING,
        f"{STANDING}withdraw:\n- {{item: PEH-0002, reason: lost, by: op-03, "
        'when: "2026-03-17T08:00:00Z"}\n',
        "withdraw: []\n" + STANDING,
        "{corrections: [{item: PEH-0002, note: as it was}]}\n",
    ],
)
def test_an_entry_is_added_and_all_else_stands(text: str) -> None:
    before = settings.parse_yaml(text, "corrections.yaml") or {}
    made = with_entry(text, ENTRY, "corrections.yaml")
    after = settings.parse_yaml(made, "corrections.yaml")
    assert after["withdraw"] == [*before.get("withdraw", []), ENTRY]
    read = corrections.check(after, "corrections.yaml").corrections
    assert read == corrections.check(before, "corrections.yaml").corrections


def test_comments_stay_where_they_are() -> None:
    once = with_entry(STANDING, ENTRY, "corrections.yaml")
    twice = with_entry(once, {**ENTRY, "item": "PEH-0005"}, "corrections.yaml")
    assert twice.startswith(STANDING)
    assert twice.count("withdraw:") == 1


@pytest.mark.parametrize(
    "reason", ["two\nlines", "a  b: {c} # d", "“Ørkind’s” 港", "- [x", "'", '"']
)
def test_any_reason_is_read_back_as_it_was_given(reason: str) -> None:
    made = with_entry(STANDING, {**ENTRY, "reason": reason}, "corrections.yaml")
    assert settings.parse_yaml(made, "c")["withdraw"][0]["reason"] == reason


def test_the_command_writes_the_entry(studio: Path) -> None:
    target(studio).write_text(STANDING, "utf-8")
    assert run(studio, "PEH-0004") == 0
    (entry,) = corrections.read(target(studio)).withdraw
    assert (entry.item, entry.reason, entry.by) == ("PEH-0004", "given back", "op-07")
    assert entry.when.endswith("Z")
    assert target(studio).read_text("utf-8").startswith(STANDING)
    kept = list((studio / "results" / "b1" / "report" / "corrections-before").glob("*.yaml"))
    assert [path.read_text("utf-8") for path in kept] == [STANDING]


@pytest.mark.parametrize(
    ("item", "more", "code"),
    [
        ("PEH-0040", {}, "withdraw.item"),
        ("PEH-0004", {"by": "Orla Vennick"}, "settings.value"),
        ("PEH-0004", {"reason": " "}, "corrections.reason"),
        ("PEH-0004", {"reason": "x\x07"}, "corrections.reason"),
    ],
)
def test_what_is_wrong_is_refused_and_nothing_is_written(
    studio: Path, item: str, more: dict[str, str], code: str, capsys: pytest.CaptureFixture[str]
) -> None:
    target(studio).write_text(STANDING, "utf-8")
    assert run(studio, item, **more) == 2
    assert f"[{code}]" in capsys.readouterr().err
    assert target(studio).read_text("utf-8") == STANDING


def test_the_same_entry_twice_is_refused(studio: Path) -> None:
    assert run(studio, "PEH-0004") == 0
    before = target(studio).read_bytes()
    assert run(studio, "PEH-0004") == 2
    assert target(studio).read_bytes() == before


def test_a_damaged_file_is_left_as_it_is(studio: Path) -> None:
    target(studio).write_text("corrections: [", "utf-8")
    assert run(studio, "PEH-0004") == 2
    assert target(studio).read_text("utf-8") == "corrections: ["


@pytest.mark.parametrize(
    ("entry", "code"),
    [
        ({"item": "PEH-0004", "by": "op-07", "when": ENTRY["when"]}, "settings.value"),
        ({**ENTRY, "master": "../PEH-0004.tif"}, "corrections.path"),
        ({**ENTRY, "master": "PEH-0004.tif", "frames": 2}, "corrections.withdraw"),
        ({**ENTRY, "when": "yesterday"}, "settings.value"),
        ({**ENTRY, "item": "../x"}, "settings.value"),
    ],
)
def test_entries_that_say_too_little_or_too_much_are_refused(
    entry: dict[str, object], code: str
) -> None:
    with pytest.raises(GlassineError) as caught:
        corrections.check({"withdraw": [entry]}, "corrections.yaml")
    assert {finding.code for finding in caught.value.findings} == {code}


def test_saving_a_review_keeps_what_is_withdrawn(studio: Path) -> None:
    from glassine.review import server as review_server

    target(studio).write_text(with_entry(STANDING, ENTRY, "c"), "utf-8")
    results = studio / "results" / "b1"
    session = review_server.Session("b1", results, studio / "masters" / "b1", writable=True)
    entry = {"item": "PEH-0004", "by": "op-03", "note": "seen", "frames": []}
    assert session.save({"corrections": [entry], "seen": {}})["saved"]
    assert msgspec.to_builtins(corrections.read(target(studio)).withdraw) == [ENTRY]
