"""corrections.yaml: what a person may say, and what is refused with which code."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from glassine.base import corrections
from glassine.base.errors import GlassineError
from glassine.base.records.corrections import Correction

SQUARE = [[10, 10], [90, 12], [88, 70], [9, 68]]


def written(folder: Path, text: str) -> Path:
    path = folder / "corrections.yaml"
    path.write_text(text, "utf-8")
    return path


def entry(**changed: Any) -> dict[str, Any]:
    return {"item": "PEH-0412", "frames": [{"frame": 1, "corners": SQUARE}], **changed}


def _cornered(corners: str) -> str:
    return f"corrections: [{{item: A, frames: [{{frame: 1, corners: {corners}}}]}}]"


def codes(problem: pytest.ExceptionInfo[GlassineError]) -> set[str]:
    return {finding.code for finding in problem.value.findings}


def refused(*entries: Any) -> set[str]:
    with pytest.raises(GlassineError) as problem:
        corrections.check({"corrections": list(entries)}, "corrections.yaml")
    assert all(finding.next_step for finding in problem.value.findings)
    return codes(problem)


def test_the_worked_example_is_read(tmp_path: Path) -> None:
    text = """
corrections:
  - item: PEH-0412
    by: op-07
    when: "2026-03-18T08:55:00Z"
    note: "left edge moved to the rebate"
    identity: null
    frames:
      - master: PEH-0412.tif
        frame: 2
        corners: [[10, 10.5], [90, 12], [88, 70], [9, 68]]
        rotate: 90
        mirror: true
        polarity: negative
        process: monochrome
        exclude: true
        blank: false
  - item: PEH-0413
