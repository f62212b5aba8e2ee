"""The studio's own file of settings may be a link, for withdrawing as for a night."""

from __future__ import annotations

import json
from pathlib import Path

from glassine.base import corrections
from glassine.review import withdraw


def test_a_settings_file_that_is_a_link_is_read(tmp_path: Path) -> None:
    batch, results = tmp_path / "masters" / "b1", tmp_path / "results" / "b1"
    batch.mkdir(parents=True)
    results.mkdir(parents=True)
    (results / "intake.json").write_text(json.dumps({"items": [{"item": "PEH-0004"}]}), "utf-8")
    (tmp_path / "studio.yaml").write_text("masters: masters\n", "utf-8")
    (tmp_path / "config.yaml").symlink_to("studio.yaml")
    own = ["--directory", str(tmp_path), "--configfile", str(tmp_path / "config.yaml")]
    said = ["--reason", "given back", "--by", "op-07"]
    assert withdraw.main(["b1", "PEH-0004", *said, *own]) == 0
    assert "given back" in (batch / corrections.FILE_NAME).read_text("utf-8")
