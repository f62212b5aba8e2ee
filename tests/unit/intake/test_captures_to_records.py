"""A roll with its sleeve and a retake, from the folder to the records that a repository reads."""

import json
from pathlib import Path

import numpy as np
import pytest
from lxml import etree
from PIL import Image

from glassine.base import rights, settings
from glassine.base.files import read_json
from glassine.base.records.catalogue import CatalogueRow, RowRights
from glassine.night import due
from glassine.record import mods
from makers import session
from makers.made_items import INSTITUTION
from makers.step_calls import do_step, taken_in

ITEM = "PEH-0301"
SCHEMAS = Path(__file__).parents[4] / "shared" / "schemas"
METS = {"mets": "http://www.loc.gov/METS/", "premis": "http://www.loc.gov/premis/v3"}


def view(seed):
    rng = np.random.default_rng(seed)
    grain = rng.normal(0, 25, (440, 660, 1))
    return np.clip(session.film(seed) + grain * (session.film(seed) > 12), 0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    root = tmp_path_factory.mktemp("roll")
    batch, item_dir = root / "b", root / "results" / "items" / ITEM
    item_dir.mkdir(parents=True)
    first = view(1)
    session.write(batch / f"{ITEM}_12A.tif", view(12))
    session.write(batch / f"{ITEM}_2.tif", first, 10)
    noise = np.random.default_rng(9).normal(0, 2, first.shape)
    again = np.clip(first + noise, 0, 255).astype(np.uint8)
    session.write(batch / f"{ITEM}_2_v2.tif", again, 60)
    session.write(batch / f"{ITEM}_sleeve.tif", session.sleeve(ITEM, seed=4), 5)
    (batch / "batch.yaml").write_text(
        "defaults: {kind: frame_135, polarity: negative, process: colour, nominal_ppi: 500,"
        " encoding: srgb}\n"
    )
    more = {
        "intake": {"watch_s": 0, "retakes": "keep"},
        "catalogue": {"required": False},
        "iiif": {"base_url": "https://images.port-ellery.example/iiif"},
        "records": {"schema_dir": str(SCHEMAS) if SCHEMAS.is_dir() else None},
        "rights": {"jurisdiction": "gb"},
        "institution": INSTITUTION,
    }
    config = settings.load(more)
    known = due.Batch(taken_in(batch, {"batch": "b", "settings": config}))
    for name in ("verify", "locate", "render", "embed", "record", "pack"):
        do_step(name, batch, item_dir, due.given(name, known, ITEM, config))
    return item_dir


def frames(done):
    return {
        Path(frame["master"]).name: frame
        for frame in read_json(done / "render" / "render.json")["frames"]
    }


def test_pictures_are_named_by_their_place_on_the_film(done):
    names = sorted(path.name for path in (done / "access").iterdir())
    assert names == [
        f"{ITEM}_12A_access.jpg",
        f"{ITEM}_2_access.jpg",
        f"{ITEM}_sleeve_access.jpg",
    ]


def test_a_sleeve_is_shown_whole_and_as_it_is(done):
    frame = frames(done)[f"{ITEM}_sleeve.tif"]
    assert (frame["width"], frame["height"]) == (660, 440)
    with Image.open(done / "access" / f"{ITEM}_sleeve_access.jpg") as picture:
        shown = np.asarray(picture.convert("L"), float)
    assert shown[200:240, 60:90].mean() > 150  # paper stays light
    assert shown[:10].mean() < 80  # and the table dark


def test_a_superseded_capture_is_kept_and_not_shown(done):
    frame = frames(done)[f"{ITEM}_2.tif"]
    assert (frame["skipped"], frame["files"]) == ("excluded", [])
    fixity = read_json(done / "fixity.json")
    assert f"{ITEM}_2.tif" in {master["path"] for master in fixity["masters"]}


def test_canvases_and_masters_follow_each_other_as_on_the_film(done):
    manifest = read_json(done / "manifest.json")
    labels = [canvas["label"]["none"][0] for canvas in manifest["items"]]
    assert labels == ["2", "12A", "sleeve"]
    mets = etree.parse(str(done / "METS.xml"))
    masters = mets.findall(".//mets:structMap/mets:div/mets:div[@TYPE='master']", METS)
    found = [(div.get("ORDERLABEL"), div.get("LABEL")) for div in masters]
    assert found == [
        ("2", f"{ITEM}_2_v2.tif"),
        ("2", f"{ITEM}_2.tif"),
        ("12A", f"{ITEM}_12A.tif"),
        (None, f"{ITEM}_sleeve.tif"),
    ]


def test_the_record_says_what_told_the_item_and_which_capture_does_not_count(done):
    mets = etree.parse(str(done / "METS.xml"))
    details = [
        json.loads(found.text)
        for event in mets.findall(".//premis:event", METS)
        if event.findtext("premis:eventType", namespaces=METS) == "ingestion"
        for found in event.findall(".//premis:eventDetail", METS)
    ]
    (told,) = details
    assert told["identified"][f"{ITEM}_12A.tif"] == {"by": "name"}
    assert told["superseded"] == {f"{ITEM}_2.tif": f"{ITEM}_2_v2.tif"}


def test_a_frame_that_is_an_item_names_its_roll_in_the_description():
    row = CatalogueRow(item="R12-12A", row=2, title="Quay", rights=RowRights())
    stated = rights.resolved(None, {"jurisdiction": "gb"})
    root = mods.build(row, stated, "R12-12A", "Port Ellery Harbour Archive", "R12", "12A")
    names = {"mods": "http://www.loc.gov/mods/v3"}
    host = root.find("mods:relatedItem[@type='host']", names)
    assert host.findtext("mods:identifier", namespaces=names) == "R12"
    assert host.findtext("mods:part/mods:detail/mods:number", namespaces=names) == "12A"
