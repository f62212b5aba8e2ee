"""films.json of a batch, and what of it each item is rendered with."""

from __future__ import annotations

from pathlib import Path

from msgspec import UNSET

from glassine.base import record_files
from glassine.base.errors import GlassineError
from glassine.base.model import Facts
from glassine.base.records.films import Films, MasterFilm, Member, PooledFilm
from glassine.base.records.looks import Looks

RECORD = "films.json"
# What the step look leaves of an item.
LOOKS = "looks.json"
# Each of these is an emulsion of its own.
_GLASS = ("plate", "lantern")


def read(path: Path) -> Films:
    """Return films.json. Raises GlassineError where it is missing or damaged."""
    return record_files.load(path, "films", Films)


def by_item(films: Films) -> dict[str, list[MasterFilm]]:
    """Return what render is given of each item's masters that are, or are said to be, of a film."""
    found: dict[str, list[MasterFilm]] = {}
    for film in films.films:
        for member in film.members:
            entry = _for_render(film, member)
            if entry is not None:
                found.setdefault(member.item, []).append(entry)
    return found


def _for_render(film: PooledFilm, member: Member) -> MasterFilm | None:
    if member.left_out is not UNSET:
        doubt = (
            f"It is said to be of the film {film.name!r}, but {member.left_out}: rendered by what "
            "it shows itself."
        )
        return MasterFilm(master=member.master, process=member.process, film=None, doubt=doubt)
    if film.used is None:
        return None
    return MasterFilm(master=member.master, process=member.process, film=film.used)


def may_be_found(facts: Facts) -> bool:
    """Return whether negatives of which this is stated may share a film that nobody names: only of
    colour negatives the base tells films apart."""
    return facts.process != "monochrome" and facts.kind not in _GLASS


def is_whole(path: Path) -> bool:
    """Return whether what was kept of an item's frames can be read."""
    try:
        record_files.load(path, "looks", Looks)
    except GlassineError:
        return False
    return True


def shows_any(path: Path) -> bool:
    """Return whether an item has frames that may share a film, by what was kept of them. Raises
    GlassineError where that cannot be read."""
    return bool(record_files.load(path, "looks", Looks).masters)
