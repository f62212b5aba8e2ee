"""Packages: every byte read again, nothing unlisted, layouts found by name."""

from __future__ import annotations

import gc
import os
import re
import shutil
import sys
import types
import unicodedata
from collections.abc import Callable
from pathlib import Path
from typing import Any, ClassVar

import ocfl
import pytest
from hypothesis import given as for_all
from hypothesis import strategies as st

from glassine.base import files, hashing
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.package import PackagedFile
from glassine.deliver import validation
from glassine.pack import profiles
from glassine.pack import step as pack
from glassine.reproduce import step as reproduce
from makers import deliveries, made_items
from makers.step_calls import do_step


@pytest.fixture(autouse=True)
def no_records(monkeypatch: pytest.MonkeyPatch) -> None:
    deliveries.without_records(monkeypatch)


def ready(root: Path, **settings: Any) -> tuple[Path, Path, dict[str, Any]]:
    """Make an item as it stands before packing; return what pack_item takes."""
    given = made_items.make_item(root)
    given["settings"]["package"] |= settings
    item_dir = made_items.item_dir_of(root)
    do_step("embed", root / "masters" / "b1", item_dir, given)
    made_items.write_mets(item_dir)
    return root / "masters" / "b1", item_dir, given


def test_package_lists_every_file_with_its_digests(tmp_path: Path) -> None:
    batch_dir, item_dir, given = ready(tmp_path)
    do_step("pack", batch_dir, item_dir, given)
    made = files.read_json(item_dir / "package.json")
    assert [entry["path"] for entry in made["files"]] == [
        "METS.xml",
        "access/PEH-0001_access.jpg",
        "iiif/PEH-0001/a/b/0/c.jpg",
        "iiif/PEH-0001/full/max/0/default.jpg",
        "iiif/PEH-0001/info.json",
        "manifest.json",
        "masters/PEH-0001.tif",
        "metadata/embedded.json",
        "metadata/fixity.json",
        "metadata/geometry.json",
        "metadata/quality.json",
        "metadata/render.json",
        "thumbs/PEH-0001_thumb.jpg",
    ]
    for entry in made["files"]:
        kind, _, path = entry["source"].partition(":")
        root = batch_dir if kind == "master" else item_dir
        found = hashing.of_file(root / path)
        assert (entry["bytes"], entry["sha256"], entry["sha512"]) == (
            found.bytes,
            found.sha256,
            found.sha512,
        )


def test_tiles_can_stay_behind(tmp_path: Path) -> None:
    batch_dir, item_dir, given = ready(tmp_path, include_tiles=False)
    do_step("pack", batch_dir, item_dir, given)
    paths = [entry["path"] for entry in files.read_json(item_dir / "package.json")["files"]]
    assert [path for path in paths if path.startswith("iiif/")] == ["iiif/PEH-0001/info.json"]


def _flip(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[-1] ^= 1
    stamp = path.stat()
    path.write_bytes(content)
    os.utime(path, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))


DAMAGED: dict[str, tuple[Callable[[Path, Path], object], set[str]]] = {
    "a bit of a master, time kept": (lambda b, i: _flip(b / "PEH-0001.tif"), {"pack.digest"}),
    "a master written anew": (
        lambda b, i: (b / "PEH-0001.tif").touch(),
        {"pack.changed"},
    ),
    "a master gone": (lambda b, i: (b / "PEH-0001.tif").unlink(), {"pack.missing"}),
    "a bit of an access image": (
        lambda b, i: _flip(i / "access/PEH-0001_access.jpg"),
        {"pack.digest"},
    ),
    "a thumbnail gone": (lambda b, i: shutil.rmtree(i / "thumbs"), {"pack.missing"}),
    "a picture nobody made": (
        lambda b, i: files.write_bytes(i / "access/more.jpg", b"x"),
        {"pack.unlisted"},
    ),
    "a bit of a tile": (
        lambda b, i: _flip(i / "iiif/PEH-0001/full/max/0/default.jpg"),
        {"pack.tiles"},
    ),
    "a tile gone": (
        lambda b, i: (i / "iiif/PEH-0001/a/b/0/c.jpg").unlink(),
        {"pack.tiles"},
    ),
    "tiles of nothing": (
        lambda b, i: files.write_bytes(i / "iiif/other/info.json", b"x"),
        {"pack.unlisted"},
    ),
    "a record gone": (lambda b, i: (i / "METS.xml").unlink(), {"pack.missing"}),
    "a record of a step gone": (lambda b, i: (i / "quality.json").unlink(), {"pack.missing"}),
    "no record of what was embedded": (
        lambda b, i: files.write_json(i / "embedded.json", {"item": "PEH-0001"}),
        {"contracts.embedded"},
    ),
}


