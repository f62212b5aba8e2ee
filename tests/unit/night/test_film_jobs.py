"""Which items take two jobs for their films, and what a change of films makes due."""

import copy
import json
import time

import pytest

from glassine import steps
from glassine.base import files, settings
from glassine.films import record
from glassine.night import due

PRINT = {"kind": "print", "polarity": "positive"}
SLIDE = {"polarity": "positive"}
MONOCHROME = {"process": "monochrome"}
PLATE = {"kind": "plate"}
ROLL = {"film": "roll 7", "film_from": "batch.yaml", "polarity": "negative"}


def intake(*facts):
    items = [
        {
            "item": f"PEH-{number}",
            "state": "ready",
            "masters": [
                {
                    "path": f"PEH-{number}.tif",
                    "part": None,
                    "sequence": None,
                    "bytes": 1,
                    "mtime_ns": 1,
                    "expected": {},
                    "facts": own,
                }
            ],
            "catalogue": None,
            "corrections": None,
            "findings": [],
        }
        for number, own in enumerate(facts, 1)
    ]
    return {
        "batch": "b1",
        "title": "b1",
        "facts": {},
        "notes": [],
        "rows": {"read": 0, "without_master": [], "catalogue": None},
        "other_files": [],
        "targets": [],
        "items": items,
    }


def pooling(*facts, pool="found"):
    batch = due.Batch(intake(*facts))
    return batch.pooling(settings.load({"tone": {"pool": pool}}))


@pytest.mark.parametrize(
    "facts",
    [
        (PRINT, SLIDE, PRINT),
        ({}, PRINT),  # a single one that may be a negative
        (ROLL,),
        (ROLL, {}),  # one has a name, the other none
        (MONOCHROME, MONOCHROME),  # nobody names their film, and none can be told
        (PLATE, PLATE),
    ],
)
def test_where_no_film_can_be_shared_every_item_goes_on_in_one_job(facts):
    assert not pooling(*facts)


def test_items_that_may_share_a_film_take_two():
    assert pooling({}, {}, PRINT) == {"PEH-1", "PEH-2"}
    assert pooling(ROLL | MONOCHROME, ROLL | MONOCHROME, {}) == {"PEH-1", "PEH-2"}
    assert pooling(ROLL | PLATE, ROLL | PLATE) == {"PEH-1", "PEH-2"}


def test_only_named_films_or_none_by_setting():
    assert pooling(ROLL, ROLL, {}, {}, pool="named") == {"PEH-1", "PEH-2"}
    assert pooling(ROLL, ROLL | {"film": "roll 8"}, pool="named") == set()
    assert pooling(ROLL, ROLL, {}, {}, pool="none") == set()


FILM = [{"master": "PEH-1.tif", "process": "colour", "film": {"version": "a"}}]


def key(films, item="PEH-1", pool="found", facts=(ROLL, ROLL)):
    batch = due.Batch(intake(*facts), films=films)
    return due.key(batch, item, settings.load({"tone": {"pool": pool}}))


def test_another_version_of_its_film_makes_an_item_due_and_no_other():
    other = copy.deepcopy(FILM)
    other[0]["film"]["version"] = "b"
    assert key({"PEH-1": FILM}) != key({"PEH-1": other})
    assert key({"PEH-1": FILM}, "PEH-2") == key({"PEH-1": other}, "PEH-2")
    batch = due.Batch(intake(ROLL, ROLL), films={"PEH-1": FILM})
    config = settings.load({})
    unpooled = due.steps_given(batch, "PEH-1", config, pooled=False)
    changed = [
        one["step"]
        for one, other in zip(due.steps_given(batch, "PEH-1", config), unpooled, strict=True)
        if one != other
    ]
    assert changed == ["render"]


def test_films_of_before_are_not_used_where_none_is_pooled_any_more():
    assert key({"PEH-1": FILM}, pool="none") == key({}, pool="none")
    assert key({"PEH-1": FILM}, facts=(SLIDE, ROLL)) == key({}, facts=(SLIDE, ROLL))


