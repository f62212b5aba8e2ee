"""Captures that follow a separator: the sleeve or sheet with a code that was captured before them.

A separator that cannot be read must never let its captures slide to the item before. So what may
be one, what cannot be seen, and what does not add up (numbers that are left out, captures out of
their order) ends what is certain: from there to the next separator captures are held, and both
neighbours are named.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from glassine.base.model import ItemId

# A capture that lies nearer to the separators than this share of the usual distance of captures
# from them, or than to a good part of the captures, may be one; the distance is that of
# `labels.look_of`. Found with drawn sleeves and film (tests/benchmarks/identity).
_NEAR = 0.5
# Captures belong to one kind whose looks lie no further apart than this, or than so many times the
# usual distance from the nearest; a kind with less than this share of the captures is an odd one.
_APART, _APART_LEAST, _FEW = 4.0, 0.12, 0.25
# Steps between the numbers of separators that must be there, and the share of them by one, before
# a number left out says that a separator was not seen; and how many numbers may be left out.
_STEPS, _BY_ONE, _LEFT_OUT = 4, 0.6, 5
_LAST_NUMBER = re.compile(r"(.*?)([0-9]{1,9})([^0-9]*)")


@dataclass(frozen=True)
class Capture:
    """A capture in its place in a session.

    item: that a code in it names. code: one that was read, whatever it names. look: as in
    `labels.look_of`, None where it was not seen. opens: whether a person said that it is the sleeve
    of `item`. forced: the item that a person gave it alone. other: the item that its name or a row
    of the catalogue gives it.
    """

    path: str
    item: ItemId | None = None
    code: str | None = None
    look: tuple[float, ...] | None = None
    opens: bool = False
    forced: ItemId | None = None
    other: ItemId | None = None

    @property
    def is_plain(self) -> bool:
        """Whether nothing but its look tells what it is."""
        return self.item is None and self.code is None and self.other is None


@dataclass(frozen=True)
class Assigned:
    """What becomes of a capture.

    item: that it belongs to, None where that is not certain: then `why` says why, and `before` and
    `after` are the items next to it. separator: the path of the capture that opened the item, its
    own where it is one. asks: what a person should look at.
    """

    path: str
    item: ItemId | None
    separator: str | None = None
    why: str = ""
    before: ItemId | None = None
    after: ItemId | None = None
    asks: tuple[str, ...] = ()

    @property
    def is_separator(self) -> bool:
        return self.item is not None and self.separator == self.path


@dataclass
class Group:
    """A separator and what was captured after it, up to the next one."""

    opener: Capture | None
    captures: list[Capture] = field(default_factory=list)
    unsure_from: int | None = None
    why: str = ""


def assign(
    captures: Sequence[Capture],
    rows: Sequence[ItemId] = (),
    elsewhere: frozenset[ItemId] = frozenset(),
) -> list[Assigned]:
    """Return what becomes of the captures of one session, but of those that have another item.

    captures: in the order of capture. rows: items of the catalogue in its order. elsewhere: items
    with captures outside of this session.
    """
    suspects = _suspects(captures)
    captures = [_opening(each, suspects) for each in captures]
    groups = _grouped(captures, suspects)
    _check_numbers(groups, rows, elsewhere)
    return _sides(list(_told(groups)), captures)


def _opening(each: Capture, suspects: dict[str, str]) -> Capture:
    """Return a capture that a person gave an item as the sleeve of it, where it looks like one."""
    if each.forced is None or each.path not in suspects:
        return each
    return replace(each, item=each.forced, opens=True, forced=None)


# ------------------------------------------------------------------ what may be a separator

_Looks = npt.NDArray[np.float64]


def _matrix(looks: Sequence[tuple[float, ...]]) -> _Looks:
    return np.array(looks, np.float64).reshape(len(looks), len(looks[0]) if looks else 0)


def _nearest(looks: _Looks, others: _Looks, *, same: bool = False) -> npt.NDArray[np.float64]:
    """Return the distance of each look from the nearest of the others: the mean difference of
    their numbers. same: whether both are the same looks, each of which is left out for itself."""
    nearest = np.full(len(looks), np.inf)
    if not len(others):
        return nearest
    for place, look in enumerate(looks):
        distances = np.abs(others - look).mean(axis=1)
        if same:
            distances[place] = np.inf
        nearest[place] = distances.min()
    return nearest


def _odd(looks: _Looks) -> list[bool]:
    """Return which looks are of another kind than most: sleeves of another paper among film.

    Looks are of one kind where each lies near another of it (single linkage).
    """
    usual = float(np.median(_nearest(looks, looks, same=True))) if len(looks) > 1 else 0.0
    apart = max(_APART_LEAST, _APART * usual)
    kinds = np.full(len(looks), -1)
    for start in range(len(looks)):
        if kinds[start] >= 0:
            continue
        kinds[start], waiting = start, [start]
        while waiting:
            beside = np.abs(looks - looks[waiting.pop()]).mean(axis=1) <= apart
            new = np.flatnonzero(beside & (kinds < 0))
            kinds[new] = start
            waiting += new.tolist()
    sizes = np.array([(kinds == kind).sum() for kind in kinds])
    few = sizes < _FEW * len(looks)
    # Of two kinds of one size neither is the usual one.
    tied = (sizes == sizes.max(initial=0)) & (len(set(kinds[sizes == sizes.max(initial=0)])) > 1)
    less = sizes < sizes.max(initial=0) if len(looks) * _FEW < 2 else np.zeros(len(looks), bool)
    return [bool(each) for each in few | tied | less]


def _from_most(looks: _Looks) -> npt.NDArray[np.float64]:
    """Return how far each look is from a good part of the others; 0 where there is no other."""
    far = np.zeros(len(looks))
    place = max(1, round(_FEW * (len(looks) - 1)))
    for number, look in enumerate(looks):
        if len(looks) > 1:
            distances = np.abs(looks - look).mean(axis=1)
            far[number] = np.partition(distances, place)[place]  # its own, 0, is one of them
    return far


def _suspects(captures: Sequence[Capture]) -> dict[str, str]:
    """Return {path: why} of captures that may be separators whose code cannot be read."""
    found: dict[str, str] = {}
    openers = _matrix([each.look for each in captures if each.item and each.look is not None])
    seen = [each for each in captures if each.is_plain and each.look is not None]
    looks = _matrix([each.look for each in seen if each.look is not None])
    near, odd, bulk = _nearest(looks, openers), _odd(looks), _from_most(looks)
    usual_near = float(np.median(near)) if len(openers) and len(looks) else 0.0
    for each, to_opener, is_odd, to_film in zip(seen, near, odd, bulk, strict=True):
        if len(openers) and to_opener < max(_NEAR * usual_near, to_film):
            found[each.path] = "looks like a separator, but no code could be read in it"
        elif is_odd:
            found[each.path] = (
                "looks unlike the other captures, and may be a separator whose code cannot be read"
            )
    for each in captures:
        if each.item or each.other:
            continue
        if each.code is not None:
            found[each.path] = f"carries a code that names no single item ({each.code[:60]!r})"
        elif each.look is None:
            found[each.path] = "could not be looked at, and may be a separator"
    return found


def _grouped(captures: Sequence[Capture], suspects: dict[str, str]) -> list[Group]:
    groups = [Group(None)]
    for each in captures:
        group = groups[-1]
        if each.item is not None and not _belongs(group, each):
            groups.append(Group(each))
            continue
        if each.forced is not None:
            continue
        if each.other is not None:
            _end(group, each)
            continue
        if each.path in suspects and group.unsure_from is None:
            group.unsure_from = len(group.captures)
            group.why = f"{each.path} {suspects[each.path]}"
        group.captures.append(each)
    return groups


def _end(group: Group, each: Capture) -> None:
    """Make a group unsure from a capture on that has another item by its name."""
    if group.unsure_from is None and (group.opener is None or group.opener.item != each.other):
        group.unsure_from = len(group.captures)
        group.why = f"{each.path}, captured before it, is of {each.other}"


def _belongs(group: Group, each: Capture) -> bool:
    """Return whether a capture with the code of the open item is one of its captures."""
    opener = group.opener
    if opener is None or each.item != opener.item or each.opens:
        return False
    return group.unsure_from is None


# ------------------------------------------------------------------ what does not add up


def _numbered(item: ItemId | None) -> tuple[str, int, str] | None:
    match = _LAST_NUMBER.fullmatch(item or "")
    return (match[1], int(match[2]), match[3]) if match else None


def _steps(groups: Sequence[Group]) -> list[int | None]:
    """Return by how much the number of each group's item is more than that before it."""
    numbers = [_numbered(group.opener.item if group.opener else None) for group in groups]
    steps: list[int | None] = []
    for one, other in itertools.pairwise(numbers):
        alike = one is not None and other is not None and one[::2] == other[::2]
        steps.append(other[1] - one[1] if alike and one and other else None)
    return steps


