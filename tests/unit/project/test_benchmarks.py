"""The page of benchmarks is what their results say, and tests stand without the benchmarks' code."""

from __future__ import annotations

import ast
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

PROJECT = Path(__file__).resolve().parents[3]
TESTS = PROJECT / "tests"
BENCHMARKS = TESTS / "benchmarks"
RESULTS = sorted((BENCHMARKS / "results").glob("*.json"))


def benchmarks(*arguments: str, project: Path = PROJECT) -> subprocess.CompletedProcess[str]:
    paths = os.pathsep.join([str(project / "scripts"), str(project / "tests")])
    return subprocess.run(
        [sys.executable, "-P", "-m", "benchmarks", *arguments],
        env={**os.environ, "PYTHONPATH": paths},
        capture_output=True,
        text=True,
        check=False,
    )


def copied(folder: Path) -> Path:
    """Make a project of a copy of the benchmarks, and return the copy."""
    (folder / "tests").mkdir()
    (folder / "scripts").symlink_to(PROJECT / "scripts")
    (folder / "tests" / "makers").symlink_to(TESTS / "makers")
    ignored = shutil.ignore_patterns("__pycache__")
    return shutil.copytree(BENCHMARKS, folder / "tests" / "benchmarks", ignore=ignored)


def contents(folder: Path) -> dict[Path, bytes]:
    paths = [path for path in folder.rglob("*") if path.suffix in (".json", ".md")]
    return {path: path.read_bytes() for path in paths}


def test_the_page_is_what_the_results_say() -> None:
    done = benchmarks("--page", "--check")
    assert done.returncode == 0, done.stderr


def test_a_result_that_the_page_does_not_show_is_noticed(tmp_path: Path) -> None:
    copy = copied(tmp_path)
    path = copy / "results" / "targets-speed.json"
    result = json.loads(path.read_text("utf-8"))
    result["rows"][0]["clock_s"] += 1
    path.write_text(json.dumps(result), "utf-8")
    done = benchmarks("--page", "--check", project=tmp_path)
    assert done.returncode == 1
    assert "run --page" in done.stderr
    assert benchmarks("--page", project=tmp_path).returncode == 0
    assert benchmarks("--page", "--check", project=tmp_path).returncode == 0


@pytest.mark.parametrize("path", RESULTS, ids=lambda path: path.stem)
def test_results_have_one_schema(path: Path) -> None:
    result = json.loads(path.read_text("utf-8"))
    assert {*result} - {"summary", "source"} == {"name", "command", "date", "machine", "rows"}
    assert result["name"] == path.stem
    assert result["command"].startswith("tests/benchmarks/run ")
    assert {*result["machine"]} == {"cpu", "cores", "memory_gb", "python"}
    for row in [*result["rows"], result.get("summary", {})]:
        assert all(value is None or isinstance(value, str | int | float) for value in row.values())
    first = [next(iter(row.values())) for row in result["rows"]]
    assert first and len({*first}) == len(first), "rows are compared by their first column"


def test_a_kept_run_is_in_its_file_and_on_the_page(tmp_path: Path) -> None:
    copy = copied(tmp_path)
    done = benchmarks("records", "--repetitions", "1", "--keep", "once", project=tmp_path)
    assert done.returncode == 0, done.stderr
    result = json.loads((copy / "results" / "records-once.json").read_text("utf-8"))
    assert result["command"] == "tests/benchmarks/run records --repetitions 1"
    assert "record, processor" in [row["what"] for row in result["rows"]]
    assert "## records-once" in (copy / "README.md").read_text("utf-8")


def test_without_keep_nothing_is_written(tmp_path: Path) -> None:
    copy = copied(tmp_path)
    before = contents(copy)
    assert benchmarks("records", "--repetitions", "1", project=tmp_path).returncode == 0
    assert contents(copy) == before


def test_names_are_listed_and_unknown_ones_refused() -> None:
    listed = benchmarks()
    assert listed.returncode == 0
    for name in ("locate", "tone-quality", "pixels", "faults-kills", "targets"):
        assert f"  {name} " in listed.stdout
    refused = benchmarks("no-such-name")
    assert refused.returncode == 2
    assert "no-such-name is no benchmark" in refused.stderr
    assert benchmarks("records", "--keep", "../x").returncode == 2


def test_each_name_has_a_module_whose_main_takes_arguments() -> None:
    code = (
        "import importlib\n"
        "from benchmarks.names import BENCHMARKS\n"
        "for name, each in BENCHMARKS.items():\n"
        "    module = importlib.import_module(f'benchmarks.{each.module}')\n"
        "    assert module.main.__code__.co_varnames[:1] == ('arguments',), name\n"
    )
    paths = os.pathsep.join([str(PROJECT / "scripts"), str(TESTS)])
    environment = {**os.environ, "PYTHONPATH": paths}
    subprocess.run([sys.executable, "-P", "-c", code], env=environment, check=True)


def modules_imported(source: str) -> set[str]:
    """Return the first parts of what a module imports, and of modules named in texts."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {name.name.partition(".")[0] for name in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module.partition(".")[0])
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            found.add(node.value.partition(".")[0])
    return found


def test_tests_and_makers_use_no_code_of_benchmarks() -> None:
    assert "benchmarks" in modules_imported("from benchmarks.tone import run")
    assert "benchmarks" in modules_imported('Apart("benchmarks.faults.fuzz:way")')
    using = [
        str(path.relative_to(TESTS))
        for path in sorted(TESTS.rglob("*.py"))
        if BENCHMARKS not in path.parents
        and path != Path(__file__)
        and "benchmarks" in modules_imported(path.read_text("utf-8"))
    ]
    assert using == []