@pytest.mark.parametrize("first", [{}, ROLL])
def test_a_master_that_comes_to_a_batch_makes_no_finished_item_due(first):
    """But by a film that it comes to share, once that is made."""
    config = settings.load({})
    alone, later = due.Batch(intake(first)), due.Batch(intake(first, first, PRINT))
    assert due.key(alone, "PEH-1", config) == due.key(later, "PEH-1", config)
    assert later.pooling(config) == {"PEH-1", "PEH-2"}
    assert not alone.pooling(config)


def test_a_step_of_the_pool_concerns_no_item_by_itself():
    """It is told by films.json alone: a changed step does not render every item anew."""
    batch = due.Batch(intake(ROLL, ROLL))
    first, second = (settings.load({"tone": {"pool_step": step}}) for step in (0.01, 0.02))
    assert due.key(batch, "PEH-1", first) == due.key(batch, "PEH-1", second)


def test_a_frame_is_looked_at_again_where_its_place_changed(tmp_path):
    before, after = intake(ROLL, ROLL), intake(ROLL, ROLL)
    after["items"][0]["corrections"] = {"frames": [{"frame": 1, "rotate": 90}]}
    config = settings.load({})
    batch = due.Batch(before)
    given = due.steps_given(batch, "PEH-1", config)[:3]
    for step in steps.first_half():
        for name in step.records:
            (tmp_path / name).write_text('{"item": "PEH-1", "masters": []}')
    files.write_json(tmp_path / "steps.json", {one["step"]: due.digest(one) for one in given})
    assert due.is_looked_at(batch, "PEH-1", tmp_path, config)
    assert not due.is_looked_at(due.Batch(after), "PEH-1", tmp_path, config)
    keys = {due.looks_key(each, ["PEH-1", "PEH-2"], config) for each in (batch, due.Batch(after))}
    assert len(keys) == 2
    (tmp_path / "looks.json").unlink()
    assert not due.is_looked_at(batch, "PEH-1", tmp_path, config)


def test_films_of_ten_thousand_items_are_looked_up_at_once(tmp_path):
    """As on a night with nothing due: read, and every item's key."""
    count = 10_000
    facts = [ROLL | {"film": f"roll {number // 36}"} for number in range(count)]
    (tmp_path / "intake.json").write_text(json.dumps(intake(*facts)))
    values = {
        "process": "colour",
        "channels": [0, 1, 2],
        "dmin": [0.2, 0.6, 0.8],
        "dmin_source": "film base on 24 master(s)",
        "slopes": [0.6, 0.6, 0.6],
        "slopes_source": "default of the process",
        "balance": [0.0, 0.0, 0.0],
        "density_matrix": None,
        "balance_stated": False,
        "light": "daylight",
        "white": None,
        "uncertainty": {"contrast": 0, "ratios": 0, "balance": 0, "white": None, "frames": 24},
    }
    films = []
    for first in range(0, count, 36):
        note = {"name": f"roll {first // 36}", "whence": "batch.yaml", "frames": 24, "masters": 24}
        used = {"note": note | {"version": "a"}, "values": values, "deviations": None}
        members = [
            {
                "item": f"PEH-{n + 1}",
                "master": f"PEH-{n + 1}.tif",
                "process": "colour",
                "frames": [1],
            }
            for n in range(first, min(first + 36, count))
        ]
        film = {"name": note["name"], "whence": "batch.yaml", "basis": "x", "terms": "x"}
        films.append(film | {"members": members, "now": used, "used": used, "moved": 0.0})
    made = {"batch": "b1", "step": 0.01, "films": films, "without": []}
    (tmp_path / record.RECORD).write_text(json.dumps(made))
    config = settings.load({})
    plain = due.Batch(json.loads((tmp_path / "intake.json").read_text()))
    without = time.process_time()
    [due.key(plain, item, config) for item in plain.items]
    without = time.process_time() - without
    start = time.process_time()
    batch = due.read_batch(tmp_path / "intake.json")
    keys = {due.key(batch, item, config) for item in batch.items}
    taken = time.process_time() - start
    assert len(keys) == count
    assert len(batch.films) == count
    print(f"{taken:.2f} s, keys alone without films {without:.2f} s")
    assert taken < 10 * max(without, 0.2)
