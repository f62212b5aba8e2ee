"""What an item's access and embargo do to every output of it, from the catalogue's cell on."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import msgspec
import pytest
import pyvips
from lxml import etree

from glassine.base import files, hashing, item_states, settings
from glassine.base.errors import GlassineError
from glassine.base.model import ItemId
from glassine.deliver import validation
from glassine.deliver.given import DeliverySection
from glassine.intake import step as intake
from glassine.intake.given import IntakeGiven
from glassine.night import due
from glassine.report import deliveries as report_deliveries
from glassine.reproduce import step as reproduce
from makers.step_calls import do_delivery, do_step, write_report

PROJECT = Path(__file__).resolve().parents[3]
SAMPLE = PROJECT / "sample_masters" / "harbour-2026-03" / "PEH-0011.tif"
ITEM = ItemId("PEH-0011")
TODAY = date(2026, 3, 18)
_HOUSE = {
    "institution": {
        "name": "Port Ellery Harbour Archive",
        "id": "https://archive.port-ellery.example/",
    },
    "iiif": {"base_url": "https://images.port-ellery.example"},
    "rights": {"jurisdiction": "gb"},
    "records": {"schema_dir": None},
}
_PREMIS = {"premis": "http://www.loc.gov/premis/v3"}
_MODS = {"mods": "http://www.loc.gov/mods/v3"}


@dataclass
class Night:
    """A batch of one item in a folder of its own, taken through the steps on a day."""

    root: Path
    cells: dict[str, str]
    more: dict[str, Any]
    today: date = TODAY

    @property
    def item_dir(self) -> Path:
        return self.root / "results" / "b1" / "items" / ITEM

    @property
    def config(self) -> dict[str, Any]:
        return settings.load({**_HOUSE, **self.more})

    def batch(self) -> due.Batch:
        folder = self.root / "masters" / "b1"
        folder.mkdir(parents=True, exist_ok=True)
        if not (folder / SAMPLE.name).exists():
            shutil.copy(SAMPLE, folder)
        row = {"item_id": ITEM, "title": "Quay", **self.cells}
        text = io.StringIO()
        writer = csv.DictWriter(text, list(row))
        writer.writeheader()
        writer.writerow(row)
        (folder / "catalogue.csv").write_text(text.getvalue(), "utf-8")
        given = {"batch": "b1", "settings": self.config}
        taken = intake.take_in(folder, msgspec.convert(given, IntakeGiven))
        files.write_json(self.root / "results" / "b1" / "intake.json", msgspec.to_builtins(taken))
        content = files.read_json(self.root / "results" / "b1" / "intake.json")
        return due.Batch(content, today=self.today)

    def steps(self) -> list[dict[str, Any]]:
        return due.steps_given(self.batch(), ITEM, self.config)

    def run(self, first: str = "verify") -> Night:
        self.item_dir.mkdir(parents=True, exist_ok=True)
        due_steps = self.steps()
        names = [given["step"] for given in due_steps]
        for given in due_steps[names.index(first) :]:
            do_step(given["step"], self.root / "masters" / "b1", self.item_dir, given)
        due.write_stamp(self.item_dir, "key", due_steps)
        return self

    def deliver(self, items: Sequence[ItemId] = (ITEM,)) -> tuple[Path, Any]:
        given = {
            "batch": "b1",
            "items": list(items),
            "lacking": [],
            "settings": {"delivery": self.config["delivery"], "package": self.config["package"]},
            "institution": self.config["institution"],
        }
        outcome = do_delivery(self.root, given)
        return self.root / "deliveries" / str(outcome.delivery), outcome


@pytest.fixture(scope="module")
def looked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The item after verify, locate and look, which access does not change."""
    night = Night(tmp_path_factory.mktemp("looked"), {}, {})
    night.item_dir.mkdir(parents=True)
    for given in night.steps()[:3]:
        do_step(given["step"], night.root / "masters" / "b1", night.item_dir, given)
    return night.root


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hashing, "sync", lambda folder: None)


