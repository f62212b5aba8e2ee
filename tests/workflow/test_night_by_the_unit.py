"""A night as the service manager, cron and a container start it: by the very words that are written,
in nothing but their environment, where all but what a night may write is read-only.

No service manager runs here: what a unit takes away (all but its ReadWritePaths read-only, an own
/tmp, no network) is taken away by mounts and namespaces of the test. That needs root.
"""

import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import yaml

from glassine.base import settings
from makers.film import samples
from makers.film.samples import Sample

PROJECT = settings.PROJECT
ITEM = "PEH-0201"
USER = "daemon"
# systemd.exec(5) for services of the system; HOME and the like follow User=.
PATHS = "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin"
PLACE = 'a 50% "place" of $HOME'
UNSHARE = ["unshare", "--mount", "--net", "--propagation", "private"]


def can_unshare():
    if os.geteuid() or not shutil.which("unshare") or not shutil.which("setpriv"):
        return False
    return subprocess.run([*UNSHARE, "true"], capture_output=True).returncode == 0


def as_user(user, group):
    return ["setpriv", "--reuid", user, "--regid", group, "--clear-groups"]


def is_seen_by_others():
    """Return whether this checkout and its Python can be used by another user who has an own /tmp."""
    if {"/tmp", "/var/tmp"} & {*map(str, PROJECT.parents), *map(str, Path(sys.prefix).parents)}:
        return False
    tried = [*as_user(USER, USER), sys.executable, "-c", ""]
    return subprocess.run(tried, capture_output=True).returncode == 0


pytestmark = [
    pytest.mark.skipif(not can_unshare(), reason="mounts of its own need root and unshare"),
    pytest.mark.skipif(
        can_unshare() and not is_seen_by_others(),
        reason="the checkout or its Python is in /tmp, or closed to other users",
    ),
]

# Mounts everything read-only but the folders named, an own /tmp; then runs the rest of the words.
# $1: the studio's folder, shown as /mnt; $2: how many folders follow that may be written.
ALONE = r"""
set -eu
studio=$1 count=$2; shift 2
mount --bind "$studio" /mnt
[ ! -d "$studio/opt" ] || mount --bind "$studio/opt" /opt
while [ "$count" -gt 0 ]; do mount --bind "$1" "$1"; count=$((count - 1)); open="${open:-}:$1:"; shift; done
mount -t tmpfs -o mode=1777 tmpfs /tmp
tac /proc/self/mountinfo | cut -d' ' -f5 | while read -r point; do
  path=$(printf '%b' "$point")
  case "$path" in /proc*|/sys*|/dev*|/tmp) continue;; esac
  case "${open:-}" in *":$path:"*) continue;; esac
  mount -o remount,bind,ro "$path" 2>/dev/null || true
done
"$@"
"""


@pytest.fixture(scope="module")
def studio(tmp_path_factory):
    """One item, in a place with a hostile name; all of it is shown as /mnt to the night."""
    root = tmp_path_factory.mktemp("unit")
    batch = root / "captured" / "b1"
    batch.mkdir(parents=True)
    sample = Sample(ITEM, "print", 0.0, 300, {}, time="13:05:00")
    sample.write(batch, sample.plan(500))
    (batch / "manifest-sha256.txt").write_text(samples.manifest_text(batch, [sample.name]))
    (batch / "catalogue.csv").write_text(f"item_id,title,date\n{ITEM},Quay,1905\n")
    (batch / "batch.yaml").write_text(yaml.safe_dump({"items": [{"match": ITEM, "kind": "print"}]}))
    root.chmod(0o755)
    for place in (PLACE, "data"):
        (root / place).mkdir()
        (root / place / "own.yaml").write_text("masters: /mnt/captured\n")
    return root


def state(folder):
    return {
        str(path): (path.stat().st_mtime_ns, path.stat().st_size, path.stat().st_mode)
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def alone(studio, written, words, **more):
    """Run words where nothing but these folders can be written."""
    command = [*UNSHARE, "sh", "-c", ALONE, "sh", str(studio), str(len(written)), *written]
    return subprocess.run(
        [*command, *words], capture_output=True, text=True, timeout=600, cwd="/", **more
    )


def quoted_words(line):
    """Take a setting's words apart as systemd.syntax(7) has it: quotes, escapes, specifiers."""
    words = [re.sub(r"\\(.)", r"\1", each) for each in re.findall(r'"((?:[^"\\]|\\.)*)"', line)]
    return [word.replace("%%", "%") for word in words]


def installed(studio, *more):
    """Return the files that the command writes for /mnt/<place>, {name: text}."""
    (studio / "units").mkdir(exist_ok=True)
    place = f"/mnt/{PLACE}"
    words = [sys.executable, "-m", "glassine.night.service", "install", "--directory", place]
    words += ["--configfile", f"{place}/own.yaml", "--units", "/mnt/units", "--run-as", USER]
    done = subprocess.run(
        [*UNSHARE, "sh", "-c", 'mount --bind "$0" /mnt; "$@"', str(studio), *words, *more],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(PROJECT / "scripts")},
    )
    assert done.returncode == 0, done.stderr
    return {path.name: path.read_text("utf-8") for path in (studio / "units").iterdir()}


def values(unit, key):
    return [line.partition("=")[2] for line in unit.splitlines() if line.startswith(f"{key}=")]


# Says which of the folders named after it can be written, by root itself; then goes on with the
# words behind `--`.
TRIED = r"""
while [ "$1" != -- ]; do if touch "$1/tried" 2>/dev/null; then echo "WRITABLE $1"; fi; shift; done
shift; exec "$@"
"""


