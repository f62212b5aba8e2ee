"""The report tells of texts that a picture holds in part, and of names that are nobody's."""

from __future__ import annotations

import json

from glassine import steps
from glassine.base import files
from glassine.report import gather
from makers import make_results


def test_shortened_texts_are_told_as_a_note(tmp_path):
    given = make_results.write_batch(tmp_path, pictures=False)
    results = tmp_path / "results" / given["batch"]
    path = next(results.glob("items/*/embedded.json"))
    record = json.loads(path.read_text())
    record["event"]["detail"] = {
        "shortened": {"access/a.jpg": ["iim:title", "exif:270"], "access/b.jpg": ["iim:title"]}
    }
    files.write_json(path, record)
    found = gather.gather(results, steps.given("report", given))
    item = next(each for each in found.items if each.item == path.parent.name)
    (told,) = [note for note in item.notes if note.code == "embed.shortened"]
    assert "EXIF ImageDescription, IPTC title." in told.what and "XMP" in told.expected


def test_the_worked_examples_names_on_other_film_stand_in_the_report(tmp_path):
    given = make_results.write_batch(tmp_path, pictures=False)
    results = tmp_path / "results" / given["batch"]
    given = {**given, "masters": str(tmp_path / "masters" / given["batch"])}
    told = [note.code for note in gather.gather(results, steps.given("report", given)).notes]
    assert told.count("run.placeholder") == 1
