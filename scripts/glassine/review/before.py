"""Pictures of frames as they were when a person decided about them, for the next report."""

from __future__ import annotations

import shutil
from pathlib import Path

import msgspec

from glassine.base import decisions, files
from glassine.base.errors import GlassineError


class _File(msgspec.Struct, frozen=True):
    path: str
    use: str
    index: int | None = None
    master: str | None = None


class _Embedded(msgspec.Struct, frozen=True):
    files: list[_File]


def _picture(item_dir: Path, part: decisions.Part) -> Path | None:
    """Return the small picture of a frame; of a frame without a stated master, the item's only."""
    try:
        record = msgspec.convert(files.read_json(item_dir / "embedded.json"), _Embedded)
        fitting = [
            files.inside(item_dir, each.path)
            for each in record.files
            if each.use == "thumb" and each.index == part.frame
            if part.master in {"", each.master}
        ]
    except (GlassineError, ValueError, OSError):  # msgspec's problems are ValueErrors
        return None
    return fitting[0] if len(fitting) == 1 and fitting[0].is_file() else None


def keep(results: Path, made: list[decisions.Decision]) -> None:
    """Copy the small picture of each frame that is decided; none is there before the first run.

    A picture that cannot be copied keeps no decision from being saved.
    """
    for decision in made:
        if decision.part.name != "frame":
            continue
        source = _picture(results / "items" / decision.item, decision.part)
        name = decisions.picture_name(decision.item, decision.part)
        target = results / "report" / decisions.BEFORE / name
        if source is None:
            continue
        part = target.with_name(f"{files.TEMPORARY_PREFIX}{target.name}")
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(source, part)
            part.replace(target)
        except OSError:
            part.unlink(missing_ok=True)
