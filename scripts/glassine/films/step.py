"""The films of a batch: films.json, which each item's second half is rendered with.

A film's values stay what they were last used as until what its frames show is farther from them
than the setting `tone.pool_step`: one frame of a roll that changes is no reason to make the others
anew. So films.json is no output of the engine, which would remove it before it is read.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

import msgspec
from msgspec import UNSET, UnsetType

from glassine.base import files, processor, record_files
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.films import (
    Films,
    Member,
    PooledFilm,
    UsedFilm,
)
from glassine.base.records.parts import FindingNote
from glassine.base.records.stocks import Stocks, StockUsed
from glassine.films import agreement, groups, library, pooling, record, units
from glassine.films.given import FilmsGiven, ToneSection
from glassine.films.groups import Group
from glassine.films.units import Unit
from glassine.render import tone

VERSION = "2"
_BARE = "the pictures show the bare light table, so they say nothing of the film's base"


def pool_batch(results_dir: Path, given: FilmsGiven) -> None:
    """Write films.json of a batch from the looks of its items, as far as they are there.

    results_dir: `results/<batch>/`. Raises GlassineError where it cannot be written.
    """
    processor.same_everywhere()
    section = given.settings.tone
    seen, without = units.read(results_dir / "items", given.items)
    found = groups.named(seen)
    if section.pool == "found":
        found += groups.found(seen)
    path = results_dir / record.RECORD
    before = _before(path)
    stocks, findings = _library(results_dir.parent, section)
    films = [_film(group, film, given, stocks) for group, film in _with_before(found, before)]
    made = Films(
        batch=given.batch,
        step=section.pool_step,
        films=films,
        without=without,
        findings=findings or UNSET,
    )
    record_files.save(path, "films", made)
    if section.stock_library == "learn" and not findings:
        library.note(results_dir.parent, given.batch, _shown_alone(found, films, given))


def _library(results: Path, section: ToneSection) -> tuple[Stocks, list[FindingNote]]:
    """Return the stock library as far as the settings ask for it, and why it cannot be read: films
    are then estimated without it, and it is left as it is."""
    if section.stock_library == "none":
        return Stocks(stocks=[]), []
    try:
        return library.read(results), []
    except GlassineError as problem:
        why = Finding(
            "films.library",
            str(results / library.NAME),
            "The stock library cannot be read, so no film of this batch started from it and none "
            f"was noted in it: {problem.findings[0].what}",
            "the file as a night wrote it, or as it was carried here.",
            "Put a sound copy in its place, or remove it: it is then learned anew.",
            "review",
        )
        return Stocks(stocks=[]), [FindingNote(**why.as_dict())]


def _shown_alone(
    found: list[Group], films: list[PooledFilm], given: FilmsGiven
) -> list[tuple[Unit, UsedFilm]]:
    """Return a unit of each film, with what its frames show without the library."""
    shown = []
    for group, film in zip(found, films, strict=True):
        if film.now is not None and not _slopes_stated(group, given):
            alone = film.now
            if film.stock is not UNSET:
                alone = pooling.pooled(group, given.settings.tone)
            # Its name in films.json, as one that nobody names keeps the name it had.
            note = msgspec.structs.replace(alone.note, name=film.name)
            shown.append((group.using[0], msgspec.structs.replace(alone, note=note)))
    return shown


def _before(path: Path) -> list[PooledFilm]:
    """Return the films as they were last used; none where the record is lost or damaged, which
    does no harm but that frames are made anew."""
    try:
        return record.read(path).films
    except GlassineError:
        return []


def _with_before(
    found: list[Group], before: list[PooledFilm]
) -> list[tuple[Group, PooledFilm | None]]:
    """Return the groups, each with the film that it was before: by its name, else by the most
    masters in common, of films that nobody names, which then keep their name."""
    unnamed = [film for film in before if film.whence == "base colour"]
    of_name = {film.name: film for film in before if film not in unnamed}
    pairs: list[tuple[Group, PooledFilm | None]] = []
    for group in found:
        if group.whence != "base colour":
            pairs.append((group, of_name.get(group.name)))
            continue
        film = _most_common(group, unnamed)
        if film is not None:
            unnamed.remove(film)
            group = replace(group, name=film.name)
        pairs.append((group, film))
    return pairs


def _most_common(group: Group, films: list[PooledFilm]) -> PooledFilm | None:
    masters = {(unit.item, unit.master) for unit in group.using}
    common = [
        sum((member.item, member.master) in masters for member in film.members) for film in films
    ]
    return films[common.index(max(common))] if any(common) else None


def _film(group: Group, before: PooledFilm | None, given: FilmsGiven, stocks: Stocks) -> PooledFilm:
    stock = _stock_of(group, given, stocks)
    basis, terms = _basis(group, given, stock), _terms(group, given)
    now = used = None
    moved = 0.0
    if len(group.using) > 1 and group.pooled:
        known = before is not None and before.basis == basis
        start = library.as_start(stock) if stock else None
        now = before.now if before and known else pooling.pooled(group, given.settings.tone, start)
        used = now
        if before and before.used and now and before.terms == terms:
            moved = agreement.exposures_apart(before.used.values, now.values)
            if moved <= given.settings.tone.pool_step:
                used = before.used
    return PooledFilm(
        name=group.name,
        whence=group.whence,
        basis=basis,
        terms=terms,
        members=_members(group, used),
        now=now,
        used=used,
        moved=moved,
        stock=stock if stock and now else UNSET,
    )


def _stock_of(group: Group, given: FilmsGiven, stocks: Stocks) -> StockUsed | None:
    """Return what a film's values start from: none where slopes are stated or none learned."""
    if not group.using or _slopes_stated(group, given):
        return None
    return library.learned(stocks, group.using[0], given.batch)


