"""A picture that other software developed: what differs is named, and what makes it the same."""

from types import SimpleNamespace

from glassine.develop import step as developing
from glassine.masters import raws
from glassine.reproduce import step


def said(version):
    detail = {"libraw": raws.software(), "version": version}
    event = SimpleNamespace(detail=detail, software={"glassine": "0.1.0"})
    return step._developed_by(SimpleNamespace(event=event))


def test_another_version_of_the_step_is_named_with_the_software_that_had_it():
    words = said("2")
    assert "version 2 of the step develop" in words and "(0.1.0) makes the same again" in words


def test_of_the_same_version_only_libraw_is_named():
    assert said(developing.VERSION) == f"LibRaw {raws.software()}, here {raws.software()}"
