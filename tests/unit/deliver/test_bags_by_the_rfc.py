"""Small bags, a rule of RFC 8493 (BagIt 1.0) broken or bent in each: whole ones are taken, others
refused for the reason. "ours": what the RFC allows and no delivery of ours has, which is refused.

bagit-python (Library of Congress) is asked as well, where it judges as the RFC does.
"""

from __future__ import annotations

import hashlib
import logging
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from glassine.deliver import bag

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import bagit

Files = dict[str, bytes]
DECLARED = "bagit.txt"
INFO = "bag-info.txt"
LISTS = tuple(f"{kind}manifest-{name}.txt" for kind in ("", "tag") for name in bag.ALGORITHMS)
SHA256, SHA512, TAG256, TAG512 = LISTS


def sealed(files: Files) -> Files:
    """Return the files with bag-info.txt and all manifests, where they are not there yet."""
    payload = {path: content for path, content in files.items() if path.startswith("data/")}
    oxum = f"Payload-Oxum: {sum(map(len, payload.values()))}.{len(payload)}\n"
    files = {DECLARED: bag.DECLARATION.encode(), INFO: oxum.encode()} | files
    for kind, start in (("", True), ("tag", False)):
        for name in bag.ALGORITHMS:
            listed = {
                path: hashlib.new(name, content).hexdigest()
                for path, content in files.items()
                if path.startswith("data/") is start and not path.startswith("tagmanifest-")
            }
            files.setdefault(f"{kind}manifest-{name}.txt", bag.manifest(listed).encode())
    return files


def plain() -> Files:
    return {"data/a.txt": b"first", "data/b/c d.txt": b"second"}


@dataclass(frozen=True)
class Case:
    """section: of RFC 8493. verdict: "valid", "invalid" or "ours". codes: of ours, all of them.
    lenient: bagit-python takes it all the same, or refuses what it should take."""

    section: str
    name: str
    verdict: str
    files: Callable[[], Files]
    codes: frozenset[str] = frozenset()
    lenient: bool = False


def with_files(**changed: bytes | None) -> Files:
    """Return a sealed bag with these tag files instead of, or beside, its own; None takes out."""
    files = sealed(plain() | {key: value for key, value in changed.items() if value is not None})
    return {path: content for path, content in files.items() if changed.get(path, b"") is not None}


def swapped(path: str, old: bytes, new: bytes) -> Files:
    """Return a sealed bag with a list changed, and tag manifests that go with it."""
    content = sealed(plain())[path]
    assert old in content
    return with_files(**{path: content.replace(old, new)})


def line_of(path: str, name: str = "sha256", content: bytes = b"first") -> bytes:
    return f"{hashlib.new(name, content).hexdigest()}  {path}\n".encode()


def odd_path(path: str) -> Files:
    """Return a bag whose payload manifests list one more path."""
    files = sealed(plain())
    added: dict[str, bytes] = {
        SHA256: files[SHA256] + line_of(path),
        SHA512: files[SHA512] + line_of(path, "sha512"),
    }
    return with_files(**added)


def without(*paths: str) -> Files:
    return with_files(**dict.fromkeys(paths))


def codes(*names: str) -> frozenset[str]:
    return frozenset(f"bag.{name}" for name in names)


def after(path: str, content: bytes) -> Files:
    """Return a sealed bag of which one file was changed after it was sealed."""
    return sealed(plain()) | {path: content}


def sealed_with_one() -> Files:
    """Return a bag with a payload manifest of SHA-256 alone, and tag manifests that say so."""
    files = sealed(plain())
    listed = {
        path: content
        for path, content in files.items()
        if not path.startswith(("data/", "tagmanifest-")) and path != SHA512
    }
    return {
        **{path: files[path] for path in files if path not in (SHA512, TAG256, TAG512)},
        **{
            f"tagmanifest-{name}.txt": bag.manifest(
                {path: hashlib.new(name, content).hexdigest() for path, content in listed.items()}
            ).encode()
            for name in bag.ALGORITHMS
        },
    }


def without_info() -> Files:
    files = sealed(plain())
    for path in (TAG256, TAG512):
        lines = files[path].splitlines(keepends=True)
        files[path] = b"".join(line for line in lines if not line.endswith(b"  bag-info.txt\n"))
    return {path: content for path, content in files.items() if path != INFO}


