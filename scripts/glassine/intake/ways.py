"""Which item each master belongs to, by the ways that the settings name (`naming.identify`).

What a person decided (corrections.yaml) goes before all. Then the file's name, the row of the
catalogue that lists it, a label in its picture, or the separator captured before it. A name or a
row that the catalogue knows settles it without a look at the picture, but for sleeves and objects,
whose code must not contradict it; a name that the catalogue does not know tells the item only where
nothing else does.
"""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

from glassine.base import naming, parts, wording
from glassine.base.errors import Finding
from glassine.base.model import ItemId
from glassine.base.records.intake import Identified
from glassine.intake import made_again, separated, sessions
from glassine.intake.identity import Arrived, Identity, Seen, Sight, by_name, items_of, written
from glassine.intake.model import Batch, Collector

_DIGITS = re.compile(r"[0-9]+")
# Ways beside the name, in words.
_OTHER_WAYS: dict[str, str] = {
    "catalogue": "the row that lists it",
    "label": "the label in its picture",
    "separator": "the separator before it",
}
_WAYS = "a row of the catalogue that lists it, or another way of `naming.identify`."


def resolve(
    batch: Batch, collector: Collector, arrived: list[Arrived], sight: Sight
) -> dict[str, Identity]:
    """Return the item of each master, a stand-in where nothing tells it; then it is held."""
    found: dict[str, Identity] = {}
    open_ones = []
    for each in arrived:
        told = _forced(batch, each.path) or written(batch, each.path)
        if told is not None and (told.identified.by != "name" or _settles(batch, told.item)):
            found[each.path] = told
        else:
            open_ones.append(each)
    again = made_again.found(arrived, {each.path for each in open_ones})
    first = [each for each in arrived if each.path not in again]
    open_ones = [each for each in open_ones if each.path not in again]
    ways = batch.settings.naming.identify
    looked = batch.settings.intake.labels == "when_needed"
    if looked and "separator" in ways:
        found |= separated.resolve(batch, collector, first, found, sight, again)
    if looked and "label" in ways:
        found |= _labelled(batch, collector, open_ones, found, sight, again)
    for each in open_ones:
        if each.path not in found:
            found[each.path] = _unsettled(batch, collector, each, sight)
    _ask_of_names(batch, collector, found)
    if looked and {"separator", "label"} & set(ways):
        _ask_of_sleeves(collector, arrived, found, sight)
    found = _numbered(found)
    looks = sight if looked and {"separator", "label"} & set(ways) else None
    return found | made_again.settle(collector, found, again, looks)


def _ask_of_names(batch: Batch, collector: Collector, found: dict[str, Identity]) -> None:
    """Ask about a master whose name is a number as the catalogue has them, but of no row there,
    where another way told its item: one of both is wrong."""
    shapes = {_DIGITS.sub("0", number) for number in batch.spelled}
    for path, identity in found.items():
        name = by_name(batch, path) if identity.identified.by in _OTHER_WAYS else None
        if name is None or name.item == identity.item or naming.is_stand_in(identity.item):
            continue
        if _DIGITS.sub("0", batch.numbers.key(name.item)) in shapes:
            words = _OTHER_WAYS[identity.identified.by]
            collector.item(identity.item).findings.append(
                Finding(
                    "intake.two_ways",
                    path,
                    f"Its name says {name.item}, which the catalogue lacks; {words} says "
                    f"{identity.item}.",
                    "a name and another way that say the same.",
                    "See which is right: correct the file name, or name its item under `identity` "
                    "in corrections.yaml.",
                    "review",
                )
            )


def _ask_of_sleeves(
    collector: Collector, arrived: list[Arrived], found: dict[str, Identity], sight: Sight
) -> None:
    """Ask about sleeves and objects whose name tells one item and whose code another: what was
    captured with them may be that one's."""
    for each in arrived:
        identity = found.get(each.path)
        if identity is None or identity.identified.by not in ("name", "catalogue"):
            continue
        if each.waits is not None or not parts.is_shown_whole(identity.part):
            continue
        items = sight.of(each.path).items
        if len(items) == 1 and items[0] != identity.item:
            collector.item(identity.item).findings.append(
                Finding(
                    "intake.two_ways",
                    each.path,
                    f"Its name says {identity.item}; the label in its picture says {items[0]}.",
                    "a name and a label that say the same.",
                    "See which is right for all captures of this item: correct the file names, or "
                    "name their item under `identity` in corrections.yaml.",
                    "review",
                )
            )


def _forced(batch: Batch, path: str) -> Identity | None:
    """Return what a person decided of a master."""
    decided = batch.forced.get(path)
    if decided is None:
        return None
    item = batch.spell(decided.item)
    parsed = batch.named(path)
    same = parsed if parsed and parsed.item == item else None
    return Identity(
        item,
        decided.part or (same.part if same else None),
        decided.sequence or (same.sequence if same else None),
        take=same.take if same else None,
        roll=same.roll if same else None,
        place=same.place if same else None,
        identified=Identified(by="correction"),
    )


def _settles(batch: Batch, item: ItemId) -> bool:
    """Return whether a name is known to be an item's: the catalogue has it, or there is none."""
    return batch.catalogue is None or batch.has_row(item)


