"""Previews and raw files that the settings deliver: in the package, vouched for by the lists."""

import hashlib

import pytest

from glassine.base import files
from glassine.base.errors import GlassineError
from makers import deliveries, made_items
from makers.step_calls import do_step


@pytest.fixture
def ready(tmp_path, monkeypatch):
    """An item as it stands before packing, with a raw file beside its master."""
    deliveries.without_records(monkeypatch)
    given = made_items.make_item(tmp_path)
    item_dir = made_items.item_dir_of(tmp_path)
    do_step("embed", tmp_path / "masters" / "b1", item_dir, given)
    made_items.write_mets(item_dir)
    raw = tmp_path / "masters" / "b1" / "PEH-0001.nef"
    raw.write_bytes(b"II*\0 what the camera wrote")
    state = raw.stat()
    companion = {
        "path": raw.name,
        "bytes": state.st_size,
        "mtime_ns": state.st_mtime_ns,
        "expected": {"md5": hashlib.md5(raw.read_bytes()).hexdigest()},
    }
    return tmp_path / "masters" / "b1", item_dir, given | {"companions": [companion]}


def test_it_goes_into_a_folder_of_its_own_with_its_digests(ready):
    batch_dir, item_dir, given = ready
    do_step("pack", batch_dir, item_dir, given)
    packed = files.read_json(item_dir / "package.json")["files"]
    (entry,) = [entry for entry in packed if entry["use"] == "companion"]
    assert entry["path"] == "companions/PEH-0001.nef"
    assert entry["source"] == "master:PEH-0001.nef"
    assert entry["sha256"] == hashlib.sha256((batch_dir / "PEH-0001.nef").read_bytes()).hexdigest()


@pytest.mark.parametrize("algorithm", ["md5", "sha256"])
def test_another_digest_than_the_list_states_holds_the_item(ready, algorithm):
    batch_dir, item_dir, given = ready
    given["companions"][0]["expected"] = {algorithm: "0" * 32}
    with pytest.raises(GlassineError) as held:
        do_step("pack", batch_dir, item_dir, given)
    assert {finding.code for finding in held.value.findings} == {"pack.companion"}


def test_one_that_changed_or_is_gone_since_intake_holds_the_item(ready):
    batch_dir, item_dir, given = ready
    (batch_dir / "PEH-0001.nef").write_bytes(b"II*\0 something else")
    with pytest.raises(GlassineError, match=r"PEH-0001\.nef"):
        do_step("pack", batch_dir, item_dir, given)
    (batch_dir / "PEH-0001.nef").unlink()
    with pytest.raises(GlassineError, match=r"PEH-0001\.nef"):
        do_step("pack", batch_dir, item_dir, given)
