"""Check a delivery as a receiver would: the bag, its receipt, its profile, each package.

A bag whose manifests were written anew after a change is whole by RFC 8493; the receipt beside
it, the METS files and the hand-over list in it still tell.
"""

from __future__ import annotations

import json
import posixpath
import re
import tarfile
import zipfile
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

from lxml import etree

from glassine.base import hashing, record_files, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.receipt import Receipt, ReceiptBag
from glassine.deliver import bag
from glassine.deliver.bag import Reading

_METS = "{http://www.loc.gov/METS/}"
_HREF = "{http://www.w3.org/1999/xlink}href"
_ALGORITHM = {"SHA-256": "sha256", "SHA-512": "sha512"}
_NEXT = "Have the delivery sent again; do not take in this one."
_RECEIPT = (
    "Do not delete it: the next night writes it again from its second copy, where that is sound."
)
_PROFILE = "delivery/bagit-profile.json"
# A file in the content of an OCFL object in a bag: root, version, logical path.
_IN_OBJECT = re.compile(r"(data/[^/]+)/(v[1-9]\d{0,5})/content/(.+)")


def check(path: Path) -> list[Finding]:
    """Return everything found wrong with the delivered bag at `path`, worst first.

    A finding of severity "note" tells what could not be compared (no receipt beside the bag).
    """
    try:
        with bag.reading(path) as reading:
            checking = _Checking(path, reading)
            checking.run()
            return reading.findings + checking.findings
    except GlassineError as error:
        return error.findings