"""
    read = msgspec.to_builtins(corrections.read(written(tmp_path, text)).corrections)
    assert list(read) == ["PEH-0412", "PEH-0413"]
    assert read["PEH-0412"]["by"] == "op-07"
    assert read["PEH-0412"]["frames"][0]["corners"][0] == [10, 10.5]
    assert read["PEH-0413"] == {
        "by": None,
        "when": None,
        "note": None,
        "identity": None,
        "frames": [],
    }


@pytest.mark.parametrize("text", ["", "# nothing decided yet\n", "corrections: []\n"])
def test_an_empty_file_says_nothing(tmp_path: Path, text: str) -> None:
    assert corrections.read(written(tmp_path, text)).corrections == {}


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("a list at the top", "- item: PEH-1\n"),
        ("an unknown key", "corrections: []\nextra: 1\n"),
        ("an unknown frame key", "corrections: [{item: A, frames: [{frame: 1, crop: 3}]}]"),
        ("an id that climbs", "corrections: [{item: ../A}]"),
        ("an id that is a number", "corrections: [{item: 412}]"),
        ("three corners", _cornered("[[1, 1], [2, 1], [2, 2]]")),
        ("a turn of 45", "corrections: [{item: A, frames: [{frame: 1, rotate: 45}]}]"),
        ("frame nought", "corrections: [{item: A, frames: [{frame: 0}]}]"),
        ("yes as text", 'corrections: [{item: A, frames: [{frame: 1, mirror: "yes"}]}]'),
        ("a person's name", "corrections: [{item: A, by: Orla Vennick}]"),
        ("a time without zone", 'corrections: [{item: A, when: "2026-03-18 08:55"}]'),
        ("a long note", f"corrections: [{{item: A, note: {'x' * 2001}}}]"),
        ("far away", _cornered("[[0, 0], [1.0e+9, 0], [9, 9], [0, 9]]")),
    ],
)  # fmt: skip
def test_what_is_off_the_schema_is_refused(tmp_path: Path, name: str, text: str) -> None:
    with pytest.raises(GlassineError) as problem:
        corrections.read(written(tmp_path, text))
    assert codes(problem) == {"settings.value"}


@pytest.mark.parametrize(
    "text",
    [
        "corrections: !!python/object/apply:os.system ['true']",
        "a: &a [x, x]\ncorrections: [*a, *a]",
        "corrections: []\ncorrections: []",
        "corrections: [",
        "\x00",
    ],
)
def test_yaml_tricks_are_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(GlassineError) as problem:
        corrections.read(written(tmp_path, text))
    assert codes(problem) == {"settings.yaml"}


@pytest.mark.parametrize(
    ("name", "corners"),
    [
        ("crossed", [[0, 0], [90, 90], [90, 0], [0, 90]]),
        ("anticlockwise", [[0, 0], [0, 90], [90, 90], [90, 0]]),
        ("on one line", [[0, 0], [50, 0], [90, 0], [0, 90]]),
        ("hollow", [[0, 0], [90, 0], [20, 20], [0, 90]]),
        ("a speck", [[0, 0], [2, 0], [2, 2], [0, 2]]),
        ("not a number", [[0, 0], [90, 0], [90, float("nan")], [0, 90]]),
    ],
)
def test_corners_that_bound_no_picture_are_refused(name: str, corners: Any) -> None:
    assert refused(entry(frames=[{"frame": 1, "corners": corners}])) == {"corrections.corners"}


def test_every_mistake_is_told_at_once() -> None:
    found = refused(
        entry(),
        entry(note="bell \x07"),
        entry(item="PEH-2", frames=[{"frame": 1}, {"frame": 1}]),
        entry(item="PEH-3", frames=[{"frame": 1, "master": "../PEH-3.tif"}]),
        entry(item="PEH-4", identity={"master": "/etc/scan.tif", "item": "PEH-4"}),
    )
    assert found == {
        "corrections.item_twice",
        "corrections.note",
        "corrections.frame_twice",
        "corrections.path",
    }


_points = st.floats(-1000, 50_000, allow_nan=False).map(lambda value: round(value, 2))
_frames = st.fixed_dictionaries(
    {"frame": st.integers(1, 999)},
    optional={
        "master": st.sampled_from(["PEH-1.tif", "roll 3/é #1.tif"]),
        "rotate": st.sampled_from([0, 90, 180, 270]),
        "mirror": st.booleans(),
        "polarity": st.sampled_from(["negative", "positive"]),
        "exclude": st.booleans(),
        "accept": st.booleans(),
        "corners": st.builds(
            lambda x, y: [[x, y], [x + 500, y + 3], [x + 490, y + 300], [x - 5, y + 310]],
            _points,
            _points,
        ),
    },
)
_notes = st.text(st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\ufffe\uffff"))


@settings(max_examples=50)
@given(
    st.dictionaries(
        st.from_regex(r"PEH-[0-9]{1,4}", fullmatch=True),
        st.fixed_dictionaries(
            {
                "by": st.sampled_from([None, "op-07"]),
                "when": st.sampled_from([None, "2026-03-18T08:55:00Z"]),
                "note": st.one_of(st.none(), _notes.filter(bool)),
                "identity": st.sampled_from([None, {"master": "scan 1.tif", "item": "PEH-1"}]),
                "frames": st.lists(
                    _frames, max_size=3, unique_by=lambda each: each["frame"]
                ),
            }
        ),
        max_size=3,
    )
)  # fmt: skip
def test_what_is_written_reads_back_the_same(decided: dict[str, Any]) -> None:
    import yaml

    typed = msgspec.convert(decided, dict[str, Correction])
    text = corrections.as_text(typed)
    assert corrections.check(yaml.safe_load(text), "corrections.yaml").corrections == typed


def test_merging_touches_only_the_named_items() -> None:
    old = corrections.check({"corrections": [entry(), entry(item="PEH-2")]}, "x").corrections
    new = corrections.check({"corrections": [entry(note="seen")]}, "x").corrections
    result, changed = corrections.merged(old, new)
    assert changed == ["PEH-0412"]
    assert result["PEH-2"] == old["PEH-2"]
    assert result["PEH-0412"].note == "seen"


def test_a_correction_that_says_nothing_goes_back_to_what_is_measured() -> None:
    old = corrections.check({"corrections": [entry()]}, "x").corrections
    nothing = [{"item": "PEH-0412", "by": "op-07"}]
    new = corrections.check({"corrections": nothing}, "x").corrections
    assert corrections.merged(old, new) == ({}, ["PEH-0412"])


def test_the_schema_is_itself_valid() -> None:
    import jsonschema

    path = Path(corrections.__file__).parent / "schemas" / "corrections.schema.json"
    jsonschema.Draft202012Validator.check_schema(json.loads(path.read_text("utf-8")))
