"""Write config/README.md, the table of every setting, from config/config.schema.yaml."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

from glassine import files, settings

HEAD = """# Settings

`config.yaml` holds what differs from the defaults; this table, made from `config.schema.yaml` by
`scripts/document_config.py`, is the reference. A key that is not here stops the run, so that a
slip of the pen is found at once. On the command line: `--config 'delivery={"when":"passed"}'`, or
a file of your own with `--configfile`.

| setting | what it says | default | example |
| --- | --- | --- | --- |
"""


def rows(described: dict[str, Any], where: str = "") -> Iterator[str]:
    """Yield one table row per setting, sections before what is in them."""
    for key, part in described.get("properties", {}).items():
        name = f"{where}{key}"
        text = " ".join(part["description"].split()).replace("|", "\\|")
        if part.get("properties"):
            yield f"| **{name}** | {text} | | |"
            yield from rows(part, f"{name}.")
            continue
        choice = f" One of: {', '.join(map(str, part['enum']))}." if "enum" in part else ""
        default = _code(part.get("default"))
        example = _code(part.get("examples", [None])[0])
        yield f"| `{name}` | {text}{choice} | {default} | {example} |"


def _code(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False).replace("|", "\\|")
    return f"`{text}`"


def page() -> str:
    return HEAD + "\n".join(rows(settings.schema())) + "\n"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="only tell whether it is current")
    arguments = parser.parse_args()
    target = settings.PROJECT / "config" / "README.md"
    if arguments.check:
        return 0 if target.exists() and target.read_text("utf-8") == page() else 1
    files.write_text(target, page())
    return 0


if __name__ == "__main__":
    sys.exit(main())
