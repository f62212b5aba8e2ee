"""The command that publishes finished items: a folder that a web server serves as it is, or the
same tree in object storage."""

from __future__ import annotations

import argparse
import hashlib
import re
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec

from glassine.base import corrections, exits, files, item_states, wording
from glassine.base.errors import GlassineError
from glassine.base.model import ItemId
from glassine.base.numbers import Numbers
from glassine.base.records.given import Institution
from glassine.base.visible import visible
from glassine.night import by_hand, due
from glassine.night.lookup import Lookup
from glassine.night.workplace import Workplace
from glassine.publish import step as publish
from glassine.publish.given import Candidate, Site

# A whole address: scheme and host (RFC 3986), no blanks or marks that end one in a text.
_ADDRESS = re.compile(r"https?://[^\s/?#\"<>]{1,255}(?:/[^\s?#\"<>]{0,2000})?")
_NAMED = 8
# A bucket and a folder in it (names of buckets: S3 User Guide, "Bucket naming rules").
_BUCKET = re.compile(r"s3://[a-z0-9][a-z0-9.-]{1,61}[a-z0-9](?:/(?!\.)[A-Za-z0-9._-]{1,100}){0,8}")
# Where trees lie that go into storage.
_TREES = "published"


def _batches(place: Workplace) -> list[str]:
    return sorted(path.parent.name for path in place.results.glob("*/intake.json"))


def _site(place: Workplace, names: list[str], with_review: bool) -> Site:
    base = place.config["iiif"]["base_url"]
    if not _ADDRESS.fullmatch(base):
        raise GlassineError.because(
            "publish.address",
            "iiif.base_url",
            f"It is {base!r}, and the published tree is served at it." if base else "It is empty.",
            "a whole address such as https://images.your-institution.org/iiif.",
            "Set `iiif.base_url` to the address that the folder will be served at.",
        )
    institution = msgspec.convert(place.config["institution"], Institution, strict=False)
    collections = {name: _collection(place.results_dir(name)) for name in names}
    return Site(base, institution, collections, with_review)


def _require_apart(root: Path, place: Workplace) -> None:
    """See that nothing is published into a folder of masters, results or deliveries, or around
    one."""
    kept = {"masters": place.masters, "results": place.results, "deliveries": place.deliveries}
    for name, folder in kept.items():
        there = folder.resolve()
        if root == there or there in root.parents or root in there.parents:
            raise GlassineError.because(
                "publish.apart",
                root,
                f"It lies in the folder of {name}, or holds it.",
                "a folder of its own, which a web server may read.",
                "Name another folder; nothing was written.",
            )


def _collection(results_dir: Path) -> dict[str, Any] | None:
    path = results_dir / "collection.json"
    value = files.read_json(path) if path.is_file() else None
    return value if isinstance(value, dict) else None


def candidates(lookup: Lookup, results_dir: Path, name: str) -> list[Candidate]:
    """Return each item of a batch as it stands today. Raises GlassineError where the batch's
    records cannot be read."""
    batch, unsettled = lookup.batch(name), set(lookup.unsettled(name))
    numbers = Numbers(**lookup.place.config["naming"]["same_number"])
    spelled = {numbers.key(item): item for item in batch.items}
    known = batch.content.get("withdraw", [])
    since = withdrawn_since(
        lookup.place.masters / name, known, lambda item: spelled.get(numbers.key(item), item)
    )
    found = [
        _candidate(lookup, batch, name, results_dir / "items" / item, item in unsettled)
        for item in batch.items
    ]
    return [
        replace(each, public="none", why_closed=since[each.item]) if each.item in since else each
        for each in found
    ]


def withdrawn_since(
    batch_dir: Path,
    known: list[dict[str, Any]],
    spell: Callable[[ItemId], ItemId] = lambda item: item,
) -> dict[str, str]:
    """Return {item: why it is not to be published} of what a person withdrew since the last night.

    known: the withdrawals that the night took in. spell: gives an item the id that it has in the
    records. Of an item of which a part was withdrawn nothing
    is published until a night has made it anew. Raises GlassineError for a damaged file.
    """
    path = batch_dir / corrections.FILE_NAME
    written = corrections.read(path).withdraw if path.is_file() else []
    entries = [msgspec.structs.replace(entry, item=spell(entry.item)) for entry in written]
    return {
        entry.item: f"withdrawn since the last night: {entry.reason}"
        for entry in entries
        if msgspec.to_builtins(entry) not in known
    }


def _candidate(
    lookup: Lookup, batch: due.Batch, name: str, folder: Path, unsettled: bool
) -> Candidate:
    entry = batch.items[folder.name]  # type: ignore[index]
    status = item_states.item_status(batch.entries[folder.name], folder)  # type: ignore[index]
    allowed = due.access_of(batch, entry.item, lookup.place.config)
    row = entry.catalogue
    passing = unsettled and status.state in ("done", "review")
    return Candidate(
        batch=name,
        item=entry.item,
        folder=folder,
        state="pending" if passing else status.state,
        public=allowed.public,
        why_closed=allowed.sentence_if_restricted(),
        title=(row.title if row else "") or "",
        date=(row.date_text if row else "") or "",
        place="; ".join(each.name for each in (row.places if row else []) if each.name),
    )


