"""Sets of pictures that stay with the studio: made and recorded, and nowhere in what leaves it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from glassine.base import files, hashing, settings
from glassine.night import agreement, due, tidying
from glassine.publish import tree
from glassine.reproduce import step as reproduce
from makers import deliveries, made_items
from makers.step_calls import do_step

SETS: list[dict[str, Any]] = [
    {"name": "web", "form": "webp", "long_edge": 100},
    {"name": "phone", "form": "avif", "long_edge": 100},
    {"name": "proof", "form": "jpeg", "long_edge": 120, "deliver": False},
]
PROOF = "PEH-0001_proof.jpg"


@pytest.fixture(autouse=True, scope="module")
def read_once() -> Iterator[None]:
    """The schema of the settings is read once: this is not what is tried here."""
    read = settings.schema()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(settings, "schema", lambda: read)
        yield


@pytest.fixture(scope="module")
def taken(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """A batch of one item taken through all steps to its delivery, and what it was given."""
    folder = tmp_path_factory.mktemp("sets")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1773800000")
        render = {"sets": SETS, "access_long_edge": 300}
        return folder, deliveries.night(folder, "mets", more={"render": render})


@pytest.fixture
def root(taken: tuple[Path, dict[str, Any]]) -> Path:
    return taken[0]


def test_they_lie_in_the_results_and_render_json_lists_them(root: Path) -> None:
    own = made_items.item_dir_of(root)
    (frame,) = files.read_json(own / "render" / "render.json")["frames"]
    delivered = {each["set"]: each.get("delivered", True) for each in frame["alternates"]}
    assert delivered == {"web": True, "phone": True, "proof": False}
    entry = {each["path"]: each for each in files.read_json(own / "embedded.json")["files"]}
    assert hashing.sha256_of(own / "studio" / PROOF) == entry[f"studio/{PROOF}"]["sha256"]
    there = {path.name for path in (own / "alternates").iterdir()}
    assert there == {"PEH-0001_web.webp", "PEH-0001_phone.avif"}


def test_nothing_that_leaves_the_studio_has_them(root: Path) -> None:
    """Neither a file of that name or content, nor a word of it in METS, manifests or lists."""
    own = made_items.item_dir_of(root)
    digest = hashing.sha256_of(own / "studio" / PROOF)
    there = [path for path in (root / "deliveries").rglob("*") if path.is_file()]
    assert any(path.name == "PEH-0001_web.webp" for path in there)
    assert not [path for path in there if PROOF in path.name or hashing.sha256_of(path) == digest]
    # The steps' own records travel as they are.
    records = {"render.json", "embedded.json"}
    lists = [path for path in there if path.name not in records]
    assert not [path for path in lists if PROOF.encode() in path.read_bytes()]
    manifest = files.read_json(own / "manifest.json")
    base = manifest["id"].removesuffix("/PEH-0001/manifest.json")
    assert not [path for path in tree.of_item("PEH-0001", own, manifest, base) if "proof" in path]


def test_the_delivery_is_made_again_to_the_byte(root: Path, tmp_path: Path) -> None:
    assert reproduce.reproduce(root / "deliveries" / "b1", tmp_path / "work") == []


def test_they_stay_when_what_was_delivered_may_go(root: Path) -> None:
    gone = {path.name for path in tidying.pictures(made_items.item_dir_of(root))}
    assert "PEH-0001_web.webp" in gone
    own = made_items.item_dir_of(root)
    assert own / "studio" / PROOF not in set(tidying.pictures(own))


def test_a_set_that_is_not_asked_for_any_more_leaves_no_picture(
    taken: tuple[Path, dict[str, Any]], tmp_path: Path
) -> None:
    root, given = taken
    own = made_items.item_dir_of(root)
    for name in ("fixity.json", "geometry.json", "render/render.json"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes((own / name).read_bytes())
    for path in (own / "render").glob("*.*"):
        (tmp_path / "render" / path.name).write_bytes(path.read_bytes())
    do_step("embed", root / "masters" / "b1", tmp_path, given)
    assert (tmp_path / "studio" / PROOF).exists()
    rendered = files.read_json(tmp_path / "render" / "render.json")
    rendered["frames"][0]["alternates"] = rendered["frames"][0]["alternates"][:2]
    files.write_json(tmp_path / "render" / "render.json", rendered)
    do_step("embed", root / "masters" / "b1", tmp_path, given)
    assert not (tmp_path / "studio").exists()
    assert (tmp_path / "alternates").exists()


def test_what_stays_with_the_studio_is_not_published() -> None:
    both = {"name": "web", "form": "webp", "publish": True, "deliver": False}
    config = settings.load({"render": {"sets": [both]}})
    assert [each.code for each in agreement._check_naming(config, Path())] == ["settings.sets"]


def test_items_without_sets_are_given_no_version_of_sets() -> None:
    assert not due.asks_for_sets(settings.load({}))
    assert due.asks_for_sets(settings.load({"render": {"sets": SETS}}))
    one = {"step": "render", "settings": {}}
    assert due.inputs_of([one]) == due.inputs_of([{**one, "sets": "2"}])
    assert due.digest(one) != due.digest({**one, "sets": "2"})
