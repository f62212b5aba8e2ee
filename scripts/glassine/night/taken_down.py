"""What was published of an item that a person withdrew goes from the results; its records stay.

Of an item that is still in the batch folder the steps make its pictures anew for the studio alone,
as those of a closed one; until they have, and of one that is not there any more, nothing of it may
stay where the results are served from.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from glassine.base import alternates, files, naming
from glassine.night import due

# What the results publish of an item (README, "Your own film").
_FOLDERS = ("access", "thumbs", "iiif", alternates.FOLDER)
_FILES = ("manifest.json",)


def take_down(results_dir: Path, withdrawn: Iterable[str]) -> list[str]:
    """Remove what is published of these items of a batch; return those of which something was.

    results_dir: `results/<batch>/`. An item of which anything goes counts as unfinished from then
    on. Raises OSError where something cannot be removed.
    """
    gone = []
    for item in sorted(withdrawn):
        try:
            folder = files.inside(results_dir / "items", naming.check_item(item))
        except ValueError:
            continue  # no item of ours has such a name
        published = [folder / name for name in _FOLDERS if _holds_files(folder / name)]
        published += [folder / name for name in _FILES if (folder / name).is_file()]
        if not published:
            continue
        (folder / due.STAMP).unlink(missing_ok=True)
        for path in published:
            if path.is_dir():
                files.remove_tree(path)
            else:
                path.unlink()
        gone.append(item)
    return gone


def _holds_files(folder: Path) -> bool:
    if folder.is_symlink() or not folder.is_dir():
        return False
    return any(path.is_file() for path in folder.rglob("*"))
