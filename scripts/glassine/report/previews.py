"""Small copies of the masters' previews, so that a sheet of thousands stays light in a browser."""

from __future__ import annotations

from pathlib import Path

import pyvips

from glassine import files
from glassine.report import gather

LONG_EDGE_PX = 512


def _shrink(source: Path, target: Path) -> None:
    image = pyvips.Image.thumbnail(str(source), LONG_EDGE_PX, size="down", fail_on="error")
    files.write_bytes(target, image.jpegsave_buffer(Q=75, keep="none"))


def _is_current(source: Path, target: Path) -> bool:
    return target.is_file() and target.stat().st_mtime_ns >= source.stat().st_mtime_ns


def make_small(batch: gather.Batch, results: Path) -> None:
    """Give each master with a preview its `small` address (or None), making what is missing.

    The copies lie in `report/small/<item>/`; one that is newer than its preview is kept.
    """
    for item in batch.items:
        for master in item.masters:
            master["small"] = None
            if not master["preview"]:
                continue
            name = f"{Path(master['path']).stem}.jpg"
            source = results / "items" / item.item / "previews" / name
            target = results / "report" / "small" / item.item / name
            try:
                if not _is_current(source, target):
                    _shrink(source, target)
            except (OSError, pyvips.Error):
                continue  # the preview itself serves then
            master["small"] = gather.address("small", item.item, name)
