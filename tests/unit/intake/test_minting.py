"""New ARKs: each once, whatever is killed, lost or runs beside."""

from __future__ import annotations

import json
import multiprocessing
import os
import signal
from pathlib import Path

import msgspec
import pytest

from glassine.base import files, persistent
from glassine.base.errors import GlassineError
from glassine.base.records.intake import Intake
from glassine.intake import minting

MINT = {"naan": "99999", "shoulder": "fk4", "width": 3}


def entry(item, state="ready", arks=(), row=True):
    catalogue = {
        "item": item, "row": 2, "title": "Quay", "rights": {},
        "identifiers": [{"type": "ark", "value": ark} for ark in arks],
    }  # fmt: skip
    return {
        "item": item, "state": state, "masters": [], "catalogue": catalogue if row else None,
        "corrections": None, "findings": [],
    }  # fmt: skip


def taken(*entries, batch="b1"):
    return msgspec.convert(
        {
            "batch": batch, "title": batch, "items": list(entries), "notes": [],
            "rows": {"read": 0, "without_master": [], "catalogue": None}, "other_files": [],
            "targets": [],
        },
        Intake,
    )  # fmt: skip


def given(root: Path, **mint):
    value = {
        "mint": {**MINT, **mint},
        "results": str(root / "results"),
        "deliveries": str(root / "deliveries"),
    }
    return msgspec.convert(value, minting.MintingGiven)


def arks(intake):
    return {
        each.item: [one.value for one in each.catalogue.identifiers if one.type == "ark"]
        for each in intake.items
        if each.catalogue
    }


def listed(root, where="results"):
    lines = (root / where / minting.NAME).read_text("utf-8").splitlines()
    return [json.loads(line) for line in lines]


def test_each_item_has_one_with_a_check_character(tmp_path):
    found = arks(minting.give(taken(entry("a"), entry("b")), given(tmp_path)))
    values = [found["a"][0], found["b"][0]]
    assert [value[:-1] for value in values] == ["ark:99999/fk4000", "ark:99999/fk4001"]
    for value in values:
        assert persistent.read("ark", value, {"99999": "whole"}).value == value


def test_it_keeps_it_night_after_night_and_when_minting_is_off(tmp_path):
    first = arks(minting.give(taken(entry("a")), given(tmp_path)))
    assert arks(minting.give(taken(entry("b"), entry("a")), given(tmp_path)))["a"] == first["a"]
    assert arks(minting.give(taken(entry("a")), given(tmp_path, naan="")))["a"] == first["a"]
    assert arks(minting.give(taken(entry("a"), batch="b2"), given(tmp_path)))["a"] != first["a"]


def test_none_is_made_without_a_number_for_held_items_or_without_a_row(tmp_path):
    assert arks(minting.give(taken(entry("a")), given(tmp_path, naan=""))) == {"a": []}
    assert not (tmp_path / "results").exists()
    entries = (entry("a", "held"), entry("b", row=False), entry("c", arks=["ark:12345/x"]))
    assert arks(minting.give(taken(*entries), given(tmp_path))) == {"a": [], "c": ["ark:12345/x"]}


def test_the_count_goes_on_past_its_width(tmp_path):
    found = arks(minting.give(taken(entry("a"), entry("b")), given(tmp_path, width=1, begin_at=28)))
    assert [value[0][:-1] for value in found.values()] == ["ark:99999/fk4z", "ark:99999/fk410"]


def test_an_ark_that_a_catalogue_gives_is_not_made_again(tmp_path):
    theirs = persistent.minted(0, "99999", "fk4", 3).value
    found = arks(minting.give(taken(entry("a"), entry("z", arks=[theirs])), given(tmp_path)))
    assert found["a"] != [theirs]
    later = arks(minting.give(taken(entry("c"), batch="b2"), given(tmp_path)))
    assert later["c"] not in ([theirs], found["a"])


def test_a_catalogue_that_took_it_over_says_nothing_new(tmp_path):
    own = arks(minting.give(taken(entry("a")), given(tmp_path)))["a"]
    again = minting.give(taken(entry("a", arks=own)), given(tmp_path))
    assert arks(again)["a"] == own
    assert again.items[0].findings == []


def test_a_catalogue_that_gives_another_one_is_for_review(tmp_path):
    own = arks(minting.give(taken(entry("a")), given(tmp_path)))["a"]
    again = minting.give(taken(entry("a", arks=["ark:12345/x"])), given(tmp_path))
    assert arks(again)["a"] == ["ark:12345/x", *own]
    assert [(each.code, each.severity) for each in again.items[0].findings] == [
        ("identifiers.two", "review")
    ]


