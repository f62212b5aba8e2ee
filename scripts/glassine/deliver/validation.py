"""Check a delivery as a receiver would: the bag, its receipt, its profile, each package.

A bag whose manifests were written anew after a change is whole by RFC 8493; the receipt beside
it still tells, and so do the records in it, which are held against the files and one another.
"""

from __future__ import annotations

import json
import posixpath
import re
import tarfile
import zipfile
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote, urlsplit

from lxml import etree
from msgspec import UNSET

from glassine.base import hashing, record_files, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.receipt import Receipt, ReceiptBag
from glassine.deliver import bag, pages, signing
from glassine.deliver.bag import Reading
from glassine.deliver.checks import eark, lists, ocfl, said, steps, tiles
from glassine.deliver.checks.item import EARK_RECORD, BagItem, Damaged, items_of
from glassine.record.parsed import ParsedRecord

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

_METS = "{http://www.loc.gov/METS/}"
_HREF = "{http://www.w3.org/1999/xlink}href"
_ALGORITHM = {"SHA-256": "sha256", "SHA-512": "sha512"}
_NEXT = "Have the delivery sent again; do not take in this one."
_RECEIPT = (
    "Do not delete it: the next night writes it again from its second copy, where that is sound."
)
_PROFILE = "delivery/bagit-profile.json"
_PAGE = re.compile(r"index(-\d{4,})?\.html")
# A file in the content of an OCFL object in a bag: root, version, logical path.
_IN_OBJECT = re.compile(r"(data/[^/]+)/(v[1-9]\d{0,5})/content/(.+)")
# So many findings of a kind are told of an item: one cause may touch every tile.
MAX_FINDINGS = 20


@dataclass(frozen=True)
class Verdict:
    """What was found in a bag, files whose bytes changed first, and how much was looked at.

    files, bytes: read. records: METS files that were held against the files they name. signed_by:
    fingerprint of the key that its signature was checked with, "" where it was not.
    """

    findings: list[Finding]
    files: int = 0
    bytes: int = 0
    items: int = 0
    records: int = 0
    signed_by: str = ""

    @property
    def wrong(self) -> list[Finding]:
        return [finding for finding in self.findings if finding.severity == "hold"]

    def sentence(self) -> str:
        """Return in words how much was looked at, and what was found."""
        looked = (
            f"{self.files} files read ({self.bytes} bytes), {self.items} items, "
            f"{self.records} records"
        )
        if self.signed_by:
            looked += f", signature checked with the key {self.signed_by[:16]}..."
        if not self.wrong:
            return f"whole and valid; {looked}"
        kinds = Counter(finding.code for finding in self.wrong)
        told = ", ".join(f"{count} {code}" for code, count in kinds.most_common())
        return f"{len(self.wrong)} things are wrong with it; {looked}; {told}"


def check(path: Path) -> list[Finding]:
    """Return everything found wrong with the delivered bag at `path`, changed files first.

    A finding of severity "note" tells what could not be compared (no receipt beside the bag).
    """
    return judged(path).findings


def judged(
    path: Path, schema_dir: Path | None = None, key: Ed25519PublicKey | None = None
) -> Verdict:
    """Return what is to be said of the delivered bag at `path`.

    schema_dir: folder with the official XSDs (see `official.check_schemas`), by which records are
    checked as well. key: the bag must be signed with its private half.
    """
    try:
        with bag.reading(path) as reading:
            checking = _Checking(path, reading, schema_dir)
            checking.run()
            checking.guarded(bag.SIGNATURE, partial(checking.signature, key))
            found = dict.fromkeys(reading.findings + checking.findings)
            return Verdict(
                sorted(found, key=_rank),
                len(reading.digests),
                sum(digests.bytes for digests in reading.digests.values()),
                len(checking.items),
                checking.records,
                checking.signed_by,
            )
    except GlassineError as error:
        return Verdict(error.findings)


# Findings that name a file whose bytes are not those of the delivery come first, then those of what
# is not there or too much, then what records say otherwise, and last what is said of a whole item.
_CHANGED = (
    "bag.payload_changed",
    "delivered.noted",
    "delivered.mets_digest",
    "delivered.premis_digest",
    "delivered.inventory",
    "delivered.handover",
    "delivered.other_picture",
    "delivered.other_master",
    "bag.tag_changed",
)
_PRESENT = (
    "bag.payload_missing",
    "bag.payload_unlisted",
    "delivered.mets_missing",
    "delivered.record_missing",
    "delivered.record_unlisted",
    "delivered.eark_unlisted",
    "delivered.tile_name",
)
_WHOLE = ("delivered.content", "delivered.receipt", "delivered.no_receipt", "bag.oxum")


