"""Small copies of the masters' previews, so that a sheet of thousands stays light in a browser."""

from __future__ import annotations

from pathlib import Path

import pyvips

from glassine import files
from glassine.report import gather

# A preview has at most 1600 px on its long edge: a quarter of that serves a sheet.
LONG_EDGE_PX = 400


def _reduced(source: Path) -> pyvips.Image:
    """Return the preview at a half, a quarter or an eighth, as the JPEG decoder gives it.

    Reducing inside the decoder costs a third of resampling afterwards.
    """
    whole = pyvips.Image.jpegload(str(source), access="sequential", fail_on="error")
    fitting = [by for by in (8, 4, 2) if max(whole.width, whole.height) / by >= LONG_EDGE_PX * 0.75]
    if not fitting:
        return whole
    return pyvips.Image.jpegload(
        str(source), shrink=fitting[0], access="sequential", fail_on="error"
    )


def _shrink(source: Path, target: Path) -> None:
    """Write a small copy; without waiting for the disk, since it is made again when lost."""
    content = _reduced(source).jpegsave_buffer(Q=75, keep="none")
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(f"{files.TEMPORARY_PREFIX}{target.name}")
    part.write_bytes(content)
    part.replace(target)


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
