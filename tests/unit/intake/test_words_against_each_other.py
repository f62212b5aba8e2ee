"""What a file, a list, a catalogue or batch.yaml says against another is never passed over."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest
import tifffile

from glassine.base import corrections, settings
from glassine.base import item_states as status
from glassine.base.errors import GlassineError
from glassine.base.model import Facts
from glassine.base.records.parts import Header
from glassine.intake.catalogue import columns as catalogue_columns
from glassine.locate import locate_array
from glassine.masters import opening as masters
from glassine.masters.notes import notes_on
from glassine.verify import step as fixity
from makers.step_calls import taken_in

ROWS = "item_id,title,masters\nPEH-0001,Quay,{}\nPEH-0002,Mole,\n"
SAMPLES = np.random.default_rng(4).integers(0, 65535, (40, 60, 3)).astype(np.uint16)


@pytest.fixture
def batch(tmp_path: Path) -> Path:
    folder = tmp_path / "b1"
    folder.mkdir()
    for number in (1, 2):
        tifffile.imwrite(folder / f"PEH-000{number}.tif", np.full((8, 12, 3), number, np.uint16))
    (folder / "catalogue.csv").write_text(ROWS.format(""))
    return folder


def take(folder: Path) -> dict[str, Any]:
    config = settings.load({"intake": {"watch_s": 0}})
    taken: dict[str, Any] = taken_in(folder, {"batch": folder.name, "settings": config})
    return taken


def codes(result: dict[str, Any], item: str) -> list[str]:
    (entry,) = [each for each in result["items"] if each["item"] == item]
    return [each["code"] for each in entry["findings"]]


def digest(folder: Path, name: str, algorithm: str = "sha256") -> str:
    return hashlib.new(algorithm, (folder / name).read_bytes()).hexdigest()


@pytest.mark.parametrize("name", ["audit.txt", "copied.dat", "of the card"])
def test_a_list_of_digests_counts_by_its_content_whatever_its_name(batch, name):
    wrong, right = "0" * 64, digest(batch, "PEH-0002.tif")
    (batch / name).write_text(f"## made by a copy\n{wrong}  PEH-0001.tif\n{right}  PEH-0002.tif\n")
    expected = {
        master["path"]: master["expected"]
        for entry in take(batch)["items"]
        for master in entry["masters"]
    }
    assert expected == {"PEH-0001.tif": {"sha256": wrong}, "PEH-0002.tif": {"sha256": right}}


def test_digests_among_other_lines_are_told(batch):
    text = f"card read at ten\nverified PEH-0001.tif {'0' * 32}\nnothing else\n"
    (batch / "copy.dat").write_text(text)
    told = [each for each in take(batch)["notes"] if each["path"] == "copy.dat"]
    assert [(each["code"], each["severity"]) for each in told] == [("intake.look_alike", "review")]


def test_a_text_without_digests_of_this_batch_is_no_list(batch):
    (batch / "notes.txt").write_text(f"PEH-0001.tif was hard to flatten\n{'a' * 64}  other.dat\n")
    result = take(batch)
    assert not [each for each in result["notes"] if each["path"] == "notes.txt"]
    assert result["other_files"] == ["notes.txt"]


def test_a_master_that_the_row_names_and_nobody_has_holds_its_item(batch):
    (batch / "catalogue.csv").write_text(ROWS.format("PEH-0001.tif|PEH-0001_base.tif"))
    result = take(batch)
    assert codes(result, "PEH-0001") == ["catalogue.master_missing"]
    assert codes(result, "PEH-0002") == []


@pytest.mark.parametrize("names", ["PEH-0001.tif", "PEH-0001", "peh-0001.TIF"])
def test_a_row_may_name_its_masters_without_ending_or_case(batch, names):
    (batch / "catalogue.csv").write_text(ROWS.format(names))
    assert codes(take(batch), "PEH-0001") == []


@pytest.mark.parametrize(
    ("column", "value", "back"),
    [
        ("communicable", "non", True),
        ("communicable", "oui", False),
        ("communicabilité", "2050", True),
        ("Freigabe", "nein", True),
        ("Freigabe", "ja", False),
        ("status", "Deaccessioned", True),
        ("status", "catalogued", False),
    ],
)
def test_a_column_that_lets_out_keeps_back_by_its_no(column, value, back):
    assert catalogue_columns.keeps_back(column, value) is back


def header_of(tmp_path: Path, **options: Any) -> Header:
    path = tmp_path / "PEH-0001.tif"
    tifffile.imwrite(path, SAMPLES, photometric="rgb", metadata=None, **options)
    return masters.read_header(path)


def test_pixels_that_the_header_calls_oblong_are_for_review(tmp_path):
    oblong = header_of(tmp_path, resolution=(300, 600), resolutionunit="INCH")
    (note,) = [each for each in notes_on(oblong, "x.tif") if each.code == "masters.note_not_square"]
    assert note.severity == "review"
    assert "300" in note.what
    assert "600" in note.what
    square = header_of(tmp_path, resolution=(300, 301), resolutionunit="INCH")
    assert not notes_on(square, "x.tif")


def test_a_picture_marked_as_reduced_that_is_as_large_is_another_picture(tmp_path):
    path = tmp_path / "PEH-0001.tif"
    for second, sound in ((SAMPLES[::2, ::2], True), (SAMPLES[::-1], False)):
        with tifffile.TiffWriter(path) as writer:
            writer.write(SAMPLES, photometric="rgb", metadata=None)
            writer.write(second, photometric="rgb", subfiletype=1, metadata=None)
        if sound:
            assert masters.read_header(path).width == 60
            continue
        with pytest.raises(GlassineError) as error:
            masters.read_header(path)
        assert error.value.findings[0].code == "masters.pages"


def test_a_time_of_capture_after_the_file_was_written_is_for_review(tmp_path):
    options = {"extratags": [(306, "s", 20, "2041:01:01 10:00:00", True)]}
    header = msgspec.convert(header_of(tmp_path, **options), Header)
    (note,) = fixity._clock_note(header, "2026-03-17T10:00:00Z", "x.tif")
    assert note.severity == "review"
    assert not fixity._clock_note(header, "2041-01-01T06:00:00Z", "x.tif")


PACKET = (
    b'<rdf:Description xmpRights:WebStatement="http://rightsstatements.org/vocab/InC/1.0/" '
    b'xmlns:x="http://ns.example/"/>'
)
MARK = "http://creativecommons.org/publicdomain/mark/1.0/"
IN_COPYRIGHT = "http://rightsstatements.org/vocab/InC/1.0/"


@pytest.mark.parametrize(
    ("tags", "uri", "asks"),
    [
        ([(33432, "s", 12, "All rights!", True)], MARK, True),
        ([(33432, "s", 12, "All rights!", True)], IN_COPYRIGHT, False),
        ([(700, "B", len(PACKET), PACKET, True)], MARK, True),
        ([(700, "B", len(PACKET), PACKET, True)], IN_COPYRIGHT, False),
        ([], MARK, False),
    ],
)
def test_rights_in_the_file_against_the_catalogue_are_for_review(tmp_path, tags, uri, asks):
    header = header_of(tmp_path, extratags=tags)
    row = {"rights": {"uri": uri, "status": "", "holder": "", "note": "", "credit": ""}}
    record = {"masters": [{"path": "x.tif", "notes": [], "header": msgspec.to_builtins(header)}]}
    assert bool(status._fixity_reasons(record, row)) is asks


def test_corners_that_begin_elsewhere_than_at_the_top_left_are_refused():
    corners = [[75.0, 65.0], [725.0, 75.0], [720.0, 555.0], [70.0, 550.0]]
    assert corrections._shape_problem(corners) is None
    for first in (1, 2, 3):
        turned = corners[first:] + corners[:first]
        assert "top left" in str(corrections._shape_problem(turned))


def sheet_film(clear_border: bool) -> np.ndarray:
    """Return a sheet on a light table, linear: a picture, and a border that is clear or black."""
    noise = np.random.default_rng(5)
    film = np.full((620, 800), 0.86)
    film[40:-40, 50:-50] = 0.62 if clear_border else 0.01
    coarse = np.kron(noise.random((14, 20)), np.ones((35, 33)))
    film[65:-65, 75:-75] = 0.05 + 0.5 * coarse[:490, :650]
    film *= 1 + noise.normal(0, 0.004, film.shape)
    return np.repeat((film * 65535).astype(np.uint16)[..., None], 3, 2)


def look(pixels: np.ndarray, tag: float | None = None, **facts: Any) -> Any:
    return locate_array(
        pixels,
        1,
        lambda left, top, w, h: pixels[top : top + h, left : left + w],
        Facts(encoding="linear", kind="sheet", process="monochrome", **facts),
        tag,
        {},
    )


@pytest.mark.parametrize("clear_border", [True, False])
def test_a_polarity_that_the_film_s_border_speaks_against_is_for_review(clear_border):
    pixels = sheet_film(clear_border)
    right, wrong = ("negative", "positive") if clear_border else ("positive", "negative")
    for stated, asks in ((right, False), (wrong, True), ("auto", False)):
        (frame,) = look(pixels, nominal_ppi=300, polarity=stated).frames
        said = [reason for reason in frame.reasons if "looks like" in reason]
        assert bool(said) is asks, stated
        assert not asks or frame.state == "review"


def test_a_resolution_that_cannot_be_asks_for_the_right_one_where_nothing_else_tells_it():
    pixels = sheet_film(True)
    seen = look(pixels, 10000, polarity="negative")
    assert [frame.state for frame in seen.frames] == ["review"]
    assert any("10000 ppi" in note for note in seen.notes)
    assert any("nothing states or shows the resolution" in note for note in seen.notes)
    (frame,) = look(pixels, 10000, polarity="negative", nominal_ppi=300).frames
    assert not any("10000 ppi" in reason for reason in frame.reasons)
