"""Why an entry is not written is said of what is so: no folder, or a setting that forbids it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from glassine.review import withdraw


@pytest.fixture
def studio(tmp_path: Path) -> Path:
    results = tmp_path / "results" / "b1"
    results.mkdir(parents=True)
    (results / "intake.json").write_text(json.dumps({"items": [{"item": "PEH-0004"}]}), "utf-8")
    return tmp_path


def said(studio: Path, capsys: pytest.CaptureFixture[str], *more: str) -> str:
    stated = ["--reason", "given back", "--by", "op-07", "--directory", str(studio)]
    assert withdraw.main(["b1", "PEH-0004", *stated, *more]) == 2
    return capsys.readouterr().err


def test_of_a_folder_that_is_not_there_it_is_said_that_there_is_none(studio, capsys):
    (studio / "elsewhere").mkdir()
    words = said(studio, capsys, "--masters", str(studio / "elsewhere"))
    assert f"there is no folder {studio / 'elsewhere' / 'b1'}" in words
    assert "--masters" in words
    assert "--configfile" in words


def test_without_a_settings_file_of_its_own_the_folder_that_is_meant_is_named(studio, capsys):
    words = said(studio, capsys)  # the settings of the project know no batch b1
    assert "there is no folder " in words
    assert "not written from here" not in words


def test_a_setting_that_forbids_it_is_named(studio, capsys):
    (studio / "masters" / "b1").mkdir(parents=True)
    (studio / "own.yaml").write_text("masters: masters\nreport: {corrections: download}\n", "utf-8")
    words = said(studio, capsys, "--configfile", str(studio / "own.yaml"))
    assert "`report.corrections`" in words
    assert "there is no folder" not in words
