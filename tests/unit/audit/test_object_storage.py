"""Deliveries in object storage are read again: damage is told as damage, silence as silence."""

from __future__ import annotations

import functools
import hashlib
import itertools
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
import yaml

from glassine.audit import premis, readings, rounds, stored
from glassine.audit.holdings import Places
from glassine.audit.objects import Storage
from glassine.audit.rounds import Limits, Round
from glassine.base import clock, exits, files
from glassine.deliver import sent_files
from glassine.night import audits, lock
from glassine.store import deliveries as store
from glassine.store import objects
from makers import deliveries, object_service
from makers.object_service import Service

EVERYTHING = Limits(1.0, 0.0, everything=True)
BUCKET, BASE = "studio-deliveries", "s3://studio-deliveries/film"
NAMES = ("b1.handover.csv", "b1.handover.json", "b1.receipt.json", "b1.tar")
TAR = ("studio-deliveries", "film/b1/b1.tar")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("made")
    with pytest.MonkeyPatch.context() as patch:
        deliveries.without_records(patch)
        deliveries.deliver(root, deliveries.make_batch(root, 1, form="tar"))
    (root / "deliveries" / "b1.tar").rename(root / "carried away.tar")
    return root


@pytest.fixture(scope="module")
def answering() -> Iterator[Service]:
    with object_service.running(Service()) as service:
        yield service


@pytest.fixture
def keys(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("AWS_ACCESS_KEY_ID", "studio")
    monkeypatch.setenv("AWS_SECRET_ACCESS_KEY", "of the test")
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    monkeypatch.setattr(objects, "_ATTEMPTS", 1)


@pytest.fixture
def root(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "night"))


@pytest.fixture
def service(answering: Service, root: Path, keys: None) -> Service:
    """A service that has what was sent, as `send` leaves it."""
    answering.__dict__ |= Service(buckets={BUCKET}, url=answering.url).__dict__
    for name in NAMES:
        here = root / "carried away.tar" if name == "b1.tar" else root / "deliveries" / name
        content = here.read_bytes()
        digest = hashlib.sha256(content).hexdigest()
        answering.objects[BUCKET, f"film/b1/{name}"] = content
        line = store.stated_line(name, digest).encode()
        answering.objects[BUCKET, f"film/b1/{name}.sha256"] = line
        place = (root / "deliveries", "b1", "b1", name, f"{BASE}/b1/{name}")
        store.note_proved(*place, here, digest)
    return answering


_SECONDS = itertools.count(1_780_000_000)


def later() -> str:
    return clock.text_of(next(_SECONDS) + 100_000_000)


# To make a client costs more than all that it asks here.
client = functools.cache(objects.S3Objects)


def storage(service: Service, mode: str = "read") -> Storage:
    return Storage(lambda: client(service.url), mode)  # type: ignore[arg-type]


def audit(root: Path, service: Service, limits: Limits = EVERYTHING, mode: str = "read") -> Round:
    places = Places(root / "masters", root / "results", root / "deliveries")
    return rounds.go(places, ["b1"], limits, later, storage=storage(service, mode))


def told(round_: Round) -> list[tuple[str, str]]:
    return [(finding.code, finding.path) for _, finding in round_.findings]


def test_what_is_sound_is_read_and_not_told(root: Path, service: Service) -> None:
    service.page = 3  # the listing comes in pieces
    shown = audit(root, service)
    assert not shown.findings
    assert shown.batches["b1"].stored.parts == 4
    assert {key for method, key in service.asked if method == "GET"} >= {
        f"film/b1/{name}" for name in NAMES
    }
    assert audits.sentence(shown).count("all read or written since") == 1


def test_a_changed_byte_is_damage_until_it_is_sound_again(root: Path, service: Service) -> None:
    content = service.objects[TAR]
    service.objects[TAR] = content[:9000] + bytes([content[9000] ^ 1]) + content[9001:]
    shown = audit(root, service)
    assert told(shown) == [("audit.stored", f"{BASE}/b1/b1.tar")]
    assert shown.batches["b1"].stored.damaged == 1
    assert "repository's copy" in shown.findings[0][1].next_step
    assert told(audit(root, service, Limits(1e-9, 0))) == told(
        shown
    )  # the share would not reach it
    service.objects[TAR] = content
    assert not audit(root, service, Limits(1e-9, 0)).findings