def made(looked: Path, tmp_path: Path, cells: dict[str, str], **more: Any) -> Night:
    """Return the item as the night of TODAY leaves it."""
    root = tmp_path / "night"
    shutil.copytree(looked, root)
    return Night(root, cells, more).run("render")


_ALL, _SMALL, _NONE = "all", "small", "none"
_SMALL_SETTING = {"access": {"restricted": "small", "small_px": 200}}
# cells; settings; pictures for all; what the records say (None: nothing).
CASES = [
    ({}, {}, _ALL, None),
    ({"rights_access": "open"}, {}, _ALL, None),
    ({"rights_embargo": "2025-12-31"}, {}, _ALL, None),
    ({"rights_access": "reading_room"}, {}, _NONE, "Reading room only"),
    ({"rights_access": "Reading room only"}, _SMALL_SETTING, _SMALL, "Reading room only"),
    ({"rights_access": "no_publication"}, _SMALL_SETTING, _SMALL, "Not for publication"),
    ({"rights_access": "closed"}, _SMALL_SETTING, _NONE, "Closed"),
    ({"rights_embargo": "2031"}, {}, _NONE, "Closed until 2031-12-31, then open"),
    (
        {"rights_access": "reading_room", "rights_embargo": "2031-06"},
        _SMALL_SETTING,
        _NONE,
        "Closed until 2031-06-30, then reading room only",
    ),
    ({"rights_note": "Withdrawn by its donor."}, {}, _NONE, "Closed"),
    ({"rights_access": "frei"}, {"access": {"words": {"frei": "open"}}}, _ALL, None),
    ({}, {"access": {"default": "closed"}}, _NONE, "Closed"),
]


@pytest.mark.parametrize(("cells", "more", "pictures", "words"), CASES)
def test_each_output_keeps_to_what_the_catalogue_states(
    looked: Path,
    tmp_path: Path,
    cells: dict[str, str],
    more: dict[str, Any],
    pictures: str,
    words: str | None,
) -> None:
    more = {**more, "render": {"alternates": ["webp"], "crop_tiff": "rendered"}}
    night = made(looked, tmp_path, cells, **more)
    bag, _ = night.deliver()
    package = bag / "data" / ITEM
    present = {path.relative_to(package).parts[0] for path in package.rglob("*") if path.is_file()}
    assert (package / "masters" / SAMPLE.name).read_bytes() == SAMPLE.read_bytes()
    shown = {"access", "thumbs", "manifest.json"} if pictures != _NONE else set()
    shown |= {"iiif", "alternates"} if pictures == _ALL else set()
    assert present == {"METS.xml", "masters", "metadata"} | shown
    on_disk = {path.name for path in night.item_dir.iterdir() if path.is_dir() and any(
        each.is_file() for each in path.rglob("*"))}  # fmt: skip
    assert on_disk & {"access", "thumbs", "iiif", "alternates"} == shown & on_disk
    _check_pictures(night, package, pictures, words)
    _check_records(package, words)
    _check_handover(bag, pictures, words)
    assert [each.what for each in validation.check(bag) if each.severity == "hold"] == []


def _check_pictures(night: Night, package: Path, pictures: str, words: str | None) -> None:
    """The studio has its pictures in any case; those for all are as small as they should be, and
    carry the words."""
    own = [*night.item_dir.glob("restricted/*.jpg")]
    assert bool(own) == (pictures == _NONE)
    public = [*package.glob("access/*.jpg"), *package.glob("thumbs/*.jpg")]
    assert bool(public) == (pictures != _NONE)
    if pictures == _SMALL:
        assert max(_long_edge(path) for path in public) == 200
    for path in [*own, *public]:
        packet = path.read_bytes()
        terms = re.search(rb"<xmpRights:UsageTerms>.*?</xmpRights:UsageTerms>", packet, re.DOTALL)
        told = terms[0].decode() if terms else ""
        assert (words or "Closed") in told if words else "Closed" not in told


def _long_edge(path: Path) -> int:
    picture = pyvips.Image.new_from_file(str(path))
    return max(picture.width, picture.height)