class _Checking:
    """What is checked beyond the bag itself; collects findings."""

    def __init__(self, path: Path, reading: Reading) -> None:
        self.path = path
        self.reading = reading
        self.findings: list[Finding] = []
        self.inventories: dict[str, Any] = {}
        self.referring: set[str] | None = None

    def note(self, code: str, path: str, what: str, expected: str, severity: str = "hold") -> None:
        finding_path = f"{self.path.name}/{path}" if path else self.path.name
        next_step = _NEXT if severity == "hold" else "Lay the receipt beside the bag."
        finding = Finding(f"delivered.{code}", finding_path, what, expected, next_step, severity)
        self.findings.append(finding)

    def content(self, path: str) -> bytes | None:
        if self.reading.store.files.get(path, bag.MAX_TAG_BYTES + 1) > bag.MAX_TAG_BYTES:
            return None
        try:
            with self.reading.store.open(path) as opened:
                return opened.read()
        except (OSError, zipfile.BadZipFile, tarfile.TarError):
            return None  # told by the bag's own check, which reads every file of it

    def json(self, path: str) -> Any:
        """Return a JSON file of the bag, or None with a finding where it is missing or damaged."""
        content = self.content(path)
        try:
            if content is not None:
                return json.loads(content)
        except (ValueError, RecursionError):
            self.note("json", path, "It is no JSON.", "the file as it was delivered.")
            return None
        self.note("tag_file", path, "It is missing.", "every tag file of a delivery.")
        return None

    def run(self) -> None:
        self.receipt()
        self.guarded(_PROFILE, self.profile)
        self.guarded("delivery/delivery.json", self.statement)
        self.guarded("delivery/handover.json", self.hand_over)
        for item in self.present():
            self.package(f"{bag.PAYLOAD}{item}")

    def guarded(self, path: str, check: Callable[[], None]) -> None:
        """Run a check of a file that anyone may have written; its odd shape is a finding."""
        try:
            check()
        except (LookupError, TypeError, ValueError, AttributeError) as problem:
            what = f"It is not built as it should be: {wording.why(problem)}."
            self.note("json", path, what, "the file as it was delivered.")

    def receipt(self) -> None:
        entry = self.receipt_entry()
        if entry is None:
            what = "There is no receipt beside this bag; it was not compared with one."
            self.note(
                "no_receipt",
                "",
                what,
                "a file receipts/<delivery>.json beside the bag.",
                severity="note",
            )
            return
        for digest, name in (
            (entry.manifest_sha256, "manifest-sha256.txt"),
            (entry.tagmanifest_sha256, "tagmanifest-sha256.txt"),
        ):
            content = self.content(name)
            if content is not None and hashing.of_bytes(content).sha256 != digest:
                what = "It is not the one that the receipt names."
                self.note("receipt", name, what, f"SHA-256 {digest}.")

    def receipt_entry(self) -> ReceiptBag | None:
        folder = self.path.parent
        for path in sorted([*folder.glob("*.receipt.json"), *folder.glob("receipts/*.json")]):
            try:
                bags = record_files.load(path, "receipt", Receipt).bags
            except GlassineError as error:
                self.findings += [
                    replace(finding, next_step=_RECEIPT) for finding in error.findings
                ]
                continue
            for entry in bags:
                if entry.name == self.path.name:
                    return entry
        return None

    def profile(self) -> None:
        """Compare bag-info.txt with the BagIt profile in the bag (BagIt Profiles 1.4)."""
        profile = self.json(_PROFILE)
        info = self.content("bag-info.txt")
        if profile is None or info is None:
            return
        try:
            tags = bag.parsed_info(info.decode("utf-8"))
        except ValueError:
            return  # the bag's own check told it
        counts: dict[str, int] = {}
        for label, _ in tags:
            counts[label] = counts.get(label, 0) + 1
        for label, rule in profile.get("Bag-Info", {}).items():
            if rule.get("required") and label not in counts:
                self.note("profile", "bag-info.txt", f"{label} is missing.", "every tag required.")
            if not rule.get("repeatable", True) and counts.get(label, 0) > 1:
                self.note("profile", "bag-info.txt", f"{label} is repeated.", "it once.")
        for name in profile.get("Tag-Files-Required", []):
            if name not in self.reading.store.files:
                self.note("tag_file", name, "It is missing.", "every tag file of a delivery.")

    def present(self) -> dict[str, dict[str, str]]:
        """Return {item: {path: SHA-256, empty where it was not read}} of the payload."""
        items: dict[str, dict[str, str]] = {}
        for path in sorted(self.reading.store.files):
            parts = path.split("/", 2)
            if parts[0] == "data" and len(parts) == 3:
                digests = self.reading.digests.get(path)
                items.setdefault(parts[1], {})[parts[2]] = digests.sha256 if digests else ""
        return items

    def statement(self) -> None:
        """Compare the items and their files with delivery.json."""
        present = self.present()
        statement = self.json("delivery/delivery.json")
        if statement is None:
            return
        named = {entry["item"]: entry for entry in statement["items"]}
        for item in sorted(set(named) - set(present)):
            what = "delivery.json names this item, but it is not there."
            self.note("item", f"{bag.PAYLOAD}{item}", what, "every item named.")
        for item in sorted(set(present) - set(named)):
            what = "delivery.json does not name this item."
            self.note("item", f"{bag.PAYLOAD}{item}", what, "only items named.")
        for item in sorted(set(present) & set(named)):
            if hashing.of_tree(present[item]) != named[item]["digest"]:
                what = f"Its {len(present[item])} files are not those that were delivered."
                expected = f"{named[item]['files']} files with the digest {named[item]['digest']}."
                self.note("content", f"{bag.PAYLOAD}{item}", what, expected)

    def hand_over(self) -> None:
        listed = self.json("delivery/handover.json")
        for item in listed["items"] if listed is not None else ():
            for entry in item["files"]:
                if entry.get("delivery", listed["delivery"]) != listed["delivery"]:
                    continue  # a later version of an object refers to it
                path = f"{bag.PAYLOAD}{item['item']}/{entry['file']}"
                digests = self.reading.digests.get(path)
                if digests is None or digests.sha256 != entry["sha256"]:
                    what = "handover.json lists other bytes, or the file is not there."
                    self.note("handover", path, what, f"SHA-256 {entry['sha256']}.")

    def package(self, root: str) -> None:
        below = [path for path in self.reading.store.files if path.startswith(root + "/")]
        for path in sorted(below):
            if path.rsplit("/", 1)[-1] == "METS.xml":
                self.guarded(path, partial(self.mets, path))
            if path == f"{root}/inventory.json":
                self.guarded(path, partial(self.inventory, root, below))
        has_record = any(path.rsplit("/", 1)[-1] == "METS.xml" for path in below)
        if not has_record and not self.refers(root.removesuffix("/")):
            self.note("package", root, "The package has no METS.xml.", "a record for each item.")

    def mets(self, path: str) -> None:
        """Compare every file that a METS names with what is there."""
        parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
        try:
            root = etree.fromstring(self.content(path) or b"", parser)
        except etree.XMLSyntaxError as problem:
            self.note("mets", path, f"It is no XML: {problem}.", "the record as delivered.")
            return
        folder = posixpath.dirname(path)
        for entry in root.iter(_METS + "file"):
            for place in entry.iterchildren(_METS + "FLocat"):
                href = place.get(_HREF, "")
                if place.get("LOCTYPE") == "OTHER":
                    self.kept_back(path, folder, href)
                else:
                    self.referenced(path, folder, entry, href)
        for entry in root.iter(_METS + "mdRef"):
            self.referenced(path, folder, entry, entry.get(_HREF, ""))

    def kept_back(self, mets: str, folder: str, href: str) -> None:
        """What a METS says is not in the package must not be in it."""
        target = posixpath.normpath(posixpath.join(folder, unquote(href)))
        if target in self.reading.store.files:
            what = f"{mets} says that it is kept back, but it is there."
            self.note("kept_back", target, what, "no such file.")

    def referenced(self, mets: str, folder: str, entry: etree._Element, href: str) -> None:
        if urlsplit(href).scheme:
            return  # elsewhere, say the image service
        target = posixpath.normpath(posixpath.join(folder, unquote(href)))
        digests = self.reading.digests.get(target) or self.in_object(target)
        if digests is None:
            self.note("mets_missing", target, f"{mets} names it, but it is not there.", "the file.")
            return
        algorithm = _ALGORITHM.get(entry.get("CHECKSUMTYPE", ""))
        digest = (entry.get("CHECKSUM") or "").lower()
        known = getattr(digests, algorithm) if algorithm else ""
        if known and known != digest:
            what = f"Its {algorithm} is not the one in {mets}."
            self.note("mets_digest", target, what, f"{algorithm} {digest}.")
        if entry.get("SIZE") and digests.bytes >= 0 and entry.get("SIZE") != str(digests.bytes):
            what = f"Its size is not the one in {mets}."
            self.note("mets_size", target, what, f"{entry.get('SIZE')} bytes.")

    def in_object(self, target: str) -> hashing.Digests | None:
        """Return the digests of a file that a record in an OCFL object names by its logical path:
        of the file in this bag, or as the inventory has them, without a size (-1), where an
        earlier delivery has the file; None where the object has no such file."""
        match = _IN_OBJECT.fullmatch(target)
        if match is None or f"{match[1]}/inventory.json" not in self.reading.store.files:
            return None
        root, logical = match[1], match[3]
        inventory = self.object_inventory(root)
        if inventory is None:
            return None
        state = inventory["versions"][inventory["head"]]["state"]
        sha512 = next((digest for digest, paths in state.items() if logical in paths), None)
        for path in inventory["manifest"].get(sha512, ()):
            here = self.reading.digests.get(f"{root}/{path}")
            if here is not None:
                return here
            if self.refers(root) and not path.startswith(f"{inventory['head']}/"):
                fixity = inventory.get("fixity", {}).get("sha256", {})
                sha256 = next((each for each, paths in fixity.items() if path in paths), "")
                return hashing.Digests(-1, sha256, str(sha512))
        return None

    def object_inventory(self, root: str) -> Any:
        if root not in self.inventories:
            self.inventories = {root: self.json(f"{root}/inventory.json")}
        return self.inventories[root]

    def refers(self, root: str) -> bool:
        """Return whether delivery.json says that earlier deliveries have files of an object."""
        if self.referring is None:
            statement = self.json("delivery/delivery.json") or {}
            items = statement.get("items", [])
            self.referring = {entry["item"] for entry in items if entry.get("refers")}
        return root.removeprefix(bag.PAYLOAD) in self.referring

    def inventory(self, root: str, below: list[str]) -> None:
        """Compare an OCFL inventory's manifest with the content (OCFL 1.1, section 3.5.2)."""
        inventory = self.json(f"{root}/inventory.json")
        manifest = inventory["manifest"] if inventory is not None else {}
        if inventory is not None and self.refers(root):  # the others are in earlier deliveries
            begins = f"{inventory['head']}/"
            manifest = {
                digest: [path for path in paths if path.startswith(begins)]
                for digest, paths in manifest.items()
            }
        listed = {f"{root}/{path}": digest for digest, paths in manifest.items() for path in paths}
        content = {path for path in below if "/content/" in path.removeprefix(root)}
        for path in sorted(content ^ set(listed)):
            what = "The inventory and the content do not agree on this file."
            self.note("inventory", path, what, "every content file listed, and no other.")
        for path in sorted(content & set(listed)):
            digests = self.reading.digests.get(path)
            if digests and digests.sha512 != listed[path].lower():
                what = "Its SHA-512 is not the one in the inventory."
                self.note("inventory", path, what, f"{listed[path]}.")
