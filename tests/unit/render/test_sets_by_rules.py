"""Sets that a rule states for a kind, a part or a right: made for those it is for, to the files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from glassine.base import files, settings
from glassine.base.records.catalogue import CatalogueRow, RowRights
from glassine.night import rules
from makers import deliveries, made_items
from makers.step_calls import do_step

WEB = {"name": "web", "form": "webp", "long_edge": 60}
PRINT = {"name": "print", "form": "jpeg", "long_edge": 80, "profile": "grey"}


def rule(stated: list[dict[str, Any]], **conditions: str) -> dict[str, Any]:
    return {"for": conditions, "set": {"render": {"sets": stated}}}


@pytest.fixture(scope="module")
def verified(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """An item that is ready to be rendered, and what it was given."""
    root = tmp_path_factory.mktemp("rules")
    return root, deliveries.taken_through(root, "mets", "PEH-0001", "PEH-0001.tif")


def made(
    verified: tuple[Path, dict[str, Any]],
    *stated: dict[str, Any],
    part: str | None = None,
    status: Any = "unknown",
    own: list[dict[str, Any]] | None = None,
) -> list[str]:
    """Return the names of the sets of which the delivery's folder has a picture, as render and
    embed leave them under these rules. part: of the master; status: of the item's rights."""
    root, given = verified
    batch_dir, own_dir = root / "masters" / "b1", made_items.item_dir_of(root)
    config = settings.load({"render": {"sets": own or []}, "rules": list(stated)})
    row = CatalogueRow(item="PEH-0001", row=1, title="A quay", rights=RowRights(status=status))
    told = rules.Told("b1", "PEH-0001", row)
    config = rules.resolved(config, rules.fitting(config, told))
    masters = [{**master, "part": part} for master in given["masters"]]
    sections = ("render", "iiif", "embed")
    config = {**config, "rules": rules.of_step(config, sections)}
    step = {**given, "masters": masters, "settings": config}
    do_step("render", batch_dir, own_dir, step)
    do_step("embed", batch_dir, own_dir, step)
    folder = own_dir / "alternates"
    (frame,) = files.read_json(own_dir / "render" / "render.json")["frames"]
    listed = {each["name"]: each["set"] for each in frame["alternates"]}
    there = sorted(path.name for path in folder.iterdir()) if folder.exists() else []
    assert there == sorted(listed)
    return [listed[name] for name in there]


def test_a_rule_for_a_kind_makes_its_sets_for_that_kind_alone(
    verified: tuple[Path, dict[str, Any]],
) -> None:
    """The master is a sheet."""
    assert made(verified, rule([WEB], kind="sheet")) == ["web"]
    assert made(verified, rule([WEB], kind="print")) == []
    # What a rule states takes the place of all that the settings state.
    assert made(verified, rule([PRINT], kind="sheet"), own=[WEB]) == ["print"]
    assert made(verified, rule([], kind="sheet"), own=[WEB]) == []


def test_a_rule_for_a_part_makes_its_sets_for_that_part_alone(
    verified: tuple[Path, dict[str, Any]],
) -> None:
    asked = rule([WEB], part="verso"), rule([PRINT], part="recto")
    assert made(verified, *asked, part="recto") == ["print"]
    assert made(verified, *asked, part="verso") == ["web"]
    assert made(verified, *asked) == []


def test_a_rule_for_a_right_makes_its_sets_for_that_right_alone(
    verified: tuple[Path, dict[str, Any]],
) -> None:
    asked = rule([WEB, PRINT], right="public domain")
    assert made(verified, asked, status="public domain") == ["print", "web"]
    assert made(verified, asked, status="copyrighted") == []


def test_the_last_of_several_rules_wins(verified: tuple[Path, dict[str, Any]]) -> None:
    both = rule([WEB], kind="sheet"), rule([PRINT], right="public domain")
    assert made(verified, *both, status="public domain") == ["print"]
    assert made(verified, *both, status="copyrighted") == ["web"]