def _rank(finding: Finding) -> tuple[int, int]:
    for place, codes in enumerate((_CHANGED, _PRESENT)):
        if finding.code in codes:
            return place, codes.index(finding.code)
    return (3, _WHOLE.index(finding.code)) if finding.code in _WHOLE else (2, 0)


class _Checking:
    """What is checked beyond the bag itself; collects findings."""

    def __init__(self, path: Path, reading: Reading, schema_dir: Path | None) -> None:
        self.path = path
        self.reading = reading
        self.schema_dir = schema_dir
        self.items = items_of(reading)
        self.records = 0
        self.rows: dict[str, Any] = {}
        self.readme: set[str] | None = None
        self.delivery = ""
        self.signed_by = ""
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
        self.guarded("delivery/handover.csv", self.hand_over_rows)
        self.guarded("bag-info.txt", self.info)
        for path in sorted(self.reading.store.files):
            if _PAGE.fullmatch(path):
                self.guarded(path, partial(self.page, path))
        for item in self.items:
            self.package(item)
            self.guarded(item.record, partial(self.contents, item))

    def add(self, findings: Iterable[Finding]) -> None:
        """Take in findings with paths below the bag, at most MAX_FINDINGS of a kind and item."""
        counted: Counter[tuple[str, str]] = Counter()
        for finding in findings:
            key = (finding.code, "/".join(finding.path.split("/", 2)[:2]))
            counted[key] += 1
            if counted[key] <= MAX_FINDINGS:
                self.findings.append(replace(finding, path=f"{self.path.name}/{finding.path}"))

    def contents(self, item: BagItem) -> None:
        """Hold the records of an item against its files and against one another."""
        if item.layout == "ocfl":
            self.part(item, f"{item.root}/inventory.json", lambda: ocfl.check(item))
        if "METS.xml" in item.elsewhere:
            return  # the record is in an earlier delivery
        try:
            record = said.record_of(item)
        except Damaged:
            what = "The item has no record, or one that is far too large."
            self.note("record", item.record, what, "the METS of the item.")
            return
        except (etree.XMLSyntaxError, ValueError) as problem:
            self.note("mets", item.record, f"It is no XML: {problem}.", "the record as delivered.")
            return
        self.part(item, item.record, lambda: said.check(item, record, self.schema_dir))
        if not item.elsewhere:  # else the object is to be laid over an earlier one
            self.part(item, item.path("metadata"), lambda: steps.check(item, record))
            self.part(item, item.path("iiif"), lambda: tiles.check(item))
            self.part(item, item.record, lambda: self.made_again(item, record))
            self.part(item, item.path("access"), lambda: self.alike(item))
        if item.layout == "eark":
            self.part(item, f"{item.root}/METS.xml", lambda: eark.check(item, record))
        self.part(item, "bag-info.txt", lambda: self.keeper(item, record))
        self.part(item, lists.HANDOVER, lambda: self.named(item, record))

    def made_again(self, item: BagItem, record: ParsedRecord) -> Iterable[Finding]:
        from glassine.deliver.checks import described  # as is what writes records

        return described.check(item, record)

    def alike(self, item: BagItem) -> Iterable[Finding]:
        from glassine.deliver.checks import alike  # what decodes pictures is slow to load

        return alike.check(item)

    def part(self, item: BagItem, path: str, check: Callable[[], Iterable[Finding]]) -> None:
        """Run one check of an item; a record that is damaged or gone is a finding."""
        try:
            self.add(check())
        except Damaged as problem:
            what = f"A record of the item cannot be read: {problem}."
            self.note("record", path, what, "every record of a step.")
        except (OSError, EOFError, zipfile.BadZipFile, tarfile.TarError):
            return  # told by the bag's own check, which reads every file of it
        except (LookupError, TypeError, ValueError, AttributeError) as problem:
            what = f"It is not built as it should be: {wording.why(problem)}."
            self.note("json", path, what, "the file as it was delivered.")

    def signature(self, key: Ed25519PublicKey | None) -> None:
        """Check the signature of the manifests (see `signing`), where there is or must be one."""
        info, content = self.content("bag-info.txt"), self.content(bag.SIGNATURE)
        stated = signing.stated_in(info or b"")
        if content is None:
            if stated or key is not None:
                what = "The bag is not signed, or its signature was taken out."
                self.note("signature_missing", bag.SIGNATURE, what, "a signature of its manifests.")
            return
        if key is None:
            self.findings.append(
                Finding(
                    "delivered.signature_unchecked",
                    f"{self.path.name}/{bag.SIGNATURE}",
                    f"The bag is signed by the key {stated or '(not named)'}; it was not checked.",
                    "the public key of who delivers.",
                    "Check it with --key and the public key, which must not come from the bag.",
                    "note",
                )
            )
            return
        print_of_key = signing.fingerprint(key)
        if stated != print_of_key:
            what = f"bag-info.txt names another key: {stated or 'none'}."
            self.note("signature_key", bag.SIGNATURE, what, f"the key {print_of_key}.")
        if not signing.is_by(key, content, self.content(bag.SIGNED) or b""):
            what = "The signature is not that of this key over this manifest."
            self.note("signature", bag.SIGNATURE, what, f"one by the key {print_of_key}.")
        self.signed_by = print_of_key

    def keeper(self, item: BagItem, record: ParsedRecord) -> Iterator[Finding]:
        info = self.content("bag-info.txt")
        profile = self.content(_PROFILE)
        if info is not None:
            known = json.loads(profile) if profile is not None else None
            yield from lists.of_keeper(lists.parsed_info(info), known, item, record)

    def page(self, path: str) -> None:
        content = self.content(path)
        if content:
            listed = {
                f"{bag.PAYLOAD}{name}/{entry['file']}"
                for name, row in self.rows.items()
                for entry in row["files"]
            }  # one that is gone was told already
            there = listed | set(self.reading.store.files)
            self.add(lists.of_page(path, content, there, self.rows))

    def named(self, item: BagItem, record: ParsedRecord) -> Iterator[Finding]:
        if item.name in self.rows:
            yield from lists.of_item(self.rows[item.name], self.readme, item, record)
            from glassine.deliver.checks import described

            yield from described.row(item, self.rows[item.name], self.delivery)

    def info(self) -> None:
        """Compare bag-info.txt with delivery.json."""
        info, stated = self.content("bag-info.txt"), self.content(lists.STATEMENT)
        if info is not None and stated is not None:
            self.add(lists.of_statement(json.loads(stated), lists.parsed_info(info)))

    def hand_over_rows(self) -> None:
        """Compare handover.csv with handover.json."""
        content, listed = self.content(lists.HANDOVER_CSV), self.content(lists.HANDOVER)
        if content is not None and listed is not None:
            self.add(lists.of_csv(content, json.loads(listed)))
        info = self.content("bag-info.txt")
        if info is not None and listed is not None:
            self.add(lists.of_date(lists.parsed_info(info), json.loads(listed)["delivered"]))

    def guarded(self, path: str, check: Callable[[], None]) -> None:
        """Run a check of a file that anyone may have written; its odd shape is a finding."""
        try:
            check()
        except (LookupError, TypeError, ValueError, AttributeError, RecursionError) as problem:
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
        if entry.signed_by is not UNSET and bag.SIGNATURE not in self.reading.store.files:
            what = "The receipt says that the bag is signed; the signature is not there."
            self.note("receipt", bag.SIGNATURE, what, f"a signature by {entry.signed_by}.")

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
        if listed is not None:
            self.add(lists.of_handover(self.items, listed))
            self.delivery = listed["delivery"]
            self.rows = {row["item"]: row for row in listed["items"] if row.get("files")}
            readme = self.content(pages.README)
            if readme is not None:
                self.readme = set(readme.decode("utf-8", "replace").splitlines())
        for item in listed["items"] if listed is not None else ():
            for entry in item["files"]:
                if entry.get("delivery", listed["delivery"]) != listed["delivery"]:
                    continue  # a later version of an object refers to it
                path = f"{bag.PAYLOAD}{item['item']}/{entry['file']}"
                digests = self.reading.digests.get(path)
                if digests is None or digests.sha256 != entry["sha256"]:
                    what = "handover.json lists other bytes, or the file is not there."
                    self.note("handover", path, what, f"SHA-256 {entry['sha256']}.")

    def package(self, item: BagItem) -> None:
        root = item.root
        below = [f"{root}/{path}" for path in item.paths]
        for path in sorted(below):
            if path.rsplit("/", 1)[-1] == "METS.xml" or path == f"{root}/{EARK_RECORD}":
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
        self.records += 1
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
