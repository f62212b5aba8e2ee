"""The inventories of OCFL objects as they were delivered: the next version is made of them.

They lie in `deliveries/receipts/<delivery>.objects.zip`, one member an item, as the bag itself may
have been carried away; the receipt has the digest of each. Where the copy is lost, the bag is
asked.
"""

from __future__ import annotations

import zipfile
from collections.abc import Iterable
from pathlib import Path

from msgspec import UNSET

from glassine.base import files, hashing
from glassine.base.records.receipt import Receipt, ReceiptItem
from glassine.deliver import bag, receipt_files

PROFILE = "ocfl"
# Of an object with 100,000 files; more is none of ours.
_MAX_BYTES = 256 * 2**20


def path_of(deliveries_dir: Path, delivery: str) -> Path:
    return deliveries_dir / receipt_files.FOLDER / f"{delivery}.objects.zip"


def keep(deliveries_dir: Path, delivery: str, inventories: Iterable[tuple[str, bytes]]) -> None:
    """Keep (item, inventory.json) of a delivery; the same ones give the same bytes."""
    with (
        files.replacing(path_of(deliveries_dir, delivery)) as temporary,
        zipfile.ZipFile(temporary, "w", zipfile.ZIP_DEFLATED) as archive,
    ):
        for item, content in inventories:
            archive.writestr(zipfile.ZipInfo(f"{item}.json"), content, zipfile.ZIP_DEFLATED)


def inventory_of(deliveries_dir: Path, receipt: Receipt, item: ReceiptItem) -> bytes | None:
    """Return inventory.json of an object as a delivery has it, None where no sound copy is left."""
    if item.inventory is UNSET:
        return _of_earlier_bag(deliveries_dir, receipt, item)
    name = f"{bag.PAYLOAD}{item.item}/inventory.json"
    for content in (
        _kept(path_of(deliveries_dir, receipt.delivery), f"{item.item}.json"),
        bag.tag_file(deliveries_dir / item.bag, name),
    ):
        if content is not None and hashing.of_bytes(content).sha256 == item.inventory:
            return content
    return None


def _kept(path: Path, name: str) -> bytes | None:
    try:
        with zipfile.ZipFile(path) as archive:
            if archive.getinfo(name).file_size > _MAX_BYTES:
                return None
            return archive.read(name)
    except (OSError, KeyError, ValueError, zipfile.BadZipFile):
        return None


def _of_earlier_bag(deliveries_dir: Path, receipt: Receipt, item: ReceiptItem) -> bytes | None:
    """Return the inventory out of a bag whose receipt does not have its digest: the list of the
    bag's files does, and the receipt has the digest of that."""
    entry = next((each for each in receipt.bags if each.name == item.bag), None)
    path, name = deliveries_dir / item.bag, f"{bag.PAYLOAD}{item.item}/inventory.json"
    listed = bag.tag_file(path, "manifest-sha256.txt") if entry else None
    content = bag.tag_file(path, name)
    if entry is None or listed is None or content is None:
        return None
    line = f"{hashing.of_bytes(content).sha256}  {bag.encoded_path(name)}".encode()
    sound = hashing.of_bytes(listed).sha256 == entry.manifest_sha256
    return content if sound and line in listed.splitlines() else None