def _lines(done: publish.Outcome, root: str, trial: bool) -> list[str]:
    """Return what was done, in a few lines; what was left out is counted by its reason."""
    counted = {
        "new": done.new,
        "changed": done.changed,
        "as before": done.same,
        "as before, not finished again yet": done.kept,
        "of batches that are not here": done.elsewhere,
    }
    parts = [f"{len(items):,} {words}" for words, items in counted.items() if items]
    verb = "would be published" if trial else "published"
    lines = [f"{done.published:,} items {verb} in {root}: {', '.join(parts) or 'none'}"]
    if done.removed:
        lines.append(f"  taken away: {wording.some(done.removed, _NAMED)}")
    for why, count in Counter(done.left_out.values()).most_common():
        names = [item for item, each in done.left_out.items() if each == why]
        lines.append(f"  not published, {why}: {count:,} ({wording.some(names, _NAMED)})")
    return lines


def main(arguments: list[str] | None = None) -> int:
    """Publish all batches that are here; return the exit code: 0, 1 where an item could not be
    published or a batch not be read, 75 while a run goes on, 78 where settings or folder cannot be
    used."""
    parser = argparse.ArgumentParser(
        prog="scripts/publish",
        description="Bring a folder up to date that holds all that the IIIF manifests of finished "
        "items name: pictures, tiles, manifests, collections, changes, and pages to search. Items "
        "that may not be public, or were withdrawn, are taken away from it. Serve it, as it is, at "
        "`iiif.base_url`.",
    )
    parser.add_argument(
        "folder",
        help="the folder to publish into, empty or made by this command; or a place in object "
        "storage, as s3://bucket/folder (`store.endpoint_url` says where that is)",
    )
    parser.add_argument("--with-review", action="store_true", help="items for review too")
    parser.add_argument("--dry-run", action="store_true", help="say what would be done, alone")
    parser.add_argument("--directory", default=".", help="the folder that holds `results`")
    parser.add_argument("--configfile", action="append", default=[], help="as scripts/nightly has")
    options = parser.parse_args(arguments)
    begun = by_hand.begun(options.directory, options.configfile)
    if isinstance(begun, int):
        return begun
    place, lock = begun
    try:
        return _publish(place, Lookup(place, lock), options)
    finally:
        lock.ended()


def _publish(place: Workplace, lookup: Lookup, options: argparse.Namespace) -> int:
    found: list[Candidate] = []
    readable, code = [], 0
    for name in _batches(place):
        try:
            found += candidates(lookup, place.results_dir(name), name)
            readable.append(name)
        except GlassineError as error:  # its items stay as they are, as those of an absent batch
            code = by_hand.refused(error, exits.HELD)
    stored = options.folder.startswith("s3://")
    address = options.folder.rstrip("/")
    try:
        root = _kept_tree(place, address) if stored else Path(options.folder).resolve()
        _require_apart(root, place)
        site = _site(place, readable, options.with_review)
        done = publish.publish(root, found, site, trial=options.dry_run)
    except GlassineError as error:
        return by_hand.refused(error, exits.SETTINGS)
    where = address if stored else str(root)
    print("\n".join(visible(line) for line in _lines(done, where, options.dry_run)))
    for problem in done.problems:
        sys.stderr.write(f"{visible(problem.sentence())}\n")
    if stored and not options.dry_run:
        code = _upload(place, root, address) or code
    return exits.HELD if done.problems and code == 0 else code


def _kept_tree(place: Workplace, address: str) -> Path:
    """Return where the tree of an address in the storage is laid out here, by second names of the
    results' files. Raises GlassineError for what is no such address."""
    if not _BUCKET.fullmatch(address):
        raise GlassineError.because(
            "publish.address",
            address,
            "This is no place in object storage.",
            "s3://BUCKET or s3://BUCKET/FOLDER, of letters, digits, dots, hyphens and underscores.",
            "Correct the address.",
        )
    named = hashlib.sha256(address.encode()).hexdigest()[:16]
    return (place.working_dir / _TREES / named / "tree").resolve()


def _upload(place: Workplace, root: Path, address: str) -> int:
    """Bring the storage to what lies in the tree; return the exit code."""
    from glassine.audit.objects import Unreachable
    from glassine.store import objects, published

    record = root.parent / published.RECORD
    try:
        storage = objects.S3Objects(place.config["store"]["endpoint_url"] or "")
        sent = published.upload(root, storage, address, record)
    except Unreachable as problem:
        sys.stderr.write(
            f"{visible(address)}: not all of it is there: {visible(str(problem))}. Run "
            "scripts/publish again: it goes on where this ended.\n"
        )
        return exits.UNAVAILABLE
    except GlassineError as error:
        return by_hand.refused(error, exits.SETTINGS)
    print(
        f"  in the storage: {len(sent.put):,} files put there, {len(sent.removed):,} removed, "
        f"{sent.same:,} as before"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
