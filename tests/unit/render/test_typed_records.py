"""What render leaves and takes: whole numbers stay, earlier records are read, bad ones are told."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgspec
import pytest

from glassine import steps
from glassine.base import files, record_files, settings
from glassine.base.errors import GlassineError
from glassine.base.records.render import Rendering
from glassine.render.given import RenderGiven
from makers import made_items
from makers.step_calls import do_step


@pytest.fixture
def rendered(tmp_path: Path) -> Path:
    """Return the render.json of a made item."""
    made_items.make_item(tmp_path)
    return made_items.item_dir_of(tmp_path) / "render" / "render.json"


def taken(path: Path, **changes: Any) -> Rendering:
    """Return the record with keys of its frame changed."""
    record = files.read_json(path)
    record["frames"][0] |= changes
    files.write_json(path, record)
    return record_files.load(path, "render", Rendering)


def test_a_resolution_without_a_fraction_stays_whole(rendered: Path) -> None:
    """The nominal resolution of batch.yaml goes from record to record as it was written."""
    record = taken(rendered, ppi=2400)
    record_files.save(rendered, "render", record)
    assert '"ppi": 2400,' in rendered.read_text()


def test_a_record_of_an_earlier_version_comes_back_as_it_was(rendered: Path) -> None:
    """Without orientation, and without the processor in its event."""
    before = files.read_json(rendered)
    assert "orientation" not in before["frames"][0] and "processor" not in before["event"]
    record = record_files.load(rendered, "render", Rendering)
    assert record.frames[0].alternates == []
    written = json.loads(files.dump_json(msgspec.to_builtins(record.frames[0])))
    assert {name: written[name] for name in before["frames"][0]} == before["frames"][0]
    assert "orientation" not in written


@pytest.mark.parametrize(
    "changes",
    [
        {"tone": {}},
        {"tone": {"rendering": "solarised"}},
        {"ppi": 0},
        {"ppi": "2400"},
        {"index": 0},
        {"iiif_id": "../x"},
        {"skipped": "lost"},
        {"orientation": {"found": 1, "rotate": 45, "mirror": False}},
        {"gamma": 2.2},
        {"files": None},
    ],
)
def test_what_is_no_such_record_is_a_finding(rendered: Path, changes: dict[str, Any]) -> None:
    with pytest.raises(GlassineError) as caught:
        taken(rendered, **changes)
    assert [finding.code for finding in caught.value.findings] == ["contracts.render"]


@pytest.mark.parametrize("step", ["render", "embed"])
@pytest.mark.parametrize("content", ["[]", "{}", '{"item": "PEH-0001", "masters": [{}]}', "{"])
def test_a_damaged_fixity_record_is_a_finding(tmp_path: Path, step: str, content: str) -> None:
    given = made_items.make_item(tmp_path, settings=settings.load({}))
    item_dir = made_items.item_dir_of(tmp_path)
    (item_dir / "fixity.json").write_text(content)
    with pytest.raises(GlassineError) as caught:
        do_step(step, tmp_path / "masters" / "b1", item_dir, given)
    assert {finding.code for finding in caught.value.findings} <= {"contracts.fixity", "files.json"}


def of_item(**changes: Any) -> RenderGiven:
    values = {"item": "PEH-0001", "masters": [{"path": "a.tif"}], "settings": settings.load({})}
    given: RenderGiven = steps.given("render", values | changes)
    return given


def test_the_record_keeps_the_sections_as_they_stand() -> None:
    whole = settings.load({"tone": {"toe": 1}, "render": {"margin_mm": 2}})
    kept = of_item(settings=whole).settings_recorded()
    assert files.canonical(kept) == files.canonical({name: whole[name] for name in kept})
    assert set(kept) == {"render", "iiif", "tone", "quality", "naming"}
    toe = of_item(settings=whole).chosen().tone.toe
    assert json.dumps(toe) == "1"


def test_a_section_that_lacks_a_key_is_refused() -> None:
    whole = settings.load({})
    del whole["render"]["sharpen"]
    with pytest.raises(msgspec.ValidationError, match="sharpen"):
        of_item(settings=whole).chosen()


def test_facts_of_the_item_hold_where_a_master_has_none() -> None:
    """Deliveries of earlier versions keep one set of facts for all masters."""
    by_item = of_item(facts={"nominal_ppi": 2400})
    assert by_item.masters[0].facts_or(by_item.facts).as_dict()["nominal_ppi"] == 2400
    with pytest.raises(ValueError, match=r"a\.tif"):
        of_item().masters[0].facts_or(None)
    with pytest.raises(msgspec.ValidationError, match="flavour"):
        of_item(masters=[{"path": "a.tif", "facts": {"flavour": "sweet"}}])
