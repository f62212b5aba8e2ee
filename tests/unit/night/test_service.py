"""A night as a service: what systemd and cron make of the texts, and what is never touched.

Parsed by systemd itself: `systemd-analyze verify` writes at debug level how it understood a unit.
"""

import os
import pwd
import shlex
import shutil
import subprocess

import pytest

from glassine.base import settings
from glassine.night import service, units

needs_systemd = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="systemd-analyze is not installed here"
)
# A line end is refused; all else that a folder may be named by.
HOSTILE = 'a 50% "q" $HOME\'s é;#x\\y {b} %h'


def someone():
    """A user who is neither root nor nobody, as each machine has."""
    return next(each.pw_name for each in pwd.getpwall() if 0 < each.pw_uid < 60000)


@pytest.fixture(autouse=True, scope="module")
def read_once():
    """The schema of the settings is read once: this is not what is tried here."""
    read = settings.schema()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(settings, "schema", lambda: read)
        yield


@pytest.fixture
def place(tmp_path):
    folder = tmp_path / HOSTILE
    folder.mkdir()
    (folder / "own.yaml").write_text(f"masters: {tmp_path}/captured\n")
    (tmp_path / "captured").mkdir()
    return folder


def command(place, *more, run_as=True):
    who = ["--run-as", someone()] if run_as else []
    own = ["--directory", str(place), "--configfile", str(place / "own.yaml")]
    return ["install", *own, *who, *more]


@pytest.fixture
def no_rights_needed(monkeypatch):
    """Folders of a test are those of the user who runs it, not of the night's."""
    monkeypatch.setattr(service, "_require_rights", lambda *_: None)


def installed(place, folder, *more):
    folder.mkdir(exist_ok=True)
    assert service.main(command(place, "--units", str(folder), *more)) == 0


def as_understood(path):
    """Return how systemd understood a unit: {key: values}."""
    words = ["systemd-analyze", "verify", "--man=no", "--generators=no", str(path)]
    done = subprocess.run(
        words, capture_output=True, text=True, env={**os.environ, "SYSTEMD_LOG_LEVEL": "debug"}
    )
    said = {}
    begun = False
    for line in done.stdout.splitlines():
        begun = (line.startswith("\t-> Unit ") and path.name in line) or (
            begun and not line.startswith("\t-> Unit ")
        )
        key, _, value = line.strip().partition(": ")
        if begun:
            said.setdefault(key, []).append(value)
    return said


@needs_systemd
def test_hostile_paths_arrive_as_they_are(tmp_path, place, no_rights_needed):
    installed(place, tmp_path / "u")
    said = as_understood(tmp_path / "u" / "glassine.service")
    assert said["ReadWritePaths"] == [
        " ".join(
            [
                *(str(place / name) for name in ("results", "deliveries", ".snakemake")),
                "/tmp /var/tmp",
            ]
        )
    ]
    assert said["ReadOnlyPaths"] == [f"-{tmp_path}/captured -{place}/own.yaml"]
    assert any(f"{place} " in value for value in said["RequiresMountsFor"])
    # Printed as it would be written: in quotes, `$` still doubled.
    (line,) = said["Command Line"]
    words = shlex.split(line.replace("\\$", "$").replace("$$", "$"))
    assert words[2:4] == ["--directory", str(place)]
    assert words[4:6] == ["--configfile", str(place / "own.yaml")]


@needs_systemd
@pytest.mark.parametrize("way", [[], ["--network"], ["--cores", "4", "--memory", "24G"]])
def test_systemd_has_no_complaint(tmp_path, place, way, no_rights_needed):
    installed(place, tmp_path / "u", *way)
    paths = [str(path) for path in sorted((tmp_path / "u").iterdir())]
    assert len(paths) == 2
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", *paths], capture_output=True, text=True
    )
    assert [line for line in done.stderr.splitlines() if "glassine" in line] == []


@needs_systemd
def test_a_wrong_unit_is_complained_of(tmp_path):
    """The check above can fail."""
    unit = tmp_path / "glassine.service"
    assert service.verified({unit: "[Service]\nExecStart=relative\n"})


@needs_systemd
@pytest.mark.parametrize("way", [[], ["--network"]])
def test_what_is_left_to_the_night_rates_ok(tmp_path, place, way, no_rights_needed):
    installed(place, tmp_path / "u", *way)
    unit = str(tmp_path / "u" / "glassine.service")
    rated = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", "--threshold=20", unit],
        capture_output=True,
        text=True,
    )
    assert rated.returncode == 0, rated.stdout[-300:]  # 2.0 of 10; "OK" ends below 5
    assert " OK " in rated.stdout.splitlines()[-1]


def test_what_somebody_else_wrote_is_neither_replaced_nor_removed(
    tmp_path, place, capsys, no_rights_needed
):
    folder = tmp_path / "u"
    folder.mkdir()
    other = folder / "glassine.timer"
    other.write_text("[Timer]\nOnCalendar=daily\n")
    assert service.main(command(place, "--units", str(folder))) == 78
    assert sorted(folder.iterdir()) == [other]  # not even the half of it
    assert service.main(["remove", "--units", str(folder)]) == 78
    assert other.read_text() == "[Timer]\nOnCalendar=daily\n"
    assert capsys.readouterr().err.count("[service.not_own]") == 2


