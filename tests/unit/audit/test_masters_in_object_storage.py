"""Masters that came from object storage are read again there, also when no copy is here."""

from __future__ import annotations

import functools
import itertools
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from glassine.audit import fetched, rounds
from glassine.audit.holdings import Places
from glassine.audit.objects import Storage
from glassine.audit.rounds import Limits, Round
from glassine.base import clock, files, hashing, settings
from glassine.night import audits
from glassine.night.workplace import Workplace
from glassine.store import mark_of, masters, objects, remember, state_dir
from makers import object_service
from makers.object_service import Service

EVERYTHING = Limits(1.0, 0.0, everything=True)
ADDRESS = "s3://studio-masters/b1"
CONTENT = {"PEH-0001.tif": b"first" * 999, "verso/PEH-0001.tif": b"second" * 99}
FIRST = ("studio-masters", "b1/PEH-0001.tif")


@pytest.fixture(scope="module")
def answering() -> Iterator[Service]:
    with object_service.running(Service()) as service:
        yield service


@pytest.fixture
def service(answering: Service, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Service:
    """A service that has the masters of a batch that was fetched from it."""
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "studio")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "of the test")
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    monkeypatch.setattr(objects, "_ATTEMPTS", 1)
    answering.__dict__ |= Service(buckets={"studio-masters"}, url=answering.url).__dict__
    for path, content in CONTENT.items():
        answering.objects["studio-masters", f"b1/{path}"] = content
        fetch(tmp_path, path, content)
    note(tmp_path)
    return answering


def fetch(root: Path, path: str, content: bytes) -> None:
    """Leave what `fetch` leaves of a file: itself, its line in the list, its mark."""
    place = root / "masters/b1" / path
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_bytes(content)
    digest = hashing.sha256_of(place)
    with (root / "masters/b1" / masters.LIST).open("a") as listed:
        listed.write(f"{digest}  {path}\n")
    remember(mark_of(state_dir(root, "b1"), "fetched", path), place.stat(), digest)


def note(root: Path) -> None:
    where = (root / "masters/b1", state_dir(root, "b1"), root / "deliveries")
    masters.note_there(*where, ADDRESS, "2026-03-18T02:00:00Z")


_SECONDS = itertools.count(1_880_000_000)
client = functools.cache(objects.S3Objects)


def audit(
    root: Path, service: Service, limits: Limits = EVERYTHING, storage: Storage | None = None
) -> Round:
    places = Places(root / "masters", root / "results", root / "deliveries")
    asked = storage or Storage(lambda: client(service.url), "read")
    return rounds.go(places, ["b1"], limits, lambda: clock.text_of(next(_SECONDS)), storage=asked)


def told(round_: Round) -> list[tuple[str, str]]:
    return [(finding.code, finding.path) for _, finding in round_.findings]


def test_sound_masters_are_read_and_not_told(tmp_path: Path, service: Service) -> None:
    shown = audit(tmp_path, service)
    assert not shown.findings
    assert shown.batches["b1"].stored_masters.parts == len(CONTENT)
    assert shown.bytes == sum(map(len, CONTENT.values()))


def test_of_a_batch_that_is_closed_too(tmp_path: Path, service: Service) -> None:
    """Batch folder and results were moved away: the storage has the only masters."""
    shutil.rmtree(tmp_path / "masters")
    shutil.rmtree(tmp_path / "results")
    service.objects[FIRST] = b"other" + CONTENT["PEH-0001.tif"][5:]
    shown = audit(tmp_path, service)
    assert told(shown) == [("audit.stored", f"{ADDRESS}/PEH-0001.tif")]
    assert "backup" in shown.findings[0][1].next_step
    assert "b1" in fetched.batches(tmp_path / "deliveries")


def test_the_sound_master_here_is_named(tmp_path: Path, service: Service) -> None:
    service.objects[FIRST] = CONTENT["PEH-0001.tif"][:-1] + b"!"
    (_, finding), *_ = audit(tmp_path, service).findings
    assert str(tmp_path / "masters/b1/PEH-0001.tif") in finding.next_step
    service.objects[FIRST] = CONTENT["PEH-0001.tif"]
    assert not audit(tmp_path, service, Limits(1e-9, 0)).findings


@pytest.mark.parametrize("content", [None, b"short"])
def test_one_that_is_gone_or_short_is_told_the_same_night(
    content: bytes | None, tmp_path: Path, service: Service
) -> None:
    service.objects.pop(FIRST)
    if content is not None:
        service.objects[FIRST] = content
    shown = audit(tmp_path, service, Limits(1e-9, 0))
    assert told(shown) == [("audit.stored", f"{ADDRESS}/PEH-0001.tif")]


def test_a_storage_that_refuses_is_no_damage(tmp_path: Path, service: Service) -> None:
    service.denied = {"*"}
    shown = audit(tmp_path, service)
    assert [code for code, _ in told(shown)] == ["audit.store_unavailable"]
    assert shown.batches["b1"].unread == len(CONTENT)


def test_a_note_that_is_gone_is_missed(tmp_path: Path, service: Service) -> None:
    audit(tmp_path, service)
    fetched.path_of(tmp_path / "deliveries", "b1").unlink()
    shown = audit(tmp_path, service)
    assert [code for code, _ in told(shown)] == ["audit.fetched_gone"]
    assert shown.batches["b1"].stored_masters.parts == len(CONTENT)
    note(tmp_path)
    assert not audit(tmp_path, service).findings


def test_a_damaged_note_is_told_and_loses_no_master(tmp_path: Path, service: Service) -> None:
    audit(tmp_path, service)
    fetched.path_of(tmp_path / "deliveries", "b1").write_text("{")
    shown = audit(tmp_path, service)
    assert [code for code, _ in told(shown)] == ["audit.fetched"]
    assert shown.batches["b1"].stored_masters.parts == len(CONTENT)


def test_nothing_is_asked_where_no_storage_is_set(tmp_path: Path, service: Service) -> None:
    shown = audit(tmp_path, service, storage=Storage())
    assert shown.batches["b1"].away == len(CONTENT)
    assert not service.asked


def test_what_was_not_fetched_is_not_noted(tmp_path: Path, service: Service) -> None:
    """A master that is listed and never came: `fetch` tells of it."""
    with (tmp_path / "masters/b1" / masters.LIST).open("a") as listed:
        listed.write(f"{'0' * 64}  PEH-0009.tif\n")
    before = fetched.read(tmp_path / "deliveries", "b1").files
    note(tmp_path)
    assert fetched.read(tmp_path / "deliveries", "b1").files == before
    assert [each.bytes for each in before] == [len(each) for each in CONTENT.values()]


def test_a_list_that_was_shortened_hides_no_master_that_is_here(
    tmp_path: Path, service: Service
) -> None:
    path = tmp_path / "masters/b1" / masters.LIST
    path.write_text(path.read_text().splitlines(keepends=True)[0])
    note(tmp_path)
    assert len(fetched.read(tmp_path / "deliveries", "b1").files) == len(CONTENT)


def test_a_night_with_masters_alone_in_storage_asks_for_them(tmp_path: Path) -> None:
    config = settings.load({})
    config["store"]["masters"] = "s3://studio-masters"
    place = Workplace.of(config, tmp_path)
    assert audits.storage_of(place).asked
    files.write_json(fetched.path_of(place.deliveries, "b7"), {})
    assert audits.batches_known(place) == ["b7"]
