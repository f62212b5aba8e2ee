"""What may go of closed batches; what a night, a person or the delivery needs stays."""

import os
import time
import types

import pytest

from glassine.base import settings
from glassine.base.errors import GlassineError
from glassine.night import tidying
from glassine.night.workplace import Workplace
from makers import deliveries, redelivered

DAY = 86400.0
DELIVERED = 1773800000.0  # by the clock of `without_records`
SCHEMA = settings.schema()


@pytest.fixture(autouse=True)
def settings_read_once_and_no_records(monkeypatch):
    """The check of records and the schema of the settings are not what is tried here."""
    deliveries.without_records(monkeypatch)
    monkeypatch.setattr(settings, "schema", lambda: SCHEMA)


@pytest.fixture
def place(tmp_path):
    """A delivered batch whose folder of masters was moved away; another is still there."""
    given = redelivered.make_batch(tmp_path, copy="copy")
    deliveries.deliver(tmp_path, given)
    (tmp_path / "results" / "b1" / "intake.json").write_text("{}")
    (tmp_path / "masters" / "b1").rename(tmp_path / "moved")
    (tmp_path / "masters" / "b2").mkdir()
    for item in ("PEH-0001", "PEH-0002"):
        own = tmp_path / "results" / "b1" / "items" / item
        (own / "developed").mkdir()
        (own / "developed" / "x.tif").write_bytes(b"a master")
    config = settings.load({"masters": str(tmp_path / "masters")})
    return Workplace(tmp_path, config, tmp_path / "masters")


def everything(folder):
    return {
        str(path.relative_to(folder)): path.stat().st_size
        for path in folder.rglob("*")
        if path.is_file()
    }


def refused(place, days=0, later=DAY):
    with pytest.raises(GlassineError) as problem:
        tidying.of_batch(place, "b1", days, DELIVERED + later)
    return problem.value.findings[0].what


def test_pictures_go_and_records_previews_thumbnails_and_masters_stay(place, tmp_path):
    results = tmp_path / "results"
    before, delivered = everything(results), everything(tmp_path / "deliveries")
    found = tidying.of_batch(place, "b1", 0, DELIVERED + DAY)
    tidying._remove(found, results / "b1" / "items")
    after = everything(results)
    gone = {path: size for path, size in before.items() if path not in after}
    assert sum(gone.values()) == found.bytes > 0
    assert {path.split("/")[3] for path in gone} <= {"access", "alternates", "iiif", "render"}
    assert {"access", "iiif", "render"} <= {path.split("/")[3] for path in gone}
    for name in ("render/render.json", "METS.xml", "package.json", "developed/x.tif"):
        assert f"b1/items/PEH-0001/{name}" in after, name
    assert any("/thumbs/" in path for path in after)
    assert everything(tmp_path / "deliveries") == delivered
    assert {path: after[path] for path in after} == {path: before[path] for path in after}
    assert not any(path.is_dir() and not any(path.iterdir()) for path in results.rglob("iiif"))


def test_a_file_with_a_second_name_frees_no_room_and_that_is_said(place, tmp_path):
    (picture,) = (tmp_path / "results/b1/items/PEH-0001/access").iterdir()
    os.link(picture, tmp_path / "linked")
    found = tidying.of_batch(place, "b1", 0, DELIVERED + DAY)
    assert found.shared == picture.stat().st_size


def test_a_batch_that_a_night_may_work_on_is_refused(place, tmp_path):
    (tmp_path / "masters" / "b1").mkdir()
    assert "Its folder of masters is there" in refused(place)


def test_masters_that_cannot_be_seen_do_not_make_a_batch_closed(place, tmp_path):
    """As with a share that is not mounted: every batch would look closed."""
    (tmp_path / "masters").rename(tmp_path / "unmounted")
    assert "is not there" in refused(place)


def test_what_was_not_delivered_as_it_is_is_refused(place, tmp_path):
    redelivered.newer_software(tmp_path, "PEH-0002")
    assert "otherwise than b1 has it" in refused(place)


def test_an_item_of_no_delivery_or_held_is_refused(place, tmp_path):
    held = tmp_path / "results/b1/items/PEH-0002/held.json"
    held.write_text("{}")
    assert "held" in refused(place)
    held.unlink()
    (tmp_path / "results/b1/items/PEH-0009").mkdir()
    assert "in no delivery" in refused(place)


