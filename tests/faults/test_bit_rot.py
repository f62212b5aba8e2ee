"""One flipped bit at each place of the way: found and named before anything is called good."""

import os
import shutil
import subprocess
import sys

import pytest

from faults import batches
from glassine.base import settings
from makers.studio import Studio

ITEM = "PEH-0001"


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    """A batch that is done but not delivered."""
    studio = Studio(tmp_path_factory.mktemp("done"))
    batches.make_batch(studio.masters, 2)
    assert studio.night().code == 0
    return studio


@pytest.fixture
def again(done, tmp_path):
    """A copy of it, free to be damaged."""
    shutil.copytree(done.root, tmp_path / "studio", symlinks=True)
    studio = Studio.__new__(Studio)
    studio.root, studio.masters = tmp_path / "studio", tmp_path / "studio" / "masters"
    return studio


def flip(path, place=0.5):
    """Flip one bit of a file and give it its old time back, as a failing disk does."""
    status = path.stat()
    path.chmod(0o644)
    with path.open("r+b") as stream:
        stream.seek(int(status.st_size * place))
        byte = stream.read(1)
        stream.seek(-1, os.SEEK_CUR)
        stream.write(bytes([byte[0] ^ 0x10]))
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))


def forget_delivery(studio):
    shutil.rmtree(studio.root / "deliveries")
    (studio.root / "results" / batches.BATCH / "delivery-list.json").unlink()


def assert_held(studio, outcome, *words):
    assert outcome.code == 1, outcome.text[-2000:]
    assert "Traceback" not in outcome.text
    told = [line for line in outcome.text.splitlines() if line.startswith(("HELD", "STOPPED"))]
    assert any(all(word in line for word in words) for line in told), told


def test_on_the_way_of_each_item(tmp_path):
    """Five items, each hit at another place; decoding alone tells nothing of a master that was hit
    after it was verified: it is compared again."""
    studio = Studio(tmp_path)
    items = batches.make_batch(studio.masters, 6)
    assert studio.night().code == 0
    masters = studio.masters / batches.BATCH
    hit = [
        (masters / f"{items[0]}.tif", "fixity.json"),
        (masters / f"{items[1]}.tif", "geometry.json"),
        (next(studio.item(batches.BATCH, items[2]).glob("access/*.jpg")), "package.json"),
        (next(studio.item(batches.BATCH, items[3]).glob("thumbs/*.jpg")), "package.json"),
        (min(studio.item(batches.BATCH, items[4]).glob("iiif/**/default.jpg")), "package.json"),
    ]
    for item, (path, again_from) in zip(items, hit, strict=False):
        flip(path)
        (studio.item(batches.BATCH, item) / again_from).unlink()
    outcome = studio.night()
    assert_held(studio, outcome, f"{items[0]}.tif", "[verify.digest]")
    for words in (
        f"{items[1]}.tif",
        f"access/{hit[2][0].name}",
        f"thumbs/{hit[3][0].name}",
        f"iiif/{items[4]}",  # tiles have one digest over all of them
    ):
        assert_held(studio, outcome, words)
    done = [(studio.item(batches.BATCH, item) / "done.json").exists() for item in items]
    assert done == [False] * 5 + [True]


@pytest.mark.parametrize("name", ["access/*.jpg", "METS.xml", "manifest.json"])
def test_in_a_package_before_it_is_delivered(again, name):
    path = sorted(again.item(batches.BATCH, ITEM).glob(name))[0]
    flip(path)
    forget_delivery(again)
    assert_held(again, again.night(), path.name)
    assert not list((again.root / "deliveries").glob("*.receipt.json"))


def test_in_a_master_after_its_item_was_packed(again):
    flip(again.masters / batches.BATCH / f"{ITEM}.tif")
    forget_delivery(again)
    assert_held(again, again.night(), f"{ITEM}.tif")
    assert not list((again.root / "deliveries").glob("*.receipt.json"))


@pytest.mark.parametrize(
    "name", [f"data/{ITEM}/masters/{ITEM}.tif", f"data/{ITEM}/METS.xml", "bag-info.txt"]
)
def test_in_a_delivered_bag(again, name):
    bag = again.root / "deliveries" / batches.BATCH
    command = [sys.executable, settings.PROJECT / "scripts" / "validate_delivery.py", bag]
    assert subprocess.run(command, capture_output=True).returncode == 0
    flip(bag / name)
    found = subprocess.run(command, capture_output=True, text=True)
    assert found.returncode != 0
    assert name in found.stdout + found.stderr


def test_a_damaged_derivative_stays_as_it_is_until_a_person_acts(again):
    """Each night says so, none makes it good in silence, and what is said to be done helps."""
    path = next(again.item(batches.BATCH, ITEM).glob("access/*.jpg"))
    flip(path)
    damaged = path.read_bytes()
    forget_delivery(again)
    assert again.night().code == 1
    assert again.night().code == 1
    assert path.read_bytes() == damaged
    shutil.rmtree(again.item(batches.BATCH, ITEM))
    assert again.night().code == 0
    assert (again.root / "deliveries" / f"{batches.BATCH}.receipt.json").exists()
