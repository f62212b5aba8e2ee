"""The tables in config/README.md say what the code accepts: settings, batch.yaml, corrections."""

import copy
import subprocess
import sys

import pytest

from glassine.base import files, settings

sys.path.insert(0, str(settings.PROJECT / "scripts"))
import document_config

FILES = {"batch.yaml": files.read_schema("batch"), "corrections": files.read_schema("corrections")}


def leaves(described):
    """Yield (key, schema) of every key at any depth, however it is nested."""
    if isinstance(described, dict):
        for key, part in (described.get("properties") or {}).items():
            yield key, part
        for part in described.values():
            yield from leaves(part)
    elif isinstance(described, list):
        for part in described:
            yield from leaves(part)


def test_the_page_is_as_the_schemas_have_it():
    written = (settings.PROJECT / "config" / "README.md").read_text("utf-8")
    assert written == document_config.page(), "run scripts/document_config.py"
    checked = subprocess.run(
        [sys.executable, settings.PROJECT / "scripts" / "document_config.py", "--check"],
        check=False,
    )
    assert checked.returncode == 0


@pytest.mark.parametrize("name", FILES)
def test_every_key_of_a_batchs_file_stands_in_its_table(name):
    table = "\n".join(document_config.keys(FILES[name], FILES[name]))
    keys = {key for key, _ in leaves(FILES[name])}
    assert len(keys) > 10
    assert [key for key in keys if f"{key}`" not in table and f"{key}[]**" not in table
            and f"{key}**" not in table] == []  # fmt: skip


@pytest.mark.parametrize("name", FILES)
def test_a_new_key_without_words_stops_the_table(name):
    described = copy.deepcopy(FILES[name])
    described["properties"]["more"] = {"type": "string"}
    with pytest.raises(KeyError, match="description"):
        list(document_config.keys(described, described))


def test_examples_of_the_tables_are_accepted():
    for name, described in FILES.items():
        for key, part in leaves(described):
            for example in part.get("examples", []):
                whole = {**part, "$defs": described.get("$defs", {})}
                assert not settings.problems(example, whole, name), (key, example)
