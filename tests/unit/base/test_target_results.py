"""What the targets say of a batch is read as each version wrote it, and told where it is damaged."""

from __future__ import annotations

import json

import pytest

from glassine.base import target_results
from glassine.base.errors import GlassineError

HOLD = {
    "code": "targets.not_found", "path": "targets/film.tif", "what": "The target was not found.",
    "expected": "a capture of it.", "next_step": "Capture the target again.", "severity": "hold",
}  # fmt: skip
# As a version wrote it that knew nothing of `identity`, and kept a number that is kept no more.
EARLIER = {
    "batch": "b1",
    "statement": "No certificate.",
    "targets": [{"target": "peh-film-01", "path": "targets/film.tif", "state": "measured"}],
    "course": {"series": []},
    "holds": [],
    "rig": 3,
}


def results(tmp_path, record):
    (tmp_path / target_results.RECORD).write_text(json.dumps(record))
    return tmp_path


def test_an_earlier_record_travels_with_the_item_as_it_stands(tmp_path):
    item_dir = tmp_path / "item"
    target_results.share(results(tmp_path, EARLIER), item_dir, named=True)
    shared = json.loads((item_dir / target_results.RECORD).read_text())
    assert shared == {key: EARLIER[key] for key in ("batch", "statement", "targets")}


def test_an_item_of_a_batch_without_targets_has_none(tmp_path):
    item_dir = tmp_path / "item"
    target_results.share(results(tmp_path, EARLIER), item_dir, named=True)
    target_results.share(tmp_path, item_dir, named=False)
    assert not (item_dir / target_results.RECORD).exists()


def test_what_holds_keeps_the_batch_and_what_asks_does_not(tmp_path):
    target_results.check(results(tmp_path, EARLIER))
    target_results.check(results(tmp_path, EARLIER | {"holds": [HOLD | {"severity": "review"}]}))
    with pytest.raises(GlassineError, match=r"targets\.not_found"):
        target_results.check(results(tmp_path, EARLIER | {"holds": [HOLD]}))


@pytest.mark.parametrize(
    "broken",
    [
        [],
        {},
        {"holds": None, "targets": None},
        {"holds": "hold", "targets": "none"},
        {"holds": [{"code": "x"}], "targets": ["film"]},
        {"holds": [HOLD | {"severity": "held"}], "targets": ["film"]},
    ],
)
def test_a_damaged_record_is_told_and_lets_nothing_pass(tmp_path, broken):
    place = results(tmp_path, broken)
    with pytest.raises(GlassineError, match=r"targets\.json.*contracts\.targets"):
        target_results.check(place)
    with pytest.raises(GlassineError, match=r"targets\.json.*contracts\.targets"):
        target_results.share(place, tmp_path / "item", named=True)
    assert not (tmp_path / "item").exists()
