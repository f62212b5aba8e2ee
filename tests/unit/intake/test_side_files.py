"""Catalogue, facts, corrections and checksum lists under other names than expected: read where the
name leaves no doubt, else told; never passed over."""

import hashlib

import numpy as np
import pytest
import tifffile

from glassine.base import settings
from glassine.base.errors import GlassineError
from glassine.intake import batch_facts
from makers.step_calls import do_step, taken_in

ROWS = "item_id,title\nPEH-0001,Quay\nPEH-0002,Mole\n"
XML = (
    '<modsCollection xmlns="http://www.loc.gov/mods/v3"><mods><identifier type="local">PEH-0001'
    "</identifier><titleInfo><title>Quay</title></titleInfo></mods></modsCollection>"
)


@pytest.fixture
def batch(tmp_path):
    folder = tmp_path / "b1"
    folder.mkdir()
    for number in (1, 2):
        tifffile.imwrite(folder / f"PEH-000{number}.tif", np.full((8, 12, 3), number, np.uint16))
    (folder / "catalogue.csv").write_text(ROWS)
    return folder


def take(folder, **changes):
    config = settings.load({"intake": {"watch_s": 0}, **changes})
    return taken_in(folder, {"batch": folder.name, "settings": config})


def verify_one(folder, master):
    config = settings.load({})
    given = {"item": "PEH-0002", "masters": [master], "findings": [], "settings": config}
    do_step("verify", folder, folder.parent / "item", given)


def items(result):
    return {item["item"]: item for item in result["items"]}


def states(result):
    return {name: item["state"] for name, item in items(result).items()}


def told(result):
    """Return {code: finding} of all that is told, notes of the batch included."""
    findings = [*result["notes"], *(each for item in result["items"] for each in item["findings"])]
    return {each["code"]: each for each in findings}


HELD = {"PEH-0001": "held", "PEH-0002": "held"}
READY = {"PEH-0001": "ready", "PEH-0002": "ready"}


def listed(folder, *names):
    lines = [
        f"{hashlib.sha256((folder / name).read_bytes()).hexdigest()}  {name}" for name in names
    ]
    return "\n".join(lines) + "\n"


# --- catalogue ---------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["Catalogue.csv", "CATALOGUE.CSV", "catalog.csv", "catalogue.tsv"])
def test_a_catalogue_whose_name_leaves_no_doubt_is_read_and_told(batch, name):
    text = ROWS.replace(",", "\t") if name.endswith("tsv") else ROWS
    (batch / "catalogue.csv").unlink()
    (batch / name).write_text(text)
    result = take(batch)
    assert states(result) == READY
    assert items(result)["PEH-0001"]["catalogue"]["title"] == "Quay"
    assert result["rows"]["catalogue"] == name
    assert told(result)["intake.side_name"]["path"] == name
    assert result["other_files"] == []


@pytest.mark.parametrize(
    "name",
    ["catalogue.numbers", "katalog2.csv", "catalogue.csv.txt", "catalogue (1).csv", "catalouge.csv",
     "rows.ods", "sub/catalogue.csv", "catalogue_final.csv", "catalogue.txt"],
)  # fmt: skip
def test_without_a_catalogue_each_item_is_held_and_what_may_be_one_is_named(batch, name):
    (batch / "sub").mkdir()
    (batch / "catalogue.csv").rename(batch / name)
    result = take(batch)
    assert states(result) == HELD
    finding = told(result)["catalogue.none"]
    assert name in finding["what"]
    assert "catalogue.csv" in finding["expected"]


def test_without_any_catalogue_each_item_is_held(batch):
    (batch / "catalogue.csv").unlink()
    result = take(batch)
    assert states(result) == HELD
    assert "catalogue.none" in told(result)


def test_a_folder_of_that_name_is_no_catalogue(batch):
    (batch / "catalogue.csv").unlink()
    (batch / "catalogue.csv").mkdir()
    result = take(batch)
    assert states(result) == HELD
    assert "a folder" in told(result)["catalogue.not_a_file"]["what"]


