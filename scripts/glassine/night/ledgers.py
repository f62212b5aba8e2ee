"""The ledger of deliveries by hand: is it whole, what does it say, make it again."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from glassine.base import clock, exits
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.receipt import Receipt
from glassine.base.visible import visible
from glassine.deliver import bag, ledger, receipt_files
from glassine.night import lock as runlock

# In each bag of a delivery.
_STATEMENT = "delivery/delivery.json"


def _receipts(deliveries: Path) -> tuple[list[Receipt], list[Finding]]:
    """Return the sound receipts of all batches here, and what is wrong with the others."""
    sound: dict[str, Receipt] = {}
    damaged: list[Finding] = []
    for batch in sorted(receipt_files.batches(deliveries)):
        receipts = receipt_files.read(deliveries, batch)
        sound |= {receipt.delivery: receipt for receipt in receipts.sound}
        damaged += receipts.damaged
    return [*sound.values()], damaged


def check(deliveries: Path) -> list[Finding]:
    """Return what is wrong with the ledger: its chain, receipts that say otherwise, deliveries
    that it lacks; and bags that neither it nor a receipt tells of."""
    receipts, damaged = _receipts(deliveries)
    found = ledger.begun(deliveries) + ledger.contradictions(deliveries, receipts)
    known = {entry.receipt.delivery for entry in ledger.read(deliveries).entries}
    if not found:
        found = [_lacks(deliveries, each) for each in receipts if each.delivery not in known]
    told = [*receipts, *(entry.receipt for entry in ledger.read(deliveries).entries)]
    return [*found, *damaged, *_bags_untold(deliveries, told)]


def _bags_untold(deliveries: Path, told: list[Receipt]) -> list[Finding]:
    """Return a finding for each bag in the folder that says of itself that it is of a delivery, and
    that no receipt and no line tells of. What is under way has other names."""
    names = {each.name for receipt in told for each in receipt.bags}
    folder = sorted(deliveries.iterdir()) if deliveries.is_dir() else []
    return [
        Finding(
            "ledger.bag_untold",
            str(path),
            "This is a bag of a delivery, and neither the ledger nor a receipt tells of it: both "
            "copies of its receipt and its line are lost, or it was brought here.",
            "a receipt of each bag, beside it or in receipts/.",
            "Bring its receipt back (from a backup, or from where it was sent), then run "
            "scripts/ledger rebuild. A receipt cannot be made from a bag alone.",
        )
        for path in folder
        if path.name not in names and not path.name.startswith(".") and _is_bag(path)
    ]


def _is_bag(path: Path) -> bool:
    if path.is_dir():
        return (path / _STATEMENT).is_file()
    if path.suffix not in (".tar", ".zip") or not path.is_file():
        return False
    return bag.tag_file(path, _STATEMENT) is not None


def _lacks(deliveries: Path, receipt: Receipt) -> Finding:
    return Finding(
        "ledger.lacks",
        str(ledger.path_of(deliveries)),
        f"The ledger has no line of {receipt.delivery}, which has a receipt.",
        "a line for each delivery.",
        "The next night that works on the batch adds it; scripts/ledger rebuild does so at once.",
    )


def _list(deliveries: Path) -> None:
    for entry in ledger.read(deliveries).entries:
        receipt = entry.receipt
        size = sum(bag.bytes for bag in receipt.bags) / 1e9
        more = f", replaces {receipt.replaces}" if receipt.replaces else ""
        more += f", adds to {receipt.continues}" if receipt.continues else ""
        withdrawn = f", {len(receipt.withdrawn)} withdrawn" if receipt.withdrawn else ""
        line = f"{entry.number} {entry.time} {receipt.delivery}: {len(receipt.items)} items"
        print(visible(f"{line}, {size:,.2f} GB{more}{withdrawn}"))


def _rebuild(working_dir: Path, deliveries: Path) -> list[Finding]:
    lock = runlock.RunLock(working_dir)
    lock.take()
    try:
        receipts, damaged = _receipts(deliveries)
        aside = deliveries / f"{ledger.NAME}.damaged-{clock.now_text().replace(':', '')}"
        behind = ledger.rebuilt(deliveries, receipts, aside)
    finally:
        lock.ended()
    count = len(ledger.read(deliveries).entries)
    print(f"{ledger.path_of(deliveries)}: {count} lines; before: {aside.name}")
    return [*damaged, *behind]


def main(arguments: list[str] | None = None) -> int:
    """Do what was asked; return the exit code: 0 where the ledger is whole, 1 where it is not."""
    parser = argparse.ArgumentParser(
        prog="scripts/ledger",
        description="The ledger of all that was delivered (deliveries/ledger.jsonl): `check` sees "
        "whether it is whole, `list` prints it, `rebuild` makes it again from sound lines and "
        "receipts and puts the damaged one aside.",
    )
    parser.add_argument("what", choices=["check", "list", "rebuild"], nargs="?", default="check")
    parser.add_argument("--directory", default=".", help="the folder that holds `deliveries`")
    options = parser.parse_args(arguments)
    working_dir = Path(options.directory).resolve()
    deliveries = working_dir / "deliveries"
    try:
        if options.what == "list":
            _list(deliveries)
        found = _rebuild(working_dir, deliveries) if options.what == "rebuild" else []
        found += check(deliveries)
    except GlassineError as error:
        found = error.findings
    except OSError as problem:
        sys.stderr.write(f"{visible(str(problem))}\n")
        return exits.CANNOT_WRITE
    sys.stderr.write("".join(f"{each.sentence()}\n" for each in found))
    if any(each.code in {"run.busy", "run.jobs_alive"} for each in found):
        return exits.LATER
    if not found and options.what == "check":
        print(f"{ledger.path_of(deliveries)}: whole, {len(ledger.read(deliveries).entries)} lines")
    return exits.HELD if found else 0


if __name__ == "__main__":
    sys.exit(main())
