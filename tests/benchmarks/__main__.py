"""What `tests/benchmarks/run` starts, once the environment is there."""

from __future__ import annotations

import importlib
import json
import os
import shlex
import sys

from benchmarks import page, result
from benchmarks.names import BENCHMARKS, HERE

RUN = "tests/benchmarks/run"
USAGE = f"{RUN} NAME [arguments] [--keep [VARIANT]], or {RUN} --page [--check]"


def names() -> str:
    width = max(map(len, BENCHMARKS))
    lines = [f"  {name:{width}}  {each.about}" for name, each in BENCHMARKS.items()]
    return "\n".join([USAGE, "", *lines])


def refused(problem: str) -> int:
    sys.stderr.write(f"{problem}\n{names()}\n")
    return 2


def kept_as(name: str, arguments: list[str]) -> tuple[str | None, list[str]]:
    """Return the name to keep the result under (None: not kept), and the other arguments.

    ValueError: `--keep` is followed by what cannot be part of a file's name.
    """
    if "--keep" not in arguments:
        return None, arguments
    place = arguments.index("--keep")
    rest = arguments[place + 1 :]
    if not rest or rest[0].startswith("--"):
        return name, [*arguments[:place], *rest]
    variant = rest[0]
    if not variant.replace("-", "").isalnum():
        raise ValueError(f"--keep {variant}: expected letters, digits and hyphens")
    return f"{name}-{variant}", [*arguments[:place], *rest[1:]]


def measured(name: str, own: list[str], keep: str | None) -> int:
    """Run a benchmark; return its exit code: 0, or 1 where what it demands is not kept."""
    sys.argv[0] = f"run {name}"  # what `-h` calls it
    command = shlex.join([RUN, name, *own])
    outcome = importlib.import_module(f"benchmarks.{BENCHMARKS[name].module}").main(own)
    for path in sorted((HERE / "results").glob("*.json")):
        last = json.loads(path.read_text("utf-8"))
        if last["command"] == command:
            where = "this machine" if last["machine"] == result.machine() else "another machine"
            print(f"Beside {path.name} of {last['date']}, {where}:")
            print("\n".join(result.differences(last["rows"], outcome.rows)) or "no difference")
    if keep is not None:
        path = HERE / "results" / f"{keep}.json"
        result.keep(path, command, outcome)
        write_page()
        print(f"Kept in {path.relative_to(HERE.parents[1])} and README.md beside it")
    return 0 if outcome.good else 1


def write_page() -> None:
    (HERE / "README.md").write_text(page.text(HERE), "utf-8")


def checked_page() -> int:
    if (HERE / "README.md").read_text("utf-8") == page.text(HERE):
        return 0
    sys.stderr.write(f"README.md is not what results/*.json say. Next step: {RUN} --page\n")
    return 1


def main(arguments: list[str]) -> int:
    if not arguments or arguments[0] in ("-h", "--help"):
        print(names())
        return 0
    name, *rest = arguments
    if name == "--page" and rest in ([], ["--check"]):
        return checked_page() if rest else write_page() or 0
    if name not in BENCHMARKS:
        return refused(f"{name} is no benchmark.")
    try:
        keep, own = kept_as(name, rest)
    except ValueError as problem:
        return refused(str(problem))
    return measured(name, own, keep)


if __name__ == "__main__":
    os.environ.pop("PYTHONPATH", None)  # see names.environment
    sys.exit(main(sys.argv[1:]))
