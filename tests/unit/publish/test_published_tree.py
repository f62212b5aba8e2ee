"""The published tree: each address leads to a file, and nothing that may not be public stays."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from glassine.base.errors import GlassineError
from glassine.base.records.given import Institution
from glassine.publish import changes, step, tree
from glassine.publish.given import Candidate, Site

BASE = "https://images.port-ellery.example/iiif"
INSTITUTION = Institution(
    name="Port Ellery Harbour Archive", id="https://archive.port-ellery.example/"
)
SITE = Site(BASE, INSTITUTION, {"night": None})


def manifest(item: str) -> dict[str, Any]:
    """As the record step writes it, but for what publishing does not read."""
    picture = {
        "id": f"{BASE}/{item}_01/full/max/0/default.jpg",
        "type": "Image",
        "service": [{"id": f"{BASE}/{item}_01", "type": "ImageService3", "profile": "level0"}],
    }
    canvas = {
        "id": f"{BASE}/{item}/canvas/1",
        "type": "Canvas",
        "items": [{"type": "AnnotationPage", "items": [{"type": "Annotation", "body": picture}]}],
        "rendering": [
            {"id": f"{BASE}/{item}/access/{item}.jpg", "type": "Image", "format": "image/jpeg"}
        ],
    }
    return {
        "id": f"{BASE}/{item}/manifest.json",
        "type": "Manifest",
        "label": {"none": [item]},
        "items": [canvas],
        "thumbnail": [{"id": f"{BASE}/{item}/thumbs/{item}.jpg", "type": "Image"}],
    }


def made(results: Path, item: str, **more: Any) -> Candidate:
    """An item with a manifest, an access image, a thumbnail and tiles of one frame."""
    folder = results / item
    for path in (
        f"access/{item}.jpg", f"thumbs/{item}.jpg", f"iiif/{item}_01/info.json",
        f"iiif/{item}_01/full/max/0/default.jpg", f"previews/{item}.jpg",
    ):  # fmt: skip
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(f"{item} {path}")
    (folder / "manifest.json").write_text(json.dumps(manifest(item)))
    return Candidate(
        **{
            "batch": "night",
            "item": item,
            "folder": folder,
            "state": "done",
            "public": "all",
            **more,
        }
    )


def files_in(root: Path) -> set[str]:
    return {path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file()}


def addresses(value: Any) -> set[str]:
    if isinstance(value, list):
        return {each for inner in value for each in addresses(inner)}
    if not isinstance(value, dict):
        return set()
    own = {value["id"]} if value.get("type") in ("Image", "Manifest", "Collection") else set()
    own |= {f"{value['id']}/info.json"} if value.get("type") == "ImageService3" else set()
    return own | {each for inner in value.values() for each in addresses(inner)}


@pytest.fixture
def results(tmp_path: Path) -> Path:
    return tmp_path / "results"


@pytest.fixture
def root(tmp_path: Path) -> Path:
    return tmp_path / "public"


def test_every_address_of_manifests_and_collections_leads_to_a_file(results, root) -> None:
    step.publish(root, [made(results, "a"), made(results, "b")], SITE)
    named = set()
    for path in root.rglob("*.json"):
        if path.name in ("manifest.json", "night.json", "all.json") and "activity" not in str(path):
            named |= addresses(json.loads(path.read_text()))
    missing = {each for each in named if not (root / each.removeprefix(f"{BASE}/")).is_file()}
    assert len(named) >= 10
    assert missing == set()


def test_what_no_manifest_names_is_not_published(results, root) -> None:
    """The previews show the whole master, with what lies around the picture."""
    step.publish(root, [made(results, "a")], SITE)
    assert not [path for path in files_in(root) if "preview" in path]


def test_an_item_that_is_closed_is_taken_away_with_its_tiles(results, root) -> None:
    item, other = made(results, "a"), made(results, "b")
    step.publish(root, [item, other], SITE)
    closed = replace(item, public="none", why_closed="Closed until 2031-12-31")
    done = step.publish(root, [closed, other], SITE)
    assert (done.removed, done.left_out) == (["a"], {"a": "Closed until 2031-12-31"})
    left = files_in(root)
    assert not [path for path in left if path.startswith(("a/", "a_01/"))]
    assert f"{BASE}/a/" not in (root / "collection/night.json").read_text()
    assert f"{BASE}/a/" not in (root / "catalogue.json").read_text()


@pytest.mark.parametrize("state", ["held", "pending", "waiting"])
def test_an_item_that_is_not_finished_stays_as_it_was_unless_it_was_closed(
    results, root, state
) -> None:
    item = made(results, "a")
    step.publish(root, [item], SITE)
    assert step.publish(root, [replace(item, state=state)], SITE).kept == ["a"]
    assert "a/manifest.json" in files_in(root)
    for public in ("small", "none"):
        step.publish(root, [item], SITE)
        done = step.publish(root, [replace(item, state=state, public=public)], SITE)
        assert done.removed == ["a"], public


def test_an_item_that_is_for_review_now_is_taken_away_unless_it_was_asked_for(
    results, root
) -> None:
    item = made(results, "a")
    step.publish(root, [item], SITE)
    review = replace(item, state="review")
    assert step.publish(root, [review], replace(SITE, with_review=True)).same == ["a"]
    done = step.publish(root, [review], SITE)
    assert (done.removed, done.left_out) == (["a"], {"a": "review"})


def test_an_item_that_left_its_batch_is_taken_away_and_one_of_an_absent_batch_is_not(
    results, root
) -> None:
    step.publish(root, [made(results, "a")], SITE)
    done = step.publish(root, [], replace(SITE, batches={}))
    assert (done.elsewhere, done.removed) == (["a"], [])
    assert f"{BASE}/a/" in (root / "collection/night.json").read_text()
    assert step.publish(root, [], SITE).removed == ["a"]


def test_nothing_is_written_where_nothing_changed(results, root) -> None:
    candidates = [made(results, "a"), made(results, "b")]
    step.publish(root, candidates, SITE)
    before = {path: (root / path).stat().st_mtime_ns for path in files_in(root)}
    done = step.publish(root, candidates, SITE)
    assert done.same == ["a", "b"]
    after = {path: (root / path).stat().st_mtime_ns for path in files_in(root)}
    assert {path for path in after if after[path] != before[path]} <= {".published.json"}


def test_a_changed_picture_is_laid_out_anew(results, root) -> None:
    item = made(results, "a")
    step.publish(root, [item], SITE)
    picture = item.folder / "access/a.jpg"
    picture.with_suffix(".new").write_text("another")
    picture.with_suffix(".new").rename(picture)
    assert step.publish(root, [item], SITE).changed == ["a"]
    assert (root / "a/access/a.jpg").read_text() == "another"


def test_a_folder_that_was_removed_by_hand_comes_back(results, root) -> None:
    item = made(results, "a")
    step.publish(root, [item], SITE)
    (root / "a_01/info.json").unlink()
    (root / "a_01/full/max/0/default.jpg").unlink()
    for folder in ("a_01/full/max/0", "a_01/full/max", "a_01/full", "a_01"):
        (root / folder).rmdir()
    step.publish(root, [item], SITE)
    assert "a_01/info.json" in files_in(root)


@pytest.mark.parametrize("lost", ["access/a.jpg", "thumbs/a.jpg", "iiif/a_01/info.json"])
def test_an_item_of_which_something_is_missing_is_not_published_by_half(
    results, root, lost
) -> None:
    item = made(results, "a")
    step.publish(root, [item], SITE)
    (item.folder / lost).unlink()
    done = step.publish(root, [item], SITE)
    assert [problem.code for problem in done.problems] == ["publish.item"]
    assert (done.removed, done.published) == (["a"], 0)
    assert not [path for path in files_in(root) if path.startswith(("a/", "a_01/"))]


@pytest.mark.parametrize(
    "path", ["../../secret.jpg", "a/../../secret.jpg", "%2e%2e/secret.jpg", "b/x.jpg"]
)
def test_a_manifest_leads_to_no_file_outside_its_item(results, root, path) -> None:
    item = made(results, "a")
    (results / "secret.jpg").write_text("secret")
    value = manifest("a")
    value["thumbnail"][0]["id"] = f"{BASE}/{path}"
    (item.folder / "manifest.json").write_text(json.dumps(value))
    done = step.publish(root, [item], SITE)
    assert done.published == 0
    assert done.problems
    assert not [path for path in root.rglob("*") if "secret" in path.name]


def test_a_manifest_of_another_address_is_not_published(results, root) -> None:
    item = made(results, "a")
    value = manifest("a") | {"id": "https://elsewhere.example/a/manifest.json"}
    (item.folder / "manifest.json").write_text(json.dumps(value))
    assert step.publish(root, [item], SITE).problems[0].code == "publish.item"


def test_two_batches_with_an_item_of_one_name_publish_the_first_and_tell(results, root) -> None:
    first = made(results / "one", "a", batch="one")
    second = made(results / "two", "a", batch="two")
    site = replace(SITE, batches={"one": None, "two": None})
    done = step.publish(root, [first, second], site)
    assert [problem.code for problem in done.problems] == ["publish.same_name"]
    assert (root / "a/access/a.jpg").samefile(first.folder / "access/a.jpg")


@pytest.mark.parametrize("name", sorted(tree.RESERVED))
def test_an_item_cannot_take_the_place_of_a_list(results, root, name) -> None:
    done = step.publish(root, [made(results, name)], SITE)
    assert (done.published, done.problems[0].code) == (0, "publish.name")


def test_a_folder_with_other_files_is_refused_and_left_alone(results, root) -> None:
    root.mkdir()
    (root / "index.html").write_text("ours")
    with pytest.raises(GlassineError) as refused:
        step.publish(root, [made(results, "a")], SITE)
    assert refused.value.findings[0].code == "publish.folder"
    assert files_in(root) == {"index.html"}


def test_another_base_address_is_refused(results, root) -> None:
    step.publish(root, [made(results, "a")], SITE)
    with pytest.raises(GlassineError) as refused:
        step.publish(root, [made(results, "a")], replace(SITE, base_url="https://new.example/iiif"))
    assert refused.value.findings[0].code == "publish.base"


def test_a_dry_run_writes_nothing(results, root) -> None:
    item = made(results, "a")
    assert step.publish(root, [item], SITE, trial=True).new == ["a"]
    assert not root.exists()


def test_pictures_on_another_disk_are_copied(results, root, monkeypatch) -> None:
    def refuse(*_: Any) -> None:
        raise OSError("cross-device link")

    monkeypatch.setattr(os, "link", refuse)
    step.publish(root, [made(results, "a")], SITE)
    assert (root / "a/access/a.jpg").read_text() == "a access/a.jpg"


def test_changes_are_told_as_a_stream_of_activities(results, root) -> None:
    """IIIF Change Discovery API 1.0, sections 3.1 to 3.4: pages earliest first, linked both ways."""
    item = made(results, "a")
    for state in ("done", "review"):
        step.publish(root, [replace(item, state=state)], SITE)
    whole = json.loads((root / "activity/all.json").read_text())
    assert (whole["type"], whole["totalItems"]) == ("OrderedCollection", 2)
    page = json.loads((root / whole["first"]["id"].removeprefix(f"{BASE}/")).read_text())
    assert page["partOf"] == {"id": whole["id"], "type": "OrderedCollection"}
    assert [each["type"] for each in page["orderedItems"]] == ["Create", "Delete"]
    assert {each["object"]["id"] for each in page["orderedItems"]} == {f"{BASE}/a/manifest.json"}


def test_pages_of_changes_are_linked_and_none_is_lost() -> None:
    made = [
        changes.Change(
            type="Create", manifest=f"{BASE}/{n}/manifest.json", time="2026-03-17T06:00:00Z"
        )
        for n in range(2 * changes.PAGE + 1)
    ]
    documents = changes.pages(made, BASE)
    path, seen = "activity/page-00000.json", []
    while path:
        page = documents[path]
        assert page["startIndex"] == len(seen)
        seen += [each["object"]["id"] for each in page["orderedItems"]]
        path = page.get("next", {}).get("id", "").removeprefix(f"{BASE}/")
    assert seen == [change.manifest for change in made]
    assert documents["activity/all.json"]["last"]["id"].endswith("page-00002.json")


def test_a_roll_keeps_its_collection_with_what_is_published_of_it(results, root) -> None:
    roll = {
        "id": f"{BASE}/collection/night/r1.json", "type": "Collection", "label": {"none": ["r1"]},
        "items": [{"id": f"{BASE}/{item}/manifest.json", "type": "Manifest"} for item in "ab"],
    }  # fmt: skip
    site = replace(SITE, batches={"night": {"label": {"none": ["Night"]}, "items": [roll]}})
    step.publish(root, [made(results, "a"), made(results, "b", state="held")], site)
    listed = json.loads((root / "collection/night/r1.json").read_text())
    assert [each["id"] for each in listed["items"]] == [f"{BASE}/a/manifest.json"]
    step.publish(root, [made(results, "a", public="none")], site)
    assert not (root / "collection/night/r1.json").exists()
