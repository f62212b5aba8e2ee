"""Write a person's word that an item, or a part of it, is no longer delivered."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import Any

import msgspec
import yaml
from msgspec import UNSET

from glassine.base import clock, corrections, files, folders, naming, record_files, settings
from glassine.base.errors import GlassineError
from glassine.base.model import ItemId
from glassine.base.records.corrections import Withdrawal
from glassine.base.records.intake import Items
from glassine.deliver import drops, receipt_files
from glassine.review.session import Session


def _known_items(results: Path, deliveries: Path, batch: str) -> set[str]:
    """Return the items of the batch, and those that its deliveries have."""
    intake = results / "intake.json"
    listed = record_files.load(intake, "intake", Items).items if intake.exists() else []
    receipts = receipt_files.read(deliveries, batch)
    return {entry.item for entry in listed} | set(drops.delivered(deliveries, receipts.sound))


def _require_known(session: Session, deliveries: Path, entry: Withdrawal) -> None:
    if entry.item in _known_items(session.results, deliveries, session.batch):
        return
    raise GlassineError.because(
        "withdraw.item",
        entry.item,
        f"Neither the batch {session.batch} nor a delivery of it has this item.",
        "the id of an item, as the report or the receipt shows it.",
        "Correct the id.",
    )


def _line(entry: Withdrawal) -> str:
    plain = msgspec.to_builtins(entry)
    text = yaml.safe_dump(
        plain,
        sort_keys=False,
        allow_unicode=True,
        default_flow_style=True,
        width=10**6,
    )
    return f"- {text.strip()}\n"


def with_entry(text: str, entry: Withdrawal, where: str) -> str:
    """Return the text of corrections.yaml with one entry more under `withdraw`.

    What a person wrote stays as it is, comments too, wherever the entry can be put behind it.
    Raises GlassineError where the file, or what would come of it, is not as it should be.
    """
    loaded = settings.parse_yaml(text, where) or {}
    standing = corrections.check(loaded, where).corrections
    entries = [*loaded.get("withdraw", []), msgspec.to_builtins(entry)]
    withdrawn = corrections.check({**loaded, "withdraw": entries}, where).withdraw
    end = "" if not text or text.endswith("\n") else "\n"
    for between in ("", "withdraw:\n"):
        longer = f"{text}{end}{between}{_line(entry)}"
        if _reads_as(longer, {**loaded, "withdraw": entries}, where):
            return longer
    return corrections.as_text(standing, withdrawn)


def _reads_as(text: str, content: Any, where: str) -> bool:
    try:
        return bool(settings.parse_yaml(text, where) == content)
    except GlassineError:
        return False


def withdraw(session: Session, deliveries: Path, entry: Withdrawal) -> None:
    """Write one entry of `withdraw` into corrections.yaml of the batch.

    The file that was there is kept with the results. Raises GlassineError: an unknown item, a
    damaged file, an entry that stands already, a folder that is not written.
    """
    _require_known(session, deliveries, entry)
    target = session.target
    before = target.read_bytes() if target.exists() else b""
    try:
        text = with_entry(before.decode("utf-8-sig"), entry, target.name)
    except UnicodeDecodeError as problem:
        raise _not_written(target, f"it is no UTF-8: {problem}", entry) from problem
    if not session.writable:
        raise _not_written(target, _why_not(session), entry)
    with session.changing():
        if (target.read_bytes() if target.exists() else b"") != before:
            raise _not_written(target, "somebody changed it in this moment", entry)
        try:
            session.keep_earlier()
            files.write_text(target, text)
        except OSError as problem:
            raise _not_written(target, str(problem.strerror or problem), entry) from problem


def _why_not(session: Session) -> str:
    """Return in words why nothing is written into the folder of a batch."""
    if not session.batch_dir.exists():
        return (
            f"there is no folder {session.batch_dir}; where the masters lie elsewhere, name their "
            "folder with --masters, or the settings with --configfile"
        )
    if not session.batch_dir.is_dir():
        return f"{session.batch_dir} is no folder"
    if not os.access(session.batch_dir, os.W_OK):
        return f"the folder {session.batch_dir} may not be written"
    return "`report.corrections` of the settings lets nothing be written into the batch folder"


def _not_written(target: Path, why: str, entry: Withdrawal) -> GlassineError:
    return GlassineError.because(
        "withdraw.not_written",
        target,
        f"The entry was not written: {why}.",
        "a corrections.yaml in the batch folder that can be written.",
        f"Try again, or write it by hand below `withdraw:`, as {_line(entry).strip()}",
    )


def _session(options: argparse.Namespace) -> Session:
    stated = settings.stated(options.configfile)
    config = settings.load(stated, settings.named(options.configfile))
    working_dir = Path(options.directory).resolve()
    try:
        batch = naming.check_batch(options.batch)
    except ValueError as problem:
        raise GlassineError.because(
            "withdraw.batch",
            options.batch,
            f"This cannot be the name of a batch: {problem}.",
            "the name of a batch.",
            "Correct it.",
        ) from problem
    masters = options.masters or config["masters"]
    batch_dir = folders.masters_folder(masters, working_dir) / batch
    allowed = config["report"]["corrections"] == "batch_folder"
    writable = allowed and batch_dir.is_dir() and os.access(batch_dir, os.W_OK)
    return Session(batch, working_dir / "results" / batch, batch_dir, writable)


def main(arguments: list[str] | None = None) -> int:
    """Write the entry; return the exit code: 0 where it stands, 2 where it was refused."""
    parser = argparse.ArgumentParser(
        prog="scripts/withdraw",
        description="Write why an item of a batch is no longer delivered, into corrections.yaml.",
    )
    parser.add_argument("batch", help="name of the batch")
    parser.add_argument("item", help="id of the item")
    part = parser.add_mutually_exclusive_group()
    part.add_argument("--master", help="only this master of it: its path in the batch folder")
    part.add_argument("--frames", type=int, help="only frames: how many are left of a master")
    parser.add_argument("--reason", required=True, help="why, in plain text")
    parser.add_argument("--by", required=True, help="role id of who decided, no name")
    parser.add_argument("--directory", default=".", help="the folder that holds `results`")
    parser.add_argument("--masters", help="the folder of masters, where it is not as in settings")
    parser.add_argument("--configfile", action="append", default=[], help="as scripts/nightly has")
    options = parser.parse_args(arguments)
    entry = Withdrawal(
        item=ItemId(options.item),  # checked with all the rest before it is written
        master=options.master or UNSET,
        frames=UNSET if options.frames is None else options.frames,
        reason=options.reason,
        by=options.by,
        when=clock.now_text(),
    )
    try:
        session = _session(options)
        withdraw(session, Path(options.directory).resolve() / "deliveries", entry)
    except GlassineError as error:
        sys.stderr.write("".join(f"{finding.sentence()}\n" for finding in error.findings))
        return 2
    print(f"{options.item} is withdrawn, as {session.target} says. The next night delivers so.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
