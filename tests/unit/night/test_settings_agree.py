"""Settings that contradict each other, or name what is not there, are refused before a run."""

from __future__ import annotations

import os

import pytest

from glassine.base import settings
from glassine.base.errors import GlassineError
from glassine.night import agreement


def told(tmp_path, **given) -> str:
    """Return what is told of these settings; empty where they agree."""
    try:
        agreement.check(settings.load(given), tmp_path)
    except GlassineError as error:
        assert all(each.next_step and each.expected for each in error.findings)
        return "\n".join(each.sentence() for each in error.findings)
    return ""


def test_the_defaults_agree(tmp_path):
    assert told(tmp_path) == ""


@pytest.mark.parametrize(
    ("template", "words"),
    [
        ("{item}[_{part}][_{frame:02d}]_{use}.tif", "JPEG"),
        ("{item}[_{part}][_{frame:02d}]_{use}", "JPEG"),
        ("{item}[_{frame:02d}]_{use}.jpg", "{part}"),
        ("{item}[_{part}]_{use}.jpg", "{frame}"),
        ("{item}[_{part}][_{frame:02d}].jpg", "{use}"),
        ("{item}[_{part:.0}][_{frame:02d}]_{use}.jpg", "{part}"),
        ("{item}_{part}[_{frame:02d}]_{use}.jpg", "outside of square brackets"),
        ("{item}[_{part}]_{frame}_{use}.jpg", "outside of square brackets"),
        ("{item}[_{part}][_{frame:02d}]_{view}.jpg", "cannot be filled"),
        ("{item}/[{part}][_{frame:02d}]_{use}.jpg", "yields the file name"),
        ("{", "cannot be filled"),
    ],
)
def test_a_template_that_names_two_pictures_alike_is_refused(tmp_path, template, words):
    assert words in told(tmp_path, naming={"derivative": template})


@pytest.mark.parametrize(
    "template",
    ["{item}[_{part}][_{frame:02d}]_{use}.jpg", "{use}-{item}[-{part}][-f{frame}].JPEG"],
)
def test_a_template_that_tells_all_apart_is_taken(tmp_path, template):
    assert told(tmp_path, naming={"derivative": template}) == ""


@pytest.mark.parametrize("pattern", ["PEH-[0-9]+", "(?P<item>[", "(?P<part>a)"])
def test_a_pattern_that_tells_no_item_is_refused(tmp_path, pattern):
    assert "naming.pattern" in told(tmp_path, naming={"pattern": pattern})


@pytest.mark.parametrize(
    ("section", "key"),
    [("catalogue", "path"), ("quality", "limits"), ("report", "viewer")],
)
def test_a_file_that_is_named_must_be_one(tmp_path, section, key):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "folder").mkdir()
    for name, words in (
        ("none.yaml", "does not exist"),
        ("pipe", "is no regular file"),
        ("folder", "is no regular file"),
        ("bad\0name", "does not exist"),
    ):
        value = name if "\0" in name else str(tmp_path / name)
        assert f"`{section}.{key}`" in (text := told(tmp_path, **{section: {key: value}})), name
        assert words in text


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("limits: {edge_blurr: {unit: px}}", "there is no such measure"),
        ("limits: {edge_blur: {unit: px}}", "edge_blur"),
        ("limit: {}", "no mapping `limits`"),
        ("limits: [", "cannot be read"),
        ("- a", "no mapping `limits`"),
    ],
)
def test_a_table_of_limits_is_read_before_the_first_frame(tmp_path, text, words):
    (tmp_path / "limits.yaml").write_text(text, "utf-8")
    assert words in told(tmp_path, quality={"limits": "limits.yaml"})


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"package": {"profile": "metz"}}, "no layout of packages named 'metz'"),
        ({"targets": {"tables": ["fadgi_2017"]}}, "no table 'fadgi_2017'"),
        ({"targets": {"require": {"fadgi2016": "1"}}}, "no such table"),
        ({"targets": {"require": {"fadgi_2016": "9"}}}, "the level '9'"),
        ({"iiif": {"base_url": "https://images.port-ellery.example/iiif?a=b"}}, "iiif.base_url"),
        ({"iiif": {"base_url": "https://[images/iiif"}}, "iiif.base_url"),
        ({"iiif": {"base_url": "https:///iiif"}}, "iiif.base_url"),
        ({"records": {"schema_dir": "nowhere"}}, "records.schema_dir"),
        ({"store": {"deliveries": "s3://studio-deliveries"}}, "delivery.form"),
        ({"report": {"notify": {"webhook": "monitor.example"}}}, "webhook"),
        ({"report": {"notify": {"webhook": "ftp://monitor.example/x"}}}, "webhook"),
        ({"report": {"notify": {"webhook": "http://monitor.example:x/"}}}, "webhook"),
        ({"report": {"notify": {"mail": {"to": ["nobody"]}}}}, "no mail address"),
        ({"report": {"notify": {"mail": {"to": ["a@b.example\nBcc: c@d"]}}}}, "no mail address"),
        ({"report": {"notify": {"mail": {"to": ["a@b.example"], "sender": ""}}}}, "mail"),
        ({"intake": {"min_age_minutes": float("nan")}}, "intake.min_age_minutes is nan"),
        ({"delivery": {"max_bag_gb": float("inf")}}, "delivery.max_bag_gb is inf"),
    ],
)
def test_what_would_be_wrong_in_silence_is_refused(tmp_path, given, words):
    assert words in told(tmp_path, **given)


def test_a_setting_that_does_nothing_is_noted():
    given = {"iiif": {"form": "pyramid"}, "package": {"include_tiles": False}}
    (note,) = agreement.notes(settings.load(given))
    assert "package.include_tiles" in note
    assert agreement.notes(settings.load({})) == []


def test_every_mistake_is_told_at_once(tmp_path):
    text = told(tmp_path, package={"profile": "metz"}, naming={"derivative": "{item}.jpg"})
    assert "metz" in text and "naming.derivative" in text


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"mastres": "x"}, "There is no key `mastres`. Did you mean masters?"),
        ({"rights": {"jurisdiction": "Great Britain"}}, "'Great Britain' does not have the form"),
    ],
)
def test_a_mistake_in_the_settings_is_told_in_words(given, words):
    with pytest.raises(GlassineError) as refused:
        settings.load(given)
    (finding,) = refused.value.findings
    assert words in finding.what
    assert "^" not in finding.sentence() and "regex" not in finding.sentence()
