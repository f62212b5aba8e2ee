"""Folders of items in the results."""

from __future__ import annotations

import os
from collections.abc import Iterator
from collections.abc import Set as AbstractSet
from pathlib import Path

from glassine.base import files


def clear_vanished(items_dir: Path, known: AbstractSet[str]) -> None:
    """Remove folders of items that are no more and hold nothing but why they were held."""
    if not items_dir.is_dir():
        return
    for folder in items_dir.iterdir():
        if folder.name in known or not folder.is_dir():
            continue
        names = {path.name for path in folder.iterdir()}
        if names <= {"held.json", "logs", "timings"} and "held.json" in names:
            files.remove_tree(folder)


def listed(items_dir: Path) -> Iterator[str]:
    """Yield the path of each folder of an item, none where there are none to be seen. As text: of
    10,000 items paths take longer than the looks."""
    try:
        names = os.listdir(items_dir)  # noqa: PTH208
    except OSError:
        return
    for name in names:
        yield f"{items_dir}/{name}"
