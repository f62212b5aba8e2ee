"""What vanishes, grows or goes stale while a run is under way, and clocks that go backwards."""

import errno
import os
import shutil
import subprocess
import time

import pytest

from faults import batches
from glassine.base import settings
from glassine.base.errors import GlassineError
from glassine.night import due
from glassine.verify import step as fixity
from makers.step_calls import do_step, taken_in


@pytest.fixture
def verifying(tmp_path):
    """An item between intake and verify: (its master, a function that verifies it)."""
    folder = tmp_path / "masters" / "b1"
    path = batches.write_master(folder / "PEH-0001.tif", 1)
    batches.write_lists(folder, ["PEH-0001"])
    config = settings.load({"intake": {"watch_s": 0}})
    batch = due.Batch(taken_in(folder, {"batch": "b1", "settings": config}))
    item_dir = tmp_path / "item"
    item_dir.mkdir()
    given = due.given("verify", batch, "PEH-0001", config)
    return path, lambda: do_step("verify", folder, item_dir, given)


def codes(action):
    with pytest.raises(GlassineError) as error:
        action()
    for finding in error.value.findings:
        assert finding.path.endswith("PEH-0001.tif")
        assert finding.next_step
    return {finding.code for finding in error.value.findings}


def test_undisturbed_it_is_verified(verifying, tmp_path):
    verifying[1]()
    (entry,) = fixity.files.read_json(tmp_path / "item" / "fixity.json")["masters"]
    assert entry["verdict"] == "match"


def test_a_master_that_vanished(verifying):
    path, verify = verifying
    path.unlink()
    assert codes(verify) == {"masters.missing", "verify.unreadable"}


def test_a_master_that_grows(verifying):
    path, verify = verifying
    with path.open("ab") as stream:
        stream.write(b"more")
    assert codes(verify) == {"verify.changed"}


def test_a_master_written_anew_with_other_content(verifying):
    path, verify = verifying
    status = path.stat()
    batches.write_master(path, 2)
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
    assert codes(verify) == {"verify.digest"}


@pytest.mark.parametrize("number", [errno.ESTALE, errno.EIO, errno.EACCES, errno.ENOTCONN])
def test_a_handle_gone_stale_while_reading(verifying, monkeypatch, number):
    def stale(*_):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr("glassine.masters.fixity.digests", stale)
    assert codes(verifying[1]) == {"verify.unreadable"}


def started(studio):
    return subprocess.Popen(
        studio.command(),
        env=studio.environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def wait_for(path, run):
    deadline = time.monotonic() + 120
    while not path.exists() and run.poll() is None and time.monotonic() < deadline:
        time.sleep(0.01)


def test_masters_that_vanish_in_a_running_night_hold_their_items(studio):
    items = batches.make_batch(studio.masters, 4)
    last = studio.masters / batches.BATCH / f"{items[-1]}.tif"
    aside = studio.root / "aside.tif"
    run = started(studio)
    wait_for(studio.root / "results" / batches.BATCH / "intake.json", run)
    last.rename(aside)
    text = run.communicate(timeout=300)[0]
    assert run.returncode == 1, text[-2000:]
    assert "Traceback" not in text
    assert f"{items[-1]}.tif" in text
    assert all((studio.item(batches.BATCH, item) / "done.json").exists() for item in items[:-1])
    aside.rename(last)
    again = studio.night()
    assert again.code == 0, again.text[-2000:]


def test_results_that_vanish_in_a_running_night_are_made_again(studio):
    batches.make_batch(studio.masters, 3)
    before = studio.masters_state()
    run = started(studio)
    wait_for(studio.item(batches.BATCH, "PEH-0001") / "geometry.json", run)
    shutil.rmtree(studio.root / "results", ignore_errors=True)
    run.communicate(timeout=300)
    again = studio.night()
    assert again.code == 0, again.text[-2000:]
    assert (studio.root / "deliveries" / f"{batches.BATCH}.receipt.json").exists()
    assert studio.masters_state() == before


def test_a_clock_set_back_between_two_nights_does_no_harm(pair):
    environment = pair.environment()
    pair.environment = lambda: {**environment, "SOURCE_DATE_EPOCH": "1773741600"}
    assert pair.night().code == 0
    pair.environment = lambda: {**environment, "SOURCE_DATE_EPOCH": "1000000000"}
    (pair.item(batches.BATCH, "PEH-0001") / "done.json").unlink()
    assert pair.night().code == 0
    again = pair.night()
    assert (again.code, again.jobs) == (0, set())


def test_results_from_the_future_do_not_stop_a_night(pair):
    """A server whose clock ran ahead leaves files that are younger than now."""
    assert pair.night().code == 0
    ahead = time.time() + 86400
    for path in (pair.root / "results").rglob("*"):
        os.utime(path, (ahead, ahead), follow_symlinks=False)
    (pair.item(batches.BATCH, "PEH-0002") / "package.json").unlink()
    assert pair.night().code == 0
