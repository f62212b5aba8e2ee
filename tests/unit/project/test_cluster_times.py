"""On a cluster a job may take as long as the settings allow its steps: the queue ends none before."""

import re

import pytest
import yaml

from glassine.base import sandbox, settings

PROFILE = yaml.safe_load((settings.PROJECT / "config" / "slurm" / "config.yaml").read_text("utf-8"))
RULES = {
    name
    for path in (settings.PROJECT / "rules").glob("*.smk")
    if path.stem not in {"fetch", "send", "store"}  # these run where they are started
    for name in re.findall(r"^(?:rule|checkpoint) (\w+):", path.read_text("utf-8"), re.MULTILINE)
}


# What is a job of an item; the others are of a batch.
OF_ITEMS = {"look", "item"}


def minutes(rule: str) -> int:
    stated = PROFILE.get("set-resources", {}).get(rule, {})
    return stated.get("runtime", PROFILE["default-resources"]["runtime"])


@pytest.mark.parametrize("rule", sorted(OF_ITEMS))
def test_an_item_has_the_time_of_its_steps(rule):
    assert minutes(rule) * 60 > sandbox.Limits.seconds


@pytest.mark.parametrize("rule", sorted(RULES - OF_ITEMS))
def test_a_step_of_a_batch_has_the_time_of_such_steps(rule):
    assert minutes(rule) * 60 > sandbox.Limits.batch_seconds


def test_every_rule_that_is_given_time_is_there():
    assert OF_ITEMS | {"intake", "films", "targets", "deliver", "report"} <= RULES
    assert set(PROFILE["set-resources"]) == RULES - OF_ITEMS
