"""What the report says of a batch's deliveries: only what a look at them, and records, show."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec

from glassine.base import files, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.item_states import ItemStatus, finding
from glassine.base.records import corrections
from glassine.base.records.package import Package
from glassine.base.records.receipt import Receipt
from glassine.deliver import drops, due, receipt_files, same_ids
from glassine.deliver import step as deliver
from glassine.deliver.given import DeliverySection, UnfinishedItem
from glassine.deliver.receipt_files import Bag

# Findings that are asked anew for each report: what a night before told of them may be over.
_ASKED_ANEW = frozenset(
    {
        "delivery.drops",
        "delivery.withheld",
        "delivery.empty",
        "delivery.damaged",
        "delivery.receipt",
        "delivery.receipt_gone",
        "delivery.withdrawn_master",
        "delivery.id_twice",
    }
)
# So many items are named in a sentence.
_NAMED = 5


@dataclass(frozen=True)
class Shown:
    """A delivery as the page shows it. file: the name of its receipt."""

    file: str
    receipt: Receipt
    bags: list[Bag]

    @property
    def revision(self) -> int:
        return self.receipt.revision

    def in_full(self) -> dict[str, Any]:
        """Return the receipt as its file holds it."""
        value: dict[str, Any] = json.loads(files.dump_json(msgspec.to_builtins(self.receipt)))
        return value


@dataclass
class Deliveries:
    """The deliveries of a batch, the last one first, and how the batch stands to them.

    items: {item: words}; sentences: for the head of the page; problems: what a person must act
    on; dropped: the items that an earlier delivery has and that are missing now, or have less in
    them.
    """

    shown: list[Shown] = field(default_factory=list)
    items: dict[str, str] = field(default_factory=dict)
    sentences: list[str] = field(default_factory=list)
    problems: list[Finding] = field(default_factory=list)
    notes: list[Finding] = field(default_factory=list)
    dropped: list[Finding] = field(default_factory=list)

    def away(self) -> list[Bag]:
        return [bag for shown in self.shown for bag in shown.bags if bag.state == "gone"]


def is_over(told: Finding) -> bool:
    """Return whether a finding of a night before is left out, as it is asked anew here."""
    return told.code in _ASKED_ANEW


def gather(
    results: Path,
    deliveries_dir: Path,
    batch: str,
    statuses: list[ItemStatus],
    withdraw: list[dict[str, Any]],
    own: dict[str, Any],
) -> Deliveries:
    """Return what is to be said of a batch's deliveries.

    results: `results/<batch>/`; withdraw: as intake.json has it; own: the section `delivery` of
    the settings. A receipt that cannot be used is a problem that is told.
    """
    section = msgspec.convert(own, DeliverySection)
    found = receipt_files.read(deliveries_dir, batch)
    made = Deliveries(
        shown=[
            Shown(
                file=f"{receipt.delivery}{receipt_files.SUFFIX}",
                receipt=receipt,
                bags=receipt_files.look(deliveries_dir, receipt),
            )
            for receipt in reversed(found.sound)
        ]
    )
    made.problems += [*found.damaged, *receipt_files.lost(results, deliveries_dir, found)]
    damage = receipt_files.damage(deliveries_dir, found)
    made.problems += [each for each in damage if each.severity == "hold"]
    made.notes += [each for each in damage if each.severity != "hold"]
    made.notes += [each for each in _stamped(results) if each not in damage]
    held = section.same_ids == "held"
    names = [state.item for state in statuses]
    twice = same_ids.findings(results.parent, deliveries_dir, batch, names, held=held)
    made.problems += [each for each in twice if each.severity == "hold"]
    made.notes += [each for each in twice if each.severity != "hold"]
    earlier = drops.delivered(deliveries_dir, found.sound)
    entries = msgspec.convert(withdraw, list[corrections.Withdrawal])
    words = [drops.Withdrawal.of(entry) for entry in entries]
    try:
        _compare(made, results, statuses, words, earlier, section)
    except (GlassineError, LookupError, TypeError, ValueError, AttributeError) as problem:
        made.problems.append(_untellable(results, problem))
        return made
    made.problems += made.dropped
    made.sentences = _sentences(made, found, statuses, words, earlier, section)
    return made


def _untellable(results: Path, problem: Exception) -> Finding:
    return Finding(
        "report.deliveries",
        str(results),
        f"It cannot be found out how the items stand to what was delivered: "
        f"{wording.why(problem)}.",
        "packages and records as the night wrote them.",
        "Check the disk of the results; the results of an item can be removed and are made again.",
    )


def _stamped(results: Path) -> list[Finding]:
    """Return what the last delivery step noted of receipts."""
    path = results / deliver.STAMP
    try:
        notes = files.read_json(path)["notes"] if path.exists() else []
        return [finding(each, str(path)) for each in notes]
    except (GlassineError, KeyError, TypeError):
        return []  # the stamp is worth nothing: the next night writes it anew


def _compare(
    made: Deliveries,
    results: Path,
    statuses: list[ItemStatus],
    words: list[drops.Withdrawal],
    earlier: dict[str, drops.Delivered],
    section: DeliverySection,
) -> None:
    """Put into `made` how each item stands to the deliveries, and which are missing."""
    whole = {each.item: each for each in words if each.whole}
    items, lacking = [], []
    for state in statuses:
        if state.item in whole:
            made.items[state.item] = f"withdrawn: {whole[state.item].sentence()}"
        elif state.state in deliver.FINISHED:
            item = _packed(results / "items" / state.item, state)
            if item is None:
                lacking.append(
                    UnfinishedItem(item=state.item, state="without a sound package.json")
                )
                made.items[state.item] = "cannot be told: its package.json is damaged"
            else:
                items.append(item)
                made.items[state.item] = _words(earlier.get(state.item), item.digest)
        else:
            lacking.append(UnfinishedItem(item=state.item, state=state.state))
            had = earlier.get(state.item)
            made.items[state.item] = f"as it was before in {had.delivery}" if had else "not yet"
    if earlier:
        made.dropped = due.dropped(items, lacking, words, earlier, section)


def _packed(folder: Path, state: ItemStatus) -> due.Item | None:
    try:
        return due.item_of(folder, msgspec.convert(state.records["package"], Package))
    except (KeyError, msgspec.ValidationError):
        return None


def _words(had: drops.Delivered | None, digest: str) -> str:
    if had is None:
        return "not yet"
    if had.digest == digest:
        return f"in {had.delivery}"
    return f"an earlier state of it in {had.delivery}"


def _plural(number: int, one: str, many: str) -> str:
    return f"{number:,} {one if number == 1 else many}"


def _names(items: list[str]) -> str:
    return wording.some(items, _NAMED)


def _sentences(
    made: Deliveries,
    found: receipt_files.Receipts,
    statuses: list[ItemStatus],
    words: list[drops.Withdrawal],
    earlier: dict[str, drops.Delivered],
    section: DeliverySection,
) -> list[str]:
    if found.latest is None:
        known = bool(made.problems)
        return [] if known else ["Nothing of this batch has been delivered yet."]
    said = [f"The last delivery is {found.latest.delivery}, made on {found.latest.time[:10]}."]
    said += _counted(made, statuses)
    if made.dropped:
        missing = [each.path for each in made.dropped]
        said.append(
            f"{_plural(len(missing), 'item', 'items')} of earlier deliveries "
            f"{'is' if len(missing) == 1 else 'are'} missing, not done, or would have less in "
            f"{'it' if len(missing) == 1 else 'them'} than was delivered: {_names(missing)}."
        )
    gone = [each.item for each in words if each.whole and each.item not in made.items]
    if gone:
        said.append(f"Withdrawn, and not in the batch folder any more: {_names(gone)}.")
    open_items = [each.item for each in statuses if each.state not in deliver.FINISHED]
    open_items = [item for item in open_items if not made.items[item].startswith("withdrawn")]
    if open_items and section.when == "complete":
        said.append(
            f"A new delivery waits until {_names(open_items)} "
            f"{'is' if len(open_items) == 1 else 'are'} done."
        )
    away = made.away()
    if away:
        said.append(
            f"Delivered, but no longer here: {_names([bag.name for bag in away])} (carried away, "
            "or lost; see Deliveries)."
        )
    return said


def _counted(made: Deliveries, statuses: list[ItemStatus]) -> list[str]:
    """Return in a sentence how many items of the batch stand how to the deliveries."""
    count: dict[str, int] = {}
    for state in statuses:
        words = made.items[state.item]
        if words.startswith("in "):
            key = "as delivered"
        elif words.startswith("withdrawn"):
            key = "withdrawn"
        elif words.startswith("cannot"):
            key = "of which it cannot be told"
        elif words == "not yet":
            key = "never delivered"
        else:
            key = "delivered in an earlier state"
        count[key] = count.get(key, 0) + 1
    shown = [f"{number:,} {key}" for key, number in count.items() if number]
    whole = _plural(len(statuses), "item", "items")
    return [f"Of {whole}: {', '.join(shown)}."] if shown else []
