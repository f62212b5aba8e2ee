"""Which units of a batch are of one film: as named, else where it can be told."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass

from glassine.base.tone import Whence
from glassine.films import agreement
from glassine.films.record import may_be_found
from glassine.films.units import Unit

# A named film of more masters than this is compared with one master in its middle, not each with
# each: what contradicts is plain.
_EACH_WITH_EACH = 200


@dataclass(frozen=True)
class Group:
    """Units that are, or are said to be, of one film.

    pooled: those that its values rest on; using: those rendered with them, `pooled` among them,
    where there is more than one; left_out: (unit, why) of those that cannot be of it.
    """

    name: str
    whence: Whence
    pooled: tuple[Unit, ...]
    using: tuple[Unit, ...]
    left_out: tuple[tuple[Unit, str], ...] = ()


def named(units: list[Unit]) -> list[Group]:
    """Return the films that batch.yaml or the catalogue name, in the order of their first units."""
    by_name: dict[str, list[Unit]] = {}
    for unit in units:
        if unit.facts.film:
            by_name.setdefault(unit.facts.film, []).append(unit)
    return [_named(name, members) for name, members in by_name.items()]


def _named(name: str, members: list[Unit]) -> Group:
    whence: Whence = members[0].facts.film_from or "batch.yaml"
    kind = _commonest([agreement.of_one_kind(unit) for unit in members])
    others = [unit for unit in members if agreement.of_one_kind(unit) != kind]
    mine = [unit for unit in members if agreement.of_one_kind(unit) == kind]
    core = _core(mine)
    code = _code_of(mine)
    contradicted = [
        (unit, _other_code(unit, code) or agreement.contradiction(core, unit)) for unit in mine
    ]
    agreed = [unit for unit, why in contradicted if why is None]
    if 2 * len(agreed) <= len(members) and len(members) > 1:
        # No more than half agree: which of them are of the film, nobody can tell.
        whys = {id(unit): why for unit, why in contradicted}
        apart = [(unit, whys.get(id(unit)) or _otherwise(unit, core)) for unit in members]
        return Group(name, whence, (), (), tuple(apart))
    left_out = [(unit, why) for unit, why in contradicted if why is not None]
    left_out += [(unit, _otherwise(unit, core)) for unit in others]
    showing = [unit for unit in agreed if not agreement.shows_bare_table(unit)]
    return Group(name, whence, tuple(showing), tuple(agreed), tuple(left_out))


def _code_of(units: list[Unit]) -> str | None:
    """Return the kind of film that the margins of most units say, of those that say one; empty
    where two are said alike often, None where none is."""
    counts: dict[str, int] = {}
    for unit in units:
        if unit.edge_stock:
            counts[unit.edge_stock] = counts.get(unit.edge_stock, 0) + 1
    most = max(counts.values(), default=0)
    first = [code for code, count in counts.items() if count == most]
    return None if not counts else first[0] if len(first) == 1 else ""


def _other_code(unit: Unit, code: str | None) -> str | None:
    """Return why a unit is no film of this kind. code: see `_code_of`."""
    if code is None or not unit.edge_stock or unit.edge_stock == code:
        return None
    others = f"most of the others {code}" if code else "others another"
    return f"the code in its margin says film {unit.edge_stock}, {others}"


def _commonest(kinds: list[tuple[object, ...]]) -> tuple[object, ...]:
    counts: dict[Hashable, int] = {}
    for kind in kinds:
        counts[kind] = counts.get(kind, 0) + 1
    most = max(counts.values())
    return next(kind for kind in kinds if counts[kind] == most)


def _core(units: list[Unit]) -> Unit:
    """Return the unit that the fewest others contradict, the first of several."""
    if len(units) > _EACH_WITH_EACH:
        seen = [unit for unit in units if unit.base is not None] or units
        ranked = sorted(seen, key=lambda unit: sum(unit.base or unit.alone.dmin))
        return ranked[len(ranked) // 2]
    against = [
        sum(agreement.contradiction(one, other) is not None for other in units) for one in units
    ]
    return units[against.index(min(against))]


def _otherwise(unit: Unit, core: Unit) -> str:
    """Return how a unit is of another kind than the core of a named film."""
    if unit is core:
        return "the frames of this name are no one film"
    if unit.process != core.process:
        return f"it is a {unit.process} negative, most of the others are {core.process}"
    if unit.channels != core.channels:
        return "its master has other channels"
    if unit.encoding != core.encoding:
        return "its master was captured under another profile or encoding"
    if agreement.of_one_kind(unit) != agreement.of_one_kind(core):
        return "other slopes, or another film stock, are stated of it"
    return "the frames of this name are no one film"


def found(units: list[Unit]) -> list[Group]:
    """Return the films that can be told without a name: neighbours in the batch (but for
    those that tell nothing) whose film base is of one colour, each of them with each other."""
    groups: list[Group] = []
    run: list[Unit] = []
    for unit in units:
        if unit.facts.film or unit.base is None or not may_be_found(unit.facts):
            continue
        if run and all(agreement.alike(other, unit) for other in run):
            run.append(unit)
            continue
        groups += _found(run)
        run = [unit]
    return groups + _found(run)


def _found(run: list[Unit]) -> list[Group]:
    if len(run) < 2:
        return []
    return [Group(f"film of {run[0].item}", "base colour", tuple(run), tuple(run))]
