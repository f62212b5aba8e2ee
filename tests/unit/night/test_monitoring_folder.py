"""The file of metrics goes into a folder that is there: a mistyped one is said, and not made."""

import pytest

from glassine.base.errors import GlassineError
from glassine.night import notify

SUMMARY = {"time": "2026-03-18T05:00:00Z", "state": "finished", "problems": 0, "batches": []}


def configured(path):
    return {"webhook": None, "mail": {"to": []}, "textfile": str(path)}


def test_a_folder_that_is_not_there_is_refused_and_not_made(tmp_path):
    with pytest.raises(GlassineError) as problem:
        notify.send(configured(tmp_path / "textfil" / "glassine.prom"), SUMMARY)
    (finding,) = problem.value.findings
    assert finding.code == "notify.textfile"
    assert f"the folder {tmp_path}/textfil is not there" in finding.what
    assert "Errno" not in finding.what
    assert [*tmp_path.iterdir()] == []


def test_in_a_folder_that_is_there_it_is_written(tmp_path):
    notify.send(configured(tmp_path / "glassine.prom"), SUMMARY)
    assert "glassine_problems 0" in (tmp_path / "glassine.prom").read_text()
