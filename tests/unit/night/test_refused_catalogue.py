"""A catalogue that is refused as a whole: the page and the summary say so, and nothing says done."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from glassine.base import files, settings
from glassine.base.errors import GlassineError
from glassine.intake import step as intake
from glassine.intake.given import IntakeGiven
from glassine.night import notice, progress

_REFUSED = {
    "quotes.csv": b'item_id,title\nPEH-1,"Quay\n',
    "header.csv": b"number;title\nPEH-1;Quay\n",
    "empty.csv": b"item_id,title\n",
    "broken.json": b'[{"item_id": "PEH-1"',
    "unknown.xml": b"<inventory><thing/></inventory>",
}


@pytest.mark.parametrize("name", _REFUSED)
def test_a_refused_catalogue_leaves_a_page_and_a_summary_that_say_so(
    tmp_path: Path, name: str
) -> None:
    folder, results = tmp_path / "masters" / "b1", tmp_path / "results" / "b1"
    folder.mkdir(parents=True)
    catalogue = folder / f"catalogue.{name.partition('.')[2]}"
    catalogue.write_bytes(_REFUSED[name])
    config = settings.load({})
    with pytest.raises(GlassineError) as refused:
        intake.take_in(folder, msgspec.convert({"batch": "b1", "settings": config}, IntakeGiven))
    (found,) = refused.value.findings
    # As the night before left it.
    for page in ("index.html", "recapture.html"):
        files.write_text(results / "report" / page, "<p>12 done</p>")
    files.write_json(results / "report" / "summary.json", {"counts": {"done": 12}})
    files.write_json(results / "held.json", {"findings": [found.as_dict()]})
    notice.write(results, [found])
    for page in ("index.html", "recapture.html"):
        text = (results / "report" / page).read_text()
        assert "not taken in" in text and found.code in text and "done" not in text
    assert files.read_json(results / "report" / "summary.json")["state"] == notice.STATE
    summary = progress.summary(tmp_path, ["b1"])
    assert (summary["not_taken_in"], summary["finished"]) == (1, 0)
    assert summary["batches"][0]["findings"][0]["code"] == found.code
