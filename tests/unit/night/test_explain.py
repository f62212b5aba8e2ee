"""A dry look at a batch folder says of each file what the night then does, and writes nothing.

The night is intake and verify as its jobs do them: no item is held later for what it looks like
before a pixel is read.
"""

import re

import pytest

from glassine.base import settings
from glassine.base.errors import GlassineError
from glassine.intake import proposals
from glassine.night import due, explain, explained
from makers.step_calls import do_step, taken_in
from makers.studio_folders import STUDIOS, Folder

IDENTITY = {
    "institution": {
        "name": "Port Ellery Harbour Archive",
        "id": "https://peh.port-ellery.example/",
    },
    "iiif": {"base_url": "https://images.port-ellery.example/iiif"},
    "rights": {"jurisdiction": "gb"},
    "intake": {"watch_s": 0},
}


def config(masters, **more):
    return explained.merged({**IDENTITY, "masters": str(masters)}, more)


@pytest.fixture(params=sorted(STUDIOS))
def folder(request, tmp_path):
    path = tmp_path / "masters" / "b1"
    path.mkdir(parents=True)
    STUDIOS[request.param](Folder(path))
    return path


def night(folder, config, results):
    """Return {path of a master: whether the night goes on with it}, by intake and verify."""
    try:
        taken = taken_in(folder, {"batch": folder.name, "settings": config})
    except GlassineError:
        return None
    batch = due.Batch(taken)
    states = {}
    for item, entry in batch.items.items():
        item_dir = results / item
        item_dir.mkdir(parents=True, exist_ok=True)
        try:
            do_step("verify", folder, item_dir, due.given("verify", batch, item, config))
            goes_on = entry.state == "ready"
        except GlassineError:
            goes_on = False
        states |= {master.path: goes_on for master in entry.masters}
    return states


def on(said):
    """Return {path of a master: whether it goes on}, as the dry look says it."""
    masters = [fate for fate in said.fates if re.match("(a )?master of", fate.what)]
    return {fate.path: fate.state in ("goes on", "for review") for fate in masters}


def state(folder):
    return {
        str(path.relative_to(folder)): (
            path.lstat().st_mtime_ns,
            path.is_file() and path.read_bytes(),
        )
        for path in sorted(folder.rglob("*"))
    }


def test_each_file_stands_once_and_each_master_does_as_was_said(folder, tmp_path):
    complete = settings.load(config(folder.parent))
    before = state(tmp_path)
    said = explained.explain(folder, "b1", complete)
    assert state(tmp_path) == before, "a dry look wrote something"
    paths = [fate.path for fate in said.fates]
    assert sorted(paths) == sorted(
        str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()
    )
    assert explained.UNKNOWN not in {fate.what for fate in said.fates}
    done = night(folder, complete, tmp_path / "results")
    if done is None:
        assert said.stopped
    else:
        assert on(said) == done
        assert all(fate.why for fate in said.fates if fate.state == "held")


def test_with_the_proposed_lines_as_many_go_on_as_was_said(folder, tmp_path):
    complete = settings.load(config(folder.parent))
    said = explained.explain(folder, "b1", complete)
    if not said.with_it:
        assert said.proposal.settings == {}
        return
    for step in said.proposal.by_hand:
        was = re.fullmatch(r"Rename (.*) to catalogue\.csv\.", step)[1]
        (folder / was).rename(folder / "catalogue.csv")
    lines = "\n".join(explain.lines_of(said.proposal.settings))
    pasted = settings.load(config(folder.parent, **settings.parse_yaml(lines, "pasted")))
    done = night(folder, pasted, tmp_path / "results")
    assert sum(done.values()) == said.with_it > said.going_on
    assert on(explained.explain(folder, "b1", pasted)) == done


EXPECTED = {
    # Of the studios whose names one pattern tells: how many of their masters go on with it.
    "windows": (3, 3),
    "macos": (3, 3),
    "parts": (7, 8),
    "rolls": (6, 6),
    "table_elsewhere": (3, 3),
    "mixed": (2, 3),
}


if proposals.takes("naming.same_number"):
    EXPECTED |= {"inventory": (5, 5), "days": (6, 6)}


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_the_proposal_makes_a_studios_names_right(name, tmp_path):
    path = tmp_path / "masters" / "b1"
    path.mkdir(parents=True)
    STUDIOS[name](Folder(path))
    said = explained.explain(path, "b1", settings.load(config(path.parent)))
    wanted, masters = EXPECTED[name]
    assert said.with_it == wanted
    assert sum(1 for each in path.rglob("*.[tT][iI][fF]") if each.name[:2] != "._") == masters


def told(capsys, named, config, working_dir):
    code = explain.run(named, config, working_dir)
    out, err = capsys.readouterr()
    return code, out, err


