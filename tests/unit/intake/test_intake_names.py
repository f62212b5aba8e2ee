"""Names that differ by little, files that are the same, folders inside batches: told, in words."""

import os
from pathlib import Path

import numpy as np
import pytest
import tifffile

from glassine.base import errors, naming, settings
from glassine.base.visible import visible
from glassine.intake import twins
from glassine.report import words
from makers.step_calls import taken_in

PATTERN = r"(?P<item>PEH-[0-9]{4})(?:_(?P<part>emu|base))?\.tif"


@pytest.fixture
def batch(tmp_path):
    folder = tmp_path / "b1"
    folder.mkdir()
    for number in (1, 2):
        master(folder / f"PEH-000{number}.tif", number)
    (folder / "catalogue.csv").write_text("item_id,title\nPEH-0001,Quay\nPEH-0002,Mole\n")
    return folder


def master(path, tone, side=12):
    path.parent.mkdir(parents=True, exist_ok=True)
    tifffile.imwrite(path, np.full((8, side, 3), tone, np.uint16))
    return path


def take(folder, **changes):
    config = settings.load({"intake": {"watch_s": 0}, "naming": {"pattern": PATTERN}, **changes})
    return taken_in(folder, {"batch": folder.name, "settings": config})


def items(result):
    return {item["item"]: item for item in result["items"]}


def findings(result):
    listed = [*result["notes"], *(each for item in result["items"] for each in item["findings"])]
    return {(each["code"], each["path"]): each for each in listed}


# --- names off the template --------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "near"),
    [
        ("peh-0009.tif", "PEH-0009.tif"),
        ("PEH-0009.TIF", "PEH-0009.tif"),
        ("PEH-0009 .tif", "PEH-0009.tif"),
        (" PEH-0009.tif", "PEH-0009.tif"),
        ("PEH 0009.tif", "PEH-0009.tif"),
        ("PEH_0009.tif", "PEH-0009.tif"),
        ("PEH-0009.tif ", "PEH-0009.tif"),
        ("PEH-0009.tif.", "PEH-0009.tif"),
        ("scan 9.tif", None),
    ],
)
def test_a_name_that_is_off_by_little_is_told_with_the_right_one(batch, name, near):
    assert naming.nearest(name, naming.compile_pattern(PATTERN)) == near
    master(batch / name, 9)
    found = next(each for (_, path), each in findings(take(batch)).items() if path == name)
    assert found["severity"] == "hold"
    if near:
        assert near in found["next_step"]


def test_what_is_expected_of_a_name_is_said_without_a_regular_expression(batch):
    master(batch / "scan 9.tif", 9)
    found = findings(take(batch))["naming.off_template", "scan 9.tif"]
    assert "PEH-0001.tif" in found["expected"]
    assert "naming.pattern" in found["expected"]
    assert not set("\\[](){}?*|") & set(found["expected"] + found["next_step"] + found["what"])


@pytest.mark.parametrize("name", ["PEH-0009.tif.part", "PEH-0009", "PEH-0009.tif~", "x.scan"])
def test_a_tiff_under_another_ending_is_held(batch, name):
    master(batch / "PEH-0009.tif", 9).rename(batch / name)
    result = take(batch)
    assert findings(result)["intake.not_a_master", name]["severity"] == "hold"
    assert result["other_files"] == []


def test_names_in_two_folders_that_differ_in_case_or_form_are_held(batch):
    master(batch / "a" / "PEH-0003.tif", 3)
    master(batch / "b" / "PEH-0003.tif", 4)
    master(batch / "c" / "Pe\u0301H-0004.tif", 5)
    result = take(batch)
    assert items(result)["PEH-0003"]["state"] == "held"
    assert findings(result)["intake.entry", "c/Pe\u0301H-0004.tif"]
    lower = {"pattern": r"(?P<item>[A-Za-z]+-[0-9]{4})\.tif"}
    master(batch / "d" / "peh-0001.tif", 6)
    both = items(take(batch, naming=lower))
    assert {both["PEH-0001"]["state"], both["peh-0001"]["state"]} == {"held"}


# --- the same file twice -----------------------------------------------------------------


def test_two_names_of_one_file_hold_both_items(batch):
    os.link(batch / "PEH-0001.tif", batch / "PEH-0009.tif")
    result = take(batch)
    for item in ("PEH-0001", "PEH-0009"):
        codes = {each["code"] for each in items(result)[item]["findings"]}
        assert "intake.same_bytes" in codes
    assert items(result)["PEH-0002"]["state"] == "ready"
    assert "hard links" in findings(result)["intake.same_bytes", "PEH-0001.tif"]["what"]