def test_what_was_changed_by_hand_is_kept(tmp_path, place, capsys, no_rights_needed):
    folder = tmp_path / "u"
    installed(place, folder)
    unit = folder / "glassine.service"
    unit.write_text(unit.read_text().replace("MemoryMax=90%", "MemoryMax=50%"))
    changed = unit.read_text()
    assert service.main(command(place, "--units", str(folder))) == 78
    assert service.main(["remove", "--units", str(folder)]) == 78
    assert unit.read_text() == changed and (folder / "glassine.timer").exists()
    assert service.main(["status", "--units", str(folder)]) == 1
    assert "changed by hand" in capsys.readouterr().out


def test_a_link_is_not_followed(tmp_path, place, no_rights_needed):
    folder = tmp_path / "u"
    folder.mkdir()
    (tmp_path / "elsewhere").write_text("kept")
    (folder / "glassine.service").symlink_to(tmp_path / "elsewhere")
    assert service.main(command(place, "--units", str(folder))) == 78
    assert (tmp_path / "elsewhere").read_text() == "kept"


def test_a_service_of_another_place_is_not_replaced(tmp_path, place, capsys, no_rights_needed):
    folder = tmp_path / "u"
    installed(place, folder)
    other = tmp_path / "other"
    other.mkdir()
    shutil.copy(place / "own.yaml", other)
    assert service.main(command(other, "--units", str(folder))) == 78
    assert "It runs another place" in capsys.readouterr().err
    assert service.main(command(other, "--units", str(folder), "--name", "other")) == 0
    assert len([*folder.iterdir()]) == 4


def test_installed_again_removed_and_looked_at(tmp_path, place, capsys, no_rights_needed):
    folder = tmp_path / "u"
    installed(place, folder, "--at", "20:30")
    assert service.main(["status", "--units", str(folder)]) == 0
    installed(place, folder, "--at", "22:15")  # another hour of the same place
    assert "OnCalendar=*-*-* 22:15:00" in (folder / "glassine.timer").read_text()
    # What the settings need now is told where the unit does not allow it yet.
    with (place / "own.yaml").open("a") as stated:
        stated.write("report: {notify: {webhook: 'https://hooks.port-ellery.example/x'}}\n")
    capsys.readouterr()
    assert service.main(["status", "--units", str(folder)]) == 1
    assert "scripts/service install --name glassine --at 22:15" in capsys.readouterr().out
    assert "PrivateNetwork=yes" in (folder / "glassine.service").read_text()
    installed(place, folder, "--at", "22:15")
    assert "PrivateNetwork" not in (folder / "glassine.service").read_text()
    (folder / "mine.timer").write_text("[Timer]\n")
    assert service.main(["remove", "--units", str(folder)]) == 0
    assert [path.name for path in folder.iterdir()] == ["mine.timer"]
    assert service.main(["remove", "--units", str(folder)]) == 1


def test_a_dry_run_writes_nothing(tmp_path, place, capsys):
    before = sorted(tmp_path.rglob("*"))
    assert service.main(command(place, "--units", str(tmp_path / "u"), "--dry-run")) == 0
    assert "OnCalendar=*-*-* 21:00:00" in capsys.readouterr().out
    assert sorted(tmp_path.rglob("*")) == before


def test_several_collections_are_one_service(tmp_path, capsys):
    root = tmp_path / "projects"
    for name in ("maps", "plates"):
        (root / name / "masters").mkdir(parents=True)
        (root / name / "config.yaml").write_text("{}\n")
    words = ["install", "--projects", str(root), "--run-as", someone(), "--dry-run"]
    assert service.main(words) == 0
    said = capsys.readouterr().out
    assert f'"--projects" "{root}"' in said
    assert f'ReadOnlyPaths="-{root}/maps/masters" "-{root}/plates/masters"' in said
    (root / "lost").mkdir()  # no settings: each night would end with 78
    assert service.main(words) == 78


def test_cron_gets_one_line_that_the_shell_takes_apart_rightly(tmp_path, capsys):
    place = tmp_path / "a 50% $X's"
    place.mkdir()
    words = ["install", "--directory", str(place), "--run-as", someone(), "--cron", "--at", "05:07"]
    assert service.main([*words, "--units", str(tmp_path / "cron.d"), "--dry-run"]) == 0
    line = capsys.readouterr().out.strip().splitlines()[-1]
    fields = line.split(None, 6)
    assert fields[:6] == ["7", "5", "*", "*", "*", someone()]
    assert "%" not in fields[6].replace("\\%", "")  # crontab(5): an unescaped one ends the command
    shell = fields[6].replace("\\%", "%").replace("nice -n 10", "printf '%s\\n'", 1)
    said = subprocess.run(["sh", "-c", shell.split(" 2>&1")[0]], capture_output=True, text=True)
    lines = said.stdout.splitlines()
    assert lines[lines.index("--directory") + 1] == str(place)


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["--at", "25:00"], 64, "expected HH:MM"),
        (["--memory", "lots"], 64, "as in 24G"),
        (["--name", "../x"], 64, "letters, digits"),
        (["--run-as", "root"], 78, "service.user"),
        (["--run-as", "nobody-here\n"], 78, "service.user"),
    ],
)
def test_what_cannot_be_used_is_refused_in_words(place, capsys, words, code, said):
    try:
        done = service.main(command(place, "--dry-run", *words, run_as=False))
    except SystemExit as ended:
        done = ended.code
    assert done == code
    assert said in capsys.readouterr().err