def test_an_ark_of_another_item_holds(tmp_path):
    own = arks(minting.give(taken(entry("a")), given(tmp_path)))["a"]
    again = minting.give(taken(entry("b", arks=own)), given(tmp_path))
    assert again.items[0].state == "held"
    assert [each.code for each in again.items[0].findings] == ["identifiers.of_another"]


# --- what is lost, damaged, killed ---


@pytest.mark.parametrize("lost", ["results", "deliveries"])
def test_one_copy_lost_is_written_again(tmp_path, lost):
    first = arks(minting.give(taken(entry("a")), given(tmp_path)))
    (tmp_path / lost / minting.NAME).unlink()
    found = arks(minting.give(taken(entry("a"), entry("b")), given(tmp_path)))
    assert found["a"] == first["a"] != found["b"]
    assert listed(tmp_path) == listed(tmp_path, "deliveries")


@pytest.mark.parametrize(
    "shown",
    [
        "deliveries/b1.handover.json", "results/b9/intake.json",
        "results/b9/handover/h0001/handover.json",
    ],
)  # fmt: skip
def test_both_lost_where_something_shows_what_was_made_is_refused(tmp_path, shown):
    made = persistent.minted(417, "99999", "fk4", 3).value
    files.write_text(tmp_path / shown, json.dumps({"items": [{"persistent": made}]}))
    with pytest.raises(GlassineError) as refused:
        minting.give(taken(entry("a")), given(tmp_path))
    assert [each.code for each in refused.value.findings] == ["identifiers.list_lost"]
    assert "417" in refused.value.findings[0].what
    with pytest.raises(GlassineError):  # not above all of them
        minting.give(taken(entry("a")), given(tmp_path, begin_at=417))
    found = arks(minting.give(taken(entry("a")), given(tmp_path, begin_at=418)))
    assert found["a"] == [persistent.minted(418, "99999", "fk4", 3).value]


@pytest.mark.parametrize("text", ["{", '{"ark": "x"}\n', "[]\n", "\x00\n"])
def test_a_damaged_list_makes_none(tmp_path, text):
    minting.give(taken(entry("a")), given(tmp_path))
    (tmp_path / "results" / minting.NAME).write_text(text, "utf-8")
    with pytest.raises(GlassineError) as refused:
        minting.give(taken(entry("b")), given(tmp_path))
    assert [each.code for each in refused.value.findings] == ["identifiers.list"]


def test_two_lists_that_contradict_each_other_make_none(tmp_path):
    minting.give(taken(entry("a")), given(tmp_path))
    other = [{**listed(tmp_path)[0], "item": "q"}]
    files.write_text(tmp_path / "deliveries" / minting.NAME, json.dumps(other[0]) + "\n")
    with pytest.raises(GlassineError):
        minting.give(taken(entry("b")), given(tmp_path))


def _make_many(root, batch, count):
    for number in range(count):
        minting.give(taken(entry(f"{batch}-{number}"), batch=batch), given(root))


def test_several_at_once_never_make_the_same(tmp_path):
    context = multiprocessing.get_context("fork")
    jobs = [
        context.Process(target=_make_many, args=(tmp_path, f"b{number}", 12)) for number in range(4)
    ]
    for job in jobs:
        job.start()
    for job in jobs:
        job.join()
        assert job.exitcode == 0
    made = [each["ark"] for each in listed(tmp_path)]
    assert len(made) == len(set(made)) == 48


def _die_after(root, writes, monkeypatch_write):
    done = 0

    def write(path, text):
        nonlocal done
        if done == writes:
            os.kill(os.getpid(), signal.SIGKILL)
        done += 1
        monkeypatch_write(path, text)

    files.write_text = write
    minting.give(taken(entry("a")), given(root))


@pytest.mark.parametrize("writes", [0, 1])
def test_killed_between_the_copies_none_is_made_twice(tmp_path, writes):
    """What was written of the first copy counts; what was not was used nowhere."""
    minting.give(taken(entry("z")), given(tmp_path))
    context = multiprocessing.get_context("fork")
    job = context.Process(target=_die_after, args=(tmp_path, writes, files.write_text))
    job.start()
    job.join()
    assert job.exitcode == -signal.SIGKILL
    before = {each["ark"]: each["item"] for each in listed(tmp_path, "deliveries")}
    found = arks(minting.give(taken(entry("b"), entry("a")), given(tmp_path)))
    made = [each["ark"] for each in listed(tmp_path)]
    assert len(made) == len(set(made)) == 3
    for ark, item in before.items():
        assert item == "z" or found[item] == [ark]
