"""Whose film it is: never taken from the worked example, asked for once before anything is made."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
import yaml

from glassine.base import identity, settings
from glassine.base.errors import GlassineError
from glassine.night import run
from makers.step_calls import taken_in

OWN: dict[str, Any] = {
    "institution": {"name": "Harbour Works", "id": "https://harbour-works.org/"},
    "iiif": {"base_url": "https://images.harbour-works.org/iiif"},
    "rights": {"jurisdiction": "no"},
}


def test_no_default_names_an_institution_a_place_or_a_country():
    complete = settings.load({})
    assert set(complete["institution"].values()) == {""}
    assert complete["iiif"]["base_url"] == complete["rights"]["jurisdiction"] == ""
    text = re.sub(r"examples: .*", "", settings.SCHEMA_PATH.read_text())
    defaults = re.findall(r"default: (.*)", text)
    assert not [each for each in defaults if "ellery" in each.lower() or ".example" in each]


def test_the_profile_of_a_bag_names_nobody():
    path = Path(settings.__file__).parent / "schemas" / "bagit-profile.json"
    assert "ellery" not in path.read_text().lower()


def test_the_worked_example_says_who_it_is():
    config = settings.load(settings.read_yaml(settings.PROJECT / "config" / "config.yaml"))
    identity.check_identity(config)
    assert identity.placeholders(config, settings.PROJECT / "sample_masters") is None


def test_what_is_missing_is_told_once_with_the_lines_to_write():
    with pytest.raises(GlassineError) as refused:
        identity.check_identity(settings.load({}))
    (told,) = refused.value.findings
    assert told.code == "run.identity"
    lines = told.next_step.split("\n", 1)[1]
    written = settings.load(yaml.safe_load(lines))
    identity.check_identity(written)  # the lines are YAML that will do
    for key in ("institution.name", "institution.id", "iiif.base_url", "rights.jurisdiction"):
        assert key in told.what


@pytest.mark.parametrize(
    ("section", "key"),
    [("institution", "name"), ("institution", "id"), ("iiif", "base_url"),
     ("rights", "jurisdiction")],
)  # fmt: skip
def test_each_of_them_is_missed(section, key):
    config = settings.load({**OWN, section: {**OWN[section], key: " " if key == "name" else ""}})
    with pytest.raises(GlassineError) as refused:
        identity.check_identity(config)
    assert f"{section}.{key} is missing" in refused.value.findings[0].what
    identity.check_identity(settings.load(OWN))


@pytest.mark.parametrize(
    "more",
    [
        {"institution": {"name": "Port Ellery Harbour Archive", "id": "https://works.org/"}},
        {"institution": {"name": "Works", "id": "https://archive.port-ellery.example/"}},
        {"institution": {**OWN["institution"], "homepage": "https://www.example.org/film"}},
        {"institution": {**OWN["institution"], "contact": "film@works.example"}},
        {"iiif": {"base_url": "https://images.port-ellery.example/iiif"}},
        {"rights": {"credit": "Port Ellery Harbour Archive"}},
    ],
)
def test_names_of_the_worked_example_on_other_film_are_told(tmp_path, more):
    config = settings.load({**OWN, **more})
    told = identity.placeholders(config, tmp_path / "masters" / "b1")
    assert told is not None and told.severity == "review"
    assert identity.placeholders(settings.load(OWN), tmp_path) is None


def test_a_run_stops_before_anything_is_made(tmp_path, capsys, monkeypatch):
    (tmp_path / "masters" / "b1").mkdir(parents=True)
    ended: list[int] = []

    def end(code: int) -> None:
        ended.append(code)
        raise SystemExit(code)

    monkeypatch.setattr(run.os, "_exit", end)
    with pytest.raises(SystemExit):
        run.start({"masters": "masters"}, tmp_path, True, [])
    assert ended == [78]
    assert capsys.readouterr().err.count("STOPPED") == 1
    assert not list((tmp_path / "results").rglob("*.json"))


def test_a_dry_run_is_not_asked(tmp_path):
    (tmp_path / "masters").mkdir()
    assert run.start({"masters": "masters"}, tmp_path, True, ["--dry-run"]).place.works


def test_items_with_something_to_look_at_in_their_row_are_for_review(tmp_path):
    batch = tmp_path / "b1"
    batch.mkdir()
    (batch / "catalogue.csv").write_text("item_id,title,date\nPEH-1,Quay,05/06/21\n")
    (batch / "PEH-1.tif").write_bytes(b"II*\0")
    config = settings.load({"intake": {"watch_s": 0}})
    found = taken_in(batch, {"batch": "b1", "settings": config})
    (item,) = found["items"]
    assert item["state"] == "ready"
    assert [each["code"] for each in item["findings"]] == ["catalogue.date"]


def test_lines_copied_as_they_stand_are_told_too(tmp_path):
    with pytest.raises(GlassineError) as refused:
        identity.check_identity(settings.load({}))
    lines = refused.value.findings[0].next_step.split("\n", 1)[1]
    told = identity.placeholders(settings.load(yaml.safe_load(lines)), tmp_path)
    assert told is not None and "institution.name" in told.what and "iiif.base_url" in told.what
