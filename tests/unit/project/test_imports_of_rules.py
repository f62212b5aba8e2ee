"""What the rules import is there: the checks of types do not see them, and some are read only by
targets that the tests do not run (object storage)."""

from __future__ import annotations

import importlib
import re
from pathlib import Path

import pytest

from glassine.base.settings import PROJECT

IMPORT = re.compile(r"^\s*from (glassine[\w.]*) import (.+)$", re.MULTILINE)
FILES = [PROJECT / "Snakefile", *sorted((PROJECT / "rules").glob("*.smk"))]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_every_name_is_there(path: Path) -> None:
    for module, names in IMPORT.findall(path.read_text("utf-8")):
        for name in re.findall(r"\w+(?: as \w+)?", names):
            wanted = name.partition(" ")[0]
            package = importlib.import_module(module)
            if not hasattr(package, wanted):
                importlib.import_module(f"{module}.{wanted}")


def test_the_rules_import_something() -> None:
    found = [each for path in FILES for each in IMPORT.findall(path.read_text("utf-8"))]
    assert len(found) >= 5
