"""A dry look proposes and advises what helps: right counts, no setting in force, no name that
makes another item."""

import hashlib
import io

import numpy as np
import pytest
import tifffile
import yaml

from glassine.base import settings
from glassine.intake import name_rules, proposals
from glassine.intake.like_rows import LikeRows
from glassine.night import explain, explained
from makers import session


@pytest.fixture
def batch(tmp_path):
    folder = tmp_path / "masters" / "b"
    folder.mkdir(parents=True)
    return folder


def put(folder, *names, rows=None):
    for tone, name in enumerate(names, 1):
        (folder / name).parent.mkdir(exist_ok=True)
        tifffile.imwrite(folder / name, np.full((8, 12, 3), tone, np.uint16), photometric="rgb")
    if rows:
        (folder / "catalogue.csv").write_text("\n".join(rows) + "\n")


def look(folder, **stated):
    config = yaml.safe_load((settings.PROJECT / "config" / "config.yaml").read_text())
    more = {"masters": str(folder.parent), "intake": {"watch_s": 0, "min_age_minutes": 0}}
    out = io.StringIO()
    config = explained.merged(explained.merged(config, more), stated)
    explain.run(str(folder), config, folder.parent.parent, out)
    return out.getvalue()


def test_captures_made_again_are_no_masters_more(batch):
    session.write(batch / "PEH-0001_recto.tif", session.film(1, (220, 330)), 10)
    again = session.film(1, (220, 330)) + 1
    session.write(batch / "PEH-0001_recto_v2.tif", again, 60)
    (batch / "catalogue.csv").write_text("item_id,title\nPEH-0001,Quay\n")
    text = look(batch, intake={"retakes": "keep", "watch_s": 0})
    assert "1 masters" in text and "With that" not in text


def test_frames_of_rolls_get_a_rule_with_the_letter_of_a_frame_and_no_part(batch):
    names = ["R012F05A.tif", "R012F06.tif", "R012F07.tif", "r013F01.tif", "R013F02.tif"]
    put(batch, *names, rows=["item_id,title", "R012,A", "R013,B"])
    text = look(batch)
    assert "With that 5 of 5 masters would go on, now 0." in text
    assert "(?P<part>" not in text


def test_the_column_that_lists_the_files_is_proposed_and_no_rule_by_a_title(batch):
    names = [f"2026-03-14 Kahn {n}.TIF" for n in ("011", "012", "013")]
    rows = [f"KA-{n};Kahn;2026-03-14 Kahn {n}.tif" for n in ("011", "012", "013")]
    put(batch, *names, "IMG_0001.tif", rows=["Inventar-Nr;Titel;Datei", *rows])
    text = look(batch)
    assert "masters: Datei" in text and "item_id: Inventar-Nr" in text and "pattern" not in text
    assert "With that 3 of 4 masters would go on" in text


def test_a_column_of_the_same_cells_is_none_of_numbers():
    table = {"title": ["Kahn"] * 5, "id": ["1", "2", "3", "4", "4"]}
    assert list(proposals._unlike(table)) == ["id"]


def test_what_is_in_force_is_not_proposed():
    stated = {"pattern": "x", "same_number": {"case": True, "marks": ""}}
    assert proposals._in_force(stated, "pattern", "x")
    assert proposals._in_force(stated, "same_number", {"case": True})
    assert not proposals._in_force(stated, "same_number", {"marks": "/"})


def test_words_for_parts_and_separators_are_proposed():
    config = settings.load({})
    made = proposals.of_words(config, {"intake.separator"}, ["umschlag", "xyz"]).settings["naming"]
    assert made["parts"] == {"umschlag": "envelope"}
    assert made["identify"][-1] == "separator"
    assert proposals.of_words(config, set(), ["xyz"]).settings == {}


def test_a_rename_is_advised_only_to_a_name_of_an_item_that_is_there(batch):
    put(batch, "peh-0001.TIF", "peh-0002.TIF", rows=["item_id,title", "PEH-0001,A"])
    text = look(batch)
    assert "Rename the file to PEH-0001.tif" in text
    assert "to peh-0001" not in text
    assert "Rename the file to peh-0002.tif and add a row for peh-0002 to the catalogue" in text


def test_no_rename_to_the_name_of_another_file(batch):
    put(batch, "PEH-0001.tif", "peh-0001.TIF", rows=["item_id,title", "PEH-0001,A"])
    assert "Rename the file to" not in look(batch)


def test_an_item_without_a_row_is_told_the_rows_like_it(batch):
    put(batch, "PHE-0012.tif", "IMG_0001.tif", rows=["item_id,title", "PEH-0012,A", "PEH-0013,B"])
    text = look(batch)
    assert "The catalogue has no row for this item; it has PEH-0012." in text
    assert "IMG: The catalogue has no row for this item. Add" in text


def test_advice_to_move_a_master_out_has_its_line_in_the_list_too(batch):
    put(batch, "a/PEH-0001.tif", "b/PEH-0001.tif", rows=["item_id,title", "PEH-0001,A"])
    assert "out of the batch folder, or" in look(batch)
    lines = [
        f"{hashlib.md5((batch / name).read_bytes()).hexdigest()} *{name}\n"
        for name in ("a/PEH-0001.tif", "b/PEH-0001.tif")
    ]
    (batch / "checksums.md5").write_text("".join(lines))
    assert "out of the batch folder and its line out of the checksum list, or" in look(batch)


def test_rows_like_a_number_are_found_without_comparing_it_with_each():
    rows = LikeRows([*(f"PEH-{n:05d}" for n in range(20_000)), "1987.23-0047"])
    assert rows.of("1987.32-0047") == ["1987.23-0047"]
    assert rows.of("PEH 00012")[0] == "PEH-00012"
    assert rows.of("XY") == []


def test_a_letter_between_numbers_is_no_part():
    (rule,) = name_rules.rules(["R1F1.tif", "R1F2.tif"], {"id": ["R1"]})
    assert rule.pattern == r"(?P<item>R[0-9]+)F(?P<sequence>[0-9]+)\.tif"


def test_files_that_rows_list_and_that_are_not_there_are_named(batch):
    rows = ["item_id,title,files", "PEH-0002,A,PEH-0002.tif", "PEH-0005,D,scan 5.tif | scan 6.tif"]
    put(batch, "PEH-0002.tif", rows=rows)
    text = look(batch, catalogue={"columns": {"masters": "files"}})
    assert "2 masters that rows of the catalogue name are not in the batch folder" in text
    assert "scan 5.tif of PEH-0005, scan 6.tif of PEH-0005" in text


def test_a_capture_made_again_without_a_former_one_says_so_and_goes_on(batch):
    put(batch, "PEH-0001_v2.tif", rows=["item_id,title", "PEH-0001,A"])
    text = look(batch)
    assert "PEH-0001_v2.tif: master of PEH-0001; goes on" in text
    assert "the capture before it is not here" in text


def test_a_session_file_that_is_wrong_is_told_by_its_line_and_what_is_wanted(batch):
    put(batch, "a/PEH-0001.tif", "b/PEH-0002.tif")
    (batch / "a" / "session.yaml").write_text("lamp: x\nstation: [table-2\n")
    (batch / "b" / "session.yaml").write_text("station: table 2\n")
    text = look(batch, catalogue={"required": False})
    assert "<unicode string>" not in text and "line 3: " in text
    assert "As in 'table-2'" in text
