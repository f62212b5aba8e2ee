"""Checksum lists in the forms that capture stations write, joined to the files of a batch.

Forms: GNU coreutils manual, "md5sum invocation" and "cksum output modes" (escapes, `--tag` as the
BSD tools write it); RFC 8493 section 2.1.3; PowerShell's Get-FileHash and certutil (their output
from memory: `value from memory`).
"""

import pytest

from glassine.intake import checksums

HEX = "ab" * 32
UPPER = HEX.upper()
MD5 = "0123456789abcdef0123456789abcdef"
PATHS = [
    "PEH-0001.tif",
    "sub/PEH-0002.tif",
    "Pier é.tif",
    "end .tif ",
    "a;b.tif",
    "back\\slash.tif",
]


def joined(text, name="manifest-sha256.txt", paths=PATHS):
    data = text if isinstance(text, bytes) else text.encode("utf-8")
    kind = checksums.kind_of(name)
    return checksums.join(name, checksums.parse(data, kind), kind, checksums.Files(paths))


@pytest.mark.parametrize(
    "line",
    [
        f"{HEX}  PEH-0001.tif",
        f"{HEX} *PEH-0001.tif",
        f"{UPPER}  ./PEH-0001.tif",
        f"{HEX}\tPEH-0001.tif",
        f"{HEX} PEH-0001.tif   ",
        f"{HEX};PEH-0001.tif",
        f"{HEX},PEH-0001.tif",
        f'"{HEX}","PEH-0001.tif"',
        f"PEH-0001.tif;{HEX}",
        f"PEH-0001.tif\t{HEX}",
        f"PEH-0001.tif  {HEX}",
        f"PEH-0001.tif: {HEX}",
        f"PEH-0001.tif = {HEX}",
        f"PEH-0001.tif;12345;{HEX}",
        f"SHA256 (PEH-0001.tif) = {HEX}",
        f"SHA256(PEH-0001.tif)= {HEX}",
        f"SHA2-256(PEH-0001.tif)= {HEX}",
        f"\\{HEX}  PEH-0001.tif",
        f"D:\\session\\PEH-0001.tif;{HEX}",
        f"{HEX}  D:\\session 4\\day\\PEH-0001.tif",
        f"{HEX}  \\\\station\\share\\PEH-0001.tif",
        f"{HEX} */mnt/capture/PEH-0001.tif",
        f"{HEX}  peh-0001.TIF",
        f"{HEX}  session/PEH-0001.tif",
        f"SHA256          {UPPER}          D:\\session\\PEH-0001.tif",
        f'"SHA256","{UPPER}","D:\\session\\PEH-0001.tif"',
        f"SHA256 hash of D:\\session\\PEH-0001.tif:\n{HEX}\n"
        "CertUtil: -hashfile command completed successfully.",
    ],
)
@pytest.mark.parametrize(
    "encoded",
    [
        lambda text: text.encode("utf-8"),
        lambda text: b"\xef\xbb\xbf" + text.encode("utf-8"),
        lambda text: text.encode("utf-16"),
        lambda text: text.encode("utf-16-le"),
        lambda text: b"\xfe\xff" + text.encode("utf-16-be"),
        lambda text: text.replace("\n", "\r\n").encode("utf-8"),
    ],
    ids=["utf-8", "mark", "utf-16", "utf-16 without mark", "utf-16 big endian", "crlf"],
)
def test_each_form_is_read_in_each_encoding(line, encoded):
    text = f"# from the station\n; a remark\n-----\n\n{line}\n"
    found = joined(encoded(text))
    assert found.expected == {"PEH-0001.tif": ("sha256", HEX)}
    assert not found.bad
    assert not found.missing


