"""Digests of masters and their comparison with the capture station's list."""

import hashlib

import pytest

from glassine.base import settings
from glassine.base.errors import GlassineError
from glassine.base.records.given import Master
from glassine.masters import fixity
from makers.step_calls import do_step


def entry(path, **changes):
    status = path.stat()
    known = {
        "path": path.name,
        "part": None,
        "bytes": status.st_size,
        "mtime_ns": status.st_mtime_ns,
        "expected": {},
    }
    return Master(**known | changes)


@pytest.fixture
def master(tmp_path):
    path = tmp_path / "PEH-0001.tif"
    path.write_bytes(b"abc")
    return path


def test_digests_are_those_of_the_standard(master):
    # FIPS 180-4 test message "abc" (NIST, SHA256.pdf and SHA512.pdf of the example values).
    found, count = fixity.digests(master)
    assert count == 3
    assert found["sha256"] == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert found["sha512"].startswith("ddaf35a193617abacc417349ae20413112e6fa4e89a97ea2")


def test_a_listed_master_matches(master):
    listed = {"sha256": hashlib.sha256(b"abc").hexdigest()}
    found = fixity.verify_master(master, entry(master, expected=listed), require_manifest=True)
    assert found.listed


def test_md5_lists_of_old_stations_are_compared_too(master):
    listed = {"md5": "900150983cd24fb0d6963f7d28e17f72"}  # RFC 1321, appendix A.5
    found = fixity.verify_master(master, entry(master, expected=listed), require_manifest=False)
    assert found.digests.md5 == listed["md5"]


@pytest.mark.parametrize(
    ("changes", "required", "code"),
    [
        ({"expected": {"sha256": "0" * 64}}, False, "verify.digest"),
        ({"bytes": 4}, False, "verify.changed"),
        ({"mtime_ns": 1}, False, "verify.changed"),
        ({}, True, "verify.unlisted"),
    ],
)
def test_what_is_wrong_with_a_master_is_named(master, changes, required, code):
    with pytest.raises(GlassineError) as caught:
        fixity.verify_master(master, entry(master, **changes), require_manifest=required)
    assert [finding.code for finding in caught.value.findings] == [code]


def test_a_vanished_master_is_told_as_unreadable(master):
    known = entry(master)
    master.unlink()
    with pytest.raises(GlassineError) as caught:
        fixity.verify_master(master, known, require_manifest=False)
    assert caught.value.findings[0].code == "verify.unreadable"


def test_what_intake_found_holds_the_item_before_anything_is_read(tmp_path):
    finding = {
        "code": "catalogue.no_row",
        "path": "PEH-0001",
        "what": "No row.",
        "expected": "a row.",
        "next_step": "Add it.",
        "severity": "hold",
    }
    given = {
        "item": "PEH-0001",
        "findings": [finding],
        "masters": [],
        "settings": settings.load({}),
    }
    with pytest.raises(GlassineError, match="No row"):
        do_step("verify", tmp_path, tmp_path, given)