@pytest.mark.parametrize("second", ["catalogue.jsonl", "catalogue.xml", "Catalogue.csv"])
def test_two_catalogues_hold_the_batch(batch, second):
    (batch / second).write_text(XML)
    result = take(batch)
    assert states(result) == HELD
    assert second in told(result)["catalogue.two"]["path"]


def test_where_none_is_required_one_that_may_be_it_is_still_told(batch):
    (batch / "catalogue.csv").rename(batch / "catalogue.numbers")
    result = take(batch, catalogue={"required": False})
    assert states(result) == READY
    assert told(result)["catalogue.none"]["severity"] == "review"


def test_where_no_row_is_required_an_item_without_one_is_for_review(batch):
    (batch / "catalogue.csv").write_text("item_id,title\nPEH-0001,Quay\n")
    result = take(batch, catalogue={"required": False})
    assert states(result) == READY
    assert [each["severity"] for each in items(result)["PEH-0002"]["findings"]] == ["review"]


def test_a_catalogue_that_the_settings_pass_over_is_told(batch, tmp_path):
    (tmp_path / "other.csv").write_text(ROWS)
    result = take(batch, catalogue={"path": str(tmp_path / "other.csv")})
    assert told(result)["catalogue.not_used"]["path"] == "catalogue.csv"


# --- facts and corrections ---------------------------------------------------------------


@pytest.mark.parametrize("name", ["batch.yml", "Batch.yaml", "BATCH.YML"])
def test_facts_whose_name_leaves_no_doubt_are_read_and_told(batch, name):
    (batch / name).write_text("defaults: {kind: plate}\n")
    result = take(batch)
    assert items(result)["PEH-0001"]["masters"][0]["facts"]["kind"] == "plate"
    assert told(result)["intake.side_name"]["path"] == name


@pytest.mark.parametrize("name", ["batch.yaml.txt", "batch (1).yaml", "bacth.yaml", "batch.json"])
def test_what_may_be_the_facts_holds_the_batch_where_there_are_none(batch, name):
    (batch / name).write_text("defaults: {kind: plate}\n")
    result = take(batch)
    assert states(result) == HELD
    assert told(result)["intake.look_alike"]["path"] == name


def test_a_copy_of_the_facts_beside_them_is_for_review(batch):
    for name in ("batch.yaml", "batch-copy.yaml"):
        (batch / name).write_text("defaults: {kind: plate}\n")
    result = take(batch)
    assert states(result) == READY
    assert told(result)["intake.look_alike"]["severity"] == "review"


def test_two_statements_of_facts_hold_the_batch(batch):
    for name in ("batch.yaml", "batch.yml"):
        (batch / name).write_text("defaults: {kind: plate}\n")
    assert "intake.side_file_twice" in told(take(batch))
    assert states(take(batch)) == HELD


@pytest.mark.parametrize(
    "name", ["Corrections.yaml", "corrections.yml", "corrections(1).yaml", "correction.yaml"]
)
def test_corrections_under_another_name_hold_the_batch(batch, name):
    (batch / name).write_text("corrections: []\n")
    result = take(batch)
    assert states(result) == HELD
    assert "corrections.yaml" in told(result)["intake.look_alike"]["next_step"]


def test_a_second_download_of_corrections_is_for_review(batch):
    for name in ("corrections.yaml", "corrections(1).yaml"):
        (batch / name).write_text("corrections: []\n")
    finding = told(take(batch))["intake.look_alike"]
    assert finding["path"] == "corrections(1).yaml"
    assert finding["severity"] == "review"


def test_an_empty_statement_of_facts_is_for_review(batch):
    (batch / "batch.yaml").write_text("")
    assert told(take(batch))["intake.empty"]["severity"] == "review"


# --- checksum lists ----------------------------------------------------------------------


