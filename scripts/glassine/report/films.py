"""The films of a batch as the page shows them."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import msgspec
from msgspec import UNSET

from glassine.base import wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.films import PooledFilm
from glassine.base.tone import FilmNote
from glassine.films import record

_WHENCE = {
    "batch.yaml": "named in batch.yaml",
    "catalogue": "named in the catalogue",
    "base colour": "found by the colour of its base",
}
# So many frames are named that are not of the film they are said to be of.
_NAMED = 12


@dataclass(frozen=True)
class ShownFilm:
    """A film. values: (label, text); asks: what a person should look at."""

    name: str
    whence: str
    values: list[tuple[str, str]]
    asks: list[str]


@dataclass(frozen=True)
class ShownFilms:
    """The films of a batch. without: items that no film rests on as they could not be looked at,
    by the reason; problems: what is wrong with their record."""

    films: list[ShownFilm] = field(default_factory=list)
    without: list[str] = field(default_factory=list)
    problems: list[Finding] = field(default_factory=list)


def shown(results: Path) -> ShownFilms:
    """Return the films of a batch. results: `results/<batch>/`."""
    path = results / record.RECORD
    if not path.exists():
        return ShownFilms()
    try:
        films = record.read(path)
    except GlassineError as problem:
        return ShownFilms(problems=problem.findings)
    whys: dict[str, list[str]] = {}
    for entry in films.without:
        whys.setdefault(entry.why, []).append(entry.item)
    without = [f"{wording.some(items, _NAMED)}: {why}" for why, items in whys.items()]
    told = [] if films.findings is UNSET else films.findings
    problems = [Finding(**msgspec.structs.asdict(note)) for note in told]
    return ShownFilms([_shown(film) for film in films.films], without, problems)


def words(note: FilmNote) -> str:
    """Return in a line the film that a frame was rendered with."""
    rests = f"{note.frames} frames of {note.masters} masters"
    return f"{note.name} ({_WHENCE[note.whence]}); its values rest on {rests}"


def _shown(film: PooledFilm) -> ShownFilm:
    left_out = [member for member in film.members if member.left_out is not UNSET]
    members = len(film.members) - len(left_out)
    values = [("Masters", f"{members}")]
    if film.used is not None:
        used = film.used
        note = used.note
        values.append(("Rests on", f"{note.frames} frames of {note.masters} masters"))
        deviations = used.deviations
        for label, numbers, spread in (
            ("D-min", used.values.dmin, deviations.dmin if deviations else None),
            ("Slopes", used.values.slopes, deviations.slopes if deviations else None),
            (
                "Balance (log10)",
                used.values.balance,
                deviations.balance if deviations else None,
            ),
        ):
            values.append((label, _numbers(numbers, spread)))
        values.append(("D-min from", used.values.dmin_source))
        values.append(("Slopes from", used.values.slopes_source))
        values.append(("Version", note.version))
        if film.now is not None and film.now != used:
            rests = f"{film.now.note.frames} frames of {film.now.note.masters} masters"
            words = f"{film.moved:.4f} log10 of exposure from it, by {rests}: within the step"
            values.append(("What its frames show now", words))
    by_why: dict[str, list[str]] = {}
    for member in left_out:
        by_why.setdefault(str(member.left_out), []).append(member.item)
    asks = [f"{wording.some(items, _NAMED)}: {why}." for why, items in by_why.items()]
    return ShownFilm(film.name, _WHENCE[film.whence], values, asks)


def _numbers(values: tuple[float, ...], spread: tuple[float, ...] | None) -> str:
    if spread is None:
        return ", ".join(f"{value:.3f}" for value in values)
    pairs = zip(values, spread, strict=True)
    return ", ".join(f"{value:.3f} ± {deviation:.3f}" for value, deviation in pairs)
