"""The audit: any changed byte is found, nothing sound is told, and everything has its turn."""

from __future__ import annotations

import hashlib
import itertools
import os
import random
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from lxml import etree

from glassine.audit import premis, readings, rounds
from glassine.audit.holdings import TAG_FILES, Places
from glassine.audit.rounds import Limits, Round
from glassine.base import clock, files, hashing
from glassine.base.settings import PROJECT
from makers import deliveries

XSD = PROJECT.parent / "shared" / "schemas"
EVERYTHING = Limits(1.0, 0.0, everything=True)
SHARE = Limits(0.2, 0.0)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A finished and delivered batch of three items."""
    root = tmp_path_factory.mktemp("made")
    with pytest.MonkeyPatch.context() as patch:
        deliveries.without_records(patch)
        deliveries.deliver(root, deliveries.make_batch(root, 3))
    for folder in (root / "results" / "b1" / "items").iterdir():
        files.write_json(folder / "done.json", {})
    files.write_json(root / "results" / "b1" / "intake.json", {})
    return root


@pytest.fixture
def root(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "night"))


_SECONDS = itertools.count(1_780_000_000)


def later() -> str:
    """Return a time that is a second later each time that it is asked."""
    return clock.text_of(next(_SECONDS))


def places(root: Path) -> Places:
    return Places(root / "masters", root / "results", root / "deliveries")


def audit(root: Path, limits: Limits = EVERYTHING, now: Callable[[], str] = later) -> Round:
    return rounds.go(places(root), ["b1"], limits, now)


def flip(path: Path, place: int) -> None:
    """Change one bit of a file as a failing disk does: neither size nor time tell of it."""
    state = path.stat()
    content = bytearray(path.read_bytes())
    content[place % len(content)] ^= 1
    path.chmod(0o644)
    path.write_bytes(content)
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))


def kept(root: Path) -> list[Path]:
    """Return all that a round reads: masters, what packages hold, and the bag."""
    found = list((root / "masters").rglob("*.tif"))
    found += [path for path in (root / "deliveries" / "b1").rglob("*") if path.is_file()]
    for folder in (root / "results" / "b1" / "items").iterdir():
        for entry in files.read_json(folder / "package.json")["files"]:
            if entry["source"].startswith("item:"):
                found.append(folder / entry["source"].removeprefix("item:"))
    return sorted({*found})


def test_what_is_sound_is_not_told(root: Path) -> None:
    shown = audit(root)
    assert shown.parts == 3 + 3 + 4
    assert shown.bytes > 0
    assert not shown.findings


def test_each_changed_byte_is_found_and_nothing_else(root: Path) -> None:
    draw = random.Random(20)
    told = kept(root)
    for path in draw.sample(told, 40):
        place = draw.randrange(path.stat().st_size)
        flip(path, place)
        found = audit(root).findings
        flip(path, place)
        assert found, path
        parts = {finding.path for _, finding in found}
        # A list of the bag that was changed speaks for the files that it lists.
        lists = path.name.startswith(("manifest-", "tagmanifest-"))
        assert parts == {str(path)} or lists, (path, parts)
    assert not audit(root).findings


def test_a_file_that_is_gone_or_has_become_a_link_is_found(root: Path) -> None:
    for path in (kept(root)[0], root / "masters" / "b1" / "PEH-0002.tif"):
        content = path.read_bytes()
        aside = root / "aside"
        aside.write_bytes(content)
        path.unlink()
        assert [each.path for _, each in audit(root).findings] == [str(path)]
        path.symlink_to(aside)
        assert [each.path for _, each in audit(root).findings] == [str(path)]
        path.unlink()
        path.write_bytes(content)


def test_a_file_more_in_a_delivery_is_found(root: Path) -> None:
    (root / "deliveries" / "b1" / "data" / "PEH-0001" / "more.txt").write_text("x")
    assert ["more.txt" in each.path for _, each in audit(root).findings] == [True]


def test_files_and_list_of_a_bag_changed_together_are_found(root: Path) -> None:
    """The bag alone says that all is well; the receipt does not."""
    bag = root / "deliveries" / "b1"
    path = next((bag / "data" / "PEH-0001").rglob("*.jpg"))
    before = files.read_json(root / "deliveries" / "b1.receipt.json")
    flip(path, 100)
    listed = bag / "manifest-sha256.txt"
    name = path.relative_to(bag).as_posix()
    lines = [
        f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {name}" if line.endswith(name) else line
        for line in listed.read_text().splitlines()
    ]
    listed.write_text("".join(f"{line}\n" for line in lines))
    codes = {each.code for _, each in audit(root).findings}
    assert codes == {"audit.delivery"}
    assert before == files.read_json(root / "deliveries" / "b1.receipt.json")


def test_what_was_found_damaged_is_told_each_night_until_it_is_sound(root: Path) -> None:
    path = root / "masters" / "b1" / "PEH-0003.tif"
    flip(path, 5000)
    assert len(audit(root).findings) == 1
    for _ in range(3):  # the share of a night would not reach it again
        shown = audit(root, Limits(0.0001, 0.0))
        assert [each.path for _, each in shown.findings] == [str(path)]
    flip(path, 5000)
    assert not audit(root, Limits(0.0001, 0.0)).findings


def test_the_advice_names_a_copy_that_was_read_and_is_sound(root: Path) -> None:
    path = root / "masters" / "b1" / "PEH-0001.tif"
    copy = root / "deliveries" / "b1" / "data" / "PEH-0001" / "masters" / "PEH-0001.tif"
    flip(path, 900)
    [(_, finding)] = audit(root).findings
    assert f"cp -p '{copy}' '{path}'" in finding.next_step
    flip(copy, 900)
    told = {finding.path: finding for _, finding in audit(root).findings}
    assert {str(path), str(copy)} == {*told}
    assert all("cp -p" not in finding.next_step for finding in told.values())


def test_a_master_that_was_written_again_is_for_review_not_damaged(root: Path) -> None:
    path = root / "masters" / "b1" / "PEH-0001.tif"
    path.chmod(0o644)
    path.write_bytes(path.read_bytes() + b"more")
    [(_, finding)] = audit(root).findings
    assert (finding.code, finding.severity) == ("audit.changed", "review")


def test_a_record_whose_digests_changed_is_told_as_the_record(root: Path) -> None:
    audit(root)
    path = root / "results" / "b1" / "items" / "PEH-0001" / "package.json"
    state = path.stat()
    content = path.read_text()
    digest = next(
        entry["sha256"]
        for entry in files.read_json(path)["files"]
        if entry["source"].startswith("item:")
    )
    path.write_text(content.replace(digest, digest[::-1]))
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))
    told = {finding.code: finding.path for _, finding in audit(root).findings}
    assert told["audit.record"] == str(path)


def test_an_item_that_is_not_settled_is_left_to_the_night(root: Path) -> None:
    folder = root / "results" / "b1" / "items" / "PEH-0001"
    (folder / "done.json").unlink()
    flip(next(folder.rglob("*.jpg")), 50)
    shown = audit(root)
    assert not shown.findings
    assert shown.batches["b1"].unsettled == 1


def test_a_record_that_cannot_be_read_is_told(root: Path) -> None:
    path = root / "results" / "b1" / "items" / "PEH-0001" / "fixity.json"
    path.write_text("{")
    assert [each.path for _, each in audit(root).findings] == [str(path)]


def test_everything_has_its_turn_within_the_nights_that_the_share_says(root: Path) -> None:
    """Ninety nights; a byte of each of a hundred places flips at some night, and is found within
    the nights that the share needs."""
    draw = random.Random(7)
    days = [clock.text_of(1_790_000_000 + 86_400 * day) for day in range(90)]
    nights_needed = 12  # a share of 0.2 of unlike parts; see the assertion on the turn below
    files_kept = kept(root)
    flips: dict[Path, tuple[int, int]] = {}
    for day in draw.sample(range(75), 25):
        path = draw.choice([each for each in files_kept if each not in flips])
        flips[path] = (day, draw.randrange(10**6))
    found: dict[str, int] = {}
    for day, today in enumerate(days):
        for path, (when, place) in flips.items():
            if when == day:
                flip(path, place)
        for _, finding in audit(root, SHARE, lambda today=today: today).findings:
            found.setdefault(finding.path, day)
    flipped = {str(path) for path in flips}
    late = {
        str(path): found.get(str(path))
        for path, (day, _) in flips.items()
        if not path.name.startswith(("manifest-", "tagmanifest-"))
        and not day <= found.get(str(path), 10**6) <= day + nights_needed
    }
    assert not late
    lists = {path for path in found if Path(path).name.startswith(("manifest-", "tagmanifest-"))}
    behind_lists = {path for path in found if "/deliveries/" in path} if lists else set()
    assert {*found} - flipped <= lists | behind_lists
    with readings.Readings.open(root / "results", days[-1]) as kept_readings:
        times: dict[str, list[str]] = {}
        for line in kept_readings.lines():
            times.setdefault(line.key, []).append(line.time)
    assert all(len(each) >= 90 // nights_needed for each in times.values())
    assert len(times) == 10


def test_a_round_of_no_share_reads_nothing(root: Path) -> None:
    assert audit(root, Limits(0.0, 0.0)).parts == 0


def test_a_small_share_reads_at_least_one_part(root: Path) -> None:
    assert audit(root, Limits(1e-9, 0.0)).parts == 1


def test_one_that_reads_everything_goes_on_where_it_was_broken_off(
    root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read = rounds.reading.read
    left = iter(range(4))

    def broken(*of):  # type: ignore[no-untyped-def]
        if next(left, None) is None:
            raise KeyboardInterrupt
        return read(*of)

    monkeypatch.setattr(rounds.reading, "read", broken)
    with pytest.raises(KeyboardInterrupt):
        audit(root)
    monkeypatch.setattr(rounds.reading, "read", read)
    assert audit(root).parts == 10 - 4
    assert audit(root).parts == 10  # all over again


def test_a_damaged_list_of_readings_is_put_aside_and_told(root: Path) -> None:
    audit(root)
    path = root / "results" / readings.NAME
    path.write_bytes(b"no database" * 400)
    shown = audit(root)
    assert [note.code for note in shown.notes] == ["audit.readings"]
    assert len(list(path.parent.glob(f"{readings.NAME}.damaged-*"))) == 1
    assert shown.parts == 10


def test_parts_made_anew_are_read_by_their_new_record(root: Path) -> None:
    audit(root)
    folder = root / "results" / "b1" / "items" / "PEH-0001"
    path = next(folder.rglob("*.jpg"))
    path.write_bytes(path.read_bytes() + b"anew")
    record = files.read_json(folder / "package.json")
    digests = hashing.of_file(path)
    for entry in record["files"]:
        if entry["source"] == f"item:{path.relative_to(folder).as_posix()}":
            entry |= {
                "sha256": digests.sha256,
                "sha512": digests.sha512,
                "bytes": digests.bytes,
            }
    files.write_json(folder / "package.json", record)
    assert not audit(root).findings


def test_other_batches_are_not_forgotten(root: Path) -> None:
    audit(root)
    rounds.go(places(root), [], EVERYTHING, later)
    with readings.Readings.open(root / "results", later()) as kept_readings:
        assert len(kept_readings.known()) == 10


def test_a_batch_that_is_closed_is_read_in_its_deliveries(root: Path) -> None:
    shutil.rmtree(root / "results" / "b1")
    shutil.rmtree(root / "masters")
    shown = audit(root)
    assert shown.parts == 4
    assert shown.batches["b1"].delivery.parts == 4


def test_what_is_not_here_is_counted(root: Path) -> None:
    (root / "deliveries" / "b1").rename(root / "carried away")
    shutil.rmtree(root / "masters")
    shown = audit(root)
    assert (shown.parts, shown.batches["b1"].away) == (3, 3 + 4)


@pytest.mark.parametrize("form", ["tar", "zip"])
def test_archives_are_read_whole(
    form: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    deliveries.without_records(monkeypatch)
    deliveries.deliver(tmp_path, deliveries.make_batch(tmp_path, 2, form=form))
    assert not audit(tmp_path).findings
    flip(tmp_path / "deliveries" / f"b1.{form}", 20_000)
    assert audit(tmp_path).findings


def test_nothing_but_readings_and_the_record_is_written(root: Path) -> None:
    before = {path: path.read_bytes() for path in root.rglob("*") if path.is_file()}
    audit(root)
    after = {path: path.read_bytes() for path in root.rglob("*") if path.is_file()}
    assert {*after} - {*before} == {
        root / "results" / readings.NAME,
        root / "results" / "b1" / rounds.RECORD,
    }
    assert all(after[path] == content for path, content in before.items())


def test_tag_files_are_a_part(root: Path) -> None:
    audit(root)
    with sqlite3.connect(root / "results" / readings.NAME) as kept_readings:
        names = [row[0] for row in kept_readings.execute("SELECT name FROM part")]
    assert TAG_FILES in names


@pytest.fixture
def told(root: Path) -> Iterator[bytes]:
    audit(root)
    flip(root / "masters" / "b1" / "PEH-0001.tif", 100)
    audit(root)
    with readings.Readings.open(root / "results", later()) as kept_readings:
        yield premis.document(kept_readings.lines())


def test_readings_are_fixity_events(told: bytes) -> None:
    """PREMIS Data Dictionary 3.0, 2.2: eventType from the Library of Congress vocabulary."""
    text = told.decode()
    assert text.count("<premis:eventType") == 20
    assert "http://id.loc.gov/vocabulary/preservation/eventType/fix" in text
    assert text.count("<premis:eventOutcome>fail<") == 1


@pytest.mark.skipif(not XSD.exists(), reason=f"{XSD} is not there")
def test_the_official_schema_accepts_the_readings(told: bytes) -> None:
    schema = etree.XMLSchema(etree.parse(str(XSD / "premis-v3-0.xsd"), etree.XMLParser()))
    schema.assertValid(etree.fromstring(told))
