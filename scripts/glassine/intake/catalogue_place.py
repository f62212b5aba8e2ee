"""Where the catalogue of a batch lies: `catalogue.path`, or the batch folder's own.

`{batch}` in the path stands for the name of the batch, `{folder}` at its beginning for the batch's
folder, and `*` in the file name for any letters: so each batch has a catalogue of its own. Of
several files that fit a name with `*` none is taken.
"""

from __future__ import annotations

import re
from pathlib import Path

from glassine.intake import companions

_FOLDER = "{folder}/"
_PLACEHOLDER = re.compile(r"\{[^{}]*\}|[{}]")


def wrong(stated: str) -> str:
    """Return what is wrong with a path as the settings state it, "" where nothing is."""
    unknown = [each for each in _PLACEHOLDER.findall(stated) if each not in ("{batch}", "{folder}")]
    if unknown:
        return f"it holds {unknown[0]!r}"
    if "{folder}" in stated.removeprefix(_FOLDER):
        return "{folder} stands elsewhere than before its first /"
    folder, _, name = stated.rpartition("/")
    if "*" in folder:
        return "a * stands in the name of a folder"
    if stated.startswith(_FOLDER) and ("/" in stated.removeprefix(_FOLDER) or name in ("", "..")):
        return "behind {folder}/ there is no name of a file"
    return ""


def is_pattern(stated: str) -> bool:
    """Return whether the path is not the same for every batch."""
    return "{" in stated or "*" in stated


def is_own(stated: str | None) -> bool:
    """Return whether the catalogue is of one batch alone: then its rows are the items expected."""
    return not stated or "{" in stated


def root(batch_dir: Path, stated: str | None) -> Path | None:
    """Return the batch folder where the catalogue lies in it, so that no link is followed; else
    None."""
    return batch_dir if not stated or stated.startswith(_FOLDER) else None


def fitting(batch_dir: Path, stated: str) -> list[Path]:
    """Return the path that the settings state for a batch, or the files that fit one with `*`."""
    text = stated
    if text.startswith(_FOLDER):
        text = f"{batch_dir}/{text.removeprefix(_FOLDER)}"
        text = text.replace("{batch}", batch_dir.name)
    else:
        text = text.replace("{batch}", batch_dir.name)
    path = Path(text)
    if "*" not in path.name:
        return [path]
    pieces = (re.escape(piece) for piece in re.split(r"\*+", path.name))
    name = re.compile(".*".join(pieces), re.DOTALL)
    try:
        return sorted(each for each in path.parent.iterdir() if name.fullmatch(each.name))
    except OSError:
        return []


def path_of(batch_dir: Path, stated: str | None) -> Path | None:
    """Return the catalogue of a batch, None where there is none or several fit."""
    if not stated:
        return companions.catalogue_path(batch_dir)
    paths = fitting(batch_dir, stated)
    if len(paths) != 1 or (is_pattern(stated) and not paths[0].exists()):
        return None
    return paths[0]
