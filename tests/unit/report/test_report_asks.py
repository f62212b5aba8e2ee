"""What asks for a look in the batch as a whole stands at the top of the report, and for machines."""

import json

from glassine.base import settings
from glassine.base.errors import Finding
from glassine.base.files import write_json
from makers import step_calls


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
    page = step_calls.write_report(
        tmp_path, {"batch": "b1", "settings": config, "institution": config["institution"]}
    ).read_text("utf-8")
    top, _, bottom = page.partition('<section id="held">')
    assert "Entry &lt;3&gt; has no effect." in top
    assert "No such stock." in bottom
    summary = json.loads((tmp_path / "report" / "summary.json").read_text("utf-8"))
    assert [each["code"] for each in summary["asks"]] == ["facts.no_master"]


def test_what_render_noted_stands_at_its_item():
    from glassine.report import items, views

    record = {"event": {"detail": {"notes": ["a.tif: cropped without a margin."]}}}
    rendering, damaged = views.take(record, views.Rendering)
    (note,) = items.render_notes(rendering, "PEH-1")
    assert (note.severity, damaged) == ("note", [])
    for record, expected in (({}, []), ({"event": []}, ["event"])):
        rendering, damaged = views.take(record, views.Rendering)
        assert items.render_notes(rendering, "PEH-1") == []
        assert damaged == expected
