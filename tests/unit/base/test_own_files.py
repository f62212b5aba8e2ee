"""The project's own YAML is read by a quicker parser, and means the same."""

import pytest
import yaml

from glassine.base import settings
from glassine.base.errors import GlassineError

OWN = sorted(
    path
    for path in (settings.PROJECT / "config").rglob("*.yaml")
    if path.stat().st_size < 30_000 and "slurm" not in path.parts
)


@pytest.mark.parametrize("path", OWN, ids=lambda path: path.name)
def test_both_parsers_agree_on_every_file_of_the_project(path):
    assert settings.read_own(path) == settings.read_yaml(path, trusted=True)


def test_both_agree_on_the_schema_of_settings():
    assert settings.schema() == settings.read_yaml(settings.SCHEMA_PATH, trusted=True)


@pytest.mark.skipif(not yaml.__with_libyaml__, reason="PyYAML was built without libyaml")
def test_libyaml_reads_them():
    assert issubclass(settings._OwnLoader, yaml.cyaml.CParser)


@pytest.mark.parametrize("text", ["a: 1\na: 2\n", "a: .inf\n", 'a: "\\x00"\n', "a: [\n"])
def test_the_quicker_one_is_as_strict(tmp_path, text):
    path = tmp_path / "own.yaml"
    path.write_text(text)
    with pytest.raises(GlassineError):
        settings.read_own(path)


def test_numbers_and_dates_stay_what_was_written(tmp_path):
    path = tmp_path / "own.yaml"
    path.write_text("a: 0012\nb: 1:30\nc: 1906-05-01\nd: 12\n")
    read = settings.read_own(path)
    assert read == {"a": "0012", "b": "1:30", "c": "1906-05-01", "d": 12}
