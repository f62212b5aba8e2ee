"""Rows of the catalogue that have no capture yet, as the table needs them."""

import json

from makers import make_results, step_calls


def test_rows_without_a_master_are_listed_with_title_and_decay_as_intake_names_them_by_id(tmp_path):
    """intake.json has ids alone; what they are of stands in the catalogue."""
    given = make_results.write_batch(tmp_path, 5, pictures=False)
    results = tmp_path / "results" / make_results.BATCH
    record = json.loads((results / "intake.json").read_text("utf-8"))
    record["rows"]["without_master"] = ["PEH-9001", "PEH-9002"]
    (results / "intake.json").write_text(json.dumps(record), "utf-8")
    masters = tmp_path / "masters"
    masters.mkdir()
    (masters / "catalogue.csv").write_text(
        "item_id,title,decay\nPEH-9001,Slipway,1\nPEH-9002,Ferry,4\n", "utf-8"
    )
    columns = {"item": "item_id", "title": "title", "decay_level": "decay"}
    given |= {"masters": str(masters), "settings": {"catalogue": {"columns": columns}}}
    page = step_calls.write_report(results, given).read_text("utf-8")
    listed = page[page.index('id="next"') :]
    assert listed.index("Ferry") < listed.index("Slipway")
