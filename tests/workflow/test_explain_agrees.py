"""A dry look at a batch, and the night after it: each file's fate is what was said."""

import json
import shutil

import numpy as np
import tifffile

from glassine.base import settings
from glassine.night import explained

SAMPLE = settings.PROJECT / "sample_masters" / "harbour-2026-03"


def test_the_night_does_with_each_file_what_the_dry_look_says(studio):
    batch = studio.masters / "b1"
    batch.mkdir()
    shutil.copy(SAMPLE / "PEH-0007.tif", batch)
    shutil.copy(SAMPLE / "catalogue.csv", batch)
    (batch / "PEH-0007.jpg").write_bytes(b"\xff\xd8\xff and so on")
    (batch / "PEH-0007.nef").write_bytes(b"II*\0 what the camera wrote")
    (batch / "._PEH-0007.tif").write_bytes(bytes.fromhex("0005160700020000"))
    (batch / "Thumbs.db").write_bytes(b"\xd0\xcf")
    (batch / "PEH-0003.jpg").write_bytes(b"\xff\xd8\xff alone")
    tifffile.imwrite(batch / "PEH-0001.tif", np.ones((8, 12, 3), np.float32), photometric="rgb")
    tifffile.imwrite(batch / "scan 3 x.tif", np.ones((8, 12, 3), np.uint16), photometric="rgb")
    stated = settings.read_yaml(settings.PROJECT / "config" / "config.yaml", trusted=True)
    said = explained.explain(batch, "b1", settings.load({**stated, "masters": str(studio.masters)}))
    studio.night("--cores", "1")
    summary = json.loads((studio.root / "results" / "b1" / "report" / "summary.json").read_text())
    held = {item for item, entry in summary["items"].items() if entry["state"] == "held"}
    told = {
        path
        for entry in summary["items"].values()
        for finding in entry["findings"]
        for path in [finding["path"]]
    }
    states = {fate.path: fate.state for fate in said.fates}
    assert states == {
        "._PEH-0007.tif": "",
        "PEH-0001.tif": "held",
        "PEH-0003.jpg": "held",
        "PEH-0007.jpg": "",
        "PEH-0007.nef": "",
        "PEH-0007.tif": "goes on",
        "Thumbs.db": "",
        "catalogue.csv": "",
        "scan 3 x.tif": "held",
    }
    assert "PEH-0007" not in held
    assert {"PEH-0001", "PEH-0003"} <= held
    assert len(held) == 3
    assert {path for path, state in states.items() if state == "held"} <= told