@pytest.mark.parametrize("name", ["Manifest-SHA256.txt", "SHA256SUMS", "sub/manifest-sha256.txt"])
def test_lists_under_other_names_reach_the_masters(batch, name):
    (batch / "sub").mkdir()
    (batch / name).write_text(listed(batch, "PEH-0001.tif", "PEH-0002.tif"))
    result = take(batch)
    assert states(result) == READY
    assert all(item["masters"][0]["expected"] for item in result["items"])
    assert result["other_files"] == []


def test_a_digest_beside_each_master_reaches_it(batch):
    for number in (1, 2):
        path = batch / f"PEH-000{number}.tif"
        digest = hashlib.md5(path.read_bytes()).hexdigest()
        (batch / f"{path.name}.md5").write_text(digest)
    result = take(batch)
    assert states(result) == READY
    assert all(item["masters"][0]["expected"] for item in result["items"])


@pytest.mark.parametrize(
    "text",
    ["", "\n\n# nothing\n", "rubbish\n", f"{'0' * 64}  elsewhere.txt\n", f"{'0' * 64}\n",
     b"\xff\xfe\x00", b"\x00" * 200],
)  # fmt: skip
def test_a_list_that_lists_nothing_of_what_is_there_holds_the_masters(batch, text):
    (batch / "manifest-sha256.txt").write_bytes(text if isinstance(text, bytes) else text.encode())
    result = take(batch)
    assert states(result) == HELD
    assert "intake.unlisted" in told(result)


def test_a_list_of_an_unknown_kind_holds_what_no_other_lists(batch):
    (batch / "manifest-crc32.txt").write_text("12345678  PEH-0001.tif\n")
    (batch / "SHA256SUMS").write_text(listed(batch, "PEH-0001.tif"))
    result = take(batch)
    assert states(result) == {"PEH-0001": "ready", "PEH-0002": "held"}


def test_a_master_that_a_sound_list_leaves_out_is_held_by_verify(batch):
    (batch / "manifest-sha256.txt").write_text(listed(batch, "PEH-0001.tif"))
    found = items(take(batch))
    assert "must_be_listed" not in found["PEH-0001"]["masters"][0]
    (master,) = found["PEH-0002"]["masters"]
    with pytest.raises(GlassineError) as caught:
        verify_one(batch, master)
    assert [each.code for each in caught.value.findings] == ["verify.unlisted"]


def test_a_studio_may_have_lists_that_name_only_some_masters(batch):
    (batch / "manifest-sha256.txt").write_text(listed(batch, "PEH-0001.tif"))
    result = take(batch, intake={"unlisted": "review"})
    assert states(result) == READY
    assert [each["code"] for each in items(result)["PEH-0002"]["findings"]] == ["intake.unlisted"]
    assert items(result)["PEH-0001"]["findings"] == []


def test_a_master_that_a_damaged_list_leaves_out_is_held(batch):
    text = listed(batch, "PEH-0001.tif") + listed(batch, "PEH-0002.tif")[10:]
    (batch / "manifest-sha256.txt").write_text(text)
    result = take(batch)
    assert states(result) == {"PEH-0001": "ready", "PEH-0002": "held"}
    assert "line 2" in told(result)["intake.manifest_line"]["path"]


def test_lists_that_contradict_each_other_hold_the_master(batch):
    (batch / "manifest-sha256.txt").write_text(listed(batch, "PEH-0001.tif", "PEH-0002.tif"))
    (batch / "SHA256SUMS").write_text(f"{'0' * 64}  PEH-0002.tif\n")
    result = take(batch)
    assert states(result) == {"PEH-0001": "ready", "PEH-0002": "held"}
    assert "intake.list_conflict" in told(result)


def test_the_line_of_a_list_for_itself_says_nothing(batch):
    text = listed(batch, "PEH-0001.tif", "PEH-0002.tif") + f"{'0' * 64}  SHA256SUMS\n"
    (batch / "SHA256SUMS").write_text(text)
    result = take(batch)
    assert states(result) == READY
    assert told(result) == {}