@pytest.mark.parametrize(
    ("line", "path"),
    [
        (f"{HEX}  sub\\PEH-0002.tif", "sub/PEH-0002.tif"),
        (f"{HEX}  E:\\a\\sub\\PEH-0002.tif", "sub/PEH-0002.tif"),
        (f"{HEX}  PEH-0002.tif", "sub/PEH-0002.tif"),
        (f"{HEX}  Pier e\u0301.tif", "Pier é.tif"),
        (f"{HEX}  end .tif ", "end .tif "),
        (f"{HEX}  end .tif", None),
        (f"{HEX}  a;b.tif", "a;b.tif"),
        (f"\\{HEX}  back\\\\slash.tif", "back\\slash.tif"),
        ("Pier é.tif;".encode("cp1252") + HEX.encode(), "Pier é.tif"),
    ],
)
def test_a_path_is_found_whatever_the_station_made_of_it(line, path):
    found = joined(line)
    assert set(found.expected) == ({path} if path else set())
    assert bool(found.missing) == (path is None)


def test_a_file_named_exactly_is_not_taken_for_one_that_is_missing():
    text = f"{HEX}  PEH-0001.tif\n{'cd' * 32}  session2/PEH-0001.tif\n"
    found = joined(text)
    assert found.expected == {"PEH-0001.tif": ("sha256", HEX)}
    assert found.missing == ["session2/PEH-0001.tif"]


def test_a_name_in_two_folders_is_not_guessed():
    found = joined(f"{HEX}  x.tif\n", paths=["a/x.tif", "b/x.tif"])
    assert found.expected == {}
    assert found.missing == ["x.tif"]


def test_two_digests_for_one_file_contradict_each_other():
    found = joined(f"{HEX}  PEH-0001.tif\n{'cd' * 32}  PEH-0001.tif\n")
    assert found.expected == {}
    assert found.conflicting == {"PEH-0001.tif": [1, 2]}


def test_a_list_in_a_folder_names_its_files_from_there():
    found = joined(f"{HEX}  PEH-0002.tif\n", name="sub/manifest-sha256.txt")
    assert set(found.expected) == {"sub/PEH-0002.tif"}


@pytest.mark.parametrize("name", ["PEH-0001.tif.md5", "PEH-0001.md5", "peh-0001.TIF.MD5.txt"])
def test_a_bare_digest_is_that_of_the_file_beside_it(name):
    assert joined(MD5, name=name).expected == {"PEH-0001.tif": ("md5", MD5)}


@pytest.mark.parametrize(
    ("line", "number"),
    [
        (f"{'z' * 64}  PEH-0001.tif", 1),
        (f"{HEX[:-1]}  PEH-0001.tif", 1),
        (f"{HEX}x  PEH-0001.tif", 1),
        (f"{MD5}  PEH-0001.tif", 1),
        ("PEH-0001.tif", 1),
        (HEX, 1),
        ("x" * 20_000 + f"  {HEX}", 1),
        (b"\xff\xfeP\x00E\x00H", 0),
    ],
)
def test_what_is_no_checksum_line_is_told(line, number):
    found = joined(line)
    assert [where for where, _ in found.bad] == [number]
    assert found.expected == {}


@pytest.mark.parametrize(
    ("name", "algorithm"),
    [
        ("manifest-sha256.txt", "sha256"),
        ("Manifest-SHA256.txt", "sha256"),
        ("manifest-sha256.txt.txt", "sha256"),
        ("manifest_sha-512.TXT", "sha512"),
        ("SHA256SUMS", "sha256"),
        ("sha256sum.txt", "sha256"),
        ("md5sum.txt", "md5"),
        ("checksums.md5", "md5"),
        ("checksums.txt", ""),
        ("manifest.txt", ""),
        ("hashes.csv", ""),
        ("targets/manifest-md5.txt", "md5"),
        ("x.tif.sha1", "sha1"),
    ],
)
def test_lists_are_recognised_by_name(name, algorithm):
    kind = checksums.kind_of(name)
    assert kind is not None
    assert kind.compared
    assert kind.algorithm == algorithm


@pytest.mark.parametrize("name", ["manifest-crc32.txt", "b3sums", "x.sfv", "x.mhl", "a.sha384"])
def test_lists_of_other_digests_are_recognised_and_not_used(name):
    kind = checksums.kind_of(name)
    assert kind is not None
    assert not kind.compared


@pytest.mark.parametrize(
    "name", ["notes.txt", "PEH-md5.tif", "catalogue.csv", "batch.yaml", "README", "manifest.json"]
)
def test_other_names_are_no_lists(name):
    assert checksums.kind_of(name) is None