@pytest.mark.parametrize("kind", [kind for kind in DAMAGED if "time kept" not in kind])
def test_a_master_just_read_is_not_read_again_but_looked_at(kind: str, tmp_path: Path) -> None:
    batch_dir, item_dir, given = ready(tmp_path)
    do_step("pack", batch_dir, item_dir, given)
    (item_dir / "package.json").rename(tmp_path / "read.json")
    do_step("pack", batch_dir, item_dir, given | {"masters_read": True})
    told = files.read_json(item_dir / "package.json")
    assert told["files"] == files.read_json(tmp_path / "read.json")["files"]
    (item_dir / "package.json").unlink()
    damage, expected = DAMAGED[kind]
    damage(batch_dir, item_dir)
    with pytest.raises(GlassineError) as caught:
        do_step("pack", batch_dir, item_dir, given | {"masters_read": True})
    assert {finding.code for finding in caught.value.findings} == expected


@pytest.mark.parametrize("kind", DAMAGED)
def test_what_was_damaged_since_its_step_holds_the_item(kind: str, tmp_path: Path) -> None:
    batch_dir, item_dir, given = ready(tmp_path)
    damage, expected = DAMAGED[kind]
    damage(batch_dir, item_dir)
    with pytest.raises(GlassineError) as caught:
        do_step("pack", batch_dir, item_dir, given)
    assert {finding.code for finding in caught.value.findings} == expected
    assert not (item_dir / "package.json").exists()


def test_all_findings_are_told_at_once(tmp_path: Path) -> None:
    batch_dir, item_dir, given = ready(tmp_path)
    _flip(batch_dir / "PEH-0001.tif")
    _flip(item_dir / "access/PEH-0001_access.jpg")
    files.write_bytes(item_dir / "thumbs/more.jpg", b"x")
    with pytest.raises(GlassineError) as caught:
        do_step("pack", batch_dir, item_dir, given)
    assert [finding.code for finding in caught.value.findings] == [
        "pack.digest",
        "pack.digest",
        "pack.unlisted",
    ]


def test_a_record_that_fails_its_check_holds_the_item(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch_dir, item_dir, given = ready(tmp_path)
    stub = types.ModuleType("glassine.record.check")
    bad = Finding("record.reference", "METS.xml", "It dangles.", "a target.", "Run again.")
    stub.check_record = lambda path, item_dir, **more: [bad]  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "glassine.record.check", stub)
    with pytest.raises(GlassineError) as caught:
        do_step("pack", batch_dir, item_dir, given)
    assert caught.value.findings == [bad]


@pytest.mark.parametrize(
    "path",
    [
        "masters/50%.tif",
        "masters/a\rb.tif",
        "masters/a\nb.tif",
        "masters/Cafe\u0301.tif",
        "masters/../a.tif",
        "/masters/a.tif",
        "~/a.tif",
        "masters/a.",
        "masters/a b /c.tif",
        "masters\\a.tif",
        "masters/con:a.tif",
        "masters/" + "x" * 240,
    ],
)
def test_names_that_no_delivery_can_hold(path: str) -> None:
    # RFC 8493 sections 2.1.3 (%, CR, LF), 5.1 (paths that lead out), 6.1 (file systems)
    assert pack.path_problem(path)


