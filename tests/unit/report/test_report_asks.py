"""What asks for a look in the batch as a whole stands at the top of the report, and for machines."""

import json

from glassine import report
from glassine.base import settings
from glassine.base.errors import Finding
from glassine.base.files import write_json


def test_a_statement_that_has_no_effect_stands_at_the_top(tmp_path):
    ask = Finding("facts.no_master", "batch.yaml", "Entry <3> has no effect.", "x.", "Fix.")
    seen = Finding("facts.film_stock", "batch.yaml", "No such stock.", "x.", "Fix.")
    notes = [
        {**ask.as_dict(), "severity": "review"},
        {**seen.as_dict(), "severity": "note"},
    ]
    write_json(
        tmp_path / "intake.json",
        {"batch": "b1", "title": "b1", "items": [], "notes": notes, "rows": {}, "targets": []},
    )
    config = settings.load({})
    page = report.write_report(
        tmp_path, {"batch": "b1", "settings": config, "institution": config["institution"]}
    ).read_text("utf-8")
    top, _, bottom = page.partition('<section id="held">')
    assert "Entry &lt;3&gt; has no effect." in top
    assert "No such stock." in bottom
    summary = json.loads((tmp_path / "report" / "summary.json").read_text("utf-8"))
    assert [each["code"] for each in summary["asks"]] == ["facts.no_master"]


def test_what_render_noted_stands_at_its_item():
    from glassine.base.item_states import ItemStatus
    from glassine.report import gather

    records = {"render": {"event": {"detail": {"notes": ["a.tif: cropped without a margin."]}}}}
    (note,) = gather._render_notes(ItemStatus("PEH-1", records=records))
    assert note["severity"] == "note"
    for damaged in ({}, {"render": {}}, {"render": {"event": []}}):
        assert gather._render_notes(ItemStatus("PEH-1", records=damaged)) == []
