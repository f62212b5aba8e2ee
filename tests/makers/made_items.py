"""Items of the invented Port Ellery Harbour Archive as render leaves them, drawn small by code."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path
from typing import Any

import numpy as np
import pyvips

from glassine.base import files
from glassine.masters import colour
from glassine.render import encoded as access
from makers import tones

INSTITUTION = {
    "name": "Port Ellery Harbour Archive",
    "id": "https://archive.port-ellery.example/",
    "homepage": "https://archive.port-ellery.example/",
    "contact": "pictures@archive.port-ellery.example",
}
CAPTURE = {
    "make": "Ellery Optical",
    "model": "Table Camera 1",
    "serial": "EO-000417",
    "lens": "Macro 90 mm",
    "exposure_s": 0.008,
    "f_number": 5.6,
    "iso": 64.0,
    "focal_mm": 90.0,
    "taken": "2026-03-17T10:00:00",
    "offset": "+00:00",
}
CATALOGUE: dict[str, Any] = {
    "item": "PEH-0001",
    "row": 2,
    "title": "Hafenmauer für Ævøskrøgen – Łódź, 港",
    "alternative": "",
    "description": "The quay at low water; © on the back: “Ørkind’s” stamp.",
    "date_text": "1 May 1906",
    "edtf": "1906-05-01",
    "date_understood": True,
    "creators": [{"name": "Åse Østergård", "role": "pht", "uri": ""}],
    "subjects": [{"term": "Häfen", "uri": "", "authority": ""}],
    "places": [{"name": "Port Ellery", "uri": "https://places.port-ellery.example/1"}],
    "identifiers": [{"type": "local", "value": "PEH-0001"}],
    "languages": ["eng"],
    "genre": "photographs",
    "physical": "1 negative",
    "material": "acetate",
    "decay_level": 1,
    "rights": {
        "uri": "http://rightsstatements.org/vocab/InC/1.0/",
        "status": "copyrighted",
        "holder": "Port Ellery Harbour Archive",
        "note": "Ask the archive before publishing.",
    },
    "collection": "Harbour office",
    "structure": [],
    "extra": {},
}


def picture(seed: int, width: int, height: int) -> pyvips.Image:
    """Return noise: no two of them alike, and hard to compress."""
    pixels = np.random.default_rng(seed).integers(0, 256, (height, width, 3), dtype=np.uint8)
    return pyvips.Image.new_from_array(pixels).copy(interpretation="srgb")


def encoded(seed: int, width: int, height: int, bands: int = 3, **more: Any) -> bytes:
    """Return a JPEG as render leaves it: JFIF, a profile, no other metadata."""
    pixels = picture(seed, width, height).numpy()[:, :, :bands]
    icc = colour.srgb_profile() if bands == 3 else colour.grey_profile()
    return access.jpeg(np.ascontiguousarray(pixels), 90, icc=icc, **more)


def _event(kind: str) -> dict[str, Any]:
    return {
        "type": kind,
        "time": "2026-03-18T02:00:00Z",
        "outcome": "success",
        "software": {"glassine": "0.1.0"},
        "operator": None,
        "detail": {},
    }


def _digests(content: bytes) -> dict[str, str]:
    return {
        "sha256": hashlib.sha256(content).hexdigest(),
        "sha512": hashlib.sha512(content).hexdigest(),
    }


def rendered_file(folder: Path, item: str, use: str, seed: int) -> dict[str, Any]:
    width, height = (90, 60) if use == "access" else (30, 20)
    name = f"{item}_{use}.jpg"
    content = encoded(seed, width, height)
    files.write_bytes(folder / name, content)
    return {
        "use": use,
        "name": name,
        "width": width,
        "height": height,
        "bytes": len(content),
        "sha256": hashlib.sha256(content).hexdigest(),
    }


def make_tiles(item_dir: Path, item: str) -> dict[str, Any]:
    folder = item_dir / "iiif" / item
    contents = {"info.json": b"{}\n", "full/max/0/default.jpg": b"tile one", "a/b/0/c.jpg": b"2"}
    lines = []
    for path, content in sorted(contents.items()):
        files.write_bytes(folder / path, content)
        lines.append(f"{path} {hashlib.sha256(content).hexdigest()}\n")
    return {
        "path": f"iiif/{item}",
        "width": 180,
        "height": 120,
        "tile_px": 512,
        "count": len(contents),
        "bytes": sum(len(content) for content in contents.values()),
        "sha256": hashlib.sha256("".join(lines).encode()).hexdigest(),
    }


def make_item(root: Path, item: str = "PEH-0001", seed: int = 1, **more: Any) -> dict[str, Any]:
    """Draw a master in root/masters/b1 and what render leaves of it; return what steps are given.

    The results lie in root/results/b1/items/<item>. more: replaces values of `given`.
    """
    batch_dir = root / "masters" / "b1"
    item_dir = root / "results" / "b1" / "items" / item
    item_dir.mkdir(parents=True)
    batch_dir.mkdir(parents=True, exist_ok=True)
    master = batch_dir / f"{item}.tif"
    picture(seed, 200, 140).tiffsave(str(master))
    os.utime(master, ns=(1_773_741_600_000_000_000, 1_773_741_600_000_000_000))
    content = master.read_bytes()
    header = {
        "width": 200,
        "height": 140,
        "bits": [16, 16, 16],
        "samples": 3,
        "colour": "rgb",
        "sample_format": "unsigned integer",
        "compression": "uncompressed",
        "byte_order": "little endian",
        "format_name": "TIFF",
        "format_version": "6.0",
        "puid": "fmt/353",
        "icc_name": None,
        "icc_sha256": None,
        "resolution": None,
        "orientation": 1,
        "software": None,
        "capture": CAPTURE,
        "contiguous_from": None,
        "in_order": True,
    }
    fixity = {
        "path": master.name,
        "part": None,
        "bytes": len(content),
        "mtime": "2026-03-17T10:00:00Z",
        "digests": _digests(content),
        "expected": {},
        "verdict": "unlisted",
        "header": header,
        "notes": [],
    }
    files.write_json(
        item_dir / "fixity.json",
        {"item": item, "event": _event("fixity check"), "masters": [fixity]},
    )
    frame = {"master": master.name, "index": 1}
    files.write_json(
        item_dir / "geometry.json",
        {
            "item": item,
            "event": _event("image modification"),
            "masters": [
                {
                    "path": master.name,
                    "width": 200,
                    "height": 140,
                    "ppi": 4000.0,
                    "ppi_source": "batch",
                    "kind": "sheet",
                    "frames": [
                        {
                            "index": 1,
                            "corners": [[10.0, 10.0], [190.0, 10.0], [190.0, 130.0], [10.0, 130.0]],
                            "angle_deg": 0.0,
                            "polarity": "negative",
                            "process": "colour",
                        }
                    ],
                }
            ],
        },
    )
    files.write_json(
        item_dir / "quality.json",
        {
            "item": item,
            "event": _event("validation"),
            "frames": [{**frame, "measures": [], "verdict": "pass"}],
        },
    )
    rendered = [
        rendered_file(item_dir / "render", item, use, seed + 100) for use in ("access", "thumb")
    ]
    files.write_json(
        item_dir / "render" / "render.json",
        {
            "item": item,
            "event": _event("migration"),
            "frames": [
                {
                    **frame,
                    "part": None,
                    "label": "1",
                    "iiif_id": item,
                    "width": 180,
                    "height": 120,
                    "ppi": 4000.0,
                    "skipped": None,
                    "files": rendered,
                    "tiles": make_tiles(item_dir, item),
                    "tone": tones.positive(),
                }
            ],
        },
    )
    files.write_json(
        item_dir / "manifest.json",
        {"id": f"https://images.port-ellery.example/iiif/{item}/manifest"},
    )
    return {**given_for(item, master), **more}


def given_for(item: str, master: Path) -> dict[str, Any]:
    """Return what every step of an item with this one master is given."""
    entry = {
        "path": master.name,
        "part": None,
        "sequence": None,
        "bytes": master.stat().st_size,
        "mtime_ns": master.stat().st_mtime_ns,
        "expected": {},
    }
    return {
        "batch": "b1",
        "item": item,
        "masters": [entry],
        "facts": {},
        "catalogue": {**CATALOGUE, "item": item},
        "corrections": None,
        "settings": {
            "embed": {"iim": True, "credit": ""},
            "package": {"profile": "mets", "include_tiles": True},
        },
        "institution": INSTITUTION,
        "version": "1",
    }


def write_mets(item_dir: Path) -> None:
    """Write a METS that names master and derivatives with their digests, and no more."""
    entries = [
        (f"masters/{m['path']}", m["bytes"], m["digests"]["sha256"])
        for m in files.read_json(item_dir / "fixity.json")["masters"]
    ]
    entries += [
        (entry["path"], entry["bytes"], entry["sha256"])
        for entry in files.read_json(item_dir / "embedded.json")["files"]
    ]
    lines = "".join(
        f'<file ID="F{number}" SIZE="{size}" CHECKSUM="{digest}" CHECKSUMTYPE="SHA-256">'
        f'<FLocat LOCTYPE="URL" xlink:type="simple" xlink:href="{path}"/></file>\n'
        for number, (path, size, digest) in enumerate(entries)
    )
    files.write_text(
        item_dir / "METS.xml",
        '<?xml version="1.0" encoding="UTF-8"?>\n<mets xmlns="http://www.loc.gov/METS/" '
        'xmlns:xlink="http://www.w3.org/1999/xlink"><fileSec><fileGrp>'
        f"{lines}</fileGrp></fileSec><structMap><div/></structMap></mets>\n",
    )


def item_dir_of(root: Path, item: str = "PEH-0001") -> Path:
    return root / "results" / "b1" / "items" / item
