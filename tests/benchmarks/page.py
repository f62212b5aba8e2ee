"""README.md of the benchmarks: its tables of last results are made from results/*.json."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from benchmarks.names import BENCHMARKS

HEAD = """# Benchmarks

<!-- Made by `tests/benchmarks/run --page` from results/*.json: do not edit. -->

```
tests/benchmarks/run                       # the names
tests/benchmarks/run locate --count 2      # one of them; -h after the name tells its arguments
tests/benchmarks/run locate --keep         # and keep the result: results/locate.json
tests/benchmarks/run pixels --keep small   # under a name of its own: results/pixels-small.json
tests/benchmarks/run --page                # make this page anew
```

A run prints what differs from the kept result of the same command. It ends with 1 where what the
benchmark demands is not kept.
"""


def text(folder: Path) -> str:
    """Return the page for the results and READMEs below `folder`."""
    paths = sorted((folder / "results").glob("*.json"))
    sections = [_section(json.loads(path.read_text("utf-8"))) for path in paths]
    return "\n".join([HEAD, _names(folder), *sections])


def _names(folder: Path) -> str:
    lines = ["| name | about | what it means, and earlier results |", "| --- | --- | --- |"]
    for name, benchmark in BENCHMARKS.items():
        readme = f"{benchmark.module.partition('.')[0]}/README.md"
        link = f"[{readme}]({readme})" if (folder / readme).exists() else ""
        lines.append(f"| `{name}` | {benchmark.about} | {link} |")
    return "\n".join(lines) + "\n"


def _section(result: dict[str, Any]) -> str:
    known = [f"{key} {value}" for key, value in result["machine"].items() if value is not None]
    lines = [f"## {result['name']}", "", f"`{result['command']}`", ""]
    lines += [f"{result['date']}; {', '.join(known) or 'machine not recorded'}.", ""]
    if "source" in result:
        lines += [f"Source: {result['source']}.", ""]
    summary = result.get("summary")
    lines += _table([summary] if summary else result["rows"])
    if summary:
        lines += ["", f"Its {len(result['rows'])} rows: `results/{result['name']}.json`."]
    return "\n".join(lines) + "\n"


def _table(rows: list[dict[str, Any]]) -> list[str]:
    columns = list(dict.fromkeys(column for row in rows for column in row))
    cells = [[_cell(row.get(column)) for column in columns] for row in rows]
    lines = [f"| {' | '.join(line)} |" for line in [columns, *cells]]
    return [lines[0], "|" + " --- |" * len(columns), *lines[1:]]


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value).replace("|", "\\|")
