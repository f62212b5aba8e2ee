"""Every key of the settings stands in the table, those of a list's entries among them; what the
guides show of settings is taken by the schema that a night reads them by."""

import re

import pytest
import yaml

from glassine.base import settings
from glassine.base.errors import GlassineError

PROJECT = settings.PROJECT
PAGES = [
    PROJECT / "README.md",
    *(PROJECT / "config").glob("*.md"),
    *(PROJECT / "scripts").glob("*.md"),
]
SCHEMA = settings.schema()
BLOCK = re.compile(r"^ *```yaml\n(.*?)^ *```", re.M | re.S)


def keys(described, where=""):
    """Yield the name of each key at any depth, as the table writes it."""
    for key, part in (described.get("properties") or {}).items():
        yield f"{where}{key}"
        yield from keys(part, f"{where}{key}.")
        yield from keys(part.get("items") or {}, f"{where}{key}[].")


def lacking(table, described):
    return [key for key in keys(described) if f"`{key}`" not in table and f"**{key}**" not in table]


def test_every_key_of_the_settings_stands_in_the_table():
    table = (PROJECT / "config" / "README.md").read_text("utf-8")
    assert len([*keys(SCHEMA)]) > 200
    assert lacking(table, SCHEMA) == []
    assert lacking(table.replace("`render.sets[].caption`", ""), SCHEMA) == [
        "render.sets[].caption"
    ]


def shown():
    """Return {page and place: text} of the pieces of settings that guides show."""
    found = {}
    for path in PAGES:
        for number, block in enumerate(BLOCK.findall(path.read_text("utf-8"))):
            read = yaml.safe_load(block)
            if isinstance(read, dict) and {*read} <= {*SCHEMA["properties"]}:
                found[f"{path.name} {number}"] = read
    return found


@pytest.mark.parametrize("place", shown())
def test_settings_that_a_guide_shows_are_taken(monkeypatch, place):
    monkeypatch.setattr(settings, "schema", lambda: SCHEMA)
    settings.load(shown()[place])


def test_a_wrong_piece_would_be_seen(monkeypatch):
    assert len(shown()) >= 2
    monkeypatch.setattr(settings, "schema", lambda: SCHEMA)
    with pytest.raises(GlassineError):
        settings.load({"delivery": {"on_new_version": "sometimes"}})


def known(name):
    """Return whether a name such as `report.notify` is one of the settings."""
    return name in {key.replace("[]", "") for key in keys(SCHEMA)}


def named_settings(text):
    """Return the names in a text that begin with a section of the settings."""
    sections = [key for key, part in SCHEMA["properties"].items() if part.get("properties")]
    names = re.findall(r"`([a-z_]+(?:\.[a-z_]+)+)(?::[^`]*)?`", text)
    return {name for name in names if name.split(".")[0] in sections}


# Values of `handover.columns`, which begin with the word of a section.
VALUES = {"catalogue.title"}
# Names of files and of findings begin with words of sections, too.
FILES = re.compile(r"\.(yaml|json|csv|html|md|py|xml|tif|jpg|jsonl|sqlite|log|txt|icc|zip)$")


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.name)
def test_every_setting_that_a_guide_names_is_one(path):
    findings = (PROJECT / "config" / "findings.md").read_text("utf-8")
    if path.name == "findings.md":
        return
    wrong = [
        name
        for name in sorted(named_settings(path.read_text("utf-8")))
        if not known(name)
        and name not in VALUES
        and not FILES.search(name)
        and f"`{name}`" not in findings
    ]
    assert wrong == []
    assert named_settings("`delivery.on_new_versions: keep`") == {"delivery.on_new_versions"}
    assert not known("delivery.on_new_versions") and known("render.sets.caption")