def _check_numbers(
    groups: list[Group], rows: Sequence[ItemId], elsewhere: frozenset[ItemId]
) -> None:
    """Make a group unsure as a whole where an item that should follow it was not seen."""
    here = {group.opener.item for group in groups if group.opener} | set(elsewhere)
    place = {item: number for number, item in enumerate(rows)}
    steps = _steps(groups)
    whole = [step for step in steps if step is not None and step > 0]
    regular = len(whole) >= _STEPS and whole.count(1) >= _BY_ONE * len(whole)
    for group, after, step in zip(groups, groups[1:], steps, strict=False):
        if group.opener is None or after.opener is None or group.opener.item is None:
            continue
        between: list[str] = []
        first, last = place.get(group.opener.item), place.get(after.opener.item or ItemId(""))
        if first is not None and last is not None and first < last:
            between = [item for item in rows[first + 1 : last] if item not in here]
        elif regular and step is not None and 1 < step <= _LEFT_OUT + 1 and not rows:
            between = [item for item in _left_out(group.opener.item, step) if item not in here]
        if 0 < len(between) <= _LEFT_OUT and len(between) != _seen(group):
            group.unsure_from = 0
            names = ", ".join(between)
            group.why = (
                f"between {group.opener.item} and {after.opener.item} there should be {names}, and "
                "no separator of it was seen"
            )


