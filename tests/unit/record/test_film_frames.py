"""What the film itself says, in the record: numbers of frames, kinds of film, sizes by name."""

from __future__ import annotations

from typing import Any

import pytest
from lxml import etree

from glassine.base import film_format, markup
from glassine.base.model import Corners, FilmEdge, MasterGeometry, PpiSource
from glassine.base.records.render import RenderedFrame
from glassine.base.settings import PROJECT
from glassine.record import mods, official, presentation
from makers.item_records import Made

NS = {prefix: uri for prefix, uri in markup.NAMESPACES.items() if prefix != "xsi"}
SCHEMAS = PROJECT.parent / "shared" / "schemas"
EDGE = {
    "frames": [1, 2], "stock": "115-10", "emulsion": "away", "turn": 0, "against": "",
    "codes": [{"text": "115-10/12A", "at": [1.0, 2.0], "counts": True}],
}  # fmt: skip


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Any:
    made = Made(tmp_path_factory.mktemp("item")).master("PEH-0001.tif", frames=2)
    for index, number in enumerate(("13", "12")):
        made.geometry["masters"][0]["frames"][index]["film_frame"] = number
        entry = made.render["frames"][index]
        entry |= {"film_frame": number, "label": f"frame {index + 1}, number {number} on the film"}
    made.geometry["masters"][0]["edges"] = [EDGE]
    path = made.record()
    if SCHEMAS.exists():
        assert official.check_schemas(path, SCHEMAS) == []
    return etree.fromstring(path.read_bytes())


def found(root: Any, path: str) -> list[str]:
    return [str(each) for each in root.xpath(path, namespaces=NS)]


def test_mets_names_frames_by_their_numbers_on_the_film(recorded: Any) -> None:
    frames = "//mets:div[@TYPE='frame']"
    assert found(recorded, f"{frames}/@ORDERLABEL") == ["13", "12"]
    assert found(recorded, f"{frames}/@LABEL")[0] == "frame 1, number 13 on the film"


def test_a_studio_may_name_a_kind_of_film() -> None:
    edge = FilmEdge((1,), "115-10", "away", 0, ())
    masters = [MasterGeometry("a.tif", 9, 9, None, None, (), edges=(edge, edge))]
    assert mods.seen_of(masters, {"115-10": "harbour film", "10-3": "other film"}, {}) == [
        ("film", "harbour film (film 115-10, by the code in its margin)")
    ]


def test_the_kind_of_film_is_its_number(recorded: Any) -> None:
    notes = "//mods:physicalDescription/mods:note[@type='film']/text()"
    assert found(recorded, notes) == ["film 115-10, by the code in its margin"]


# ------------------------------------------------------------------ the order of canvases


def rendered(index: int, number: str | None, **more: Any) -> RenderedFrame:
    values: dict[str, Any] = {
        "master": "a.tif", "part": None, "index": index, "label": None, "iiif_id": f"x{index}",
        "width": 9, "height": 9, "ppi": None, "skipped": None, "files": [], "tiles": None,
        "tone": None, **({"film_frame": number} if number else {}), **more,
    }  # fmt: skip
    return RenderedFrame(**values)


@pytest.mark.parametrize(
    ("numbers", "order"),
    [
        (["13", "12A", "9"], [3, 2, 1]),
        (["13", None, "9"], [1, 2, 3]),  # one is not told
        (["13", "9", "9"], [1, 2, 3]),  # two of one number: which comes first is not known
        ([None, None, None], [1, 2, 3]),
    ],
)
def test_canvases_follow_the_film_only_where_it_numbers_all_of_them(
    numbers: list[str | None], order: list[int]
) -> None:
    frames = [rendered(k, number) for k, number in enumerate(numbers, start=1)]
    shown = presentation._frames_with_picture(
        type("Rendering", (), {"frames": frames})()  # all that is looked at
    )
    assert [frame.index for frame in shown] == order


# ------------------------------------------------------------------ sizes by name


def piece(
    kind: str, width_mm: float, height_mm: float, source: PpiSource = "batch"
) -> MasterGeometry:
    w, h = width_mm * 20, height_mm * 20
    corners: Corners = ((0.0, 0.0), (w, 0.0), (w, h), (0.0, h))
    return MasterGeometry("a.tif", 9000, 9000, 508.0, source, (), kind, object_corners=corners)


@pytest.mark.parametrize(
    ("kind", "size", "name"),
    [
        # Sizes: `base/film.py`, with the source of each. 100.0 x 125.4 mm: a sheet of 4 x 5 inches
        # as it is cut (value from memory; ISO 1012 governs).
        ("plate", (119.0, 89.2), "9 x 12 cm"),
        ("plate", (89.2, 119.0), "9 x 12 cm"),
        ("sheet", (125.4, 100.0), "4 x 5 in"),
        ("plate", (108.2, 82.0), "quarter plate"),
        ("lantern", (82.0, 82.9), "British lantern slide"),
        ("mounted_slide", (50.2, 49.9), "2 x 2 in mount"),
        ("plate", (119.0, 94.0), None),
        ("print", (120.0, 90.0), None),
    ],
)
def test_a_measured_outline_has_the_name_of_its_size(
    kind: str, size: tuple[float, float], name: str | None
) -> None:
    got = film_format.format_of(piece(kind, *size))
    assert (got.name if got else None) == name


@pytest.mark.parametrize("source", ["picture size", "mount", "stated kind", "catalogue"])
def test_a_scale_that_was_taken_from_a_size_names_none(source: PpiSource) -> None:
    assert film_format.format_of(piece("plate", 120.0, 90.0, source)) is None


def test_the_name_stands_in_the_description_with_tolerance_and_source(tmp_path: Any) -> None:
    made = Made(tmp_path).master("PEH-0001.tif")
    px = 3999.7 / 25.4
    outline = [[0, 0], [119.5 * px, 0], [119.5 * px, 89.5 * px], [0, 89.5 * px]]
    made.geometry["masters"][0]["object_corners"] = outline
    root = etree.fromstring(made.record().read_bytes())
    (note,) = found(root, "//mods:physicalDescription/mods:note[@type='format']/text()")
    assert note.startswith("9 x 12 cm (measured 119.5 x 89.5 mm by the resolution that batch.yaml")
    assert "within 2 mm of 120 x 90 mm, plate and sheet format table" in note
