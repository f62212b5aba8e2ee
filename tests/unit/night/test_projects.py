"""Several collections: each with its own settings and masters, and an overview that drops none.

Ways to be wrong and look right: one collection's night works on another's masters; a wrong setting
of one ends the nights of all; the exit code of all is that of the last; a project that did not run
keeps the figures of the night before.
"""

import json
import os

import pytest

from glassine.base.errors import GlassineError
from glassine.night import overview, projects


def make(root, name, text="rights: {jurisdiction: gb}\n", masters=True):
    folder = root / name
    folder.mkdir(parents=True)
    (folder / "config.yaml").write_text(text)
    if masters:
        (folder / "masters").mkdir()
    return folder


class Runs:
    """Takes the place of the engine: keeps what it was asked, answers with exit codes by name."""

    def __init__(self, **codes):
        self.codes, self.asked = codes, {}

    def __call__(self, words):
        folder = words[words.index("--directory") + 1]
        name = folder.rpartition("/")[2]
        self.asked[name] = words
        return self.codes.get(name, 0)


def test_each_runs_in_its_own_folder_with_the_common_settings_before_its_own(tmp_path):
    (tmp_path / "common.yaml").write_text("iiif: {quality: 80}\n")
    make(tmp_path, "maps")
    make(tmp_path, "film", "masters: /srv/film\n")
    runs = Runs()
    assert projects.run_all(tmp_path, projects.find(tmp_path), ["--config", "only=[A]"], runs) == 0
    assert list(runs.asked) == ["film", "maps"]
    words = runs.asked["maps"]
    at = words.index("--configfile")
    assert words[at + 1 : at + 3] == [
        str(tmp_path / "common.yaml"), str(tmp_path / "maps" / "config.yaml"),
    ]  # fmt: skip
    assert words[words.index("--config") + 1 :] == [f"masters={tmp_path}/maps/masters", "only=[A]"]
    assert not any("masters=" in word for word in runs.asked["film"])


def test_the_same_masters_are_never_those_of_two_projects(tmp_path):
    make(tmp_path, "a", f"masters: {tmp_path}/c/masters\n")
    make(tmp_path, "b", f"masters: {tmp_path}/c\n")
    make(tmp_path, "c")
    make(tmp_path, "d")
    runs = Runs()
    assert projects.run_all(tmp_path, projects.find(tmp_path), [], runs) == 78
    assert list(runs.asked) == ["d"]


@pytest.mark.parametrize("text", ["naming: [\n", "- x\n", "just words\n"])
def test_wrong_settings_of_one_keep_no_other_from_its_turn(tmp_path, text, capsys):
    make(tmp_path, "a", text)
    make(tmp_path, "b")
    (tmp_path / "no settings").mkdir()
    runs = Runs()
    assert projects.run_all(tmp_path, projects.find(tmp_path), [], runs) == 78
    assert list(runs.asked) == ["b"]
    err = capsys.readouterr().err
    assert err.count("NOT DONE") == 2
    assert "Traceback" not in err
    page = (tmp_path / "overview.html").read_text()
    assert "no settings" in page


def test_the_exit_code_is_the_gravest_not_the_last(tmp_path):
    for name in "abc":
        make(tmp_path, name)
    found = projects.find(tmp_path)
    assert projects.run_all(tmp_path, found, [], Runs(a=1, b=66)) == 66
    assert projects.run_all(tmp_path, found, [], Runs(a=1)) == 1
    assert projects.run_all(tmp_path, found, [], Runs(a=-9)) == 1
    assert projects.run_all(tmp_path, found, [], Runs()) == 0


def test_one_may_be_chosen_and_an_unknown_one_is_refused(tmp_path):
    make(tmp_path, "film")
    make(tmp_path, "maps")
    assert [each.name for each in projects.find(tmp_path, ["maps"]).chosen] == ["maps"]
    with pytest.raises(GlassineError, match="Did you mean film"):
        projects.find(tmp_path, ["flim"])
    with pytest.raises(GlassineError):
        projects.find(tmp_path / "nowhere")
    (tmp_path / "empty").mkdir()
    with pytest.raises(GlassineError):
        projects.find(tmp_path / "empty")


def summary(folder, **counts):
    (folder / "results").mkdir(exist_ok=True)
    (folder / "results" / "summary.json").write_text(json.dumps({"finished": 3, **counts}))


def test_figures_are_of_this_night_or_none(tmp_path):
    folder = make(tmp_path, "film")
    summary(folder, held=2)
    os.utime(folder / "results" / "summary.json", (1, 1))
    projects.run_all(tmp_path, projects.find(tmp_path), [], Runs(film=73))

    def runs(_):
        summary(folder, held=5)
        return 1

    projects.run_all(tmp_path, projects.find(tmp_path), [], runs)
    nights = json.loads((tmp_path / "overview.json").read_text())["nights"]
    assert [night["counts"] for night in nights] == [{}, {"finished": 3, "held": 5}]
    page = (tmp_path / "overview.html").read_text()
    assert "3 finished, 5 held" in page
    assert "exit code 73" in page


def test_nights_of_more_than_30_days_ago_go_and_their_project_stays(tmp_path, monkeypatch):
    make(tmp_path, "film")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1773741600")
    overview.add(tmp_path, [overview.Night("film", "2026-03-17T10:00:00Z", 1)])
    monkeypatch.setenv("SOURCE_DATE_EPOCH", str(1773741600 + 31 * 86400))
    overview.add(tmp_path, [])
    assert json.loads((tmp_path / "overview.json").read_text())["nights"] == []
    assert "no night in the last 30 days" in (tmp_path / "overview.html").read_text()


def test_a_damaged_history_is_kept_and_begun_anew(tmp_path):
    make(tmp_path, "film")
    (tmp_path / "overview.json").write_text('{"nights": [{"project": 1}]}')
    projects.run_all(tmp_path, projects.find(tmp_path), [], Runs())
    assert (tmp_path / "overview.damaged.json").exists()
    assert len(json.loads((tmp_path / "overview.json").read_text())["nights"]) == 1


def test_an_item_of_two_projects_is_named(tmp_path):
    for name in ("film", "maps"):
        folder = make(tmp_path, name)
        (folder / "results" / "b1" / "items" / "PEH-0001").mkdir(parents=True)
    projects.run_all(tmp_path, projects.find(tmp_path), [], Runs())
    assert "PEH-0001: film, maps" in (tmp_path / "overview.html").read_text()


def test_names_of_folders_stay_text(tmp_path):
    make(tmp_path, "a")
    (tmp_path / "<b>x").mkdir()
    projects.run_all(tmp_path, projects.find(tmp_path), [], Runs())
    assert "<b>x" not in (tmp_path / "overview.html").read_text()


@pytest.mark.parametrize("arguments", [["--dry-run"], ["-n"], ["fetch"], ["send"]])
def test_a_run_that_does_no_nights_work_is_no_night(tmp_path, arguments):
    make(tmp_path, "a")
    runs = Runs()
    projects.run_all(tmp_path, projects.find(tmp_path), arguments, runs)
    assert list(runs.asked) == ["a"]
    assert not (tmp_path / "overview.json").exists()
