"""The command that frees the room that closed batches take, and clears what broken runs left.

Of a batch that is closed (its folder of masters was moved away) and whose every item lies in a
delivery as it lies in the results, pictures that the delivery has may go. Records, previews,
thumbnails, logs and the report stay. Masters, developed ones among them, are never touched.
"""

from __future__ import annotations

import argparse
import os
import stat
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from glassine.base import disk_room, exits, files, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.receipt import Receipt
from glassine.base.visible import visible
from glassine.deliver import causes, receipt_files
from glassine.deliver import due as delivered
from glassine.night import by_hand
from glassine.night.workplace import Workplace

_DAY_S = 86400.0
# Folders of an item's results whose files a delivery has, or that repeat such files.
_PICTURES = ("access", "alternates", "iiif", "render")
# Records among them, which stay.
_OWN_RECORDS = ("render/render.json",)
_NAMED = 8


@dataclass
class Removable:
    """What may go of one place. bytes: of files with no second name elsewhere; shared: of others,
    which free no room (a delivery that is linked has them too)."""

    paths: list[Path] = field(default_factory=list)
    bytes: int = 0
    shared: int = 0

    def add(self, path: Path) -> None:
        status = path.lstat()
        self.paths.append(path)
        if status.st_nlink > 1:
            self.shared += status.st_size
        else:
            self.bytes += status.st_size


def _files(folder: Path) -> Iterator[Path]:
    """Yield the plain files below a folder; links are neither followed nor named."""
    for top, names, found in os.walk(folder):
        names[:] = [name for name in names if not (Path(top) / name).is_symlink()]
        for name in found:
            path = Path(top) / name
            if stat.S_ISREG(path.lstat().st_mode):
                yield path


def pictures(item_dir: Path) -> Iterator[Path]:
    """Yield the files of an item's results that its delivery makes dispensable."""
    for name in _PICTURES:
        folder = item_dir / name
        if folder.is_dir() and not folder.is_symlink():
            records = {item_dir / record for record in _OWN_RECORDS}
            yield from (path for path in _files(folder) if path not in records)


def _refused(place: object, what: str, next_step: str) -> GlassineError:
    return GlassineError.because(
        "tidy.refused",
        place,
        f"{what} Nothing of it was removed.",
        "a closed batch, each item of which was delivered as it lies in the results.",
        next_step,
    )


def of_batch(
    place: Workplace, name: str, days: float, now: float, *, away: bool = False
) -> Removable:
    """Return what may go of a batch's results.

    days: so long ago must its last delivery be. now: seconds since 1970. away: whether deliveries
    that are not here any more are known to be kept elsewhere. Raises GlassineError where the batch
    is not closed, something of it was not delivered, or a delivery of it is damaged or not here.
    """
    if Path(name).name != name or name in ("", ".."):
        raise _refused(name, "That is no name of a batch.", "Name a folder of `results`.")
    results = place.results_dir(name)
    if not (results / "intake.json").is_file() or results.is_symlink():
        raise _refused(results, "There are no results of a batch of this name.", "Correct it.")
    _require_closed(place, name)
    receipts = receipt_files.read(place.deliveries, name)
    if receipts.damaged or not receipts.sound:
        what = "Its receipts are damaged." if receipts.damaged else "It was never delivered."
        raise _refused(results, what, "Run a night, which tells more, or keep the batch.")
    age = (now - _seconds(receipts.sound[-1])) / _DAY_S
    if not age >= days:
        what = f"Its last delivery is {age:.0f} days old, of {days:g} that are wanted."
        raise _refused(results, what, "Wait, or name other --days.")
    _require_bags(place, receipts.sound, away)
    found = Removable()
    for item_dir in sorted((results / "items").iterdir()):
        if item_dir.is_symlink() or not item_dir.is_dir():
            continue
        _require_delivered(item_dir, receipts.sound)
        for path in pictures(item_dir):
            found.add(path)
    return found


def _require_bags(place: Workplace, receipts: list[Receipt], away: bool) -> None:
    """Raise where a delivery is not as its receipt says: what would be removed may be the last."""
    for bag in (
        bag for receipt in receipts for bag in receipt_files.look(place.deliveries, receipt)
    ):
        if bag.state == "damaged":
            what = f"The delivery {bag.name} is not as its receipt says: {bag.what}"
            raise _refused(bag.name, what, "Make it sound again, or keep the batch.")
        if bag.state == "gone" and not away:
            what = f"The delivery {bag.name} is not here any more: carried away, or lost."
            next_step = (
                "Where it is known to be kept elsewhere, say so by --away; else keep the batch."
            )
            raise _refused(bag.name, what, next_step)


def _require_closed(place: Workplace, name: str) -> None:
    """Raise where a night may still work on the batch; that masters cannot be seen says nothing."""
    noted = place.noted_masters()
    if noted is not None and noted != place.masters.resolve():
        what = f"The nights here took masters from {noted}; these settings name {place.masters}."
        raise _refused(name, what, "Name the settings of the nights by --configfile.")
    if not place.masters.is_dir():
        what = f"The folder of masters ({place.masters}) is not there, so that none looks closed."
        raise _refused(name, what, "See that the disk or share is mounted.")
    if os.path.lexists(place.batch_dir(name)):
        what = "Its folder of masters is there: a night, the audit and a later delivery need all."
        raise _refused(name, what, "Close the batch first: move its folder of masters away.")


def _seconds(receipt: Receipt) -> float:
    return datetime.fromisoformat(receipt.time).timestamp()


