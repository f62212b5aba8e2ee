"""The facts that batch.yaml may state are those that a master has, in the same words."""

import typing

import msgspec
import pytest

from glassine.base import files, settings
from glassine.base.model import Facts
from glassine.base.records.batch_file import StatedFacts

# Facts that follow from where batch.yaml states the others.
DERIVED = {"operator", "film_from", "for_part", "polarity_of_kind"}
STATED = files.read_schema("batch")["$defs"]["StatedFacts"]
DEFAULTS = {each.name: each.default for each in msgspec.structs.fields(Facts)}


def test_every_fact_can_be_stated_and_no_other():
    assert set(StatedFacts.__struct_fields__) == set(DEFAULTS) - DERIVED
    assert set(STATED["properties"]) == set(StatedFacts.__struct_fields__)


@pytest.mark.parametrize("name", sorted(STATED["properties"]))
def test_what_is_not_stated_is_a_value_that_could_be(name):
    default = DEFAULTS[name]
    assert default is None or not settings.problems(default, STATED["properties"][name], name)


@pytest.mark.parametrize("name", sorted(STATED["properties"]))
def test_a_stated_value_is_of_the_facts_type(name):
    kind = typing.get_type_hints(Facts)[name]
    for example in STATED["properties"][name]["examples"]:
        known = getattr(Facts.from_dict({name: example}), name)
        allowed = [each for each in typing.get_args(kind) or (kind,) if each is not type(None)]
        origins = tuple(typing.get_origin(each) or each for each in allowed)
        assert isinstance(known, (*origins, int) if float in origins else origins)