@pytest.mark.parametrize("path", ["masters/roll 3/PEH-0001.tif", "access/Ævø_access.jpg"])
def test_names_that_it_can(path: str) -> None:
    assert pack.path_problem(path) is None


@for_all(st.text(max_size=60))
def test_any_name_that_is_taken_stays_in_its_folder_on_every_file_system(path: str) -> None:
    """RFC 8493, sections 2.1.3, 5.1 and 6.1."""
    if pack.path_problem(path) is None:
        assert os.path.normpath(f"/bag/{path}") == f"/bag/{path}"
        assert not re.search(r"[\0-\x1f\x7f]", path)
        assert not set('%\\:*?"<>|') & set(path)
        assert unicodedata.is_normalized("NFC", path)


def test_ocfl_object_is_valid_for_ocfl_py(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path, 1)
    own = made_items.given_for("PEH-0001", tmp_path / "masters/b1" / "PEH-0001.tif")
    own["settings"]["package"]["profile"] = "ocfl"
    deliveries.finish(tmp_path, own)
    deliveries.deliver(tmp_path, given)
    folder = tmp_path / "deliveries/b1/data/PEH-0001"
    passed, validator = ocfl.Object().validate(str(folder), log_warnings=True)
    assert passed, str(validator)
    assert validator.log.num_warnings == 0, str(validator)
    assert validation.check(tmp_path / "deliveries/b1") == []
    path = folder / "v1/content/access/PEH-0001_access.jpg"
    _flip(path)
    passed, _ = ocfl.Object().validate(str(folder))
    assert not passed
    assert "delivered.inventory" in {
        finding.code for finding in validation.check(tmp_path / "deliveries/b1")
    }


def test_each_layout_finds_its_plain_paths_again(tmp_path: Path) -> None:
    batch_dir, item_dir, given = ready(tmp_path)
    do_step("pack", batch_dir, item_dir, given)
    plain = {entry["path"] for entry in files.read_json(item_dir / "package.json")["files"]}
    for name in profiles.all_profiles():
        given["settings"]["package"]["profile"] = name
        do_step("pack", batch_dir, item_dir, given)
        root = tmp_path / name
        for entry in files.read_json(item_dir / "package.json")["files"]:
            kind, _, source = entry["source"].partition(":")
            target = root / entry["path"]
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile((batch_dir if kind == "master" else item_dir) / source, target)
        assert set(reproduce.plain_paths(root)) == plain


def test_unknown_layout_is_named_with_those_there_are(tmp_path: Path) -> None:
    batch_dir, item_dir, given = ready(tmp_path, profile="boxes")
    with pytest.raises(GlassineError) as caught:
        do_step("pack", batch_dir, item_dir, given)
    assert "eark, mets, ocfl" in str(caught.value)


def test_another_layout_is_a_class_and_nothing_else(tmp_path: Path) -> None:
    class Flat(profiles.Profile):
        name: ClassVar[str] = "flat"

        def lay_out(
            self, plain: list[PackagedFile], context: profiles.Context
        ) -> list[PackagedFile]:
            return [entry.at(entry.path.replace("/", "-")) for entry in plain]

        def plain_paths(self, root: Path) -> dict[str, str] | None:
            return None

    profiles.all_profiles.cache_clear()
    try:
        batch_dir, item_dir, given = ready(tmp_path, profile="flat")
        do_step("pack", batch_dir, item_dir, given)
    finally:
        del Flat
        gc.collect()
        profiles.all_profiles.cache_clear()
    paths = [entry["path"] for entry in files.read_json(item_dir / "package.json")["files"]]
    assert "masters-PEH-0001.tif" in paths