def test_a_line_end_in_a_path_is_refused(tmp_path, capsys):
    bad = tmp_path / "a\nExecStart=x"
    bad.mkdir()
    words = ["install", "--directory", str(bad), "--run-as", someone(), "--dry-run"]
    assert service.main(words) == 78
    assert "[service.path]" in capsys.readouterr().err


def test_the_service_of_a_user_asks_for_nothing_that_root_alone_may_give(place, capsys):
    assert service.main(command(place, "--user", "--dry-run", run_as=False)) == 0
    said = capsys.readouterr().out
    assert "User=" not in said and "CapabilityBoundingSet" not in said
    assert "PrivateUsers=yes" in said and "ProtectSystem=strict" in said


def test_storage_is_fetched_from_before_and_sent_to_after(tmp_path):
    stated = tmp_path / "own.yaml"
    stated.write_text("store: {masters: 's3://in', deliveries: 's3://out'}\n")
    ran = []

    def run(words):
        ran.append([word for word in words if word in ("fetch", "send")])
        return 69 if "fetch" in words else 0

    words = ["--directory", str(tmp_path), "--configfile", str(stated)]
    assert service.night(words, run) == 69
    assert ran == [["fetch"], [], ["send"]]


def test_marks_tell_own_and_unchanged():
    text = units.marked("[Timer]\n", ("--at", "21:00"))
    assert units.is_own(text) and units.is_unchanged(text)
    assert units.options_of(text) == ("--at", "21:00")
    assert units.is_own(text + "x") and not units.is_unchanged(text + "x")
    assert not units.is_own("# " + text)
    assert settings.PROJECT.joinpath("scripts", "service").stat().st_mode & 0o111


@pytest.mark.parametrize("way", [[], ["--cron"]])
def test_one_place_is_not_run_by_two_services(tmp_path, place, capsys, no_rights_needed, way):
    """The second night of each evening would find the first one going on, and fail."""
    folder = tmp_path / "u"
    place = plain(place)
    installed(place, folder)
    assert service.main(command(place, "--units", str(folder), "--name", "second", *way)) == 78
    assert "[service.twice]" in capsys.readouterr().err
    assert len([*folder.iterdir()]) == 2
    installed(place, folder, "--at", "22:00")  # itself anew is no second one


def plain(place):
    """The same place under a name that cron takes."""
    return place.rename(place.with_name("plain"))


@pytest.mark.parametrize("name", ["a b", "50% %h", "$HOME", "x\\y", "é;q", "@.service", "--user"])
def test_a_collection_of_a_hostile_name_is_refused_in_words(
    tmp_path, capsys, no_rights_needed, name
):
    root, folder = tmp_path / "projects", tmp_path / "u"
    (root / name / "masters").mkdir(parents=True)
    (root / name / "config.yaml").write_text("{}\n")
    folder.mkdir()
    words = ["install", "--projects", str(root), "--run-as", someone(), "--units", str(folder)]
    assert service.main(words) == 78
    assert "cannot be that of a project" in capsys.readouterr().err
    assert [*folder.iterdir()] == []


@needs_systemd
def test_collections_may_lie_in_a_folder_of_a_hostile_name(tmp_path, no_rights_needed):
    root, folder = tmp_path / HOSTILE, tmp_path / "u"
    (root / "maps" / "masters").mkdir(parents=True)
    (root / "maps" / "config.yaml").write_text("{}\n")
    folder.mkdir()
    words = ["install", "--projects", str(root), "--run-as", someone(), "--units", str(folder)]
    assert service.main(words) == 0
    said = as_understood(folder / "glassine.service")
    assert said["ReadOnlyPaths"][0].startswith(f"-{root}/maps/masters")


def test_a_place_that_was_moved_after_its_installation_is_told(
    tmp_path, place, capsys, no_rights_needed
):
    folder = tmp_path / "u"
    installed(place, folder)
    place.rename(tmp_path / "moved")
    capsys.readouterr()
    assert service.main(["status", "--units", str(folder)]) != 0
    said = capsys.readouterr()
    assert "Traceback" not in said.err and str(place.name)[:4] in said.out + said.err
    assert service.main(["remove", "--units", str(folder)]) == 0  # needs nothing of the place
    assert [*folder.iterdir()] == []