def test_the_advice_names_the_file_here_where_it_is_sound(root: Path, service: Service) -> None:
    service.objects[TAR] = bytes(len(service.objects[TAR]))
    sent = sent_files.load(root / "deliveries", "b1.tar")
    here = root / "carried away.tar"
    _, [found, *_] = stored.read(sent, storage(service), lambda: here)
    assert f"{here} was read just now and is sound" in found.next_step


@pytest.mark.parametrize("mode", ["read", "look"])
@pytest.mark.parametrize("content", [None, b"short"])
def test_one_that_is_gone_or_of_another_size_is_told_the_same_night(
    mode: str, content: bytes | None, root: Path, service: Service
) -> None:
    if content is None:
        del service.objects[TAR]
    else:
        service.objects[TAR] = content
    shown = audit(root, service, Limits(1e-9, 0), mode)
    assert told(shown) == [("audit.stored", f"{BASE}/b1/b1.tar")]
    assert ("GET", "film/b1/b1.tar") not in service.asked


def test_the_digest_beside_it_is_compared_too(root: Path, service: Service) -> None:
    beside = (BUCKET, "film/b1/b1.tar.sha256")
    service.objects[beside] = b"0" * 64 + b"  b1.tar\n"
    assert told(audit(root, service)) == [("audit.stored_digest", f"{BASE}/b1/b1.tar.sha256")]
    del service.objects[beside]
    assert told(audit(root, service)) == [("audit.stored_digest", f"{BASE}/b1/b1.tar.sha256")]


def test_object_and_digest_changed_together_are_damage(root: Path, service: Service) -> None:
    content = b"x" * len(service.objects[TAR])
    service.objects[TAR] = content
    digest = hashlib.sha256(content).hexdigest()
    service.objects[BUCKET, "film/b1/b1.tar.sha256"] = f"{digest}  b1.tar\n".encode()
    codes = {code for code, _ in told(audit(root, service))}
    assert codes == {"audit.stored", "audit.stored_digest"}


def silent(service: Service, how: str) -> Service:
    """Return the service as it does not answer in one of many ways."""
    if how == "nobody":
        return Service(url="http://127.0.0.1:9")  # discard (RFC 863): nobody listens
    if how == "no bucket":
        service.buckets = {"another"}
    elif how == "no right":
        service.denied = {"*"}
    elif how == "no right to one":
        service.denied = {"film/b1/b1.tar"}
    else:
        service.cut = {"film/b1/b1.tar"}
    return service


@pytest.mark.parametrize("how", ["nobody", "no bucket", "no right", "no right to one", "cut"])
def test_what_could_not_be_read_is_no_damage_and_never_all_read(
    how: str, root: Path, service: Service
) -> None:
    shown = audit(root, silent(service, how))
    count = 1 if how in ("no right to one", "cut") else 4
    [(_, finding)] = shown.findings
    assert finding.code == "audit.store_unavailable"
    assert "could not be read" in finding.what
    record = shown.batches["b1"]
    assert (record.unread, record.stored.damaged) == (count, 0)
    words = audits.sentence(shown)
    assert "all read" not in words
    assert f"COULD NOT BE READ: {count} part" in words
    assert audits.problems(shown, ["b1"])[0].exit_code == exits.UNAVAILABLE
    with readings.Readings.open(root / "results", later()) as kept:
        lines = [line for line in kept.lines() if line.key == "stored/b1/b1/b1.tar"]
    assert not lines  # what was not read has no event


def test_damage_stays_told_while_nobody_answers(root: Path, service: Service) -> None:
    content = service.objects[TAR]
    service.objects[TAR] = bytes(len(content))
    audit(root, service)
    codes = {code for code, _ in told(audit(root, silent(service, "nobody")))}
    assert codes == {"audit.store_unavailable", "audit.stored"}


def test_reading_everything_is_not_over_while_something_could_not_be_read(
    root: Path, service: Service
) -> None:
    audit(root, silent(service, "cut"))
    service.cut = set()
    shown = audit(root, service)
    assert shown.parts == 1  # the one that is left
    assert not shown.findings