def _slopes_stated(group: Group, given: FilmsGiven) -> bool:
    facts = group.using[0].facts
    stock = given.settings.tone.film_stocks.get(facts.film_stock or "")
    return facts.slopes is not None or (stock is not None and stock.slopes is not None)


def _members(group: Group, used: UsedFilm | None) -> list[Member]:
    found = []
    for unit in group.using:
        apart = agreement.exposures_apart(used.values, unit.alone) if used else None
        not_pooled = UNSET if unit in group.pooled else _BARE
        found.append(_member(unit, apart=apart, not_pooled=not_pooled))
    return found + [_member(unit, left_out=why) for unit, why in group.left_out]


def _member(
    unit: Unit,
    apart: float | None = None,
    not_pooled: str | UnsetType = UNSET,
    left_out: str | UnsetType = UNSET,
) -> Member:
    return Member(
        item=unit.item,
        master=unit.master,
        process=unit.process,
        frames=list(unit.frames),
        apart=apart,
        not_pooled=not_pooled,
        left_out=left_out,
    )


def _basis(group: Group, given: FilmsGiven, stock: StockUsed | None) -> str:
    """Return a digest of all that a film's values rest on. What the library holds is no part of
    its terms: it moves a film as its frames do, by `tone.pool_step` and more."""
    members = [
        (unit.item, unit.master, unit.process, unit.digest)
        for each in (group.pooled, group.using)
        for unit in each
    ]
    known = [stock.version] if stock else []
    return _digest([members, _terms(group, given), *known])


def _terms(group: Group, given: FilmsGiven) -> str:
    """Return a digest of what is stated and set: what was used before counts while it is so."""
    stated: list[object] = []
    if group.using:
        first = group.using[0]
        stated = [first.process, first.channels, first.facts.slopes, first.facts.film_stock]
    section = msgspec.structs.replace(given.settings.tone, pool_step=0, stock_library="none")
    chosen = msgspec.to_builtins(section)
    del chosen["stock_library"]
    return _digest([group.name, stated, chosen, VERSION, tone.VERSION])


def _digest(value: object) -> str:
    return hashlib.sha256(files.canonical(value).encode()).hexdigest()
