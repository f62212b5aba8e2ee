"""A report of what did not change works nothing out again, and says the same."""

from __future__ import annotations

import json
import shutil
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from glassine.report import near, plots, sketch
from makers import make_results, step_calls


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    root = tmp_path_factory.mktemp("again")
    given = make_results.write_batch(root, 8)
    results = root / "results" / make_results.BATCH
    step_calls.write_report(results, given)
    return results, given


def details(results: Path) -> list[bytes]:
    return [path.read_bytes() for path in sorted((results / "report").glob("details-*.js"))]


def test_nothing_is_worked_out_again(
    night: tuple[Path, dict[str, Any]], monkeypatch: pytest.MonkeyPatch
) -> None:
    results, given = night
    before = details(results)
    assert b'"sketch":[[' in before[0]
    kept = {name: (results / name).stat().st_mtime_ns for name in (near.KEPT, sketch.KEPT)}

    def refuse(*values: Any) -> Any:
        raise AssertionError("worked out again")

    monkeypatch.setattr(sketch, "curves", refuse)
    monkeypatch.setattr(sketch, "_pixels", refuse)
    monkeypatch.setattr(near, "likely", refuse)
    page = step_calls.write_report(results, given).read_text("utf-8")
    assert "report page could not be made" not in page
    assert details(results) == before
    assert kept == {name: (results / name).stat().st_mtime_ns for name in kept}


@pytest.mark.parametrize("what", ["picture", "corners"])
def test_a_sketch_is_made_again_where_its_picture_or_outline_is_another(
    night: tuple[Path, dict[str, Any]], tmp_path: Path, what: str
) -> None:
    given = night[1]
    results = tmp_path / make_results.BATCH
    shutil.copytree(night[0], results)
    before = json.loads((results / sketch.KEPT).read_text("utf-8"))["curves"]
    item = results / "items" / "PEH-0004"
    if what == "picture":
        thumb = item / "thumbs" / "PEH-0004_thumb.jpg"
        content = make_results.draw_preview([]).resize(0.2).jpegsave_buffer(Q=60)
        thumb.write_bytes(content)
    else:
        record = json.loads((item / "geometry.json").read_text("utf-8"))
        record["masters"][0]["frames"][0]["corners"][0][0] += 40
        make_results.write_json(item / "geometry.json", record)
    step_calls.write_report(results, given)
    now = json.loads((results / sketch.KEPT).read_text("utf-8"))["curves"]
    assert len(now) == len(before) and now.keys() != before.keys()


@pytest.mark.parametrize("text", ["{", '{"curves": 3}', '{"curves": {"a": [["x"]]}}', "[]"])
def test_damaged_curves_are_made_again(night: tuple[Path, dict[str, Any]], text: str) -> None:
    results, given = night
    before = details(results)
    (results / sketch.KEPT).write_text(text, "utf-8")
    step_calls.write_report(results, given)
    assert details(results) == before


def test_thousands_of_pictures_alike_are_counted_and_only_the_first_are_pairs() -> None:
    """Pages of one register agree at a glance: of 1,500 there are a million pairs."""
    rng = np.random.default_rng(1)
    page = rng.integers(0, 255, near._SIDE**2)
    values = np.clip(page + rng.normal(0, 4, (1500, page.size)), 0, 255).astype(np.float32)
    pictures = [
        near.Picture(f"PEH-{at // 2:04d}", Path("x"), f"{at:04d}.jpg") for at in range(len(values))
    ]
    pairs, count = near.likely(pictures, values)
    assert count == 1500 * 1499 // 2 - 750  # but those of one item
    assert len(pairs) == near._MOST_LIKELY
    assert len({(pair.one.shown, pair.other.shown) for pair in pairs}) == len(pairs)
    assert all(pair.one.item != pair.other.item and not pair.mirrored for pair in pairs)


def test_the_drift_of_many_frames_is_told_in_time_that_grows_as_they_do() -> None:
    """Processor time of 20,000 frames; each against the median of all took minutes."""
    points = [plots.Point("a", 1, float(at % 97), True) for at in range(20_000)]
    series = plots.Series("noise", "D", None, "", points)
    began = time.process_time()
    assert plots.drift_words(series).startswith("Steady")
    assert time.process_time() - began < 2
