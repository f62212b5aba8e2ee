#!/usr/bin/env python3
"""Check this delivery: every file's digests, the lists, and nothing more than a bare Python 3.8.

    python3 -I delivery/check_bag.py            the bag that this file lies in
    python3 -I check_bag.py FOLDER              another one

It reads every byte once and writes nothing. Exit code 0: whole and valid; 1: something is wrong,
and each line before says what; 2: there is no bag to check. Whoever changed a bag may have changed
this file in it as well: take it from another delivery, or from who delivers, where that matters.
Sections are those of RFC 8493 (BagIt 1.0). Pictures and records are not looked into, and a
signature is not checked here (the last lines say how).
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import re
import stat
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

ALGORITHMS = {"sha256": 64, "sha512": 128}
DECLARATION = b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
SIGNED = "tagmanifest-sha512.txt"
SIGNATURE = SIGNED + ".sig"
MAX_TAG_BYTES = 512 * 2**20
CHUNK = 2**20
LINE = re.compile(r"([0-9A-Fa-f]+)[ \t]+(\S.*)")
# Of a Windows file's attributes: it leads elsewhere (a link or junction).
REPARSE = 0x400


class Check:
    """One bag that is checked; `wrong` collects a line for each thing that is wrong."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.wrong: list[str] = []
        self.files: dict[str, int] = {}
        self.digests: dict[str, dict[str, str]] = {}
        self.bytes = 0

    def say(self, path: str, what: str) -> None:
        self.wrong.append(f"{path}: {what}")

    def run(self) -> None:
        self.look("")
        self.declaration()
        payload = self.lists("manifest", lambda path: path.startswith("data/"))
        tags = self.lists(
            "tagmanifest", lambda path: not path.startswith(("data/", "tagmanifest-"))
        )
        self.compare(payload, [path for path in self.files if path.startswith("data/")])
        own = {f"tagmanifest-{name}.txt" for name in ALGORITHMS} | {SIGNATURE}
        self.compare(
            tags, [path for path in self.files if not path.startswith("data/") and path not in own]
        )
        self.oxum()
        if "fetch.txt" in self.files:
            self.say("fetch.txt", "files are still to be fetched from elsewhere (2.2.3)")
        self.guarded("delivery/delivery.json", self.statement)
        self.guarded("delivery/handover.json", self.handover)

    def look(self, folder: str) -> None:
        """Take in the files of a folder; what is no plain file or folder is never opened."""
        try:
            entries = sorted(os.scandir(self.place(folder)), key=lambda entry: entry.name)
        except OSError as problem:
            self.say(folder or ".", f"this folder cannot be read ({problem.strerror})")
            return
        for entry in entries:
            path = folder + "/" + entry.name if folder else entry.name
            state = entry.stat(follow_symlinks=False)
            elsewhere = getattr(state, "st_file_attributes", 0) & REPARSE
            if stat.S_ISDIR(state.st_mode) and not elsewhere:
                self.look(path)
            elif stat.S_ISREG(state.st_mode) and not elsewhere:
                self.files[path] = state.st_size
            else:
                self.say(path, "this is a link or device, no file")

    def place(self, path: str) -> Path:
        return self.root.joinpath(*path.split("/")) if path else self.root

    def text(self, path: str) -> str:
        """Return a tag file's text, "" with a line where it cannot be read."""
        if path not in self.files:
            self.say(path, "it is missing")
            return ""
        if self.files[path] > MAX_TAG_BYTES:
            self.say(path, "it is far too large")
            return ""
        try:
            with self.place(path).open("rb") as opened:
                return opened.read().decode("utf-8")
        except (OSError, UnicodeDecodeError) as problem:
            self.say(path, f"it cannot be read as UTF-8 ({problem})")
            return ""

    def declaration(self) -> None:
        text = self.text("bagit.txt")
        if text and text.replace("\r\n", "\n").encode() != DECLARATION:
            self.say("bagit.txt", "it does not declare BagIt 1.0 in UTF-8 (2.1.1)")
        if not any(path.startswith("data/") for path in self.files):
            self.say("data", "there is no payload (2.1.2)")
        folded: dict[str, str] = {}
        for path in self.files:
            if path.casefold() in folded:
                what = f"its name differs from {folded[path.casefold()]} only in case (6.1.1)"
                self.say(path, what)
            folded[path.casefold()] = path

    def lists(self, kind: str, allowed: Callable[[str], bool]) -> dict[str, dict[str, str]]:
        """Return {algorithm: {path: digest}} of the manifests of a kind (2.1.3, 2.2.1)."""
        return {
            algorithm: self.listed(f"{kind}-{algorithm}.txt", length, allowed)
            for algorithm, length in ALGORITHMS.items()
        }

    def listed(self, name: str, length: int, allowed: Callable[[str], bool]) -> dict[str, str]:
        digests: dict[str, str] = {}
        for number, line in enumerate(re.split(r"\r\n|\r|\n", self.text(name)), 1):
            if not line:
                continue
            match = LINE.fullmatch(line)
            if match is None or len(match.group(1)) != length:
                self.say(name, f"line {number} is no digest and path")
                continue
            path = re.sub(
                "%(0A|0D|25)", lambda code: chr(int(code.group(1), 16)), match.group(2), flags=re.I
            )
            parts = path.split("/")
            if not allowed(path) or {"", ".", ".."} & set(parts) or "\\" in path or path[0] == "~":
                self.say(name, f"line {number} names {path!r}, which it may not list (5.1)")
            elif path in digests:
                self.say(name, f"line {number} lists {path} a second time")
            else:
                digests[path] = match.group(1).lower()
        return digests

    def compare(self, lists: dict[str, dict[str, str]], present: list[str]) -> None:
        for path in sorted(set(present).union(*lists.values())):
            if path not in self.files:
                self.say(path, "it is listed, but it is not there")
                continue
            lacking = [name for name in lists if path not in lists[name]]
            if lacking:
                self.say(path, "the lists of {} do not name it".format(", ".join(lacking)))
            digests = self.read(path)
            if digests is None:
                continue
            differing = [
                name for name in lists if path in lists[name] and lists[name][path] != digests[name]
            ]
            if differing:
                self.say(path, "its bytes were changed: {} differ".format(", ".join(differing)))

    def read(self, path: str) -> dict[str, str] | None:
        """Return the digests of a file by name, None with a line where it cannot be read."""
        if path in self.digests:
            return self.digests[path]
        hashes = {name: hashlib.new(name) for name in ALGORITHMS}
        try:
            with self.place(path).open("rb") as opened:
                while True:
                    piece = opened.read(CHUNK)
                    if not piece:
                        break
                    self.bytes += len(piece)
                    for each in hashes.values():
                        each.update(piece)
        except OSError as problem:
            self.say(path, f"it cannot be read ({problem.strerror})")
            return None
        self.digests[path] = {name: each.hexdigest() for name, each in hashes.items()}
        return self.digests[path]

    def oxum(self) -> None:
        sizes = [size for path, size in self.files.items() if path.startswith("data/")]
        expected = f"{sum(sizes)}.{len(sizes)}"
        text = self.text("bag-info.txt")
        stated = re.findall(r"^Payload-Oxum:[ \t]*(.*?)[ \t\r]*$", text, re.M | re.I)
        if stated != [expected]:
            what = "Payload-Oxum is {}, not {} (2.2.2)".format(
                ", ".join(stated) or "missing", expected
            )
            self.say("bag-info.txt", what)

    def guarded(self, path: str, check: Callable[[Any], None]) -> None:
        text = self.text(path)
        try:
            if text:
                check(json.loads(text))
        except (LookupError, TypeError, ValueError, AttributeError, RecursionError) as problem:
            self.say(path, f"it is not built as it should be ({problem})")

    def statement(self, stated: Any) -> None:
        """Compare the items and their files with delivery.json, by one digest an item."""
        items: dict[str, dict[str, str]] = {}
        for path in self.files:
            parts = path.split("/", 2)
            if parts[0] == "data" and len(parts) == 3:
                digests = self.digests.get(path) or {"sha256": ""}
                items.setdefault(parts[1], {})[parts[2]] = digests["sha256"]
        named = {entry["item"]: entry for entry in stated["items"]}
        for item in sorted(set(items) ^ set(named)):
            self.say("data/" + item, "delivery.json and the bag do not agree on this item")
        for item in sorted(set(items) & set(named)):
            lines = [f"{path} {items[item][path]}\n" for path in sorted(items[item])]
            joint = hashlib.sha256("".join(lines).encode("utf-8", "surrogateescape")).hexdigest()
            if joint != named[item]["digest"] or len(lines) != named[item]["files"]:
                what = "its %d files are not the %d that were delivered"
                self.say("data/" + item, what % (len(lines), named[item]["files"]))

    def handover(self, listed: Any) -> None:
        for item in listed["items"]:
            for entry in item["files"]:
                path = "data/{}/{}".format(item["item"], entry["file"])
                digests = self.digests.get(path)
                if digests is None or digests["sha256"] != entry["sha256"]:
                    self.say(path, "handover.json lists other bytes, or it is not there")


def main(arguments: list[str]) -> int:
    """Check the bag in a folder; return the exit code."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")
    here = Path(__file__).resolve().parents[1]
    if len(arguments) > 1 or arguments[:1] in (["-h"], ["--help"]):
        print(__doc__)
        return 2
    root = Path(arguments[0]) if arguments else here
    if not (root / "bagit.txt").is_file():
        print(f"{shown(str(root))}: there is no bag here (bagit.txt is missing)")
        return 2
    check = Check(root)
    check.run()
    for line in check.wrong:
        print(shown(line))
    if SIGNATURE in check.files:
        print("It is signed; with the public key of who delivers (not one from here):")
        print(f"openssl pkeyutl -verify -pubin -inkey KEY -rawin -in {SIGNED} -sigfile {SIGNATURE}")
    verdict = f"{len(check.wrong)} things are wrong" if check.wrong else "whole and valid"
    print(f"{verdict}; {len(check.digests)} files read ({check.bytes} bytes)")
    return 1 if check.wrong else 0


def shown(text: str) -> str:
    """Return a text with its control characters visible: names come from anywhere."""
    return "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
