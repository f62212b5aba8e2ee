"""Small copies of the masters' previews, so that a sheet of thousands stays light in a browser."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import unquote

import pyvips

from glassine.base import files, naming
from glassine.report.shown import Batch, address

# A preview has at most 1600 px on its long edge. An eighth of that serves a sheet, so that two
# thousand decoded take 240 MB at most; a quarter serves the items that a person has to look at.
SMALL_PX, MIDDLE_PX = 200, 400


def _reduced(source: Path, long_edge_px: int) -> pyvips.Image:
    """Return the preview at an eighth, a quarter or a half, as the JPEG decoder gives it.

    Reducing inside the decoder costs a third of resampling afterwards.
    """
    whole = pyvips.Image.jpegload(str(source), access="sequential", fail_on="error")
    long_edge = max(whole.width, whole.height)
    fitting = [by for by in (8, 4, 2) if long_edge / by >= long_edge_px * 0.75]
    if not fitting:
        return whole
    return pyvips.Image.jpegload(
        str(source), shrink=fitting[0], access="sequential", fail_on="error"
    )


def _shrink(source: Path, target: Path, long_edge_px: int) -> None:
    """Write a small copy; without waiting for the disk, since it is made again when lost."""
    content = _reduced(source, long_edge_px).jpegsave_buffer(Q=75, keep="none")
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(f"{files.TEMPORARY_PREFIX}{target.name}")
    part.write_bytes(content)
    part.replace(target)


def _is_current(source: Path, target: Path) -> bool:
    return target.is_file() and target.stat().st_mtime_ns >= source.stat().st_mtime_ns


def copy_of(
    results: Path, item: str, path: str, preview: str, kind: str, long_edge_px: int
) -> str | None:
    """Return the address of a small copy of a master's preview, made where it is missing or old.

    kind: the folder below `report/`; path: the master's; preview: address relative to the report.
    None where it cannot be made: the preview itself serves then.
    """
    name = naming.preview_name(path)
    source = results / "report" / unquote(preview)
    target = results / "report" / kind / item / name
    try:
        if not _is_current(source, target):
            _shrink(source, target, long_edge_px)
    except (OSError, pyvips.Error):
        return None
    return address(kind, item, name)


def make_small(batch: Batch, results: Path, at_length: int) -> None:
    """Give each master with a preview its address `small`, and those for review `middle`.

    at_length: how many items for review are shown at length. Without a copy: the preview's own.
    """
    shown_at_length = {item.item for item in batch.in_state("review")[:at_length]}
    for item in batch.items:
        for master in item.masters:
            preview, path = master.preview, master.path
            master.small = master.middle = preview
            if not preview:
                continue
            master.small = copy_of(results, item.item, path, preview, "small", SMALL_PX) or preview
            if item.item in shown_at_length:
                middle = copy_of(results, item.item, path, preview, "middle", MIDDLE_PX)
                master.middle = middle or preview
