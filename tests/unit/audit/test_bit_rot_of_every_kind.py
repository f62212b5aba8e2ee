"""A byte that flips anywhere is told: in pictures, records, bags, and in the lists themselves."""

from __future__ import annotations

import itertools
import os
import random
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from glassine.audit import rounds
from glassine.audit.holdings import Places
from glassine.audit.rounds import Limits, Round
from glassine.base import clock, files
from makers import deliveries

EVERYTHING = Limits(1.0, 0.0, everything=True)
# Rewritten by each round, so that no damage of them lasts.
OWN = ("audit.sqlite", "audit.json")
NIGHTS, TURN = 90, 12  # a share of 0.2 of unlike parts


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("rot")
    with pytest.MonkeyPatch.context() as patch:
        deliveries.without_records(patch)
        deliveries.deliver(root, deliveries.make_batch(root, 2))
    for folder in (root / "results/b1/items").iterdir():
        files.write_json(folder / "done.json", {"inputs": "0" * 64})
    files.write_json(root / "results/b1/intake.json", {"batch": "b1"})
    (root / "masters/b1/manifest-sha256.txt").write_text(f"{'0' * 64}  PEH-0001.tif\n")
    return root


@pytest.fixture
def root(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "night"))


def audit(root: Path, limits: Limits, now: Callable[[], str]) -> Round:
    places = Places(root / "masters", root / "results", root / "deliveries")
    return rounds.go(places, ["b1"], limits, now)


def seconds(start: int = 1_780_000_000) -> Callable[[], str]:
    count = itertools.count(start)
    return lambda: clock.text_of(next(count))


def flip(path: Path, place: int, bit: int = 1) -> None:
    state = path.stat()
    content = bytearray(path.read_bytes())
    content[place % len(content)] ^= bit
    path.chmod(0o644)
    path.write_bytes(content)
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))


def kept(root: Path) -> list[Path]:
    return sorted(path for path in root.rglob("*") if path.is_file() and path.name not in OWN)


def kind_of(root: Path, path: Path) -> str:
    """Return the path with numbers and names of tiles taken out: files of one kind have the same."""
    name = re.sub(r"PEH-\d+", "ITEM", path.relative_to(root).as_posix())
    return re.sub(r"(iiif/ITEM).*/(.*)", r"\1/\2", name)


def test_a_hundred_bytes_of_files_of_every_kind_are_told_within_the_turn(root: Path) -> None:
    """What is flipped is put right when it is told, so that each is told by itself."""
    draw = random.Random(19)
    now = seconds()
    audit(root, EVERYTHING, now)
    paths = kept(root)
    kinds = {kind_of(root, path): path for path in draw.sample(paths, len(paths))}
    assert len(kinds) > 35
    chosen = [*kinds.values(), *draw.choices(paths, k=100 - len(kinds))]
    draw.shuffle(chosen)
    waiting = {day: chosen[day :: NIGHTS - TURN] for day in range(NIGHTS - TURN)}
    bad: dict[Path, tuple[int, int]] = {}
    told = 0
    for day in range(NIGHTS):
        for path in waiting.get(day, []):
            if path in bad:  # hit twice before it was told
                waiting.setdefault(day + 1, []).append(path)
                continue
            bad[path] = (day, draw.randrange(path.stat().st_size))
            flip(path, bad[path][1])
        findings = audit(root, Limits(0.2, 0.0), seconds(1_790_000_000 + 86_400 * day)).findings
        assert bool(findings) <= bool(bad), (day, findings)  # nothing sound is told
        text = " ".join(f"{each.path} {each.what}" for _, each in findings)
        for path in [path for path in bad if str(path) in text]:
            flip(path, bad.pop(path)[1])
            told += 1
        late = {path: day - since for path, (since, _) in bad.items() if day - since > TURN}
        assert not late
    assert (told, bad) == (100, {})


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("results/b1/items/PEH-0001/fixity.json", "of PEH-0001 cannot be compared"),
        ("results/b1/items/PEH-0001/package.json", "of PEH-0001 cannot be compared"),
        ("deliveries/b1.receipt.json", "by its other copy alone until it is put right"),
        ("deliveries/ledger.jsonl", "nothing is delivered until it is put right"),
        ("masters/b1/manifest-sha256.txt", "cannot be verified by it until it is put right"),
    ],
)
def test_of_a_damaged_list_it_is_told_what_cannot_be_compared(
    name: str, words: str, root: Path
) -> None:
    now = seconds()
    audit(root, EVERYTHING, now)
    flip(root / name, 0, 0x80)
    findings = [each for _, each in audit(root, EVERYTHING, now).findings]
    assert any(words in each.what for each in findings if each.path == str(root / name))
    flip(root / name, 0, 0x80)
    assert not audit(root, EVERYTHING, now).findings


def test_a_bag_whose_receipts_are_both_damaged_is_not_forgotten(root: Path) -> None:
    now = seconds()
    parts = audit(root, EVERYTHING, now).batches["b1"].delivery.parts
    copies = [root / "deliveries/b1.receipt.json", root / "deliveries/receipts/b1.json"]
    for path in copies:
        flip(path, 0, 0x80)
    shown = audit(root, EVERYTHING, now)
    assert any("nothing in b1 can be compared" in each.what for _, each in shown.findings)
    assert (shown.batches["b1"].delivery.parts, shown.batches["b1"].unread) == (parts, parts)


def test_a_list_that_a_person_wrote_anew_is_not_told(root: Path) -> None:
    now = seconds()
    audit(root, EVERYTHING, now)
    (root / "masters/b1/manifest-sha256.txt").write_text(f"{'1' * 64}  PEH-0001.tif\n")
    assert not audit(root, EVERYTHING, now).findings


def test_links_and_pipes_beside_the_masters_are_not_opened(root: Path) -> None:
    """A pipe would be waited for, and a link may lead out of the batch folder."""
    masters = root / "masters/b1"
    outside = root / "outside.txt"
    outside.write_text("a")
    (masters / "other.txt").symlink_to(outside)
    os.mkfifo(masters / "list.txt")
    now = seconds()
    audit(root, EVERYTHING, now)
    flip(outside, 0)
    assert not audit(root, EVERYTHING, now).findings