def test_the_same_bytes_under_two_items_hold_both(batch):
    (batch / "PEH-0009.tif").write_bytes((batch / "PEH-0001.tif").read_bytes())
    result = take(batch)
    assert items(result)["PEH-0001"]["state"] == "held"
    assert items(result)["PEH-0002"]["state"] == "ready"
    told = findings(result)["intake.same_bytes", "PEH-0009.tif"]["what"]
    assert "PEH-0001.tif" in told


def test_files_that_agree_but_for_one_byte_are_two(tmp_path):
    content = bytearray(os.urandom(200_000))
    (tmp_path / "a").write_bytes(content)
    content[60_000] ^= 1  # between the blocks that are looked at first
    (tmp_path / "b").write_bytes(content)
    (tmp_path / "c").write_bytes(content)
    masters = [
        twins.Master(name, 200_000, (0, number), {}) for number, name in enumerate(("a", "b", "c"))
    ]
    assert twins.find(tmp_path, masters) == [twins.Twins(("b", "c"), linked=False)]


def test_files_whose_blocks_differ_are_not_read_whole(tmp_path, monkeypatch):
    masters = []
    for number in range(3):
        (tmp_path / str(number)).write_bytes(os.urandom(100_000))
        masters.append(twins.Master(str(number), 100_000, (0, number), {}))
    monkeypatch.setattr(twins, "_digest", lambda *_: pytest.fail("it was read whole"))
    assert twins.find(tmp_path, masters) == []


# --- folders -----------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["batch.yaml", "Catalogue.csv", "corrections.yaml"])
def test_masters_of_a_batch_inside_the_batch_are_held(batch, name):
    master(batch / "inner" / "PEH-0003.tif", 3)
    (batch / "inner" / name).write_text("")
    result = take(batch)
    codes = {each["code"] for each in items(result)["PEH-0003"]["findings"]}
    assert "intake.nested_batch" in codes
    assert items(result)["PEH-0001"]["state"] == "ready"


def test_a_master_among_target_captures_is_for_review(batch):
    master(batch / "targets" / "PEH-0002_base.tif", 7)
    found = findings(take(batch))["intake.in_targets", "targets/PEH-0002_base.tif"]
    assert found["severity"] == "review"


@pytest.mark.parametrize("path", ["PEH-0002.tif", "./PEH-0002.tif"])
def test_an_item_that_is_called_a_target_is_held(batch, path):
    (batch / "batch.yaml").write_text(
        f"targets: [{{path: {path}, description: film-example.yaml}}]\n"
    )
    assert items(take(batch))["PEH-0002"]["state"] == "held"


def test_a_batch_folder_without_a_master_is_told(tmp_path):
    (tmp_path / "b1").mkdir()
    (tmp_path / "b1" / "catalogue.csv").write_text("item_id,title\nPEH-0001,Quay\n")
    result = take(tmp_path / "b1")
    assert result["items"] == []
    assert findings(result)["intake.no_masters", "b1"]["severity"] == "review"


# --- what names show ---------------------------------------------------------------------

STEERING = "a\x1b[2Jb\nc\x9bd\u202ee\u2066f\u200fg\u2028h.tif"


def test_what_would_steer_a_terminal_is_made_visible():
    finding = errors.Finding("x.y", STEERING, STEERING, STEERING, STEERING)
    for text in (finding.sentence(), str(errors.GlassineError([finding]))):
        assert text.isprintable()
        assert "\\x1b[2J" in text
        assert "\\u202e" in text
    assert visible("Pier é, Łódź, 港") == "Pier é, Łódź, 港"


def test_half_a_character_can_be_recorded_and_printed():
    finding = errors.Finding("x.y", "a\ud800", "b", "c", "d")
    assert finding.as_dict()["path"] == "a\\ud800"
    finding.sentence().encode("utf-8")


def test_the_report_shows_what_would_steer_it():
    template = words.environment().from_string("{{ name | visible }}")
    assert template.render(name=STEERING).isprintable()
    css = (Path(words.__file__).parent / "page.css").read_text("utf-8")
    assert "unicode-bidi: isolate" in css


def test_a_name_with_controls_is_held_and_recorded(batch):
    master(batch / "x.tif", 9).rename(batch / STEERING)
    found = findings(take(batch))["intake.entry", STEERING]
    assert "control" in found["what"]