def _require_delivered(item_dir: Path, receipts: list[Receipt]) -> None:
    """Raise unless the last delivery that has the item has it as its results are."""
    last = causes.last_of(receipts).get(item_dir.name)
    if last is None or (item_dir / "held.json").exists():
        what = "This item is held." if last else "This item is in no delivery."
        raise _refused(item_dir, what, "Deliver or withdraw it, or keep the batch.")
    now = delivered.item_of(item_dir, delivered.read_package(item_dir)).digest
    if now != last.item.package_digest:
        what = f"This item is otherwise than {last.delivery} has it."
        raise _refused(item_dir, what, "Deliver it, or keep the batch.")


def leftovers(place: Workplace, days: float, now: float) -> Removable:
    """Return what broken runs left (temporary files of processes that are gone) and the engine's
    logs of so many days ago. For the process that holds the run's lock."""
    found = Removable()
    for path in _files(place.results):
        if path.name.startswith(files.TEMPORARY_PREFIX) and not _writer_lives(path):
            found.add(path)
    for path in _files(place.working_dir / ".snakemake" / "log"):
        if now - path.lstat().st_mtime > days * _DAY_S:
            found.add(path)
    for path in _files(place.working_dir / ".snakemake" / "storage"):
        found.add(path)
    return found


def _writer_lives(path: Path) -> bool:
    writer = path.name.removeprefix(files.TEMPORARY_PREFIX).partition("-")[0]
    return writer.isdecimal() and Path(f"/proc/{writer}").exists()


def forecast(place: Workplace, now: float, days: float = 30.0) -> str:
    """Return how long the disk lasts: by the last nights, and while these are too few by what was
    delivered in the last days."""
    told = disk_room.forecast(place.results, place.deliveries, now)
    if any(each.rate is not None for each in told):
        return "\n".join(each.sentence() for each in told)
    taken = 0
    for name in receipt_files.batches(place.deliveries):
        for receipt in receipt_files.read(place.deliveries, name).sound:
            if now - _seconds(receipt) <= days * _DAY_S:
                taken += sum(bag.bytes for bag in receipt.bags)
    free = min((each.free for each in told if "deliveries" in each.where), default=None)
    words = [each.sentence() for each in told]
    if taken and free is not None:
        words.append(
            f"deliveries of the last {days:g} days took {disk_room.in_words(taken)}: at that rate "
            f"room for about {free / (taken / days):,.0f} days, less what results take beside them"
        )
    return "\n".join(words)


def _remove(found: Removable, root: Path) -> None:
    """Remove files, and the folders below `root` that are empty then."""
    for path in found.paths:
        path.unlink()
        folder = path.parent
        while folder != root and root in folder.parents and not any(folder.iterdir()):
            folder.rmdir()
            folder = folder.parent


def _say(what: str, found: Removable, done: bool) -> None:
    verb = "removed" if done else "would remove"
    room, too = disk_room.in_words(found.bytes), disk_room.in_words(found.shared)
    shared = f", and {too} that a delivery has too" if found.shared else ""
    print(visible(f"{what}: {verb} {len(found.paths):,} files, {room}{shared}"))


def _closed(place: Workplace) -> list[str]:
    names = sorted(path.parent.name for path in place.results.glob("*/intake.json"))
    return [name for name in names if not os.path.lexists(place.batch_dir(name))]


def _tidy(place: Workplace, options: argparse.Namespace) -> int:
    now, code = time.time(), 0
    print("\n".join(map(visible, forecast(place, now).split("\n"))))
    spare = leftovers(place, options.days, now)
    for name in options.batch or _closed(place):
        try:
            found = of_batch(place, name, options.days, now, away=options.away)
        except GlassineError as error:
            code = by_hand.refused(error, exits.HELD)
            continue
        _say(name, found, options.remove and bool(options.batch))
        if options.remove and options.batch:
            _remove(found, place.results_dir(name) / "items")
    if spare.paths:
        _say("left by broken runs, and old logs of the engine", spare, options.remove)
    if options.remove:
        _remove(spare, place.working_dir)
    else:
        print("nothing was removed; --remove does it, of the batches that are named")
    return code


def main(arguments: list[str] | None = None) -> int:
    """Return the exit code: 0, 1 where a batch was refused, 75 while a run goes on, 78 where
    settings cannot be used."""
    parser = argparse.ArgumentParser(
        prog="scripts/tidy",
        description="Say what may be removed, and how much room that frees: pictures of closed "
        "batches that were delivered as they are (records, previews, thumbnails and the report "
        "stay), what broken runs left, old logs of the engine. A batch that was tidied cannot be "
        "audited, published or delivered from here any more: the delivery has its pictures. "
        "Masters are never touched.",
    )
    parser.add_argument("batch", nargs="*", help="closed batches; else all are looked at")
    parser.add_argument("--days", type=float, default=90.0, help="since the last delivery (90)")
    parser.add_argument(
        "--away", action="store_true", help="deliveries that are not here are kept elsewhere"
    )
    parser.add_argument("--remove", action="store_true", help="remove it, of the named batches")
    parser.add_argument("--directory", default=".", help="the folder that holds `results`")
    parser.add_argument("--configfile", action="append", default=[], help="as scripts/nightly has")
    options = parser.parse_args(arguments)
    if not 0 <= options.days < 36525:
        parser.error("--days wants a number of days")
    begun = by_hand.begun(options.directory, options.configfile)
    if isinstance(begun, int):
        return begun
    place, lock = begun
    try:
        return _tidy(place, options)
    except OSError as problem:
        found = Finding(
            "tidy.failed",
            str(problem.filename or place.results),
            f"It cannot be read or removed: {wording.why(problem)}.",
            "a folder that this user may write to.",
            "Check the disk and the rights, then start again; what was removed stays removed.",
        )
        return by_hand.refused(GlassineError([found]), exits.CANNOT_WRITE)
    finally:
        lock.ended()


if __name__ == "__main__":
    sys.exit(main())