def _check_records(package: Path, words: str | None) -> None:
    mets = etree.parse(str(package / "METS.xml"))
    conditions = mets.xpath(
        "//mods:accessCondition[@type='restriction on access']/text()", namespaces=_MODS
    )
    assert conditions == ([words] if words else [])
    rights = mets.xpath("//*[local-name()='accessRights']/text()")
    assert rights == ([words] if words else [])
    granted = mets.xpath("//premis:rightsGranted", namespaces=_PREMIS)
    assert bool(granted) == bool(words)
    text = etree.tostring(mets).decode()
    assert ("restricted/" in text) is False
    until = re.search(r"until (\S+), then", words or "")
    ends = mets.xpath("//premis:termOfRestriction/premis:endDate/text()", namespaces=_PREMIS)
    assert ends == ([until[1]] if until else [])


def _check_handover(bag: Path, pictures: str, words: str | None) -> None:
    (row,) = json.loads((bag / "delivery" / "handover.json").read_text())["items"]
    assert bool(row["iiif_manifest"]) == (pictures != _NONE)
    addresses = {file["iiif_image"] for file in row["files"]} - {""}
    assert bool(addresses) == (pictures == _ALL)
    assert row.get("access", "").lower() == (words or "").lower()


def test_the_act_is_one_of_the_vocabulary_and_the_grant_begins_the_day_after(
    looked: Path, tmp_path: Path
) -> None:
    """PREMIS Data Dictionary 3.0, 4.1.6: act, restriction, termOfGrant, termOfRestriction."""
    night = made(looked, tmp_path, {"rights_embargo": "2031-12-31"})
    mets = etree.parse(str(night.item_dir / "METS.xml"))
    first, second = mets.xpath("//premis:rightsGranted", namespaces=_PREMIS)
    assert first.findtext("premis:act", namespaces=_PREMIS) == "disseminate"
    assert first.findtext("premis:restriction", namespaces=_PREMIS) == "closed"
    assert second.findtext(".//premis:startDate", namespaces=_PREMIS) == "2032-01-01"
    assert second.find("premis:restriction", _PREMIS) is None


def test_an_embargo_lasts_to_the_end_of_its_last_day_and_then_the_item_is_due_by_itself(
    looked: Path, tmp_path: Path
) -> None:
    night = made(looked, tmp_path, {"rights_embargo": "2031-12-31"})
    batch, config = night.batch(), night.config
    due.write_stamp(night.item_dir, due.key(batch, ITEM, config), night.steps())
    items = night.item_dir.parent

    def unsettled(year: int, month: int, day: int) -> list[ItemId]:
        night.today = date(year, month, day)
        return due.unsettled(night.batch(), items, config)

    assert unsettled(2026, 3, 19) == []
    assert unsettled(2031, 12, 31) == []
    assert unsettled(2032, 1, 1) == [ITEM]
    assert due.delivery_key(night.batch(), config) != due.delivery_key(batch, config)
    night.run("render")
    assert any(night.item_dir.glob("access/*.jpg")) and any(night.item_dir.glob("iiif/*/info.json"))
    assert (night.item_dir / "manifest.json").exists()
    assert not (night.item_dir / "restricted").exists()


def test_an_open_item_is_due_as_it_was_before_there_was_a_word_for_it(
    looked: Path, tmp_path: Path
) -> None:
    """Nothing is done anew for items that state nothing."""
    night = Night(tmp_path, {}, {})
    for given in night.steps():
        assert not {"access", "public"} & set(given)


@pytest.mark.parametrize(
    "cells",
    [
        {"rights_embargo": text}
        for text in ("about 2031", "never", "2031?", "after 2031", "1031", "48213", "11/4/2035",
                     "2031-02-30", "yes", "ask the donor")
    ] + [{"rights_access": text} for text in ("restricted", "ask first", "open?", "1")],
)  # fmt: skip
def test_what_cannot_be_read_holds_the_item_and_opens_nothing(
    tmp_path: Path, cells: dict[str, str]
) -> None:
    batch = Night(tmp_path, cells, {}).batch()
    entry = batch.items[ITEM]
    assert entry.state == "held"
    told = [note.code for note in entry.findings if note.severity == "hold"]
    assert told == ["catalogue." + ("embargo" if "rights_embargo" in cells else "access")]


