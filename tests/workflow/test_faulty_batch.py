"""A batch with one of each usual fault: the good goes on, the bad is named, the mended is done."""

import json
import shutil
import subprocess

import pytest

from makers.film import samples
from makers.film.faulty import make_faulty_batch
from makers.studio import Studio

BATCH = "faulty"
GOOD = {"PEH-0101", "PEH-0102"}
# What each held item must be told as: the code of its finding and the file named.
HELD = {
    "PEH-0103": ("masters.truncated", "PEH-0103.tif"),
    "PEH-0104": ("verify.digest", "PEH-0104.tif"),
    "PEH-0105": ("catalogue.no_row", "PEH-0105"),
    "PEH-0107": ("catalogue.master_of_two", "PEH-0107.tif"),
    "unidentified": ("naming.off_template", "scan 0042 final.tif"),
}


@pytest.fixture(scope="module")
def first_night(tmp_path_factory):
    studio = Studio(tmp_path_factory.mktemp("studio"))
    make_faulty_batch(studio.masters / BATCH)
    before = studio.masters_state()
    return studio, studio.night(), before


def held_records(studio):
    found = {}
    for path in (studio.root / "results" / BATCH / "items").glob("*/held.json"):
        record = json.loads(path.read_text())
        found[
            path.parent.name.split("-")[0] if "unid" in path.parent.name else path.parent.name
        ] = record
    return found


def test_the_run_says_that_not_all_is_well(first_night):
    _, outcome, _ = first_night
    assert outcome.code == 1
    assert "Traceback" not in outcome.text


def test_each_held_item_is_one_line_and_the_engine_says_nothing_of_it(first_night):
    studio, outcome, _ = first_night
    lines = outcome.text.splitlines()
    held = list((studio.root / "results" / BATCH).glob("**/held.json"))
    assert len(held) >= len(HELD)
    assert sum(line.startswith("HELD ") for line in lines) == len(held), outcome.text
    for word in (
        "RuleException",
        "WorkflowError",
        "Error in rule",
        "CalledProcessError",
        "rule item",
    ):
        assert word not in outcome.text
    plain = [line for line in lines if not line.startswith(("HELD ", "20"))]  # progress: a date
    assert len(plain) <= 12, plain


def test_good_items_are_finished(first_night):
    studio, _, _ = first_night
    for item in GOOD:
        folder = studio.item(BATCH, item)
        assert (folder / "done.json").exists()
        assert list((folder / "access").glob("*.jpg"))
        assert (folder / "METS.xml").exists()


def test_each_bad_item_is_named_with_file_cause_and_next_step(first_night):
    studio, outcome, _ = first_night
    held = held_records(studio)
    for item, (code, path) in HELD.items():
        assert item in held, item
        told = [(finding["code"], finding["path"]) for finding in held[item]["findings"]]
        assert (code, path) in told, (item, told)
        assert all(
            finding["what"] and finding["expected"] and finding["next_step"]
            for finding in held[item]["findings"]
        )
        assert f"[{code}]" in outcome.text
    assert set(held) - {"PEH-0108"} == set(HELD)


def test_the_report_is_made_and_names_them(first_night):
    studio, _, _ = first_night
    page = (studio.root / "results" / BATCH / "report" / "index.html").read_text("utf-8")
    for item in [*GOOD, "PEH-0103", "PEH-0104", "PEH-0105", "scan 0042 final.tif"]:
        assert item in page


def test_delivery_is_withheld(first_night):
    studio, _, _ = first_night
    assert not list((studio.root / "deliveries").glob("*"))


def test_masters_are_as_they_were(first_night):
    studio, _, before = first_night
    assert studio.masters_state() == before


def copy_of(studio, folder):
    shutil.copytree(studio.root, folder, symlinks=True)
    copied = Studio.__new__(Studio)
    copied.root, copied.masters = folder, folder / "masters"
    return copied


@pytest.fixture
def second(first_night, tmp_path):
    studio, _, _ = first_night
    return copy_of(studio, tmp_path / "again")


def add_row(studio, item):
    path = studio.masters / BATCH / "catalogue.csv"
    lines = path.read_text("utf-8").splitlines()
    row = lines[1].replace("PEH-0101", item)
    path.write_text("\n".join([*lines, row]) + "\n", "utf-8")


def test_one_mended_item_is_run_alone(second):
    add_row(second, "PEH-0105")
    outcome = second.night("--config", "only=PEH-0105")
    assert outcome.code == 0, outcome.text
    assert {item for step, item in outcome.jobs if step != "intake"} <= {"PEH-0105", BATCH}
    assert ("item", "PEH-0105") in outcome.jobs
    assert (second.item(BATCH, "PEH-0105") / "done.json").exists()
    assert not (second.item(BATCH, "PEH-0105") / "held.json").exists()
    assert not list((second.root / "deliveries").glob("*"))


def mend_all(studio):
    folder = studio.masters / BATCH
    add_row(studio, "PEH-0105")
    text = (folder / "catalogue.csv").read_text("utf-8")
    rows = [line for line in text.splitlines() if not line.startswith("PEH-0108")]
    (folder / "catalogue.csv").write_text("\n".join(rows) + "\n", "utf-8")
    (folder / "scan 0042 final.tif").rename(folder / "PEH-0106.tif")
    whole = samples.Sample("PEH-0103", "mounted_slide", 0.0, 202, {}, time="13:05:00")
    whole.write(folder, whole.plan(1000))
    names = sorted(path.name for path in folder.glob("*.tif"))
    (folder / "manifest-sha256.txt").write_text(samples.manifest_text(folder, names), "utf-8")


def test_the_next_night_does_the_rest_and_delivers(second):
    mend_all(second)
    outcome = second.night()
    assert outcome.code == 0, outcome.text[-3000:]
    # But for one that turns out to share the film of corrected items: its tone alone is new.
    films = json.loads((second.root / "results" / BATCH / "films.json").read_text())["films"]
    shared = {member["item"] for film in films for member in film["members"]}
    anew = {(step, item) for step, item in outcome.jobs if item in GOOD}
    assert anew <= {("item", item) for item in shared}
    assert (second.root / "deliveries" / f"{BATCH}.receipt.json").exists()
    again = second.night()
    assert again.code == 0
    assert again.jobs == set()


def test_what_is_done_is_delivered_alone_where_the_settings_say_so(second):
    outcome = second.night("--config", 'delivery={"when": "passed"}')
    assert outcome.code == 1
    bag = second.root / "deliveries" / BATCH
    assert {path.name for path in (bag / "data").iterdir()} >= GOOD
    text = "\n".join(path.name for path in bag.rglob("*"))
    assert not any(item in text for item in HELD if item != "unidentified")


def test_two_runs_at_once_exclude_each_other(second):
    add_row(second, "PEH-0105")
    first = subprocess.Popen(
        second.command(),
        env=second.environment(),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    lock = second.root / "results" / ".run.lock"
    try:
        while first.poll() is None and not (lock.exists() and lock.stat().st_size):
            pass
        outcome = second.night()
    finally:
        first.wait(timeout=300)
    assert outcome.code == 75
    assert "Another run is going on" in outcome.text
    assert outcome.jobs == set()
