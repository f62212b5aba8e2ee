"""What the report says of a batch's deliveries: only what a look at them, and records, show."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

import msgspec

from glassine.base import access, files, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.item_states import ItemStatus, finding
from glassine.base.records import corrections
from glassine.base.records.package import Package
from glassine.base.records.receipt import Receipt
from glassine.deliver import drops, due, public_before, receipt_files, same_ids
from glassine.deliver import step as deliver
from glassine.deliver.given import DeliverySection, UnfinishedItem
from glassine.deliver.receipt_files import Bag

# Findings that are asked anew for each report: what a night before told of them may be over.
_ASKED_ANEW = frozenset(
    {
        "delivery.drops",
        "delivery.withheld",
        "delivery.empty",
        "delivery.left_behind",
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


# How items are counted by their standing, in the words of the page.
Kind = Literal[
    "as delivered",
    "withdrawn",
    "of which it cannot be told",
    "never delivered",
    "delivered in an earlier state",
    "kept back",
]


_STAYS = "stays so, though newer software would make it otherwise"


@dataclass(frozen=True)
class Standing:
    """How an item stands to the deliveries: in words, and the kind that it is counted as."""

    words: str
    kind: Kind


@dataclass
class Deliveries:
    """The deliveries of a batch, the last one first, and how the batch stands to them.

    sentences: for the head of the page; problems: what a person must act on; dropped: the items
    that an earlier delivery has and that are missing now, or have less in them.
    """

    shown: list[Shown] = field(default_factory=list)
    items: dict[str, Standing] = field(default_factory=dict)
    sentences: list[str] = field(default_factory=list)
    problems: list[Finding] = field(default_factory=list)
    notes: list[Finding] = field(default_factory=list)
    dropped: list[Finding] = field(default_factory=list)

    def away(self) -> list[Bag]:
        return [bag for shown in self.shown for bag in shown.bags if bag.state == "gone"]

    def words_of(self, item: str) -> str | None:
        """Return how an item stands to the deliveries, None where nothing is known of it."""
        standing = self.items.get(item)
        return standing.words if standing else None

    def keep(self, items: Sequence[str]) -> None:
        """Say of items that they stay as they were delivered, by `delivery.on_new_version`."""
        mine = [item for item in items if item in self.items]
        for item in mine:
            words = f"{self.items[item].words}; {_STAYS} (delivery.on_new_version)"
            self.items[item] = replace(self.items[item], words=words)
        if mine:
            stays = ("item stays as it was", "items stay as they were")
            self.sentences.append(
                f"{_plural(len(mine), *stays)} delivered, though newer software would make "
                f"{'it' if len(mine) == 1 else 'them'} otherwise "
                f"(delivery.on_new_version is keep): {_names(mine)}."
            )

    def tell(self, findings: list[Finding]) -> None:
        """Put each finding where it belongs: what holds the batch is a problem, the rest a note."""
        self.problems += [finding for finding in findings if finding.severity == "hold"]
        self.notes += [finding for finding in findings if finding.severity != "hold"]


def is_over(finding: Finding) -> bool:
    """Return whether a finding of a night before is left out, as it is asked anew here."""
    return finding.code in _ASKED_ANEW


def gather(
    results: Path,
    deliveries_dir: Path,
    batch: str,
    statuses: list[ItemStatus],
    withdraw: list[corrections.Withdrawal],
    section: DeliverySection,
    restricted: Sequence[access.ListedAccess] = (),
) -> Deliveries:
    """Return what is to be said of a batch's deliveries.

    results: `results/<batch>/`. restricted: items that not all may see. A receipt that cannot be
    used is a problem that is told.
    """
    receipts = receipt_files.read(deliveries_dir, batch)
    delivered = Deliveries(
        shown=[
            Shown(
                file=f"{receipt.delivery}{receipt_files.SUFFIX}",
                receipt=receipt,
                bags=receipt_files.look(deliveries_dir, receipt),
            )
            for receipt in reversed(receipts.sound)
        ]
    )
    lost = receipt_files.lost(results, deliveries_dir, receipts)
    delivered.problems += [*receipts.damaged, *lost]
    damage = receipt_files.damage(deliveries_dir, receipts)
    delivered.tell(damage)
    # What was public before is asked anew: an item may be closed though nothing could be delivered.
    delivered.notes += [
        note for note in _stamped(results) if note not in damage and note.code != public_before.CODE
    ]
    delivered.notes += public_before.told_of(deliveries_dir, restricted, receipts.sound)
    names = [state.item for state in statuses]
    held = section.same_ids == "held"
    delivered.tell(same_ids.findings(results.parent, deliveries_dir, batch, names, held=held))
    earlier = drops.delivered(deliveries_dir, receipts.sound)
    withdrawals = [drops.Withdrawal.of(entry) for entry in withdraw]
    try:
        _compare(delivered, results, statuses, withdrawals, earlier, section)
    except (GlassineError, LookupError, TypeError, ValueError, AttributeError) as problem:
        delivered.problems.append(_untellable(results, problem))
        return delivered
    delivered.problems += delivered.dropped
    delivered.sentences = _sentences(delivered, receipts.latest, statuses, withdrawals, section)
    return delivered


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
        return [finding(note, str(path)) for note in notes]
    except (GlassineError, KeyError, TypeError):
        return []  # the stamp is worth nothing: the next night writes it anew


def _compare(
    delivered: Deliveries,
    results: Path,
    statuses: list[ItemStatus],
    withdrawals: list[drops.Withdrawal],
    earlier: dict[str, drops.Delivered],
    section: DeliverySection,
) -> None:
    """Put in how each item stands to the deliveries, and which are missing."""
    whole = {withdrawal.item: withdrawal for withdrawal in withdrawals if withdrawal.whole}
    items: list[due.Item] = []
    kept_back: dict[str, access.Access] = {}
    lacking = []
    for state in statuses:
        before = earlier.get(state.item)
        if state.item in whole:
            standing = Standing(f"withdrawn: {whole[state.item].sentence()}", "withdrawn")
        elif _awaits(state, section):
            lacking.append(UnfinishedItem(item=state.item, state=state.state))
            standing = _unaccepted(before)
        elif state.state not in deliver.FINISHED:
            lacking.append(UnfinishedItem(item=state.item, state=state.state))
            standing = _unfinished(before)
        elif item := _packed(results / "items" / state.item, state):
            level = item.access()
            if level.deliver == "nothing":
                kept_back[state.item] = level
                standing = _kept_back(before, level)
            else:
                items.append(item)
                standing = _finished(before, item.digest)
        else:
            lacking.append(UnfinishedItem(item=state.item, state="without a sound package.json"))
            standing = Standing(
                "cannot be told: its package.json is damaged", "of which it cannot be told"
            )
        delivered.items[state.item] = standing
    if earlier:
        delivered.dropped = due.dropped(items, lacking, withdrawals, earlier, section, kept_back)


def _packed(folder: Path, state: ItemStatus) -> due.Item | None:
    try:
        return due.item_of(folder, msgspec.convert(state.records["package"], Package))
    except (KeyError, msgspec.ValidationError):
        return None


def _finished(before: drops.Delivered | None, digest: str) -> Standing:
    if before is None:
        return Standing("not yet", "never delivered")
    if before.digest == digest:
        return Standing(f"in {before.delivery}", "as delivered")
    return Standing(f"an earlier state of it in {before.delivery}", "delivered in an earlier state")


def _kept_back(before: drops.Delivered | None, level: access.Access) -> Standing:
    has = f"; as it was before in {before.delivery}" if before else ""
    return Standing(f"kept back, {level.sentence()} (access.deliver){has}", "kept back")


def _unfinished(before: drops.Delivered | None) -> Standing:
    if before is None:
        return Standing("not yet", "never delivered")
    return Standing(f"as it was before in {before.delivery}", "delivered in an earlier state")


def _awaits(state: ItemStatus, section: DeliverySection) -> bool:
    """Return whether an item is done, but waits for a person before it is delivered."""
    failed_too = section.quality_fail == "review"
    return section.when == "reviewed" and bool(state.awaits_person(failed_too=failed_too))


def _unaccepted(before: drops.Delivered | None) -> Standing:
    standing = _unfinished(before)
    return Standing(f"{standing.words}: waits until a person accepts it", standing.kind)


def _plural(number: int, one: str, many: str) -> str:
    return f"{number:,} {one if number == 1 else many}"


def _names(items: list[str]) -> str:
    return wording.some(items, _NAMED)


def _sentences(
    delivered: Deliveries,
    latest: Receipt | None,
    statuses: list[ItemStatus],
    withdrawals: list[drops.Withdrawal],
    section: DeliverySection,
) -> list[str]:
    if latest is None:
        return [] if delivered.problems else ["Nothing of this batch has been delivered yet."]
    sentences = [f"The last delivery is {latest.delivery}, made on {latest.time[:10]}."]
    sentences += _counted(delivered, statuses)
    if delivered.dropped:
        missing = [finding.path for finding in delivered.dropped]
        sentences.append(
            f"{_plural(len(missing), 'item', 'items')} of earlier deliveries "
            f"{'is' if len(missing) == 1 else 'are'} missing, not done, or would have less in "
            f"{'it' if len(missing) == 1 else 'them'} than was delivered: {_names(missing)}."
        )
    whole = [withdrawal.item for withdrawal in withdrawals if withdrawal.whole]
    gone = [item for item in whole if item not in delivered.items]
    if gone:
        sentences.append(f"Withdrawn, and not in the batch folder any more: {_names(gone)}.")
    unfinished = [state.item for state in statuses if state.state not in deliver.FINISHED]
    awaited = [item for item in unfinished if delivered.items[item].kind != "withdrawn"]
    if awaited and section.when == "complete":
        sentences.append(
            f"A new delivery waits until {_names(awaited)} "
            f"{'is' if len(awaited) == 1 else 'are'} done."
        )
    behind = [state.item for state in statuses if _awaits(state, section)]
    if behind:
        sentences.append(
            f"{_plural(len(behind), 'item waits', 'items wait')} for a person before delivery: "
            f"{_names(behind)}."
        )
    away = delivered.away()
    if away:
        sentences.append(
            f"Delivered, but no longer here: {_names([bag.name for bag in away])} (carried away, "
            "or lost; see Deliveries)."
        )
    return sentences


def _counted(delivered: Deliveries, statuses: list[ItemStatus]) -> list[str]:
    """Return in a sentence how many items of the batch stand how to the deliveries."""
    numbers = Counter(delivered.items[state.item].kind for state in statuses)
    shown = [f"{number:,} {kind}" for kind, number in numbers.items()]
    whole = _plural(len(statuses), "item", "items")
    return [f"Of {whole}: {', '.join(shown)}."] if shown else []
