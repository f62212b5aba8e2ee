"""What a step is given, and when an item is settled."""

import copy

import pytest

from glassine import steps
from glassine.base import alternates, settings
from glassine.night import due

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
                    "facts": {"kind": "plate"},
                }
            ],
            "catalogue": {"item": name, "row": 2, "title": "Quay", "rights": {}},
            "corrections": None,
            "findings": [],
        }
        for name in ("PEH-1", "PEH-2")
    ],
}
ORDER = [step.name for step in steps.STEPS]


def changed_steps(before, after, config_before, config_after):
    return {
        step
        for step in ORDER
        if due.given(step, due.Batch(before), "PEH-1", config_before)
        != due.given(step, due.Batch(after), "PEH-1", config_after)
    }


def test_a_corrected_title_concerns_embed_and_record_only():
    after = copy.deepcopy(INTAKE)
    after["items"][0]["catalogue"]["title"] = "Quay, east"
    config = settings.load({})
    assert changed_steps(INTAKE, after, config, config) == {"embed", "record"}


def test_a_correction_concerns_locate_and_the_record():
    after = copy.deepcopy(INTAKE)
    after["items"][0]["corrections"] = {"frames": [{"frame": 1, "rotate": 90}]}
    config = settings.load({})
    assert changed_steps(INTAKE, after, config, config) == {"locate", "record"}


def test_a_setting_concerns_the_steps_that_use_it():
    config = settings.load({})
    other = settings.load({"verify": {"require_manifest": True}})
    assert changed_steps(INTAKE, INTAKE, config, other) == {"verify"}


@pytest.mark.parametrize(
    ("more", "first"),
    [
        ({"render": {"alternates": ["webp"]}}, "render"),
        ({"render": {"crop_tiff": "rendered"}}, "render"),
        ({"iiif": {"form": "pyramid"}}, "render"),
    ],
)
def test_pictures_by_option_are_made_and_embedded(more, first):
    changed = changed_steps(INTAKE, INTAKE, settings.load({}), settings.load(more))
    assert min(changed, key=ORDER.index) == first  # the chain does all that follow
    assert "embed" in changed


def test_their_version_concerns_only_items_that_have_them():
    batch = due.Batch(INTAKE)
    with_one = settings.load({"render": {"crop_tiff": "captured"}})
    assert due.given("embed", batch, "PEH-1", with_one)["alternates"] == alternates.VERSION
    assert "alternates" not in due.given("embed", batch, "PEH-1", settings.load({}))


def test_the_key_changes_with_the_version_of_pictures_by_option(monkeypatch):
    with_one = settings.load({"render": {"alternates": ["webp"]}})
    before = [due.key(due.Batch(INTAKE), "PEH-1", each) for each in (with_one, settings.load({}))]
    version = steps.version_of
    monkeypatch.setattr(
        steps,
        "version_of",
        lambda module: "next" if module.endswith("alternates") else version(module),
    )
    after = [due.key(due.Batch(INTAKE), "PEH-1", each) for each in (with_one, settings.load({}))]
    assert [old == new for old, new in zip(before, after, strict=True)] == [False, True]


def test_another_items_row_concerns_nothing():
    after = copy.deepcopy(INTAKE)
    after["items"][1]["catalogue"]["title"] = "Other"
    config = settings.load({})
    assert changed_steps(INTAKE, after, config, config) == set()


@pytest.fixture
def settled(tmp_path):
    for step in steps.STEPS:
        for name in step.records:
            path = tmp_path / name
            path.parent.mkdir(exist_ok=True)
            path.write_text("{}")
    due.write_stamp(tmp_path, "key", [{"step": step.name} for step in steps.STEPS])
    return tmp_path


def test_an_item_is_settled_while_key_and_records_stand(settled):
    assert due.is_settled(settled, "key")


def test_another_key_unsettles(settled):
    assert not due.is_settled(settled, "other")


@pytest.mark.parametrize("name", ["METS.xml", "geometry.json", "package.json", "done.json"])
def test_a_missing_or_cut_record_unsettles(settled, name):
    (settled / name).write_text("")
    assert not due.is_settled(settled, "key")
    (settled / name).unlink()
    assert not due.is_settled(settled, "key")


def test_every_step_module_states_its_version():
    assert all(steps.version(step.name) for step in steps.STEPS)
