"""Item folders of the invented Port Ellery Harbour Archive, as the record step finds them.

Pictures are a few bytes: the record step reads what the steps before wrote about them.
"""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path
from typing import Any

from makers import tones
from makers.step_calls import do_step

SOFTWARE = {"glassine": "0.1.0", "python": "3.11.2", "pyvips": "3.1.1"}
INSTITUTION = {
    "name": "Port Ellery Harbour Archive",
    "id": "https://archive.port-ellery.example/",
    "homepage": "https://archive.port-ellery.example/",
    "contact": "",
}
CATALOGUE: dict[str, Any] = {
    "item": "PEH-0001",
    "row": 2,
    "title": "Quay at low water, Ævø ferry — “Łódź”",
    "alternative": "Ebbe am Kai",
    "description": "Two clerks with a tide gauge.\nOn the back: 5 < 6 & 7.",
    "date_text": "c. 1905",
    "edtf": "1905~",
    "date_understood": True,
    "creators": [
        {"name": "Ørkind, Åse", "role": "photographer", "uri": "https://names.example/1"},
        {"name": "Harbour Office", "role": "pht", "uri": ""},
    ],
    "subjects": [
        {
            "term": "Harbors",
            "uri": "http://id.loc.gov/authorities/subjects/sh85058863",
            "authority": "lcsh",
        },
        {"term": "Tide gauges", "uri": "", "authority": ""},
    ],
    "places": [{"name": "Port Ellery", "uri": "https://places.example/7"}],
    "identifiers": [{"type": "box", "value": "12"}],
    "languages": ["eng", "en-GB"],
    "genre": "negatives",
    "physical": "gelatin dry plate, 13 x 18 cm",
    "material": "glass",
    "decay_level": 1,
    "rights": {
        "uri": "http://rightsstatements.org/vocab/NoC-OKLR/1.0/",
        "status": "public domain",
        "holder": "",
        "note": "Free to use.",
        "credit": "Port Ellery Harbour Archive",
    },
    "collection": "Harbour Office",
    "masters": [],
    "structure": [],
    "extra": {},
}


def event(kind: str, hour: int, **detail: Any) -> dict[str, Any]:
    return {
        "type": kind,
        "time": f"2026-03-18T{hour:02d}:10:09Z",
        "outcome": "success",
        "software": SOFTWARE,
        "operator": None,
        "detail": detail,
    }


def _digest(content: bytes, name: str) -> str:
    return hashlib.new(name, content).hexdigest()


def _header(bits: int = 16, colour: str = "rgb") -> dict[str, Any]:
    samples = 3 if colour == "rgb" else 1
    return {
        "width": 6000,
        "height": 4000,
        "bits": [bits] * samples,
        "samples": samples,
        "colour": colour,
        "sample_format": "unsigned integer",
        "compression": "uncompressed",
        "byte_order": "little endian",
        "format_name": "TIFF",
        "format_version": "6.0",
        "puid": "fmt/353",
        "icc_name": "ProStar wide gamut linear",
        "icc_sha256": "0" * 64,
        "resolution": {"x": 300.0, "y": 300.0, "unit": "in"},
        "orientation": 1,
        "software": None,
        "capture": {
            "make": "Ellery Optical",
            "model": "Table Camera 1",
            "serial": "EO-000417",
            "lens": "Macro 90 mm",
            "exposure_s": 0.008,
            "f_number": 5.6,
            "iso": 64,
            "focal_mm": 90.0,
            "taken": "2026-03-17T10:00:00",
            "offset": "+00:00",
        },
    }


def _frame(index: int, left: float, **more: Any) -> dict[str, Any]:
    return {
        "index": index,
        "corners": [[left, 10.5], [left + 900, 12.0], [left + 899, 1200.0], [left - 1, 1199.0]],
        "angle_deg": 0.12,
        "rotate": 90,
        "mirror": True,
        "polarity": "negative",
        "process": "monochrome",
        "blank": False,
        "confidence": 0.97,
        "state": "ok",
        "reasons": [],
        "source": "measured",
        **more,
    }


