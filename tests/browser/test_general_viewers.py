"""What is published opens in general IIIF viewers, where they are there (see the benchmark)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from benchmarks.publish import viewers


@pytest.mark.skipif(
    bool(viewers.absent()),
    reason="general IIIF viewers are not there: npm install --no-save mirador tify",
)
def test_general_viewers_find_all_that_they_ask_for(chromium: Any, tmp_path: Path) -> None:
    with viewers.published(tmp_path, 2, 1) as tree:
        for viewer in viewers.VIEWERS:
            seen = viewers.look(chromium, tree.pages, tree.base, tree.shown, viewer)
            assert seen.failed == []
            assert all(seen.pictures[item] > 1 for item in tree.shown), viewer
        assert {viewers.status_of(address) for address in tree.gone} == {404}