def made(tmp_path, studio, batch="b1"):
    path = tmp_path / "masters" / batch
    path.mkdir(parents=True)
    STUDIOS[studio](Folder(path))
    return path


def test_a_wrong_name_and_a_wrong_setting_are_one_sentence_each(tmp_path, capsys):
    made(tmp_path, "plain", "harbour-1")
    stated = config(tmp_path / "masters")
    code, out, err = told(capsys, "harbor-1", stated, tmp_path)
    assert (code, out) == (64, "")
    assert err.count("\n") == 1
    assert "Did you mean harbour-1?" in err
    code, out, err = told(capsys, "masters/harbour-1/PEH-0001.tif", stated, tmp_path)
    assert (code, err.count("\n")) == (64, 1)
    code, out, err = told(capsys, "harbour-1", stated | {"naming": {"patern": "x"}}, tmp_path)
    assert (code, out, err.count("\n")) == (78, "", 1)
    code, out, err = told(capsys, "harbour-1", stated | {"naming": {"pattern": "("}}, tmp_path)
    assert (code, out, err.count("\n")) == (78, "", 1)


def test_a_folder_whose_name_is_no_batchs_is_told_with_one_that_is(tmp_path, capsys):
    made(tmp_path, "plain", "Hafen März 2026")
    code, out, _ = told(capsys, "Hafen März 2026", config(tmp_path / "masters"), tmp_path)
    assert code == 1
    assert "rename it, say to Hafen-Marz-2026." in out
    assert "master of PEH-0001" in out


def test_missing_names_of_the_institution_are_told_with_lines_to_write(tmp_path, capsys):
    made(tmp_path, "plain")
    stated = {"masters": "masters", "intake": {"watch_s": 0}}
    code, out, _ = told(capsys, "b1", stated, tmp_path)
    assert code == 1
    assert "institution: {" in out


def test_the_folder_of_masters_tells_of_every_batch_and_of_what_is_none(tmp_path, capsys):
    made(tmp_path, "plain", "b1")
    made(tmp_path, "macos", "b2")
    (tmp_path / "masters" / "loose.tif").write_bytes(b"II*\0")
    code, out, _ = told(capsys, "masters", config(tmp_path / "masters"), tmp_path)
    assert code == 1
    assert "b1: " in out
    assert "b2: " in out
    assert "[run.loose_files]" in out


def test_names_of_files_are_printed_so_that_none_turns_a_line_around(tmp_path, capsys):
    path = made(tmp_path, "plain")
    (path / "x\n  PEH-0009.tif: goes on").write_text("x")
    _, out, _ = told(capsys, "b1", config(tmp_path / "masters"), tmp_path)
    assert "\n  PEH-0009.tif" not in out


def test_a_sound_batch_ends_with_0(tmp_path, capsys):
    path = made(tmp_path, "plain")
    (path / "manifest-sha256.txt").unlink()
    assert told(capsys, str(path), config(tmp_path / "masters"), tmp_path)[0] == 0


def test_files_that_say_something_of_the_batch_are_called_what_they_are(tmp_path):
    path = made(tmp_path, "plain")
    digests = (path / "manifest-sha256.txt").read_text()
    (path / "manifest-sha256.txt").rename(path / "digests of friday.log")
    assert digests
    (path / "pull-list.csv").write_text("item_id\nPEH-0001\n")
    (path / "session.yaml").write_text("station: table-1\n")
    (path / "batch.yaml").write_text(
        "targets: [{path: PEH-0005.tif, description: film-example.yaml}]\n"
    )
    (path / "film-example.yaml").write_text("kind: film\n")
    said = explained.explain(path, "b1", settings.load(config(path.parent)))
    whats = {fate.path: fate.what for fate in said.fates}
    assert whats["digests of friday.log"] == "checksum list"
    assert whats["pull-list.csv"] == "list of expected items"
    assert whats["session.yaml"] == "session of captures"
    assert whats["film-example.yaml"] == "description of a target"
    assert whats["PEH-0005.tif"] == "capture of a target (batch.yaml)"
    assert whats["notes from the studio.txt"] == "another file, left alone"
    assert explained.UNKNOWN not in whats.values()


def test_a_reader_of_headers_that_ends_without_an_answer_is_no_sound_header(
    tmp_path, capsys, monkeypatch
):
    made(tmp_path, "plain")
    (tmp_path / "masters" / "b1" / "manifest-sha256.txt").unlink()
    monkeypatch.setattr(explained.Apart, "ask", lambda *_, **__: None)
    code, out, _ = told(capsys, "b1", config(tmp_path / "masters"), tmp_path)
    assert code == 1
    assert "[plan.header]" in out