@pytest.mark.parametrize(
    "note",
    [
        "Withdrawn by its donor, 2024.", "Embargo until 2031.", "Not for publication",
        "Nur im Lesesaal einsehbar", "gesperrt bis 2040", "Reading room only",
        "Closed until the death of the sitter", "Retirado por el donante",
    ],
)  # fmt: skip
def test_words_that_may_keep_a_picture_back_close_it_until_access_is_stated(
    tmp_path: Path, note: str
) -> None:
    night = Night(tmp_path, {"rights_note": note}, {})
    batch = night.batch()
    assert batch.items[ITEM].state == "ready"
    assert due.access_of(batch, ITEM, night.config).public == "none"
    assert [each.code for each in batch.items[ITEM].findings] == ["catalogue.restriction_note"]
    night.cells["rights_access"] = "open"
    assert due.access_of(night.batch(), ITEM, night.config).public == "all"


def test_an_item_closed_after_its_delivery_is_told_with_the_delivery_that_shows_it(
    looked: Path, tmp_path: Path
) -> None:
    night = made(looked, tmp_path, {})
    first, _ = night.deliver()
    night.cells = {"rights_access": "withdrawn"}
    night.run("render")
    second, outcome = night.deliver()
    assert second != first and not any((second / "data" / ITEM).glob("access/*"))
    (told,) = [note for note in outcome.notes if note.code == "delivery.public_before"]
    assert told.path == ITEM and first.name in told.what and told.severity == "review"


def test_the_report_says_who_may_see_the_item_and_what_of_it_is_public(
    looked: Path, tmp_path: Path
) -> None:
    night = made(looked, tmp_path, {"rights_embargo": "2031"})
    given = {
        "batch": "b1",
        "settings": {
            key: night.config[key] for key in ("report", "iiif", "catalogue", "rights", "delivery")
        },
        "institution": night.config["institution"],
        "deliveries": str(night.root / "deliveries"),
        "masters": str(night.root / "masters" / "b1"),
        "rules_unused": [],
    }
    results = night.root / "results" / "b1"
    files.write_json(results / "collection.json", {"items": ["as the night before left it"]})
    page = write_report(results, given)
    told = "".join(path.read_text() for path in [page, *page.parent.glob("details-*.js")])
    assert "Closed until 2031-12-31, then open" in told
    assert "None of its pictures is public" in told
    assert "restricted/" in told  # the studio sees them
    assert not (results / "collection.json").exists()


@pytest.mark.parametrize("cells", [{"rights_access": "closed"}, {"rights_access": "reading_room"}])
def test_a_restricted_delivery_reproduces(
    looked: Path, tmp_path: Path, cells: dict[str, str]
) -> None:
    night = made(looked, tmp_path, cells, **_SMALL_SETTING)
    bag, _ = night.deliver()
    found = reproduce.reproduce(bag, tmp_path / "again")
    assert [each.what for each in found if each.severity == "hold"] == []


@pytest.mark.parametrize(("setting", "shown"), [({}, False), (_SMALL_SETTING, True)])
def test_a_submission_package_has_no_access_copies_of_a_restricted_item(
    looked: Path, tmp_path: Path, setting: dict[str, Any], shown: bool
) -> None:
    more = {**setting, "package": {"profile": "eark"}}
    night = made(looked, tmp_path, {"rights_access": "reading_room"}, **more)
    bag, _ = night.deliver()
    package = bag / "data" / ITEM
    assert (package / "representations" / "access").exists() is shown
    mets = (package / "METS.xml").read_text()
    assert ("representations/access" in mets) is shown
    assert "disseminate" in (package / "metadata" / "preservation" / "rights.xml").read_text()
    assert [each.what for each in validation.check(bag) if each.severity == "hold"] == []