def night_in(studio, written, environment, who, command):
    """Run a night where only these folders can be written; return (exit code, what it said)."""
    read_only = ["/mnt/captured", "/mnt", str(PROJECT), "/usr", "/etc", "--"]
    words = ["env", "-i", *environment, "sh", "-c", TRIED, "sh", *read_only, *who, *command]
    done = alone(studio, written, words)
    assert "WRITABLE" not in done.stdout
    return done.returncode, done.stdout + done.stderr


@pytest.fixture(scope="module")
def by_the_unit(studio):
    """What a night said that was started by the unit's own words."""
    unit = installed(studio)["glassine.service"]
    before = state(studio / "captured")
    written = quoted_words(values(unit, "ReadWritePaths")[0])
    assert [Path(path).name for path in written] == ["results", "deliveries", ".snakemake"]
    assert "PrivateTmp=yes" in unit and "PrivateNetwork=yes" in unit
    stated = [each.replace("%C", "/tmp/cache") for each in values(unit, "Environment")]
    command = [word.replace("$$", "$") for word in quoted_words(values(unit, "ExecStart")[0])]
    environment = [f"PATH={PATHS}", "HOME=/nonexistent", f"USER={USER}", f"LOGNAME={USER}", *stated]
    said = night_in(studio, written, environment, as_user(USER, USER), command)
    assert state(studio / "captured") == before
    return said


def summary_of(place):
    return json.loads((place / "results" / "summary.json").read_text("utf-8"))


def test_the_units_own_words_do_a_night_where_only_its_paths_can_be_written(studio, by_the_unit):
    code, said = by_the_unit
    assert code == 0, said[-1500:]
    told = summary_of(studio / PLACE)
    assert (told["finished"], told["held"]) == (1, 0)
    assert (studio / PLACE / "deliveries" / "b1").is_dir()


def test_the_line_for_cron_runs_the_next_night(studio, by_the_unit):
    shutil.rmtree(studio / "units")  # one service for a place
    text = installed(studio, "--cron", "--name", "by-cron")["by-cron"]
    stated = [line for line in text.splitlines() if re.match(r"[A-Z]+=", line)]
    line = text.splitlines()[-1].split(None, 6)
    assert line[5] == USER
    (studio / "bin").mkdir()
    logger = studio / "bin" / "logger"
    logger.write_text('#!/bin/sh\necho "logged as $2"; exec cat\n')
    logger.chmod(0o755)
    path = next(each for each in stated if each.startswith("PATH="))
    environment = [f"PATH=/mnt/bin:{path.removeprefix('PATH=')}", "HOME=/tmp", f"LOGNAME={USER}"]
    shell = ["/bin/sh", "-c", line[6].replace("\\%", "%")]
    written = [f"/mnt/{PLACE}/{name}" for name in ("results", "deliveries", ".snakemake")]
    items = studio / PLACE / "results" / "b1" / "items"
    before = state(items)
    code, said = night_in(studio, written, environment, as_user(USER, USER), shell)
    assert code == 0 and "logged as by-cron" in said and "b1: 1 items" in said, said[-1500:]
    assert state(items) == before


def of_image(name):
    text = re.sub(r"\\\n", " ", (PROJECT / "Containerfile").read_text("utf-8"))
    return [line.partition(" ")[2].strip() for line in text.splitlines() if line.startswith(name)]


def test_what_the_image_copies_does_a_night_as_its_user_on_a_root_that_is_read_only(studio):
    """The image's own steps but for the packages, which are those of the tests' environment."""
    (root,) = of_image("WORKDIR")
    place = studio / root.lstrip("/")
    place.mkdir(parents=True)
    for step in of_image("COPY"):
        *names, target = shlex.split(step)
        for name in names:
            if (PROJECT / name).is_dir():
                ignored = shutil.ignore_patterns("__pycache__")
                shutil.copytree(PROJECT / name, place / target, ignore=ignored)
            else:
                shutil.copy(PROJECT / name, place / target)
    (place / ".venv").symlink_to((PROJECT / ".venv").resolve())
    user, group = of_image("USER")[0].split(":")
    for path in (studio / "data", studio / "data" / "own.yaml"):
        os.chown(path, int(user), int(group))
    entry = [word.replace("/data", "/mnt/data") for word in json.loads(of_image("ENTRYPOINT")[0])]
    more = ["--configfile", "/mnt/data/own.yaml", *json.loads(of_image("CMD")[0])]
    environment = [f"PATH={PATHS}", *shlex.split(of_image("ENV")[0])]
    who = as_user(user, group)
    code, said = night_in(studio, ["/mnt/data"], environment, who, [*entry, *more])
    assert code == 0, said[-1500:]
    assert summary_of(studio / "data")["finished"] == 1


def test_without_its_paths_no_night_would_be_done(studio):
    """The mounts of these tests do what they say: nothing can be written, and that is said."""
    words = [str(PROJECT / "scripts" / "nightly"), "--directory", "/mnt/data"]
    words += ["--configfile", "/mnt/data/own.yaml", "--quiet", "rules"]
    environment = [f"PATH={PATHS}", "HOME=/tmp", "LOGNAME=x"]
    command = [str(PROJECT / ".venv" / "bin" / "python"), *words]
    code, said = night_in(studio, [], environment, as_user(USER, USER), command)
    assert code == 73 and "Traceback" not in said, said[-1500:]
