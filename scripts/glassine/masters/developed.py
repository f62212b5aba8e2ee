"""Where the picture of a master lies: in the batch folder, or developed in the item's folder."""

from __future__ import annotations

from pathlib import Path

from glassine.base import files

FOLDER = "developed"


def picture_of(batch_dir: Path, item_dir: Path, path: str, raw: str | None) -> Path:
    """Return the TIFF of a master. path: of the picture; raw: of the raw file that it was developed
    from, None where the master is the picture itself. Raises ValueError for a path that leads
    out."""
    if raw is None:
        return files.inside(batch_dir, path)
    return files.inside(item_dir / FOLDER, path)