ENCODED = {"data/50%.txt": b"%", "data/a\nb.txt": b"LF", "data/a\rb.txt": b"CR"}
CASES = [
    # 2.1.1 the declaration
    Case("2.1.1", "as it should be", "valid", lambda: sealed(plain())),
    Case(
        "2.1.1",
        "lines end with CR LF",
        "valid",
        lambda: with_files(**{DECLARED: bag.DECLARATION.replace("\n", "\r\n").encode()}),
    ),
    Case(
        "2.1.1",
        "lines end with CR",
        "valid",
        lambda: with_files(**{DECLARED: bag.DECLARATION.replace("\n", "\r").encode()}),
        lenient=True,
    ),
    Case(
        "2.1.1",
        "no declaration",
        "invalid",
        lambda: without(DECLARED),
        codes("declaration", "tag_missing"),
    ),
    Case(
        "2.1.1",
        "a byte-order mark",
        "invalid",
        lambda: with_files(**{DECLARED: b"\xef\xbb\xbf" + bag.DECLARATION.encode()}),
        codes("encoding"),
    ),
    Case(
        "2.1.1",
        "a version that is no number",
        "invalid",
        lambda: with_files(**{DECLARED: bag.DECLARATION.replace("1.0", "one").encode()}),
        codes("declaration"),
    ),
    Case(
        "2.1.1",
        "no encoding",
        "invalid",
        lambda: with_files(**{DECLARED: b"BagIt-Version: 1.0\n"}),
        codes("declaration"),
    ),
    Case(
        "2.1.1",
        "lines in another order",
        "invalid",
        lambda: with_files(
            **{DECLARED: b"Tag-File-Character-Encoding: UTF-8\nBagIt-Version: 1.0\n"}
        ),
        codes("declaration"),
        lenient=True,
    ),
    Case(
        "2.1.1",
        "a third line",
        "invalid",
        lambda: with_files(**{DECLARED: bag.DECLARATION.encode() + b"More: lines\n"}),
        codes("declaration"),
        lenient=True,
    ),
    Case(
        "2.1.1",
        "an earlier version",
        "ours",
        lambda: with_files(**{DECLARED: bag.DECLARATION.replace("1.0", "0.97").encode()}),
        codes("declaration"),
    ),
    # 2.1.2 the payload
    Case(
        "2.1.2",
        "no payload",
        "invalid",
        lambda: sealed({}),
        codes("payload"),
    ),
    # 2.1.3 payload manifests
    Case(
        "2.1.3",
        "a payload file changed, its size the same",
        "invalid",
        lambda: after("data/a.txt", b"fIrst"),
        codes("payload_changed"),
    ),
    Case(
        "2.1.3",
        "a payload file cut short",
        "invalid",
        lambda: after("data/a.txt", b"f"),
        codes("payload_changed", "oxum"),
    ),
    Case(
        "2.1.3",
        "a listed file is not there",
        "invalid",
        lambda: without("data/a.txt"),
        codes("payload_missing", "oxum"),
    ),
    Case(
        "2.1.3",
        "a payload file that no list names",
        "invalid",
        lambda: after("data/more.txt", b"x"),
        codes("payload_unlisted", "oxum"),
    ),
    Case(
        "2.1.3",
        "the second manifest lacks a file",
        "invalid",
        lambda: swapped(SHA512, line_of("data/a.txt", "sha512"), b""),
        codes("manifest_incomplete"),
        lenient=True,
    ),
    Case(
        "2.1.3",
        "a file listed twice",
        "invalid",
        lambda: swapped(SHA256, line_of("data/a.txt"), 2 * line_of("data/a.txt")),
        codes("manifest_twice"),
        lenient=True,
    ),
    Case(
        "2.1.3",
        "a digest that is too short",
        "invalid",
        lambda: swapped(SHA256, line_of("data/a.txt"), line_of("data/a.txt")[4:]),
        codes("manifest_line", "manifest_incomplete"),
    ),
    Case(
        "2.1.3",
        "digests in upper case",
        "valid",
        lambda: swapped(SHA256, line_of("data/a.txt")[:64], line_of("data/a.txt")[:64].upper()),
    ),
    Case(
        "2.1.3",
        "tabs and more blanks between",
        "valid",
        lambda: swapped(SHA256, b"  data/a.txt", b" \t   data/a.txt"),
    ),
    Case(
        "2.1.3",
        "a manifest whose lines end with CR LF",
        "valid",
        lambda: swapped(SHA256, b"\n", b"\r\n"),
    ),
    Case(
        "2.1.3",
        "percent, LF and CR in names, encoded",
        "valid",
        lambda: sealed(plain() | ENCODED),
        lenient=True,
    ),
    Case(
        "2.1.3",
        "no payload manifest",
        "invalid",
        lambda: without(SHA256, SHA512),
        codes("manifest_missing", "payload_unlisted", "tag_missing"),
    ),
    Case(
        "2.1.3",
        "one payload manifest alone",
        "ours",
        sealed_with_one,
        codes("manifest_missing"),
    ),
    # 5.1 paths that lead elsewhere
    *(
        Case("5.1", why, "invalid", lambda path=path: odd_path(path), codes("manifest_path"), True)  # type: ignore[misc]
        for why, path in (
            ("a path that leads out", "data/../../../etc/passwd"),
            ("a path from the root", "/etc/passwd"),
            ("a path to somebody's home", "~/a.txt"),
        )
    ),
    Case(
        "2.1.3",
        "a tag file in the payload manifest",
        "invalid",
        lambda: odd_path("bagit.txt"),
        codes("manifest_path"),
        lenient=True,
    ),
    # 2.2.1 tag manifests
    Case(
        "2.2.1",
        "a tag file changed",
        "invalid",
        lambda: after(INFO, sealed(plain())[INFO] + b"Contact-Name: op-07\n"),
        codes("tag_changed"),
    ),
    Case(
        "2.2.1",
        "a listed tag file is not there",
        "invalid",
        lambda: {
            path: content
            for path, content in sealed(plain() | {"more/notes.txt": b"x"}).items()
            if path != "more/notes.txt"
        },
        codes("tag_missing"),
    ),
    Case(
        "2.2.1",
        "a payload file in a tag manifest",
        "invalid",
        lambda: sealed(plain()) | {TAG256: sealed(plain())[TAG256] + line_of("data/a.txt")},
        codes("manifest_path"),
        lenient=True,
    ),
    Case(
        "2.2.1",
        "a tag manifest that lists itself",
        "invalid",
        lambda: sealed(plain()) | {TAG256: sealed(plain())[TAG256] + line_of(TAG256)},
        codes("manifest_path"),
    ),
    Case(
        "2.2.4",
        "a tag file in a folder, listed",
        "valid",
        lambda: sealed(plain() | {"more/notes.txt": b"x"}),
    ),
    Case(
        "2.2.4",
        "a tag file that no list names",
        "ours",
        lambda: after("notes.txt", b"x"),
        codes("tag_unlisted"),
    ),
    Case(
        "2.2.1",
        "no tag manifest",
        "ours",
        lambda: without(TAG256, TAG512),
        codes("tag_manifest_missing"),
    ),
    # 2.2.2 bag-info.txt
    Case(
        "2.2.2",
        "another Payload-Oxum",
        "invalid",
        lambda: with_files(**{INFO: b"Payload-Oxum: 12.2\n"}),
        codes("oxum"),
    ),
    Case(
        "2.2.2",
        "a line that goes on, labels that come again",
        "valid",
        lambda: with_files(
            **{
                INFO: sealed(plain())[INFO]
                + b"External-Description: one\n  and the same\nContact-Name: a\nContact-Name: b\n"
            }
        ),
    ),
    Case("2.2.2", "no bag-info.txt", "ours", without_info, codes("info")),
    # 2.2.3 fetch.txt
    Case(
        "2.2.3",
        "a file is still to be fetched",
        "invalid",
        lambda: {
            path: content
            for path, content in with_files(
                **{"fetch.txt": b"https://port-ellery.example/a.txt 5 data/a.txt\n"}
            ).items()
            if path != "data/a.txt"
        },
        codes("fetch", "payload_missing", "oxum"),
    ),
    Case(
        "2.2.3",
        "a file was fetched, and is here",
        "ours",
        lambda: with_files(**{"fetch.txt": b"https://port-ellery.example/a.txt 5 data/a.txt\n"}),
        codes("fetch"),
    ),
    # 2.4 algorithms
    Case(
        "2.4",
        "a manifest of a further algorithm",
        "ours",
        lambda: with_files(
            **{
                "manifest-md5.txt": line_of("data/a.txt", "md5")
                + line_of("data/b/c d.txt", "md5", b"second")
            }
        ),
        codes("algorithm"),
    ),
    # 6.1.1 names that some file systems do not tell apart
    Case(
        "6.1.1",
        "names that differ in case alone",
        "ours",
        lambda: sealed(plain() | {"data/A.TXT": b"third"}),
        codes("name"),
    ),
    Case(
        "6.1.1",
        "a name that is not in form C",
        "ours",
        lambda: sealed(plain() | {"data/A\u030a.txt": b"third"}),
        codes("name"),
        lenient=True,
    ),
]