def test_readings_are_fixity_events(root: Path, service: Service) -> None:
    service.objects[TAR] = bytes(len(service.objects[TAR]))
    audit(root, service)
    with readings.Readings.open(root / "results", later()) as kept:
        text = premis.document(kept.lines()).decode()
    assert "stored/b1/b1/b1.tar" in text
    assert text.count("<premis:eventOutcome>fail<") == 1


def test_without_storage_in_the_settings_they_count_as_not_here(
    root: Path, service: Service
) -> None:
    for mode in ("read", "none"):
        place = Places(root / "masters", root / "results", root / "deliveries")
        used = Storage() if mode == "read" else storage(service, "none")
        shown = rounds.go(place, ["b1"], EVERYTHING, later, storage=used)
        assert shown.batches["b1"].away == 1 + 4  # and the bag, which was carried away
    assert not service.asked


def test_a_bag_that_was_carried_away_is_read_in_the_storage(root: Path, service: Service) -> None:
    shown = audit(root, service)
    assert (shown.batches["b1"].stored.parts, shown.batches["b1"].away) == (4, 0)


def test_a_note_of_sending_that_is_gone_or_damaged_is_told(root: Path, service: Service) -> None:
    audit(root, service)
    note = sent_files.path_of(root / "deliveries", "b1.tar")
    content = note.read_text()
    note.write_text("{")
    assert ("audit.sent", str(note)) in told(audit(root, service))
    note.unlink()
    assert "audit.deliveries_gone" in {code for code, _ in told(audit(root, service))}
    note.write_text(content)
    assert not audit(root, service).findings


def test_a_folder_of_deliveries_that_is_not_mounted_is_told(root: Path, service: Service) -> None:
    audit(root, service)
    (root / "deliveries").rename(root / "elsewhere")
    for _ in range(2):  # and is told each time
        shown = audit(root, service)
        assert [code for code, _ in told(shown)] == ["audit.deliveries_gone"]
        assert "all read" not in audits.sentence(shown)
    (root / "elsewhere").rename(root / "deliveries")
    assert not audit(root, service).findings


def test_the_command_ends_with_69_and_says_so(
    root: Path,
    service: Service,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # A process holds the run's lock until it ends.
    monkeypatch.setattr(lock.RunLock, "take", lambda self: None)
    # Readings of one second cannot be told apart by their time.
    monkeypatch.setattr(clock, "now_text", later)

    def run() -> int:
        settings = {
            "masters": str(root / "masters"),
            "store": {"deliveries": BASE, "endpoint_url": service.url},
        }
        (root / "config.yaml").write_text(yaml.safe_dump(settings))
        words = ["--directory", str(root), "--configfile", str(root / "config.yaml")]
        return audits.main(["--all", *words])

    assert run() == 0
    assert "in object storage: 4 parts" in capsys.readouterr().out
    service.denied = {"*"}
    assert run() == exits.UNAVAILABLE
    assert "NOT READ" in capsys.readouterr().out
    service.denied = set()
    service.objects[TAR] = bytes(len(service.objects[TAR]))
    assert run() == exits.HELD
    assert f"DAMAGED {BASE}/b1/b1.tar" in capsys.readouterr().out


def test_what_an_earlier_version_sent_is_noted_by_the_next_send(root: Path) -> None:
    folder = root / "deliveries"
    shutil.copy(root / "carried away.tar", folder / "b1.tar")
    listed = store.delivered_files(folder, "b1")
    digests = {name: hashlib.sha256((folder / name).read_bytes()).hexdigest() for name in NAMES}
    stated = {}
    for name, digest in digests.items():
        stated[name] = root / f"{name}.sha256"
        stated[name].write_text(store.stated_line(name, digest))
    due = store.compare(folder, root / "state", listed, list(NAMES), stated)
    store.note_there(folder, "b1", BASE, due)
    sent = sent_files.read(folder, "b1").files
    assert {each.name: each.sha256 for each in sent} == digests
    receipt = files.read_json(folder / "b1.receipt.json")
    assert {each.proved for each in sent} == {receipt["time"]}  # when it was read is not known
