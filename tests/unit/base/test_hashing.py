"""Two digests in one read are those of two reads."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import pytest

from glassine.base import hashing


@pytest.mark.parametrize(
    "size", [0, 1, 2**18 - 1, 2**18, hashing.CHUNK, hashing.CHUNK + 1, 2 * hashing.CHUNK + 7]
)
def test_digests_of_any_size(size: int, tmp_path: Path) -> None:
    content = bytes(number % 253 for number in range(1000)) * (size // 1000 + 1)
    content = content[:size]
    expected = hashing.Digests(
        size, hashlib.sha256(content).hexdigest(), hashlib.sha512(content).hexdigest()
    )
    path = tmp_path / "file"
    path.write_bytes(content)
    target = io.BytesIO()
    assert hashing.of_file(path) == expected
    assert hashing.of_bytes(content) == expected
    assert hashing.of_stream(io.BytesIO(content), target) == expected
    assert target.getvalue() == content


def test_published_values() -> None:
    # FIPS 180-4 examples (NIST CSRC, "SHA256.pdf" and "SHA512.pdf"): the message "abc"
    assert hashing.of_bytes(b"abc") == hashing.Digests(
        3,
        "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
        "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a"
        "2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f",
    )


def test_missing_file_is_said_by_the_system(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        hashing.of_file(tmp_path / "none")


def test_sync_and_forget_change_nothing(tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.write_bytes(b"content")
    hashing.sync(tmp_path)
    hashing.forget(path)
    assert path.read_bytes() == b"content"
    with pytest.raises(NotADirectoryError):
        hashing.sync(path)


def test_digest_of_a_tree_depends_on_names_and_content_alone() -> None:
    tree = {"b": "2", "a": "1"}
    assert hashing.of_tree(tree) == hashlib.sha256(b"a 1\nb 2\n").hexdigest()
    assert hashing.of_tree(dict(sorted(tree.items()))) == hashing.of_tree(tree)
