"""Restoring faded colours stated in batch.yaml: for which masters it holds, and where it is idle."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
import yaml

from glassine.base import settings
from glassine.base.errors import GlassineError
from makers.step_calls import taken_in


def _taken(folder: Path, stated: dict[str, Any]) -> dict[str, Any]:
    folder.mkdir()
    tifffile.imwrite(folder / "PEH-0001.tif", np.zeros((8, 12, 3), np.uint16))
    text = yaml.safe_dump({"items": [{"match": "PEH-0001", **stated}]})
    (folder / "batch.yaml").write_text(text, "utf-8")
    config = settings.load({"intake": {"watch_s": 0}, "catalogue": {"required": False}})
    return taken_in(folder, {"batch": folder.name, "settings": config})


def _idle(result: dict[str, Any]) -> list[dict[str, Any]]:
    findings = result["items"][0]["findings"]
    return [finding for finding in findings if finding["code"] == "facts.no_effect"]


def test_it_reaches_the_master(tmp_path: Path) -> None:
    result = _taken(tmp_path / "b1", {"restore": "faded", "polarity": "positive"})
    assert result["items"][0]["masters"][0]["facts"]["restore"] == "faded"
    assert not _idle(result)


@pytest.mark.parametrize("other", [{"polarity": "negative"}, {"process": "monochrome"}])
def test_where_it_is_idle_the_report_says_so(tmp_path: Path, other: dict[str, str]) -> None:
    result = _taken(tmp_path / "b1", {"restore": "faded", **other})
    (note,) = _idle(result)
    assert "`restore`" in note["what"]


def test_a_word_that_means_nothing_is_refused(tmp_path: Path) -> None:
    with pytest.raises(GlassineError, match="restore"):
        _taken(tmp_path / "b1", {"restore": "all"})
