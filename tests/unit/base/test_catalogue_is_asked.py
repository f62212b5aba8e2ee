"""The catalogue's words are held against what was found, whatever batch.yaml says of other things.

The facts of a master are those that an intake writes: what nobody states is `auto` in them.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec
import pytest

from glassine.base import files, item_states
from glassine.base.model import Facts


def reasons(folder: Path, row: dict[str, str], *polarities: str, **facts: Any) -> list[str]:
    """Return what is asked of an item of one master whose frames have these polarities."""
    frame = {"state": "ok", "reasons": [], "corners": [], "source": "measured"}
    frames = [{**frame, "index": n, "polarity": each} for n, each in enumerate(polarities, 1)]
    geometry = {"item": "a", "masters": [{"path": "a.tif", "ppi": None, "frames": frames}]}
    files.write_json(folder / "geometry.json", geometry)
    master = {"path": "a.tif", "part": None, "facts": msgspec.to_builtins(Facts(**facts))}
    entry = {"item": "a", "state": "ready", "catalogue": {"item": "a", **row}, "findings": [],
             "corrections": None, "masters": [master]}  # fmt: skip
    return [each.text for each in item_states.item_status(entry, folder).reasons]


# A kind that film of either polarity has, and what was agreed of the resolution, state no polarity
# and no number of frames.
OF_OTHER_THINGS = [{}, {"required_ppi": 2000}, {"kind": "strip_120"}, {"kind": "plate"}]


@pytest.mark.parametrize("facts", OF_OTHER_THINGS)
def test_a_negative_taken_for_a_positive_is_for_review(
    tmp_path: Path, facts: dict[str, Any]
) -> None:
    (told,) = reasons(tmp_path, {"genre": "Negativ"}, "positive", **facts)
    assert "'Negativ'" in told and "positive" in told


@pytest.mark.parametrize("facts", [*OF_OTHER_THINGS, {"polarity": "negative"}])
def test_fewer_frames_than_the_catalogue_counts_are_for_review(
    tmp_path: Path, facts: dict[str, Any]
) -> None:
    (told,) = reasons(tmp_path, {"extent": "3 Negative"}, "negative", "negative", **facts)
    assert "counts 3, and 2 frames were found" in told


@pytest.mark.parametrize(
    ("row", "facts"),
    [
        ({"extent": "1 negative"}, {"polarity": "positive"}),
        ({"genre": "negatives"}, {"kind": "print"}),
        ({"genre": "negatives"}, {"kind": "lantern"}),
        # How many a master shows was stated: another number was told there already.
        ({"extent": "3 photographs"}, {"frames": 1}),
        ({"extent": "1 transparency"}, {}),
    ],
)
def test_what_a_person_stated_of_it_is_not_asked(
    tmp_path: Path, row: dict[str, str], facts: dict[str, Any]
) -> None:
    assert reasons(tmp_path, row, "positive", **facts) == []
