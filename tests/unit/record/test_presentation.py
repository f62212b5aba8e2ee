"""Manifests against the Presentation 3 schema where at hand, and against rules it misses."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import msgspec
import pytest
from hypothesis import given as over
from hypothesis import strategies as st

from glassine import steps
from glassine.base.errors import GlassineError
from glassine.base.records.embedded import Embedded
from glassine.base.records.given import Institution
from glassine.base.records.render import Rendering
from glassine.record import presentation
from makers.item_records import event

PROJECT = Path(__file__).resolve().parents[3]
SCHEMA = Path(PROJECT).parent / "shared" / "schemas" / "iiif" / "iiif_3_0.json"
BASE = "https://images.port-ellery.example/iiif"
INSTITUTION = {
    "name": "Port Ellery Harbour Archive",
    "id": "https://archive.port-ellery.example/",
    "homepage": "https://archive.port-ellery.example/",
}


def record(**changed: Any) -> dict[str, Any]:
    return {
        "item": "PEH-0412",
        "row": 3,
        "title": "Lighter at the coal wharf – Čestmír’s “Möwe”",
        "alternative": "",
        "description": "Two men beside a crane.",
        "date_text": "4 May 1931",
        "edtf": "1931-05-04",
        "date_understood": True,
        "creators": [{"name": "Orla Vennick", "role": "photographer", "uri": ""}],
        "subjects": [{"term": "lighters", "uri": "", "authority": ""}],
        "places": [{"name": "Coal wharf", "uri": ""}],
        "identifiers": [{"type": "box", "value": "B 7"}],
        "languages": ["eng"],
        "genre": "negatives",
        "physical": "1 negative, 35 mm",
        "material": "acetate",
        "decay_level": 2,
        "rights": {
            "uri": "https://rightsstatements.org/vocab/NoC-OKLR/1.0/",
            "status": "public domain",
            "holder": "Vennick estate",
            "note": "",
        },
        "collection": "Harbour office",
        **changed,
    }


def frame(index: int = 1, part: str | None = None, **changed: Any) -> dict[str, Any]:
    master = f"PEH-0412{'_' + part if part else ''}.tif"
    return {
        "master": master,
        "part": part,
        "index": index,
        "label": None,
        "iiif_id": f"PEH-0412{'_' + part if part else ''}_{index:02d}",
        "width": 4101,
        "height": 2703,
        "ppi": 4000.0,
        "skipped": None,
        "files": [],
        "tiles": {
            "path": "iiif/x",
            "width": 4101,
            "height": 2703,
            "tile_px": 512,
            "count": 70,
            "bytes": 4_000_000,
            "sha256": "0" * 64,
        },
        "tone": None,
        **changed,
    }


def embedded_for(*frames: dict[str, Any]) -> dict[str, Any]:
    return {
        "item": "PEH-0412",
        "event": event("metadata modification", 4),
        "files": [
            {
                "use": use,
                "path": f"{folder}/{each['iiif_id']}_{use}.jpg",
                "master": each["master"],
                "index": each["index"],
                "width": width,
                "height": height,
                "bytes": 1,
                "sha256": "0" * 64,
                "sha512": "0" * 128,
                "puid": "fmt/1507",
                "format_name": "Exchangeable Image File Format (Compressed)",
                "format_version": "2.3.x",
                "derived_from": {"path": each["master"], "sha256": "0" * 64},
            }
            for each in frames
            for use, folder, width, height in (
                ("access", "access", 3000, 1977),
                ("thumb", "thumbs", 400, 264),
            )
        ],
    }


def made(*frames: dict[str, Any], image_api: str = "3", **changed: Any) -> dict[str, Any]:
    """Return a manifest as its file holds it, but in the order in which it is built."""
    given = {
        "batch": "harbour-2026-03",
        "item": "PEH-0412",
        "masters": [],
        "catalogue": record(**changed),
        "settings": {"iiif": {"base_url": BASE, "image_api": image_api}},
        "institution": INSTITUTION,
    }
    render = {"item": "PEH-0412", "event": event("creation", 3), "frames": list(frames)}
    built = presentation.manifest(
        steps.given("record", given),
        msgspec.convert(render, Rendering),
        msgspec.convert(embedded_for(*frames), Embedded),
    )
    return msgspec.to_builtins(built)


def every(value: Any, key: str) -> list[Any]:
    """Return each value that stands under `key` anywhere below."""
    if isinstance(value, dict):
        here = [value[key]] if key in value else []
        return here + [found for part in value.values() for found in every(part, key)]
    if isinstance(value, list):
        return [found for part in value for found in every(part, key)]
    return []


SHAPES = {
    "one frame": [frame()],
    "a strip with a blank": [frame(1), frame(2, skipped="blank"), frame(3)],
    "two sides": [frame(1, "base"), frame(1, "emu")],
    "no tiles": [frame(tiles=None)],
}
DIVISIONS = [{"label": "Quay", "type": "section", "frames": [1]}]


@pytest.mark.skipif(not SCHEMA.is_file(), reason=f"no Presentation 3 schema at {SCHEMA}")
@pytest.mark.parametrize("name", SHAPES)
def test_manifest_and_collection_agree_with_the_published_schema(name: str) -> None:
    schema = json.loads(SCHEMA.read_text("utf-8"))
    validator = jsonschema.Draft7Validator(schema, format_checker=jsonschema.FormatChecker())
    built = made(*SHAPES[name], structure=DIVISIONS)
    keeper = msgspec.convert(INSTITUTION, Institution)
    collection = presentation.collection("harbour-2026-03", None, [built], BASE, keeper)
    batch = msgspec.to_builtins(collection)
    assert [error.message for error in validator.iter_errors(built)] == []
    assert [error.message for error in validator.iter_errors(batch)] == []


@pytest.mark.parametrize("name", SHAPES)
def test_rules_that_the_schema_misses(name: str) -> None:
    """IIIF Presentation API 3.0: 4.6 (@context first), 5.2, 5.3, 5.6."""
    frames = SHAPES[name]
    built = made(*frames)
    assert next(iter(built)) == "@context"
    assert built["@context"] == "http://iiif.io/api/presentation/3/context.json"
    shown = [each for each in frames if not each["skipped"]]
    assert len(built["items"]) == len(shown)
    ids = [canvas["id"] for canvas in built["items"]]
    assert len(set(ids)) == len(ids)
    for canvas in built["items"]:
        assert canvas["id"].startswith("https://")
        assert "#" not in canvas["id"]
        assert (canvas["width"], canvas["height"]) == (4101, 2703)
        (page,) = canvas["items"]
        (annotation,) = page["items"]
        assert annotation["motivation"] == "painting"
        assert annotation["target"] == canvas["id"]
    unique = [found for found in every(built["items"], "id") if "/canvas/" in found]
    assert len(set(unique)) == len(unique)
    for words in every(built, "label") + every(built, "value"):
        assert all(isinstance(texts, list) and texts for texts in words.values())
    assert built["rights"].startswith("http://")
    assert built["navDate"] == "1931-05-04T00:00:00Z"


def test_the_picture_is_the_tile_service_of_the_frame() -> None:
    """Compliance level 0 (IIIF Image API 3.0): only full/max is sure to be there."""
    (body,) = every(made(frame()), "body")
    assert body["id"] == f"{BASE}/PEH-0412_01/full/max/0/default.jpg"
    assert body["service"] == [
        {"id": f"{BASE}/PEH-0412_01", "type": "ImageService3", "profile": "level0"}
    ]
    assert (body["width"], body["height"]) == (4101, 2703)


def test_tiles_of_image_api_2_are_told_in_its_own_keys() -> None:
    """Presentation API 3.0, 3.2 `service`: older services keep @id, @type and their profile."""
    (body,) = every(made(frame(), image_api="2"), "body")
    assert body["id"] == f"{BASE}/PEH-0412_01/full/full/0/default.jpg"
    assert body["service"] == [
        {
            "@id": f"{BASE}/PEH-0412_01",
            "@type": "ImageService2",
            "profile": "http://iiif.io/api/image/2/level0.json",
        }
    ]


def test_without_tiles_the_access_image_is_the_picture() -> None:
    (body,) = every(made(frame(tiles=None)), "body")
    assert body["id"] == f"{BASE}/PEH-0412/access/PEH-0412_01_access.jpg"
    assert "service" not in body


def test_the_emulsion_side_comes_first_and_each_side_has_its_range() -> None:
    built = made(frame(1, "base"), frame(1, "emu"))
    assert [canvas["label"]["none"] for canvas in built["items"]] == [
        ["emulsion side"],
        ["base side"],
    ]
    assert [len(each["items"]) for each in built["structures"]] == [1, 1]


def test_the_catalogues_divisions_are_ranges_counted_through_all_frames() -> None:
    divisions = [
        {"label": "Quay", "type": "section", "frames": [1, 2]},
        {"label": "Leader", "type": "section", "frames": [2]},
        {"label": "Ferry", "type": "section", "frames": [3]},
    ]
    built = made(frame(1), frame(2, skipped="blank"), frame(3), structure=divisions)
    assert [each["label"]["none"] for each in built["structures"]] == [["Quay"], ["Ferry"]]
    assert [
        [part["id"].rpartition("/")[2] for part in each["items"]] for each in built["structures"]
    ] == [["1"], ["2"]]
    assert len({each["id"] for each in built["structures"]}) == 2


def test_a_date_that_is_not_understood_gives_no_navdate() -> None:
    assert "navDate" not in made(frame(), edtf=None, date_understood=False)


def test_an_item_without_any_picture_is_refused_with_a_next_step() -> None:
    with pytest.raises(GlassineError) as refused:
        made(frame(skipped="blank"))
    assert [finding.code for finding in refused.value.findings] == ["record.no_picture"]


@pytest.mark.parametrize(
    ("uri", "kept"),
    [
        # The URIs as their keepers print them: rightsstatements.org, creativecommons.org.
        (
            "http://rightsstatements.org/vocab/InC/1.0/",
            "http://rightsstatements.org/vocab/InC/1.0/",
        ),
        (
            "https://rightsstatements.org/page/InC/1.0/?language=en",
            "http://rightsstatements.org/vocab/InC/1.0/",
        ),
        (
            "https://creativecommons.org/licenses/by-sa/4.0",
            "http://creativecommons.org/licenses/by-sa/4.0/",
        ),
        (
            "https://www.creativecommons.org/publicdomain/zero/1.0/",
            "http://creativecommons.org/publicdomain/zero/1.0/",
        ),
        ("https://creativecommons.org.evil.example/licenses/by/4.0/", None),
        ("javascript:alert(1)", None),
        ("", None),
        (None, None),
    ],
)
def test_rights_are_the_keepers_own_uris(uri: str | None, kept: str | None) -> None:
    assert presentation.rights_uri(uri) == kept


@over(st.text())
def test_no_catalogue_text_passes_for_html(text: str) -> None:
    """4.5: begins with `<` and ends with `>` is HTML; a blank more is not."""
    shown = presentation.plain_text(text)
    assert not (shown.startswith("<") and shown.endswith(">"))
    assert shown.startswith(text)


def test_hostile_catalogue_text_stays_text() -> None:
    built = made(frame(), title="<script>alert(1)</script>", description="</dc:title><x>&boom;")
    assert built["label"] == {"none": ["<script>alert(1)</script> "]}
    for words in every(built, "value") + every(built, "summary"):
        for text in (text for texts in words.values() for text in texts):
            assert not (text.startswith("<") and text.endswith(">"))