@pytest.mark.parametrize("name", ["catalogue.csv", "batch.yaml", "film.yaml"])
def test_a_changed_side_file_that_a_list_names_holds_the_batch(batch, name):
    (batch / "film.yaml").write_text("a description")
    (batch / "batch.yaml").write_text("targets: [{path: t.tif, description: film.yaml}]\n")
    text = listed(batch, "PEH-0001.tif", "PEH-0002.tif", name)
    (batch / "manifest-sha256.txt").write_text(text)
    assert states(take(batch)) == READY
    with (batch / name).open("a") as handle:
        handle.write("\n")
    result = take(batch)
    assert states(result) == HELD
    assert told(result)["intake.side_file_changed"]["path"] == name


@pytest.mark.parametrize("name", ["corrections.yaml", "notes.txt"])
def test_other_changed_files_that_a_list_names_are_for_review(batch, name):
    (batch / name).write_text("")
    text = listed(batch, "PEH-0001.tif", "PEH-0002.tif", name)
    (batch / "manifest-sha256.txt").write_text(text)
    (batch / name).write_text("\n")
    result = take(batch)
    assert states(result) == READY
    assert told(result)["intake.side_file_changed"]["severity"] == "review"


def test_a_listed_side_file_that_is_not_there_is_told(batch):
    text = listed(batch, "PEH-0001.tif", "PEH-0002.tif") + f"{'0' * 64}  batch.yaml\n"
    (batch / "manifest-sha256.txt").write_text(text)
    assert told(take(batch))["intake.listed_missing"]["path"] == "batch.yaml"


def test_a_backup_of_a_list_alone_is_told(batch):
    (batch / "manifest-sha256.txt.bak").write_text(listed(batch, "PEH-0001.tif"))
    assert told(take(batch))["intake.look_alike"]["path"] == "manifest-sha256.txt.bak"


# --- words of YAML -----------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    ["defaults: {nominal_ppi: .nan}", "defaults: {nominal_ppi: .inf}",
     "defaults: {nominal_ppi: -.INF}", "defaults: {nominal_ppi: 1.0e+999}",
     'title: "\\ud800"', 'title: "\\x1b[2J"', 'title: "\\0"', "1906-05-01: x", "<<: {title: a}", "title: =", "items: [{match: 12}]",
     f"defaults: {{nominal_ppi: {'9' * 5000}}}", f"defaults: {{nominal_ppi: {'9' * 4000}}}",
     "defaults: {nominal_ppi: 0700}", "defaults: {rotate: 1:30}", "? [a, b]\n: c",
     "title: " + "{a: " * 3000, "title: !!binary aGk=", "null: 1", "title: 1906-05-01\n- x"],
)  # fmt: skip
def test_oddities_of_yaml_are_told_in_words(batch, text):
    (batch / "batch.yaml").write_text(text)
    with pytest.raises(GlassineError) as caught:
        take(batch)
    assert all("batch.yaml" in each.path for each in caught.value.findings)


def test_an_item_id_of_figures_is_text_and_a_day_too(batch):
    (batch / "batch.yaml").write_text("title: 1906-05-01\nitems: [{match: 0012, kind: plate}]\n")
    result = take(batch)
    assert result["title"] == "1906-05-01"
    stated = batch_facts.read_batch_facts(batch / "batch.yaml")
    facts = batch_facts.Statements(stated).facts_of("0012", None).facts
    assert facts.kind == "plate"


@pytest.mark.parametrize(
    "line",
    ['{"item_id": "PEH-0001", "title": "\\ud800"}', '{"item_id": "PEH-0001", "\\ud800": "x"}',
     '{"item_id": "PEH-0001", "title": "x", "extra": {"a": 1e999}}',
     '{"item_id": "PEH-0001", "title": "x", "structure": [{"label": "\\udfff", "frames": [1]}]}'],
)  # fmt: skip
def test_halves_of_characters_and_endless_numbers_in_json_are_told_in_words(batch, line):
    (batch / "catalogue.csv").unlink()
    (batch / "catalogue.jsonl").write_text(line + "\n")
    try:
        assert items(take(batch))["PEH-0001"]["state"] == "held"
    except GlassineError as error:
        assert all("catalogue.jsonl" in each.path for each in error.findings)
