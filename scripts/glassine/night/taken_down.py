"""What was published of an item that may not be public any more goes from the results; its records
stay.

Of an item that is still in the batch folder the steps make its pictures anew, as far as they may be
public; until they have (one that is held never comes so far), and of a withdrawn one that is not
there any more, nothing of it may stay where the results are served from. What the studio keeps for
itself (`restricted/`, `studio/`) was never published, and stays; who withdraws it is told so.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from glassine.base import access, alternates, files, naming, record_files
from glassine.base.errors import GlassineError
from glassine.base.records.embedded import Embedded
from glassine.deliver import handover
from glassine.night import due

# What the results publish of an item (config/ITEMS.md, "Who may see an item").
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


def kept_by_studio(results_dir: Path, items: Iterable[str]) -> list[str]:
    """Return the folders, below `items/`, of pictures of these items that the studio keeps."""
    return [
        f"{item}/{name}"
        for item in items
        for name in (access.RESTRICTED, access.STUDIO)
        if _holds_files(results_dir / "items" / item / name)
    ]


def shown_beyond(results_dir: Path, listed: Iterable[access.ListedAccess]) -> list[str]:
    """Return the items whose pictures in the results are public beyond what is allowed today.

    What is public of them tells the record of the step that made them; where it cannot be read,
    nobody knows, and they count as shown.
    """
    return [
        each.item
        for each in listed
        if each.is_restricted
        and _RANK[_public(results_dir / "items" / each.item)] > _RANK[each.public]
    ]


_RANK: dict[access.Public, int] = {"none": 0, "small": 1, "all": 2}


def _public(item_dir: Path) -> access.Public:
    try:
        record = record_files.load(item_dir / "embedded.json", "embedded", Embedded)
        return handover.access_of(record).public
    except (GlassineError, OSError, ValueError):
        return "all"


def _holds_files(folder: Path) -> bool:
    if folder.is_symlink() or not folder.is_dir():
        return False
    return any(path.is_file() for path in folder.rglob("*"))