def _labelled(
    batch: Batch,
    collector: Collector,
    arrived: list[Arrived],
    found: dict[str, Identity],
    sight: Sight,
    again: dict[str, made_again.Again],
) -> dict[str, Identity]:
    """Return the items of masters that a label in the picture tells."""
    told = {}
    for each in arrived:
        if each.path in found or each.waits is not None:
            continue
        seen = made_again.seen_of(each.path, again, sight)
        if len(seen.items) != 1:
            continue
        item = seen.items[0]
        name = by_name(batch, each.path)
        if name is not None and name.item != item and not batch.has_row(item):
            _hold_conflict(collector, name.item, item, each.path)
            continue
        label = next(label for label in seen.labels if items_of(batch, [label]) == (item,))
        told[each.path] = Identity(
            item,
            identified=Identified(by="label", detail=label.text[:200]),
            labels=sight.of(each.path).labels,
        )
        off = f"says {name.item}, which the catalogue lacks" if name else "is off the template"
        collector.note(
            "intake.label_identity",
            each.path,
            f"Its name {off}; the label in the picture says {item}.",
            batch.name_words,
            "Please confirm; rename the file when convenient.",
            "review",
        )
    _hold_sleeves(batch, collector, arrived, {**found, **told}, told)
    return told


def _hold_conflict(collector: Collector, by_file_name: ItemId, label: ItemId, path: str) -> None:
    collector.hold(
        by_file_name,
        "intake.two_identities",
        path,
        f"Its name says {by_file_name}, the label in the picture says {label}.",
        "a name and a label that say the same.",
        "Correct the file name, or name its item under `identity` in corrections.yaml.",
    )


def _hold_sleeves(
    batch: Batch,
    collector: Collector,
    arrived: list[Arrived],
    found: dict[str, Identity],
    told: dict[str, Identity],
) -> None:
    """Hold items of a labelled capture that captures without an item follow: it is a separator,
    by the look of it, and not the item's picture."""
    paths = sorted((each.path for each in arrived), key=sessions.by_name)
    for path, after in itertools.pairwise(paths):
        if path in told and after not in found and _folder(path) == _folder(after):
            item = told[path].item
            collector.hold(
                item,
                "intake.separator",
                path,
                f"It carries the label of {item}, and the captures after it, from {after} on, "
                "have no item of their own: it looks like a separator.",
                "separators that the settings know of, or a label in every picture.",
                "Where captures belong to the separator before them, add `separator` to "
                "`naming.identify` in config/config.yaml; else name the items of the others "
                "under `identity` in corrections.yaml.",
            )


def _folder(path: str) -> str:
    return path.rpartition("/")[0]


def _unsettled(batch: Batch, collector: Collector, each: Arrived, sight: Sight) -> Identity:
    """Return the item that an unknown name tells, else the stand-in of a held master."""
    seen = sight.known.get(each.path, Seen())
    name = written(batch, each.path)
    if name is not None:
        return replace(name, labels=seen.labels)
    _hold_unknown(batch, collector, each.path, len(seen.labels))
    return Identity(naming.stand_in(each.path), labels=seen.labels)


def _hold_unknown(batch: Batch, collector: Collector, path: str, labels: int) -> None:
    name = path.rpartition("/")[2]
    by_name = "name" in batch.settings.naming.identify
    near = naming.nearest(path if batch.scheme.of == "path" else name, batch.scheme)
    near = near if by_name and near != name else None
    near, rows = _renamed(batch, path, near) if near else (None, [])
    folder = path.rpartition("/")[0]
    if near and f"{folder}/{near}".lstrip("/") in batch.paths:
        near = None  # there is a file of that name
    more = ""
    if labels:
        more = f", and the labels seen ({labels}) name no single item"
    if len(batch.listed.get(path, [])) > 1:
        more += ", and several rows of the catalogue list it"
    if near:
        more += f"; it differs only by blanks, marks or case from {near}"
    if rows:
        more += f"; the catalogue has {wording.listed(rows)}"
    rename = f"Rename the file to {near}" if near else "Rename the file"
    parsed = batch.named(f"{folder}/{near}".lstrip("/")) if near else None
    if parsed and batch.catalogue is not None and not batch.has_row(parsed.item):
        rename += f" and add a row for {parsed.item} to the catalogue"
    if not by_name:
        rename = "List it in the row of its item"
    collector.hold(
        naming.stand_in(path),
        "naming.off_template",
        path,
        f"{'Its name does not tell the item' if by_name else 'Nothing tells its item'}{more}.",
        batch.name_words if by_name else _WAYS,
        f"{rename}, or name its item under `identity` in corrections.yaml.",
    )


def _renamed(batch: Batch, path: str, near: str) -> tuple[str | None, list[str]]:
    """Return the name to advise, and rows of the catalogue like its item: no name that would make
    it an item which the catalogue lacks."""
    folder, slash, _ = path.rpartition("/")
    parsed = batch.named(f"{folder}{slash}{near}")
    if parsed is None or batch.catalogue is None or batch.has_row(parsed.item):
        return near, []
    rows = batch.rows_like.of(parsed.item)
    for row in rows:
        begin = near.casefold().find(parsed.item.casefold())
        if begin < 0:
            continue
        spelled = f"{near[:begin]}{row}{near[begin + len(parsed.item) :]}"
        named = batch.named(f"{folder}{slash}{spelled}")
        if named is not None and named.item == row:
            return spelled, []
    return (None, rows) if rows else (near, [])


def _numbered(found: dict[str, Identity]) -> dict[str, Identity]:
    """Number the captures that a person or labels gave to one item without saying where they belong
    in it, in the order of their names."""
    groups: dict[tuple[ItemId, str | None], list[str]] = {}
    for path, identity in found.items():
        if identity.identified.by in ("correction", "label") and identity.sequence is None:
            groups.setdefault((identity.item, identity.part), []).append(path)
    for (item, part), paths in groups.items():
        taken = {each.sequence for each in found.values() if (each.item, each.part) == (item, part)}
        if len(paths) == 1 and taken == {None}:
            continue
        number = 0
        for path in sorted(paths, key=sessions.by_name):
            number += 1
            while f"{number:02d}" in taken:
                number += 1
            found[path] = replace(found[path], sequence=f"{number:02d}")
    return found
