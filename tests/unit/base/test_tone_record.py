"""A tone goes to render.json and comes back whole; what is no tone is refused, nothing dropped."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgspec
import pytest

from glassine.base import files, item_states, tone
from glassine.base.tone import NOT_MEASURED, AnyTone, Shoulder, StatedEncoding
from makers import tones

# As the sample batch's render.json has it: written out, so that no change of the types moves it.
NEGATIVE = """{
  "balance": [0.01, 0.0, -0.01], "bands": 3, "bits": 16, "channels": [0, 1, 2],
  "clipped_percent": {
    "master_high": 0.0, "master_low": 0.0, "rendered_high": 0.006078, "rendered_low": 0.0
  },
  "dmin": [0.23, 0.5, 0.81], "dmin_source": "film base, 20 region(s)",
  "encoding": {"by": "profile", "kind": "matrix", "name": "Capture RGB",
    "sha256": "0000000000000000000000000000000000000000000000000000000000000000"},
  "exposure": -2.144821, "master_bands": 3, "matrix": null, "process": "colour",
  "rendering": "negative, colour", "review": ["Look."], "shoulder": {"start": 0.85, "top": 1.2},
  "slopes": [0.6, 0.61, 0.62], "slopes_source": "batch.yaml", "toe": 0, "version": "5"
}"""
POSITIVE = """{
  "bands": 1, "bits": 8, "black": 0, "black_point_compensation": true, "channels": [0],
  "clipped_percent": {
    "master_high": 0.0, "master_low": 0.0, "rendered_high": 0.0, "rendered_low": 0.0
  },
  "encoding": {"assumed": false, "by": "batch.yaml", "name": "gamma-2.2"},
  "intent": "relative colorimetric", "master_bands": 1, "matrix": null, "process": "monochrome",
  "rendering": "positive", "review": [], "shoulder": null, "version": "5"
}"""


def text(record: dict[str, Any]) -> str:
    return json.dumps(record, sort_keys=True)


@pytest.mark.parametrize("written", [NEGATIVE, POSITIVE])
def test_a_record_comes_back_byte_for_byte(written: str) -> None:
    record = json.loads(written)
    assert text(msgspec.to_builtins(msgspec.convert(record, AnyTone))) == text(record)


@pytest.mark.parametrize("made", [tones.POSITIVE, tones.MONOCHROME_NEGATIVE])
def test_a_tone_is_the_same_after_it_was_written(made: AnyTone) -> None:
    made = msgspec.structs.replace(made, shoulder=Shoulder(0.8, 2.0), review=("One.", "Two."))
    assert msgspec.convert(json.loads(json.dumps(msgspec.to_builtins(made))), AnyTone) == made


@pytest.mark.parametrize("written", [NEGATIVE, POSITIVE])
def test_no_key_may_be_lacking(written: str) -> None:
    record = json.loads(written)
    for key in record:
        with pytest.raises(msgspec.ValidationError, match=key):
            msgspec.convert({name: record[name] for name in record if name != key}, AnyTone)


@pytest.mark.parametrize("part", [(), ("encoding",), ("clipped_percent",), ("shoulder",)])
def test_what_is_not_known_is_refused_and_not_dropped(part: tuple[str, ...]) -> None:
    record = json.loads(NEGATIVE)
    inner = record[part[0]] if part else record
    inner["gamma"] = 2.2
    with pytest.raises(msgspec.ValidationError, match="gamma"):
        msgspec.convert(record, AnyTone)


@pytest.mark.parametrize("written", [NEGATIVE, POSITIVE])
@pytest.mark.parametrize("wrong", [[[None]], {"a": 1}, True])
def test_values_of_another_kind_are_refused(written: str, wrong: Any) -> None:
    for key in json.loads(written):
        record = json.loads(written) | {key: wrong}
        if key == "black_point_compensation" and wrong is True:
            continue
        with pytest.raises(msgspec.ValidationError):
            msgspec.convert(record, AnyTone)


@pytest.mark.parametrize("wrong", ["", [], 3, {}])
def test_what_is_no_object_is_no_tone(wrong: Any) -> None:
    with pytest.raises(msgspec.ValidationError):
        tone.of_frame({"tone": wrong})


def test_a_damaged_tone_is_told_and_the_report_goes_on(tmp_path: Path) -> None:
    status = item_states.ItemStatus("PEH-0001")
    frame = {"master": "a.tif", "index": 1, "skipped": None}
    status.records["render"] = {"frames": [{**frame, "tone": json.loads(NEGATIVE) | {"bits": ""}}]}
    item_states._collect_reasons(status, tmp_path, {})
    assert status.damaged == ["render"]
    (finding,) = status.findings
    assert finding.code == "report.record" and "bits" in finding.what


def test_a_frame_that_was_skipped_has_none() -> None:
    assert tone.of_frame({"tone": None}) is None
    assert tone.of_frame({}) is None


def test_a_tone_whose_clipping_was_not_measured_is_not_written() -> None:
    planned = msgspec.structs.replace(tones.POSITIVE, clipped_percent=NOT_MEASURED)
    with pytest.raises(ValueError, match="not JSON compliant"):
        files.dump_json(msgspec.to_builtins(planned))


def test_an_encoding_is_stated_by_name_unless_a_profile_says_it() -> None:
    assert (
        StatedEncoding(by="profile", name="Capture RGB", kind="matrix", sha256="ab").stated is None
    )
    assert StatedEncoding(by="assumption", name="srgb", assumed=True).stated == "srgb"


@pytest.mark.parametrize(
    "wrong",
    [
        {"by": "profile", "name": "Capture RGB"},
        {
            "by": "profile",
            "name": "Capture RGB",
            "kind": "matrix",
            "sha256": "0" * 64,
            "assumed": False,
        },
        {"by": "assumption", "name": "srgb"},
        {"by": "batch.yaml", "name": "srgb", "assumed": False, "kind": "matrix"},
    ],
)
def test_an_encoding_says_what_it_rests_on_and_nothing_else(wrong: dict[str, Any]) -> None:
    with pytest.raises(msgspec.ValidationError, match="kind and sha256"):
        msgspec.convert(wrong, StatedEncoding)