def _seen(group: Group) -> int:
    """Return how many separators were seen in a group that cannot be read: one, or none known."""
    return 1 if group.unsure_from is not None and group.unsure_from > 0 else 0


def _left_out(item: ItemId, step: int) -> Iterator[ItemId]:
    match = _LAST_NUMBER.fullmatch(item)
    if match is None:
        return
    for number in range(int(match[2]) + 1, int(match[2]) + step):
        yield ItemId(f"{match[1]}{number:0{len(match[2])}d}{match[3]}")


# ------------------------------------------------------------------ what is told


def _told(groups: Sequence[Group]) -> Iterator[Assigned]:
    openers = [group.opener.item if group.opener else None for group in groups]
    for position, group in enumerate(groups):
        before = openers[position]
        after = next((item for item in openers[position + 1 :] if item), None)
        yield from _of_group(group, before, after)


def _of_group(group: Group, before: ItemId | None, after: ItemId | None) -> Iterator[Assigned]:
    opener = group.opener
    if opener is not None:
        asks: tuple[str, ...] = ()
        if group.unsure_from is not None:
            asks = (f"its captures may not all be here: {group.why}",)
        yield Assigned(opener.path, opener.item, opener.path, asks=asks)
    for number, each in enumerate(group.captures):
        if opener is None:
            why = "no separator was captured before it"
            yield Assigned(each.path, None, why=why, after=after)
        elif group.unsure_from is not None and number >= group.unsure_from:
            yield Assigned(each.path, None, why=group.why, before=before, after=after)
        else:
            yield Assigned(each.path, opener.item, opener.path)


def _sides(assigned: list[Assigned], captures: Sequence[Capture]) -> list[Assigned]:
    """Return the captures with further sides of a sleeve told apart from its film.

    A capture that carries the code of the item that is open is another side of the sleeve where it
    looks like the separator, film with the code beside it where it looks like the other captures;
    where neither is certain, it is held.
    """
    by_path = {each.path: each for each in captures}
    film = _matrix([each.look for each in captures if each.is_plain and each.look is not None])
    sided = [_side(each, by_path, film) for each in assigned]
    openers = [by_path[each.path] for each in assigned if each.is_separator]
    return [_doubted(each, by_path[each.path], openers, film) for each in sided]


def _doubted(each: Assigned, seen: Capture, openers: list[Capture], film: _Looks) -> Assigned:
    """Ask about a separator that looks like the film of its session, not like other separators: it
    may be film of the item before, with the code of another item on it."""
    others = [one.look for one in openers if one.path != each.path and one.look is not None]
    if seen not in openers or seen.opens or seen.look is None or not others or not len(film):
        return each
    look = _matrix([seen.look])
    if _nearest(look, film)[0] >= _NEAR * _nearest(look, _matrix(others))[0]:
        return each
    why = (
        f"{each.path} carries its code and looks like film, not like the other separators: it may "
        "be film of the item before it"
    )
    return replace(each, asks=(*each.asks, why))


def _side(each: Assigned, captures: dict[str, Capture], film: _Looks) -> Assigned:
    seen = captures[each.path]
    if each.item is None or each.is_separator or seen.item is None:
        return each
    opener = captures[each.separator or each.path]
    if seen.look is None or opener.look is None or not len(film):
        return _unsure_side(each)
    look = _matrix([seen.look])
    to_opener = float(_nearest(look, _matrix([opener.look]))[0])
    to_film = float(_nearest(look, film)[0])
    if to_opener < _NEAR * to_film:
        return replace(each, separator=each.path)
    return each if to_film < _NEAR * to_opener else _unsure_side(each)


def unsure(each: Assigned, why: str) -> Assigned:
    """Return a capture whose item is not certain after all; it stays between the same items."""
    return Assigned(each.path, None, why=why, before=each.before or each.item, after=each.after)


def _unsure_side(each: Assigned) -> Assigned:
    why = (
        f"it carries the code of {each.item} as its separator does, and it is not certain whether "
        "it shows the sleeve again or film"
    )
    return Assigned(each.path, None, why=why, before=each.item)
