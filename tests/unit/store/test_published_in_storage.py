"""The published tree in object storage: what changed goes up, what may not be public comes down."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from glassine.audit.objects import Unreachable
from glassine.base import exits
from glassine.base.errors import GlassineError
from glassine.base.records.given import Institution
from glassine.night import publishing
from glassine.publish import step
from glassine.publish.given import Candidate, Site
from glassine.store import objects, published
from makers import object_service
from makers.object_service import Service

BASE = "https://images.port-ellery.example/iiif"
SITE = Site(BASE, Institution(name="Port Ellery Harbour Archive", id=BASE), {"night": None})
ADDRESS = "s3://studio-images/film"


@dataclass
class Fake:
    """Objects in memory. asked: what was done, in order; ends: after so many of these nobody
    answers."""

    held: dict[str, bytes] = field(default_factory=dict)
    asked: list[tuple[str, str]] = field(default_factory=list)
    ends: int | None = None

    def _ask(self, what: str, address: str) -> str:
        if self.ends is not None and len(self.asked) >= self.ends:
            raise Unreachable("no answer", whole=True)
        key = address.removeprefix(f"{ADDRESS}/")
        self.asked.append((what, key))
        return key

    def below(self, folder: str) -> dict[str, int]:
        return {key: len(content) for key, content in self.held.items()}

    def put(self, address: str, content: bytes, kind: str) -> None:
        self.held[self._ask("put", address)] = content

    def remove(self, address: str) -> None:
        self.held.pop(self._ask("remove", address))


def made(results: Path, item: str, **more: Any) -> Candidate:
    folder = results / item
    names = {"access": f"access/{item}.jpg", "tile": f"iiif/{item}_01/full/max/0/default.jpg"}
    for path in (*names.values(), f"iiif/{item}_01/info.json"):
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(f"{item} {path} {more.get('title', '')}")
    service = {"id": f"{BASE}/{item}_01", "type": "ImageService3", "profile": "level0"}
    picture = {"id": f"{BASE}/{item}/access/{item}.jpg", "type": "Image", "service": [service]}
    manifest = {"id": f"{BASE}/{item}/manifest.json", "type": "Manifest", "items": [picture]}
    (folder / "manifest.json").write_text(json.dumps(manifest))
    facts = {"batch": "night", "item": item, "folder": folder, "state": "done", "public": "all"}
    return Candidate(**(facts | more))


@dataclass
class Place:
    root: Path
    results: Path
    record: Path

    def publish(self, candidates: list[Candidate], storage: Any) -> published.Uploaded:
        step.publish(self.root, candidates, SITE)
        return published.upload(self.root, storage, ADDRESS, self.record)

    def tree(self) -> dict[str, bytes]:
        return {
            path.relative_to(self.root).as_posix(): path.read_bytes()
            for path in self.root.rglob("*")
            if path.is_file() and path.name != ".published.json"
        }


@pytest.fixture
def place(tmp_path: Path) -> Place:
    return Place(tmp_path / "tree", tmp_path / "results", tmp_path / "uploaded.json")


def test_all_of_the_tree_is_there_pictures_first_then_manifests_then_lists(place: Place) -> None:
    storage = Fake()
    place.publish([made(place.results, "a"), made(place.results, "b")], storage)
    assert storage.held == place.tree()
    put = [key for _, key in storage.asked]
    manifests = [at for at, key in enumerate(put) if key.endswith("/manifest.json")]
    pictures = [at for at, key in enumerate(put) if key.endswith((".jpg", "info.json"))]
    lists = [put.index("catalogue.json"), put.index("collection/night.json")]
    assert max(pictures) < min(manifests) and max(manifests) < min(lists)


def test_only_what_changed_goes_up_again(place: Place) -> None:
    storage = Fake()
    place.publish([made(place.results, "a"), made(place.results, "b")], storage)
    storage.asked.clear()
    again = made(place.results, "b")  # the same bytes, written anew
    done = place.publish([again], Fake(storage.held))
    assert {key for key in done.put if key.startswith("b")} == set()
    place.publish([made(place.results, "a"), again], storage)
    storage.asked.clear()
    place.publish([made(place.results, "a", title="other"), again], storage)
    sent = {key for _, key in storage.asked if key.partition("/")[0] not in ("activity",)}
    assert {key.partition("/")[0] for key in sent} == {"a", "a_01", "catalogue.json"}
    assert storage.held == place.tree()


@pytest.mark.parametrize("why", ["restricted", "withdrawn"])
def test_what_may_not_be_public_is_removed_before_anything_is_added(place: Place, why: str) -> None:
    storage = Fake()
    one, other = made(place.results, "a"), made(place.results, "b")
    place.publish([one, other], storage)
    storage.asked.clear()
    closed = (
        [made(place.results, "a", public="none", why_closed=why)] if why == "restricted" else []
    )
    place.publish([*closed, other, made(place.results, "c")], storage)
    assert not [key for key in storage.held if key.split("/")[0] in ("a", "a_01")]
    kinds = [what for what, _ in storage.asked]
    assert storage.asked[0] == ("remove", "a/manifest.json")
    assert kinds == sorted(kinds, key=("remove", "put").index)
    lists = b"".join(content for key, content in storage.held.items() if key.startswith("coll"))
    assert b"/a/manifest.json" not in lists and b"/a/" not in storage.held["catalogue.json"]


@pytest.mark.parametrize("ends", range(0, 24, 3))
def test_what_broke_off_is_gone_on_with_and_ends_the_same(place: Place, ends: int) -> None:
    storage = Fake()
    place.publish([made(place.results, "a"), made(place.results, "b")], storage)
    storage.ends = len(storage.asked) + ends
    wanted = [made(place.results, "b", title="new"), made(place.results, "c")]
    try:
        place.publish(wanted, storage)
    except Unreachable:
        pass
    else:
        assert ends >= 15  # all was done before that
    storage.ends = None
    place.publish(wanted, storage)
    assert storage.held == place.tree()
    assert published.upload(place.root, storage, ADDRESS, place.record).put == []


def test_an_object_that_is_gone_or_of_another_size_goes_up_again(place: Place) -> None:
    storage = Fake()
    place.publish([made(place.results, "a")], storage)
    del storage.held["a/access/a.jpg"]
    storage.held["a_01/info.json"] = b""
    done = published.upload(place.root, storage, ADDRESS, place.record)
    assert done.put == ["a/access/a.jpg", "a_01/info.json"]
    assert storage.held == place.tree()


def test_what_others_put_there_stays_and_a_full_place_is_refused_at_first(place: Place) -> None:
    storage = Fake({"ours.txt": b"x"})
    with pytest.raises(GlassineError, match="holds 1 objects"):
        place.publish([made(place.results, "a")], storage)
    assert storage.held == {"ours.txt": b"x"} and storage.asked == []
    storage.held.clear()
    place.publish([made(place.results, "a")], storage)
    storage.held["theirs/x.txt"] = b"x"
    place.publish([], storage)
    assert storage.held["theirs/x.txt"] == b"x"
    assert "a/manifest.json" not in storage.held


@pytest.mark.parametrize("text", ["{", "[]", '{"address": "s3://other/film"}'])
def test_a_damaged_record_is_refused_and_nothing_is_touched(place: Place, text: str) -> None:
    storage = Fake()
    place.publish([made(place.results, "a")], storage)
    before = dict(storage.held)
    place.record.write_text(text)
    with pytest.raises(GlassineError):
        place.publish([], storage)
    assert storage.held == before


# --- a service that speaks S3


@pytest.fixture
def service(monkeypatch: pytest.MonkeyPatch) -> Iterator[Service]:
    pytest.importorskip("botocore", reason="what reaches object storage is not installed")
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "key")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "secret")
    monkeypatch.setattr(objects, "_ATTEMPTS", 1)
    with object_service.running(Service({"studio-images"})) as running:
        yield running


def test_a_service_has_each_file_with_its_kind_and_loses_it_with_its_item(
    place: Place, service: Service
) -> None:
    service.page = 3  # listings come in pages
    storage = objects.S3Objects(service.url)
    place.publish([made(place.results, "a")], storage)
    held = {key.removeprefix("film/"): content for (_, key), content in service.objects.items()}
    assert held == place.tree()
    assert service.kinds["film/a/access/a.jpg"] == "image/jpeg"
    assert service.kinds["film/a/manifest.json"].startswith("application/ld+json")
    assert service.kinds["film/index.html"] == "text/html; charset=utf-8"
    place.publish([], storage)
    assert not [key for _, key in service.objects if key.startswith("film/a/")]


SETTINGS = """
masters: masters
institution: {name: "Port Ellery Harbour Archive", id: "https://archive.port-ellery.example/"}
iiif: {base_url: "%s"}
rights: {jurisdiction: "gb"}
store: {endpoint_url: "%s"}
"""


def command(root: Path, url: str, address: str) -> int:
    for name in ("masters", "results", "deliveries"):
        (root / name).mkdir(exist_ok=True)
    settings = root / "studio.yaml"
    settings.write_text(SETTINGS % (BASE, url))
    return publishing.main([address, "--directory", str(root), "--configfile", str(settings)])


@pytest.mark.parametrize(
    ("denied", "code", "words"),
    [("", 0, "in the storage: "), ("film/index.html", exits.UNAVAILABLE, "not all of it is there")],
)
def test_the_command_says_what_went_there_and_what_did_not(
    tmp_path: Path,
    service: Service,
    capsys: pytest.CaptureFixture[str],
    denied: str,
    code: int,
    words: str,
) -> None:
    service.denied = {denied} if denied else set()
    assert command(tmp_path, service.url, f"{ADDRESS}/") == code
    assert words in "".join(capsys.readouterr())
    assert (("studio-images", "film/index.html") in service.objects) is (code == 0)


@pytest.mark.parametrize("address", ["s3://", "s3://Big/x", "s3://ab", "s3://bucket/../x"])
def test_what_is_no_place_in_storage_is_refused(
    tmp_path: Path, address: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert command(tmp_path, "http://127.0.0.1:9", address) == exits.SETTINGS
    assert "no place in object storage" in capsys.readouterr().err
    assert not (tmp_path / "published").exists()
