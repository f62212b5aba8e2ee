"""What is said of each file of a studio's day before the night, against what a person decides."""

import re

import pytest

from glassine.base import settings
from glassine.night import explained
from makers import studio_days

_OF = re.compile(r"master of (?P<item>\S+?)(?:, part (?P<part>\w+))?(?:, number (?P<number>\w+))?")
_WITH = re.compile(
    r"(?:former capture of (\S+),|(?:preview|raw) beside .*with (\S+)|left out, of (\S+))"
)
_ALWAYS = {"intake": {"watch_s": 0}}


def fate_of(said):
    """Return a fate as `studio_days` writes it."""
    if said.state == "held":
        return "held"
    master = _OF.fullmatch(said.what)
    if master:
        told = [master["item"], master["part"] or "", master["number"] or ""]
        return "/".join(told).rstrip("/") + ("?" if said.state == "for review" else "")
    belongs = _WITH.match(said.what)
    return f"={belongs[1] or belongs[2] or belongs[3]}" if belongs else "-"


@pytest.mark.parametrize("name", studio_days.DAYS)
def test_each_file_of_a_studios_day_has_the_fate_that_a_person_decides(name, tmp_path):
    day = studio_days.make(name, tmp_path / name)
    config = settings.load(explained.merged(day.settings, _ALWAYS))
    said = explained.explain(day.root, name, config)
    assert not said.stopped
    assert {fate.path: fate_of(fate) for fate in said.fates} == day.fates
