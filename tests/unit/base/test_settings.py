"""Settings: defaults, mistakes told together, nothing read that could act."""

import pytest

from glassine.base import settings
from glassine.base.errors import GlassineError


def test_every_default_is_filled_in_and_valid():
    complete = settings.load({})
    assert complete["masters"] == "sample_masters"
    assert complete["delivery"]["when"] == "complete"


def test_every_key_has_a_description_a_default_and_an_example():
    def leaves(schema, where):
        for key, part in schema.get("properties", {}).items():
            if part.get("properties"):
                yield from leaves(part, f"{where}{key}.")
            yield f"{where}{key}", part

    lacking = [
        name
        for name, part in leaves(settings.schema(), "")
        if not part.get("description")
        or "default" not in part
        or not (part.get("examples") or "properties" in part)
    ]
    assert lacking == []


def test_all_mistakes_are_told_at_once_and_by_name():
    with pytest.raises(GlassineError) as caught:
        settings.load({"mastres": "x", "delivery": {"when": "never"}})
    text = str(caught.value)
    assert "mastres" in text
    assert "delivery.when" in text


def test_values_from_a_command_line_arrive_as_what_they_mean():
    complete = settings.load({"delivery": '{"when": "passed"}', "only": "PEH-1"})
    assert complete["delivery"]["when"] == "passed"
    assert complete["only"] == ["PEH-1"]


@pytest.mark.parametrize(
    "text",
    [
        "a: 1\na: 2\n",
        "a: !!python/object/apply:os.system [true]\n",
        "a: &x [1]\nb: *x\n",
        "[" * 5000,
        "a: {\n",
    ],
)
def test_yaml_that_is_more_than_plain_data_is_refused(tmp_path, text):
    path = tmp_path / "bad.yaml"
    path.write_text(text)
    with pytest.raises(GlassineError, match=r"bad\.yaml"):
        settings.read_yaml(path)


def test_dates_in_yaml_stay_text(tmp_path):
    path = tmp_path / "dates.yaml"
    path.write_text("date: 1906-05-01\n")
    assert settings.read_yaml(path) == {"date": "1906-05-01"}