def written(root: Path, files: Files) -> Path:
    for path, content in files.items():
        place = root / path
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(content)
    return root


def by_bagit_python(root: Path) -> bool:
    logging.getLogger("bagit").setLevel(logging.CRITICAL)
    try:
        bagit.Bag(str(root)).validate(processes=1)
    except (bagit.BagError, ValueError):
        return False
    return True


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.section} {case.name}")
def test_bags_are_judged_by_the_rfc(case: Case, tmp_path: Path) -> None:
    root = written(tmp_path / "bag", case.files())
    assert {finding.code for finding in bag.validate(root)} == case.codes
    assert (not case.codes) == (case.verdict == "valid")
    if not case.lenient:
        assert by_bagit_python(root) == (case.verdict != "invalid")


def test_a_link_in_the_payload_is_refused(tmp_path: Path) -> None:
    """Section 5.1: what leads out of the bag may be anything."""
    root = written(tmp_path / "bag", sealed(plain()))
    (root / "data/a.txt").unlink()
    (root / "data/a.txt").symlink_to("/etc/hostname")
    assert "bag.link" in {finding.code for finding in bag.validate(root)}


def test_the_set_has_each_section() -> None:
    assert len(CASES) >= 34
    assert {case.section for case in CASES} >= {
        "2.1.1", "2.1.2", "2.1.3", "2.2.1", "2.2.2", "2.2.3", "2.2.4", "2.4", "5.1", "6.1.1",
    }  # fmt: skip