def test_a_key_that_no_row_has_is_told_since_all_would_be_public(tmp_path: Path) -> None:
    night = Night(tmp_path, {}, {"catalogue": {"columns": {"rights_embargo": "embargo_end"}}})
    folder = tmp_path / "masters" / "b1"
    folder.mkdir(parents=True)
    shutil.copy(SAMPLE, folder)
    (folder / "catalogue.json").write_text(json.dumps([{"item_id": ITEM, "title": "Quay"}]))
    given = {"batch": "b1", "settings": night.config}
    taken = intake.take_in(folder, msgspec.convert(given, IntakeGiven))
    assert "catalogue.access_absent" in [note.code for note in taken.notes]


# What of a restricted item is delivered


@pytest.fixture(scope="module")
def hidden(looked: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The item after all its steps, none of its pictures public."""
    root = tmp_path_factory.mktemp("hidden")
    return made(looked, root, {"rights_access": "closed"}).root


def kept(hidden: Path, tmp_path: Path, cells: dict[str, str], **more: Any) -> Night:
    """Return the item as cells and settings leave it that keep its pictures from the public."""
    root = tmp_path / "night"
    shutil.copytree(hidden, root)
    return Night(root, cells, more).run("embed")


def _keeping(level: str, deliver: str, **more: Any) -> dict[str, Any]:
    return {**more, "access": {"deliver": {level: deliver}}}


_METS = {"mets": "http://www.loc.gov/METS/", "xlink": "http://www.w3.org/1999/xlink"}


@pytest.mark.parametrize(
    ("cells", "level", "profile"),
    [
        ({"rights_embargo": "2031"}, "closed", "mets"),
        ({"rights_access": "reading_room"}, "reading_room", "eark"),
        ({"rights_access": "no_publication"}, "no_publication", "ocfl"),
        ({"rights_note": "Withdrawn by its donor."}, "closed", "mets"),
    ],
)
def test_masters_that_are_kept_back_are_in_no_file_of_the_delivery_and_each_output_says_so(
    hidden: Path, tmp_path: Path, cells: dict[str, str], level: str, profile: str
) -> None:
    more = _keeping(level, "records", package={"profile": profile})
    night = kept(hidden, tmp_path, cells, **more)
    bag, outcome = night.deliver()
    content = [path.read_bytes() for path in bag.rglob("*") if path.is_file()]
    assert SAMPLE.read_bytes() not in content
    assert not [path for path in bag.rglob("*") if path.suffix in (".tif", ".jpg", ".webp")]
    assert [each.what for each in validation.check(bag) if each.severity == "hold"] == []
    texts = [text for text in content if b"mets:mets" in text[:2000] or b"<mets" in text[:2000]]
    places = [
        each
        for text in texts
        for each in etree.fromstring(text).xpath(
            "//mets:FLocat[contains(@xlink:href, 'PEH-0011.tif')]", namespaces=_METS
        )
    ]
    assert {each.get("LOCTYPE") for each in places} == {"OTHER"}
    assert b"Its masters are not in the delivery" in b"".join(content)
    (row,) = json.loads((bag / "delivery" / "handover.json").read_text())["items"]
    assert "masters not delivered" in row["access"]
    assert [note.path for note in outcome.notes if note.code == "delivery.kept_back"] == [ITEM]


def test_of_another_level_everything_is_delivered_and_an_open_item_is_given_no_word_of_it(
    hidden: Path, tmp_path: Path
) -> None:
    levels = dict.fromkeys(("closed", "no_publication"), "nothing")
    more = {"access": {"deliver": levels}}
    night = kept(hidden, tmp_path, {"rights_access": "reading_room"}, **more)
    bag, outcome = night.deliver()
    assert (bag / "data" / ITEM / "masters" / SAMPLE.name).exists()
    assert "delivery.kept_back" not in [note.code for note in outcome.notes]
    night.cells = {}
    assert not [given for given in night.steps() if "access" in given]


def test_an_item_of_which_nothing_is_delivered_keeps_no_other_back_and_is_listed(
    hidden: Path, tmp_path: Path
) -> None:
    night = kept(hidden, tmp_path, {"rights_access": "closed"}, **_keeping("closed", "nothing"))
    other = night.item_dir.parent / "PEH-0012"
    shutil.copytree(hidden / "results" / "b1" / "items" / ITEM, other)
    record = json.loads((other / "package.json").read_text())
    (other / "package.json").write_text(json.dumps({**record, "item": "PEH-0012"}))
    bag, outcome = night.deliver([ITEM, ItemId("PEH-0012")])
    assert [path.name for path in (bag / "data").iterdir()] == ["PEH-0012"]
    rows = json.loads((bag / "delivery" / "handover.json").read_text())["items"]
    (row,) = [each for each in rows if each["item"] == ITEM]
    assert row["state"] == "kept back" and "closed" in row["reason"] and not row["files"]
    assert f"Lacking-Item: {ITEM} (kept back)" in (bag / "bag-info.txt").read_text()
    assert ITEM in outcome.lacking


def test_a_batch_of_which_nothing_is_delivered_makes_no_bag_and_says_why(
    hidden: Path, tmp_path: Path
) -> None:
    night = kept(hidden, tmp_path, {"rights_access": "closed"}, **_keeping("closed", "nothing"))
    _, outcome = night.deliver()
    assert outcome.delivery is None and outcome.lacking == (ITEM,)
    (note,) = outcome.notes
    assert note.code == "delivery.kept_back" and note.path == ITEM
    assert not [*(night.root / "deliveries").glob("b1*")]
    results = night.root / "results" / "b1"
    statuses = item_states.batch_status(results)
    places = (results, night.root / "deliveries", "b1", statuses, [], DeliverySection())
    standing = report_deliveries.gather(*places).items[ITEM]
    assert standing.kind == "kept back" and "closed" in standing.words


@pytest.mark.parametrize("deliver", ["records", "nothing"])
def test_what_was_delivered_before_is_not_dropped_by_a_setting(
    hidden: Path, tmp_path: Path, deliver: str
) -> None:
    night = kept(hidden, tmp_path, {"rights_access": "closed"})
    night.deliver()
    night.more = _keeping("closed", deliver)
    night.run("embed")
    with pytest.raises(GlassineError) as caught:
        night.deliver()
    (told,) = caught.value.findings
    assert told.code == "delivery.drops" and "access.deliver" in told.what
    assert SAMPLE.name in told.what or deliver == "nothing"


def test_an_embargo_that_ends_brings_the_masters_into_the_next_delivery(
    hidden: Path, tmp_path: Path
) -> None:
    more = _keeping("closed", "records")
    cells = {"rights_embargo": "2031", "rights_access": "reading_room"}
    night = kept(hidden, tmp_path, cells, **more)
    night.deliver()
    night.today = date(2032, 1, 1)
    bag, _ = night.run("embed").deliver()
    assert (bag / "data" / ITEM / "masters" / SAMPLE.name).read_bytes() == SAMPLE.read_bytes()


def test_a_package_without_masters_is_not_said_to_reproduce(hidden: Path, tmp_path: Path) -> None:
    more = _keeping("closed", "records")
    bag, _ = kept(hidden, tmp_path, {"rights_access": "closed"}, **more).deliver()
    lines, code = reproduce.told(bag, reproduce.reproduce(bag, tmp_path / "again"))
    assert code == reproduce.NOT_COMPARED and "0 pictures were not compared" in lines[0]


def test_masters_that_a_record_says_are_kept_back_must_not_be_there(
    hidden: Path, tmp_path: Path
) -> None:
    more = _keeping("closed", "records")
    bag, _ = kept(hidden, tmp_path, {"rights_access": "closed"}, **more).deliver()
    (bag / "data" / ITEM / "masters").mkdir()
    shutil.copy(SAMPLE, bag / "data" / ITEM / "masters")
    assert "delivered.kept_back" in [each.code for each in validation.check(bag)]