def test_a_delivery_that_is_too_young_is_refused(place):
    assert "0 days old, of 90" in refused(place, days=90, later=60)
    assert "days old" in refused(place, days=0, later=-3 * DAY)  # a clock that was set back


def test_without_receipts_nothing_goes(place, tmp_path):
    for path in [
        *(tmp_path / "deliveries").rglob("*receipt*.json"),
        *(tmp_path / "deliveries/receipts").glob("*.json"),
    ]:
        path.unlink(missing_ok=True)
    assert "never delivered" in refused(place)


def test_a_linked_folder_is_not_followed(place, tmp_path):
    own = tmp_path / "results/b1/items/PEH-0001"
    elsewhere = tmp_path / "elsewhere"
    (own / "iiif").rename(elsewhere)
    (own / "iiif").symlink_to(elsewhere)
    before = everything(elsewhere)
    tidying._remove(tidying.of_batch(place, "b1", 0, DELIVERED + DAY), own.parent)
    assert everything(elsewhere) == before


def test_what_broken_runs_left_goes_and_what_is_being_written_stays(place, tmp_path):
    mine = tmp_path / "results" / f".part-{os.getpid()}-x.json"
    dead = tmp_path / "results" / ".part-4999999-x.json"
    log = tmp_path / ".snakemake" / "log" / "old.log"
    metadata = tmp_path / ".snakemake" / "metadata" / "x"
    for path in (mine, dead, log, metadata):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("x")
    os.utime(log, (0, 0))
    found = tidying.leftovers(place, 90, time.time())
    assert {*found.paths} == {dead, log}


def test_nothing_goes_unless_asked_for_by_name(place, tmp_path, capsys, monkeypatch):
    lock = types.SimpleNamespace(ended=lambda: None)
    monkeypatch.setattr(tidying.by_hand, "begun", lambda *_: (place, lock))
    monkeypatch.setattr(tidying.time, "time", lambda: DELIVERED + DAY)
    words = ["--days", "0"]
    before = everything(tmp_path / "results" / "b1")
    assert tidying.main(words) == 0
    assert tidying.main([*words, "--remove"]) == 0  # no name
    assert everything(tmp_path / "results" / "b1") == before
    assert "b1: would remove" in capsys.readouterr().out
    assert tidying.main([*words, "--remove", "b1"]) == 0
    said = capsys.readouterr().out
    assert "b1: removed" in said and "room for about" in said
    assert everything(tmp_path / "results" / "b1") != before


def test_settings_that_name_other_masters_do_not_make_a_batch_closed(place, tmp_path):
    """As where --configfile was forgotten: the folder of the default settings has no such batch."""
    place.note_masters()
    assert tidying.of_batch(place, "b1", 0, DELIVERED + DAY).paths
    (tmp_path / "others").mkdir()
    other = Workplace(tmp_path, place.config, tmp_path / "others")
    assert "took masters from" in refused(other)
    (tmp_path / "results" / "masters.json").write_text("{")
    with pytest.raises(GlassineError):
        tidying.of_batch(place, "b1", 0, DELIVERED + DAY)


@pytest.mark.parametrize("name", ["../results/b1", "b1/../b1", ".", "..", "", "b1/"])
def test_a_name_that_is_a_path_is_refused(place, name):
    with pytest.raises(GlassineError) as problem:
        tidying.of_batch(place, name, 0, DELIVERED + DAY)
    assert "no name of a batch" in problem.value.findings[0].what


def test_a_delivery_that_is_not_here_is_gone_unless_a_person_knows_better(place, tmp_path):
    """A receipt alone is no copy: what would be removed may be the last one."""
    (tmp_path / "deliveries" / "b1").rename(tmp_path / "carried-away")
    assert "not here any more: carried away, or lost" in refused(place)
    assert tidying.of_batch(place, "b1", 0, DELIVERED + DAY, away=True).paths


def test_a_delivery_that_is_damaged_is_no_delivery(place, tmp_path):
    for each in (tmp_path / "deliveries" / "b1").glob("tagmanifest*"):
        each.write_text("")
    assert "is not as its receipt says" in refused(place)
    with pytest.raises(GlassineError):
        tidying.of_batch(place, "b1", 0, DELIVERED + DAY, away=True)
