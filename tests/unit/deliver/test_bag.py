"""Bags by RFC 8493, read by bagit-python, by a second reading here, and after tampering."""

from __future__ import annotations

import hashlib
import re
import shutil
import tarfile
import unicodedata
import warnings
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given as for_all
from hypothesis import strategies as st

import validate_delivery
from glassine.base import files, hashing
from glassine.deliver import bag, validation
from makers import deliveries

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    import bagit


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A delivered batch of two items; tests work on copies."""
    root = tmp_path_factory.mktemp("bag")
    with pytest.MonkeyPatch.context() as patch:
        deliveries.without_records(patch)
        deliveries.deliver(root, deliveries.make_batch(root))
    return root


@pytest.fixture
def copy(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    deliveries.without_records(monkeypatch)
    shutil.copytree(made / "deliveries", tmp_path / "deliveries")
    return tmp_path / "deliveries" / "b1"


def read_by_the_rfc(root: Path) -> None:
    """Read a bag by RFC 8493 alone; the section stands beside each rule."""
    # 2.1.1 exactly two lines, UTF-8, no byte-order mark
    declaration = (root / "bagit.txt").read_bytes()
    assert declaration == b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
    # 2.1.2 a folder data
    assert (root / "data").is_dir()
    payload = {
        path.relative_to(root).as_posix() for path in (root / "data").rglob("*") if path.is_file()
    }
    # 2.1.3 at least one manifest; 2.4 names in lower case letters and digits
    manifests = sorted(root.glob("manifest-*.txt"))
    assert manifests
    for manifest in manifests:
        algorithm = re.fullmatch(r"manifest-([a-z0-9]+)\.txt", manifest.name)
        assert algorithm
        listed = []
        for line in manifest.read_bytes().decode("utf-8").split("\n")[:-1]:
            digest, _, name = line.partition("  ")
            # 2.1.3 only CR, LF and % are encoded; 5.1 no path leads out
            assert "%" not in name
            assert not name.startswith(("/", "~"))
            assert ".." not in name.split("/")
            assert hashlib.new(algorithm[1], (root / name).read_bytes()).hexdigest() == digest
            listed.append(name)
        # 2.1.3 every payload file exactly once, in every manifest
        assert len(listed) == len(set(listed))
        assert set(listed) == payload
    # 2.2.1 tag manifests list every payload manifest, no payload file, no tag manifest
    for manifest in root.glob("tagmanifest-*.txt"):
        algorithm = re.fullmatch(r"tagmanifest-([a-z0-9]+)\.txt", manifest.name)
        assert algorithm
        listed = []
        for line in manifest.read_text("utf-8").splitlines():
            digest, _, name = line.partition("  ")
            assert hashlib.new(algorithm[1], (root / name).read_bytes()).hexdigest() == digest
            listed.append(name)
        assert {path.name for path in manifests} <= set(listed)
        assert not [name for name in listed if name.startswith(("data/", "tagmanifest"))]
    # 2.2.2 Payload-Oxum is bytes.count and stands once
    info = (root / "bag-info.txt").read_text("utf-8")
    size = sum((root / path).stat().st_size for path in payload)
    assert re.findall(r"(?m)^Payload-Oxum: (.*)$", info) == [f"{size}.{len(payload)}"]
    assert re.findall(r"(?m)^Bagging-Date: \d{4}-\d\d-\d\d$", info)
    # 3 complete: nothing is left to fetch
    assert not (root / "fetch.txt").exists()
    # 6.1.1 no two names that differ only in case or normalization
    folded = [unicodedata.normalize("NFC", path).casefold() for path in payload]
    assert len(folded) == len(set(folded))


def test_delivered_bag_holds_by_the_rfc_and_by_bagit_python(copy: Path) -> None:
    read_by_the_rfc(copy)
    assert bagit.Bag(str(copy)).validate()
    assert bag.validate(copy) == []
    assert validation.check(copy) == []


def _flip(path: Path, at: int = -100) -> None:
    content = bytearray(path.read_bytes())
    content[at] ^= 1
    path.write_bytes(content)


def _edit(path: Path, old: str, new: str) -> None:
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")


ACCESS = "data/PEH-0001/access/PEH-0001_access.jpg"
MASTER = "data/PEH-0001/masters/PEH-0001.tif"


def remade(root: Path) -> None:
    """Write all manifests and Payload-Oxum anew, as someone would who hides a change."""
    sources = {
        path.relative_to(root).as_posix(): hashing.of_file(path)
        for path in sorted((root / "data").rglob("*"))
        if path.is_file()
    }
    oxum = f"{sum(found.bytes for found in sources.values())}.{len(sources)}"
    info = root / "bag-info.txt"
    info.write_text(re.sub(r"Payload-Oxum: .*", f"Payload-Oxum: {oxum}", info.read_text("utf-8")))
    for name in bag.ALGORITHMS:
        listed = {path: getattr(found, name) for path, found in sources.items()}
        (root / f"manifest-{name}.txt").write_text(bag.manifest(listed), "utf-8")
    tags = {
        path.relative_to(root).as_posix(): hashing.of_file(path)
        for path in sorted(root.rglob("*"))
        if path.is_file()
        and not path.is_relative_to(root / "data")
        and not path.name.startswith("tagmanifest")
    }
    for name in bag.ALGORITHMS:
        listed = {path: getattr(found, name) for path, found in tags.items()}
        (root / f"tagmanifest-{name}.txt").write_text(bag.manifest(listed), "utf-8")


def _hidden_picture(root: Path) -> None:
    _flip(root / ACCESS)
    remade(root)


def _hidden_file(root: Path) -> None:
    files.write_bytes(root / "data/PEH-0001/access/more.jpg", b"more")
    remade(root)


def _hidden_item(root: Path) -> None:
    shutil.rmtree(root / "data" / "PEH-0002")
    remade(root)


def _swapped(root: Path) -> None:
    first, second = root / MASTER, root / "data/PEH-0002/masters/PEH-0002.tif"
    one, other = first.read_bytes(), second.read_bytes()
    first.write_bytes(other)
    second.write_bytes(one)


def _linked(root: Path) -> None:
    target = root / ACCESS
    shutil.move(target, root.parent / "elsewhere.jpg")
    target.symlink_to(root.parent / "elsewhere.jpg")


def _one_manifest_short(root: Path) -> None:
    path = root / "manifest-sha512.txt"
    path.write_text("".join(path.read_text().splitlines(keepends=True)[1:]))


def _listed_twice(root: Path) -> None:
    path = root / "manifest-sha256.txt"
    lines = path.read_text().splitlines(keepends=True)
    path.write_text("".join([*lines, lines[0]]))


def _append(path: str, text: str) -> Callable[[Path], None]:
    def change(root: Path) -> None:
        with (root / path).open("a", encoding="utf-8") as opened:
            opened.write(text)

    return change


def _write(path: str, content: bytes) -> Callable[[Path], None]:
    return lambda root: files.write_bytes(root / path, content)


SHA256 = "0" * 64
TAMPERED: dict[str, tuple[Callable[[Path], object], set[str]]] = {
    "a bit of a picture": (
        lambda root: _flip(root / ACCESS),
        {"bag.payload_changed", "delivered.content", "delivered.handover", "delivered.mets_digest"},
    ),
    "a bit of a master": (
        lambda root: _flip(root / MASTER),
        {"bag.payload_changed", "delivered.content", "delivered.handover", "delivered.mets_digest"},
    ),
    "masters of two items swapped": (
        _swapped,
        {"bag.payload_changed", "delivered.content", "delivered.handover", "delivered.mets_digest"},
    ),
    "a master cut short": (
        lambda root: (root / MASTER).write_bytes((root / MASTER).read_bytes()[:-1]),
        {
            "bag.payload_changed",
            "delivered.content",
            "bag.oxum",
            "delivered.handover",
            "delivered.mets_digest",
            "delivered.mets_size",
        },
    ),
    "a picture taken away": (
        lambda root: (root / ACCESS).unlink(),
        {
            "bag.payload_missing",
            "delivered.content",
            "bag.oxum",
            "delivered.handover",
            "delivered.mets_missing",
            "delivered.handover_files",
        },
    ),
    "a tile taken away": (
        lambda root: (root / "data/PEH-0001/iiif/PEH-0001/info.json").unlink(),
        {"bag.payload_missing", "delivered.content", "bag.oxum"},
    ),
    "a file put in": (
        _write("data/PEH-0001/access/more.jpg", b"more"),
        {"bag.payload_unlisted", "delivered.content", "bag.oxum", "delivered.handover_files"},
    ),
    "a name in capitals": (
        lambda root: (root / ACCESS).rename(root / ACCESS.replace("_access", "_ACCESS")),
        {
            "bag.payload_missing",
            "delivered.content",
            "bag.payload_unlisted",
            "delivered.handover",
            "delivered.mets_missing",
            "delivered.handover_files",
        },
    ),
    "two names alike but for case": (
        _write(MASTER.replace("PEH-0001.tif", "peh-0001.tif"), b"more"),
        {
            "bag.payload_unlisted",
            "delivered.content",
            "bag.oxum",
            "bag.name",
            "delivered.handover_files",
        },
    ),
    "a line out of one manifest": (
        _one_manifest_short,
        {"bag.manifest_incomplete", "bag.tag_changed"},
    ),
    "a line twice": (
        _listed_twice,
        {"bag.manifest_twice", "bag.tag_changed", "delivered.receipt"},
    ),
    "a line for no file": (
        _append("manifest-sha256.txt", f"{SHA256}  data/PEH-0001/none.tif\n"),
        {"bag.payload_missing", "bag.tag_changed", "delivered.receipt"},
    ),
    "a line that leads out": (
        _append("manifest-sha256.txt", f"{SHA256}  data/../../etc/passwd\n"),
        {"bag.manifest_path", "bag.tag_changed", "delivered.receipt"},
    ),
    "a line that is none": (
        _append("manifest-sha256.txt", "what\n"),
        {"bag.manifest_line", "bag.tag_changed", "delivered.receipt"},
    ),
    "a manifest taken away": (
        lambda root: (root / "manifest-sha256.txt").unlink(),
        {"bag.manifest_missing", "bag.tag_missing"},
    ),
    "a weak manifest put in": (
        _write("manifest-md5.txt", b""),
        {"bag.algorithm", "bag.tag_unlisted"},
    ),
    "tag manifests taken away": (
        lambda root: [path.unlink() for path in root.glob("tagmanifest-*")],
        {"bag.tag_manifest_missing"},
    ),
    "another sender": (
        lambda root: _edit(root / "bag-info.txt", "Port Ellery", "Port Valery"),
        {"bag.tag_changed"},
    ),
    "another Payload-Oxum": (
        lambda root: _edit(root / "bag-info.txt", "Payload-Oxum: ", "Payload-Oxum: 9"),
        {"bag.tag_changed", "bag.oxum"},
    ),
    "an older version declared": (
        lambda root: _edit(root / "bagit.txt", "1.0", "0.97"),
        {"bag.declaration", "bag.tag_changed"},
    ),
    "a byte-order mark": (
        lambda root: (root / "bagit.txt").write_bytes(
            b"\xef\xbb\xbf" + (root / "bagit.txt").read_bytes()
        ),
        {"bag.encoding", "bag.tag_changed"},
    ),
    "files to fetch": (
        _write("fetch.txt", b"https://elsewhere.example/a - data/PEH-0001/none.tif\n"),
        {"bag.fetch", "bag.tag_unlisted"},
    ),
    "a link in place of a file": (
        _linked,
        {
            "bag.link",
            "bag.payload_missing",
            "delivered.content",
            "bag.oxum",
            "delivered.handover",
            "delivered.mets_missing",
            "delivered.handover_files",
        },
    ),
    "a title in the hand-over list": (
        lambda root: _edit(root / "delivery/handover.json", "PEH-0001_access", "PEH-0009_access"),
        {
            "bag.tag_changed",
            "delivered.handover",
            "delivered.handover_files",
            "delivered.handover_csv",
        },
    ),
    "a picture, and every manifest made anew": (
        _hidden_picture,
        {"delivered.content", "delivered.receipt", "delivered.handover", "delivered.mets_digest"},
    ),
    "a file put in, every manifest made anew": (
        _hidden_file,
        {"delivered.receipt", "delivered.content", "delivered.handover_files"},
    ),
    "an item left out, and every manifest made anew": (
        _hidden_item,
        {"delivered.receipt", "delivered.handover", "delivered.item", "delivered.handover_item"},
    ),
}


@pytest.mark.parametrize("kind", TAMPERED)
def test_tampering_is_named(kind: str, copy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    change, codes = TAMPERED[kind]
    change(copy)
    assert {finding.code for finding in validation.check(copy)} == codes
    assert validate_delivery.main([str(copy)]) == 1
    assert next(iter(codes)) in capsys.readouterr().out


HOSTILE_JSON = [
    b"",
    b"[]",
    b"7",
    b'"text"',
    b"null",
    b"{}",
    b'{"items": 3, "Bag-Info": 3}',
    b'{"items": [3], "Bag-Info": {"A": 3}}',
    b'{"items": [{"item": ["x"], "files": 3}], "Bag-Info": []}',
    b"\xff\xfe",
    b"[" * 100_000,
]


@pytest.mark.parametrize("content", HOSTILE_JSON)
@pytest.mark.parametrize("name", ["delivery.json", "handover.json", "bagit-profile.json"])
def test_odd_tag_files_are_findings(name: str, content: bytes, copy: Path) -> None:
    (copy / "delivery" / name).write_bytes(content)
    assert "bag.tag_changed" in {finding.code for finding in validation.check(copy)}


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"<a",
        b'<!DOCTYPE a [<!ENTITY b "' + b"c" * 1000 + b'"><!ENTITY d "&b;&b;&b;">]><a>&d;&d;</a>',
        b'<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/passwd">]><a>&b;</a>',
        b'<mets xmlns="http://www.loc.gov/METS/"><file><FLocat/></file><mdRef/></mets>',
        b'<mets xmlns="http://www.loc.gov/METS/" xmlns:x="http://www.w3.org/1999/xlink"><file>'
        b'<FLocat x:href="../../../../etc/passwd"/></file><mdRef x:href="http://[bad"/></mets>',
    ],
)
def test_odd_records_are_findings(content: bytes, copy: Path) -> None:
    (copy / "data/PEH-0001/METS.xml").write_bytes(content)
    assert "bag.payload_changed" in {finding.code for finding in validation.check(copy)}


def test_odd_receipt_is_a_finding(copy: Path) -> None:
    (copy.parent / "b1.receipt.json").write_text('{"bags": 3}')
    assert "contracts.receipt" in {finding.code for finding in validation.check(copy)}


def test_validate_command_says_what_it_found(
    copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert validate_delivery.main([str(copy)]) == 0
    assert "whole and valid" in capsys.readouterr().out
    assert validate_delivery.main([str(copy / "none")]) == 2


def test_validate_command_without_a_receipt(copy: Path) -> None:
    for path in [*copy.parent.glob("*.receipt.json"), *copy.parent.glob("receipts/*.json")]:
        path.unlink()
    (finding,) = validation.check(copy)
    assert (finding.code, finding.severity) == ("delivered.no_receipt", "note")
    assert validate_delivery.main([str(copy)]) == 0


@pytest.mark.parametrize("content", [b"", b"no archive", bytes(1024), b"PK\5\6" + bytes(18)])
def test_what_is_no_bag(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "b.tar"
    path.write_bytes(content)
    assert bag.validate(path)
    assert validate_delivery.main([str(path)]) == 1


def test_archive_that_leads_out(tmp_path: Path) -> None:
    with tarfile.open(tmp_path / "b.tar", "w") as archive:
        for name in ("b/bagit.txt", "../escaped.txt", "/etc/absolute", "c/second.txt"):
            archive.addfile(tarfile.TarInfo(name))
    codes = [finding.code for finding in bag.validate(tmp_path / "b.tar")]
    assert codes.count("bag.link") == 3


def test_archive_with_a_name_twice(tmp_path: Path) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with zipfile.ZipFile(tmp_path / "b.zip", "w") as archive:
            archive.writestr("b/bagit.txt", bag.DECLARATION)
            archive.writestr("b/bagit.txt", bag.DECLARATION)
    assert "bag.link" in {finding.code for finding in bag.validate(tmp_path / "b.zip")}


@for_all(st.text(st.characters(exclude_categories=["Cs"]), min_size=1))
def test_paths_come_back_from_a_manifest(name: str) -> None:
    encoded = bag.encoded_path(name)
    assert "\n" not in encoded
    assert "\r" not in encoded
    assert bag.decoded_path(encoded) == name


def test_info_parses_folded_lines() -> None:
    # RFC 8493 section 2.2.2: a long value goes on, indented, on the next line
    assert bag.parsed_info("A: one\n two\nB: three\n") == [("A", "one two"), ("B", "three")]
