"""The commands of a fresh machine: what they pass on, and when the environment is renewed."""

import importlib.util
import sys
from importlib.machinery import SourceFileLoader
from pathlib import Path

import pytest

SCRIPTS = Path(__file__).resolve().parents[3] / "scripts"


@pytest.fixture
def nightly():
    loader = SourceFileLoader("nightly", str(SCRIPTS / "nightly"))
    spec = importlib.util.spec_from_loader("nightly", loader)
    module = importlib.util.module_from_spec(spec)
    loader.exec_module(module)
    return module


@pytest.fixture
def setup(tmp_path, monkeypatch):
    import setup_environment

    environment = tmp_path / ".venv"
    (environment / "bin").mkdir(parents=True)
    (environment / "bin" / "python").write_text("")
    monkeypatch.setattr(setup_environment, "ENVIRONMENT", environment)
    return setup_environment


@pytest.mark.parametrize(
    ("given", "passed_on"),
    [
        ([], []),
        (["--dry-run", "--cores", "1"], ["--dry-run", "--cores", "1"]),
        (["--item", "PEH-1"], ["--config", "only=[PEH-1]"]),
        (["--item=PEH-1", "--item", "PEH-2"], ["--config", "only=[PEH-1,PEH-2]"]),
        (["--item", "PEH-1", "--item", "PEH-1"], ["--config", "only=[PEH-1]"]),
        (["--config", "a=1", "--config=b=2", "-C", "c=3"], ["--config", "a=1", "b=2", "c=3"]),
        (
            ["-C", "masters=x", "--item", "PEH-1", "-n"],
            ["-n", "--config", "only=[PEH-1]", "masters=x"],
        ),
        (
            ["--item", "PEH-1", "--config", "masters=x"],
            ["--config", "only=[PEH-1]", "masters=x"],
        ),
    ],
)
def test_further_arguments_reach_the_engine(nightly, given, passed_on):
    assert nightly.command_for(given)[3:] == passed_on


@pytest.mark.parametrize(
    "given", [["--item"], ["--item="], ["--item", "--cores", "1"], ["--item", "a,b"]]
)
def test_item_without_an_id_is_told(nightly, capsys, given):
    with pytest.raises(SystemExit) as ended:
        nightly.command_for(given)
    assert ended.value.code == 64  # EX_USAGE of <sysexits.h>
    assert "--item wants the id" in capsys.readouterr().err


@pytest.mark.parametrize(
    "given",
    [["fetch", "--item", "PEH-1"], ["--item", "PEH-1", "--config", "only=[PEH-2]"]],
)
def test_items_that_would_be_passed_over_are_refused(nightly, given):
    with pytest.raises(SystemExit) as ended:
        nightly.command_for(given)
    assert ended.value.code == 64


@pytest.mark.parametrize("given", [["--help"], ["--cores", "1", "-h"]])
def test_help_is_no_error(nightly, capsys, given):
    assert nightly.main(given) == 0
    assert "scripts/nightly" in capsys.readouterr().out


def test_the_environment_is_renewed_when_its_lock_changes(setup, monkeypatch):
    assert not setup._is_current("run")
    setup._mark("run").write_text(setup._lock_digest("run"))
    assert setup._is_current("run")
    assert not setup._is_current("test")
    monkeypatch.setattr(setup, "_lock_digest", lambda purpose: f"other {purpose}")
    assert not setup._is_current("run")


def test_the_larger_environment_serves_the_smaller_purpose(setup):
    setup._mark("test").write_text(setup._lock_digest("test"))
    assert setup._is_current("run")


@pytest.mark.parametrize(
    ("given", "purposes"),
    [
        ([], ["run"]),
        (["--cluster"], ["cluster"]),
        (["fetch", "--cores", "1"], ["store"]),
        (["send", "--cluster"], ["cluster", "store"]),
    ],
)
def test_the_environment_serves_what_is_asked(nightly, given, purposes):
    assert nightly.purposes_of(given) == purposes


@pytest.mark.parametrize(
    "name",
    [
        "requirements-test.lock",
        "requirements-cluster.lock",
        "requirements-store.lock",
        "requirements-text.lock",
    ],
)
def test_every_lock_holds_the_first_one_at_the_same_versions(name):
    def pins(path):
        lines = (SCRIPTS.parent / path).read_text().splitlines()
        # What follows ";" says on which machines; the versions are what must agree.
        return {line.split(" ")[0] for line in lines if line[:1].isalnum()}

    assert pins("requirements.lock") <= pins(name)


def test_what_storage_needs_goes_with_what_tests_need():
    """Both may be installed into one environment: what they share has one version."""

    def versions(path):
        lines = (SCRIPTS.parent / path).read_text().splitlines()
        return dict(line.split(" ")[0].split("==") for line in lines if line[:1].isalnum())

    tests, storage = versions("requirements-test.lock"), versions("requirements-store.lock")
    assert {name: tests[name] for name in tests.keys() & storage.keys()}.items() <= storage.items()


def test_setup_uses_nothing_but_the_standard_library():
    text = (SCRIPTS / "setup_environment.py").read_text()
    imported = {
        line.split()[1].split(".")[0]
        for line in text.splitlines()
        if line.startswith(("import ", "from "))
    }
    assert imported - set(sys.stdlib_module_names) - {"__future__"} == set()
