"""What newer software would make again, what stays as delivered, and that neither is guessed."""

import copy
import types

import pytest
from msgspec import UNSET

from glassine import steps
from glassine.base import files, settings
from glassine.night import due, kept, lookup, upgrade
from glassine.night.lock import RunLock
from glassine.night.workplace import Workplace

INTAKE = {
    "batch": "b1",
    "title": "b1",
    "facts": {},
    "notes": [],
    "rows": {"read": 2, "without_master": [], "catalogue": "catalogue.csv"},
    "other_files": [],
    "targets": [],
    "items": [
        {
            "item": name,
            "state": "ready",
            "masters": [
                {
                    "path": f"{name}.tif",
                    "part": None,
                    "sequence": None,
                    "bytes": 1,
                    "mtime_ns": 1,
                    "expected": {},
                    "facts": {"kind": "print"},
                }
            ],
            "catalogue": {"item": name, "row": 2, "title": "Quay", "rights": {}},
            "corrections": None,
            "findings": [],
        }
        for name in ("PEH-1", "PEH-2")
    ],
}


@pytest.fixture(scope="module")
def config():
    return settings.load({"delivery": {"on_new_version": "keep"}})


@pytest.fixture
def items_dir(tmp_path, config):
    """Both items as a night of this software leaves them."""
    for name in ("PEH-1", "PEH-2"):
        folder, batch = tmp_path / name, due.Batch(copy.deepcopy(INTAKE))
        given = due.steps_given(batch, name, config)
        for one in given:
            for record in steps.records_of(one):
                files.write_bytes(folder / record, b"{}\n")
            seconds = {"render": 5.0, "embed": 1.0}.get(one["step"], 0.25)
            timing = {"step": one["step"], "seconds": seconds, "started": 1000.0}
            files.write_json(folder / "timings" / f"{one['step']}.json", timing)
        files.write_json(folder / due.STEPS_DONE, {one["step"]: due.digest(one) for one in given})
        due.write_stamp(folder, due.key(batch, name, config), given)
    return tmp_path


def receipt(items_dir, *names, inputs=None):
    now = due.delivered_inputs(items_dir, [*names], {})
    listed = [types.SimpleNamespace(item=name, inputs=inputs or now[name]) for name in names]
    return types.SimpleNamespace(delivery="b1", items=listed, withdrawn=[])


@pytest.fixture
def newer(monkeypatch):
    """The same software but for a later version of render."""
    before = steps.version
    later = str(int(before("render")) + 1)
    monkeypatch.setattr(steps, "version", lambda name: later if name == "render" else before(name))
    return before("render"), later


def looked(items_dir, config, receipts, intake=INTAKE):
    return upgrade.of_batch(due.Batch(copy.deepcopy(intake)), items_dir, config, receipts)


def test_the_same_software_makes_nothing_again(items_dir, config):
    found = looked(items_dir, config, [receipt(items_dir, "PEH-1", "PEH-2")])
    assert (found.items, found.kept, found.versions) == ([], [], {})


def test_what_was_delivered_stays_and_what_was_not_is_made_again(items_dir, config, newer):
    found = looked(items_dir, config, [receipt(items_dir, "PEH-1")])
    assert found.kept == ["PEH-1"]
    assert (found.software, found.otherwise) == (["PEH-2"], [])
    assert found.versions == {("render", *newer): 2}
    assert found.seconds == pytest.approx(5 + 1 + 2 * 0.25)  # render, embed, record, pack of one
    assert found.delivered == 0


@pytest.mark.parametrize("choice", ["ask", "deliver"])
def test_nothing_is_kept_unless_the_settings_say_so(items_dir, config, newer, choice):
    asked = {**config, "delivery": {**config["delivery"], "on_new_version": choice}}
    found = looked(items_dir, asked, [receipt(items_dir, "PEH-1", "PEH-2")])
    assert (found.kept, found.software, found.delivered) == ([], ["PEH-1", "PEH-2"], 2)


def test_an_item_that_is_asked_for_by_name_is_made_again(items_dir, config, newer):
    named = {**config, "only": ["PEH-1"]}
    found = looked(items_dir, named, [receipt(items_dir, "PEH-1", "PEH-2")])
    assert (found.kept, found.items) == ([], ["PEH-1"])


def test_a_changed_title_is_no_matter_of_software(items_dir, config, newer):
    """What changed beside the version is made again, whatever was delivered."""
    intake = copy.deepcopy(INTAKE)
    intake["items"][0]["catalogue"]["title"] = "Quay, east"
    receipts = [receipt(items_dir, "PEH-1", "PEH-2")]
    found = looked(items_dir, config, receipts, intake)
    assert (found.kept, found.software, found.otherwise) == (["PEH-2"], [], ["PEH-1"])
    assert found.versions["embed", "?", steps.version("embed")] == 1


@pytest.mark.parametrize("inputs", ["0" * 64, UNSET])
def test_results_that_are_not_what_was_delivered_are_not_kept(items_dir, config, newer, inputs):
    receipts = [receipt(items_dir, "PEH-1", "PEH-2", inputs=inputs)]
    for each in receipts[0].items:
        each.inputs = inputs
    assert looked(items_dir, config, receipts).kept == []


@pytest.mark.parametrize("lost", [due.STAMP, "METS.xml"])
def test_an_item_with_a_lost_record_is_not_kept(items_dir, config, newer, lost):
    receipts = [receipt(items_dir, "PEH-1", "PEH-2")]
    (items_dir / "PEH-1" / lost).unlink()
    batch = due.Batch(copy.deepcopy(INTAKE))
    unsettled = due.unsettled(batch, items_dir, config)
    assert unsettled == ["PEH-1", "PEH-2"]
    assert kept.kept(batch, items_dir, config, unsettled, receipts) == ["PEH-2"]


@pytest.mark.parametrize("choice", ["keep", "ask"])
def test_the_report_is_given_what_stays(items_dir, config, newer, monkeypatch, choice):
    results = items_dir / "place" / "results" / "b1"
    results.mkdir(parents=True)
    (results / "items").symlink_to(items_dir)
    files.write_json(results / "intake.json", INTAKE)
    asked = {**config, "delivery": {**config["delivery"], "on_new_version": choice}}
    receipts = types.SimpleNamespace(sound=[receipt(items_dir, "PEH-1")])
    monkeypatch.setattr(lookup.receipt_files, "read", lambda *_: receipts)
    place = Workplace(items_dir / "place", asked, items_dir / "masters")
    found = lookup.Lookup(place, RunLock(items_dir))
    given = found.report_given("b1")
    assert given["kept"] == (["PEH-1"] if choice == "keep" else [])
    assert steps.given("report", given).kept == tuple(given["kept"])


def test_the_command_says_where_nothing_is(tmp_path, capsys):
    assert upgrade.main(["--check", "--directory", str(tmp_path)]) == 0
    assert "no batch has been taken in here" in capsys.readouterr().out
