"""Expected items against captured ones: missing, surplus and double are told, never guessed.

Ways to be wrong and look right: a list that cannot be read counts as nothing missing; a header
counts as an item; a range that is none is dropped; an item whose master is refused counts as
captured; an item of another spelling is missing and surplus without a word.
"""

import numpy as np
import pytest
import tifffile

from glassine.base import settings
from glassine.intake import expected
from makers.step_calls import taken_in


@pytest.fixture
def batch(tmp_path):
    folder = tmp_path / "b1"
    folder.mkdir()
    for number in (1, 2, 4):
        tifffile.imwrite(folder / f"PEH-{number:04d}.tif", np.full((8, 12, 3), number, np.uint16))
    rows = "".join(f"PEH-{n:04d},Quay {n},box:{n}\n" for n in (1, 2, 3, 4))
    (folder / "catalogue.csv").write_text("item_id,title,identifiers\n" + rows)
    return folder


def take(folder, **catalogue):
    stated = {"intake": {"watch_s": 0, "labels": "never"}, "catalogue": catalogue}
    return taken_in(folder, {"batch": folder.name, "settings": settings.load(stated)})


def missing(result):
    return [each["item"] for each in result["expected"]["missing"]]


def notes(result):
    return {note["code"]: note["what"] for note in result["notes"]}


def test_the_batchs_own_catalogue_expects_its_rows(batch):
    result = take(batch)
    assert result["expected"]["sources"] == ["catalogue"]
    assert result["expected"]["missing"] == [
        {"item": "PEH-0003", "shelf_mark": "box: 3", "title": "Quay 3"}
    ]
    assert result["expected"]["count"] == 4
    assert "intake.expected_missing" not in notes(result), "told with the rows already"


def test_a_catalogue_of_the_whole_archive_expects_nothing(batch):
    whole = batch.parent / "archive.csv"
    (batch / "catalogue.csv").rename(whole)
    assert take(batch, path=str(whole))["expected"] is None


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Item,Shelf mark\nPEH-0001,A 1\nPEH-0002,A 1\nPEH-0009,A 7\n", "pull-list.csv"),
        ("item_id;Box\nPEH-0001;A 1\nPEH-0002;A 1\nPEH-0009;A 7\n", "Pull list.csv"),
    ],
)
def test_a_pull_list_says_what_is_missing_where_it_stands_and_what_is_surplus(batch, text, name):
    (batch / name).write_text(text)
    result = take(batch)
    assert result["expected"]["sources"] == [name]
    assert result["expected"]["missing"] == [{"item": "PEH-0009", "shelf_mark": "A 7", "title": ""}]
    assert result["expected"]["surplus"] == ["PEH-0004"]
    assert {"intake.expected_missing", "intake.expected_surplus"} <= set(notes(result))
    assert result["other_files"] == []


def test_a_list_without_a_header_loses_no_item(batch):
    (batch / "pull-list.txt").write_text("PEH-0001\nPEH-0002\nPEH-0004\nPEH-0009\n")
    result = take(batch)
    assert (missing(result), result["expected"]["count"]) == (["PEH-0009"], 4)


def test_ranges_of_batch_yaml_and_a_list_hold_together(batch):
    (batch / "batch.yaml").write_text("expected: [PEH-0001..PEH-0005]\n")
    (batch / "pull-list.txt").write_text("PEH-0007\n")
    result = take(batch)
    assert missing(result) == ["PEH-0003", "PEH-0005", "PEH-0007"]
    assert result["expected"]["sources"] == ["batch.yaml", "pull-list.txt"]


@pytest.mark.parametrize(
    "text",
    ["PEH-0005..PEH-0001", "PEH-0001..QEH-0005", "PEH-1..PEH-999999999", "PEH-01..PEH-5", "..", ""],
)
def test_a_range_that_is_none_is_told(batch, text):
    (batch / "batch.yaml").write_text(f"expected: [PEH-0001, '{text}']\n")
    result = take(batch)
    assert "intake.expected_range" in notes(result)
    assert result["expected"]["unread"] == [text]


def test_a_list_that_cannot_be_read_is_told_and_never_counts_as_complete(batch):
    (batch / "pull-list.csv").write_bytes("item_id,place\nPEH-0009,Kähe\n".encode("cp1252"))
    result = take(batch)
    assert "intake.expected_unread" in notes(result)
    assert result["expected"]["unread"] == ["pull-list.csv"]
    (batch / "pull-list.csv").write_bytes(b"")
    assert take(batch)["expected"]["unread"] == ["pull-list.csv"]


def test_an_item_named_twice_and_a_line_without_one_are_told(batch):
    (batch / "pull-list.csv").write_text("item_id,x\nPEH-0001,1\nPEH-0001,2\n,3\n")
    result = take(batch)
    assert "intake.expected_line" in notes(result)
    assert result["expected"]["count"] == 1


def test_an_item_whose_master_is_no_master_is_missing(batch):
    (batch / "PEH-0003.jpg").write_bytes(b"\xff\xd8\xff")
    assert missing(take(batch)) == ["PEH-0003"]


def test_another_spelling_is_told_with_both(batch):
    (batch / "pull-list.txt").write_text("PEH-0001\nPEH-0002\npeh_4\n")
    assert "peh_4 and PEH-0004" in notes(take(batch))["intake.expected_missing"]


def test_a_master_of_no_known_item_is_told_with_what_is_missing(batch):
    tifffile.imwrite(batch / "scan 3 x.tif", np.full((8, 12, 3), 9, np.uint16))
    (batch / "pull-list.txt").write_text("PEH-0003\n")
    assert "1 masters tell no item" in notes(take(batch))["intake.expected_missing"]


def test_an_item_captured_twice_is_double(batch):
    (batch / "again").mkdir()
    tifffile.imwrite(batch / "again" / "PEH-0004.tif", np.full((8, 12, 3), 40, np.uint16))
    assert take(batch)["expected"]["double"] == ["PEH-0004"]


def test_what_was_withdrawn_is_not_missing(batch):
    (batch / "corrections.yaml").write_text(
        "withdraw:\n- {item: PEH-0003, reason: given back, by: op-07, "
        "when: '2026-03-18T08:55:00Z'}\n"
    )
    assert missing(take(batch)) == []


def test_a_pull_list_is_no_catalogue(batch):
    (batch / "catalogue.csv").unlink()
    (batch / "pull-list.csv").write_text("item_id,x\nPEH-0001,1\n")
    result = take(batch)
    assert {"catalogue.none"} <= {
        each["code"] for item in result["items"] for each in item["findings"]
    }
    none = [
        each
        for item in result["items"]
        for each in item["findings"]
        if each["code"] == "catalogue.none"
    ]
    assert "pull-list" not in str(none)


def test_ranges_keep_their_zeros():
    assert list(expected.items_of("PEH-8", "PEH-11")) == ["PEH-8", "PEH-9", "PEH-10", "PEH-11"]
    assert list(expected.items_of("1987.23-0009", "1987.23-0010")) == [
        "1987.23-0009",
        "1987.23-0010",
    ]


def test_a_number_spelt_otherwise_is_the_same_item(batch):
    (batch / "pull-list.txt").write_text("PEH/1\nPEH/2\nPEH/3\n")
    stated = {
        "intake": {"watch_s": 0, "labels": "never"},
        "naming": {"same_number": {"marks": "/-", "leading_zeros": True}},
    }
    result = taken_in(batch, {"batch": batch.name, "settings": settings.load(stated)})
    assert missing(result) == ["PEH-0003"], "as the catalogue spells it"
    assert result["expected"]["surplus"] == ["PEH-0004"]