class Made:
    """An item folder under construction; `write` puts it on disk."""

    def __init__(self, root: Path, item: str = "PEH-0001", **catalogue: Any) -> None:
        self.root = root
        self.item = item
        self.batch_dir = root / "masters"
        self.item_dir = root / "results" / item
        self.item_dir.mkdir(parents=True)
        self.batch_dir.mkdir(exist_ok=True)
        self.fixity: dict[str, Any] = {
            "item": item,
            "event": event("fixity check", 1, algorithms=["sha256", "sha512"]),
            "masters": [],
        }
        self.geometry: dict[str, Any] = {
            "item": item,
            "event": event("image analysis", 2),
            "masters": [],
        }
        self.render: dict[str, Any] = {
            "item": item,
            "event": event("derivation", 3, settings={"render": {"access_quality": 88}}),
            "frames": [],
        }
        self.quality: dict[str, Any] = {
            "item": item,
            "event": event("derivation", 3),
            "frames": [],
        }
        self.embedded: dict[str, Any] = {
            "item": item,
            "event": event("metadata modification", 4, settings={}),
            "files": [],
        }
        self.given: dict[str, Any] = {
            "batch": "harbour-2026-03",
            "item": item,
            "masters": [],
            "batch_facts": {},
            "catalogue": {**CATALOGUE, "item": item, **catalogue},
            "corrections": None,
            "institution": INSTITUTION,
            "settings": {
                "records": {"schema_dir": None},
                "rights": {"uri": "", "status": "unknown", "jurisdiction": "gb"},
                "iiif": {"base_url": "https://images.port-ellery.example/iiif"},
                "naming": {},
            },
            "version": "1",
        }

    def master(self, path: str, frames: int = 1, part: str | None = None, **header: Any) -> Made:
        content = b"II*\0" + path.encode()
        full = self.batch_dir / path
        full.parent.mkdir(parents=True, exist_ok=True)
        full.write_bytes(content)
        self.fixity["masters"].append(
            {
                "path": path,
                "part": part,
                "bytes": len(content),
                "mtime": "2026-03-17T11:00:00Z",
                "digests": {name: _digest(content, name) for name in ("sha256", "sha512")},
                "expected": {"sha256": _digest(content, "sha256")},
                "verdict": "match",
                "header": {**_header(), **header},
            }
        )
        self.geometry["masters"].append(
            {
                "path": path,
                "width": 6000,
                "height": 4000,
                "ppi": 3999.7,
                "ppi_source": "batch",
                "kind": "strip_135" if frames > 1 else "plate",
                "frames": [_frame(index, index * 1000.0) for index in range(1, frames + 1)],
            }
        )
        for index in range(1, frames + 1):
            self._shown(path, index, part)
        return self

    def _shown(self, path: str, index: int, part: str | None) -> None:
        name = re.sub("[^A-Za-z0-9._-]", "-", Path(path).stem)  # as an IIIF id may hold it
        stem = f"{self.item}_{name}_{index:02d}"
        tiles_dir = self.item_dir / "iiif" / stem
        (tiles_dir / "full/max/0").mkdir(parents=True)
        (tiles_dir / "info.json").write_text(json.dumps({"id": stem}))
        (tiles_dir / "full/max/0/default.jpg").write_bytes(b"tile" + stem.encode())
        names = ("full/max/0/default.jpg", "info.json")
        lines = "".join(
            f"{name} {_digest((tiles_dir / name).read_bytes(), 'sha256')}\n" for name in names
        )
        self.render["frames"].append(
            {
                "master": path,
                "part": part,
                "index": index,
                "label": f"frame {index}",
                "iiif_id": stem,
                "width": 900,
                "height": 1190,
                "ppi": 3999.7,
                "skipped": None,
                "files": [],
                "tiles": {
                    "path": f"iiif/{stem}",
                    "width": 900,
                    "height": 1190,
                    "tile_px": 512,
                    "count": 2,
                    "bytes": 40,
                    "sha256": _digest(lines.encode(), "sha256"),
                },
                "tone": tones.monochrome_negative(),
            }
        )
        self.quality["frames"].append(
            {
                "master": path,
                "index": index,
                "verdict": "review",
                "measures": [
                    {
                        "name": "skew",
                        "value": 0.12,
                        "unit": "degree",
                        "limit": "<= 1",
                        "verdict": "pass",
                        "source": "own limit",
                    }
                ],
            }
        )
        for use, folder, width in (("access", "access", 600), ("thumb", "thumbs", 60)):
            content = f"{use} {stem}".encode()
            target = self.item_dir / folder / f"{stem}_{use}.jpg"
            target.parent.mkdir(exist_ok=True)
            target.write_bytes(content)
            self.embedded["files"].append(
                {
                    "use": use,
                    "path": f"{folder}/{target.name}",
                    "master": path,
                    "index": index,
                    "width": width,
                    "height": width * 4 // 3,
                    "bytes": len(content),
                    "sha256": _digest(content, "sha256"),
                    "sha512": _digest(content, "sha512"),
                    "puid": "fmt/1507",
                    "format_name": "Exchangeable Image File Format (Compressed)",
                    "format_version": "2.3.x",
                    "derived_from": {"path": path, "sha256": "0" * 64},
                }
            )

    def write(self) -> Made:
        self.given["masters"] = [
            {
                "path": entry["path"],
                "part": entry["part"],
                "bytes": entry["bytes"],
                "facts": {"operator": "op-03"},
            }
            for entry in self.fixity["masters"]
        ]
        (self.item_dir / "render").mkdir(exist_ok=True)
        for name, value in (
            ("fixity.json", self.fixity),
            ("geometry.json", self.geometry),
            ("render/render.json", self.render),
            ("quality.json", self.quality),
            ("embedded.json", self.embedded),
        ):
            (self.item_dir / name).write_text(json.dumps(value), "utf-8")
        return self

    def record(self) -> Path:
        """Write the folder and its record; return the path of METS.xml."""

        self.write()
        do_step("record", self.batch_dir, self.item_dir, self.given)
        return self.item_dir / "METS.xml"
