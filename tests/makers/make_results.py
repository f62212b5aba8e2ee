"""Draw the results of a night of the invented Port Ellery Harbour Archive, for report tests.

Records follow the contract of the steps; pictures are drawn by code.
"""

from __future__ import annotations

import json
import math
import os
from pathlib import Path
from typing import Any

import numpy as np
import pyvips

from makers import tones

INSTITUTION = {
    "name": "Port Ellery Harbour Archive",
    "id": "https://archive.port-ellery.example/",
    "homepage": "https://archive.port-ellery.example/",
    "contact": "",
}
BATCH = "harbour-2026-03"
MASTER_PX = (6400, 4800)
PREVIEW_PX = (1600, 1200)
# One frame on most masters; every fifth item is a strip of three.
_SINGLE = [[900.0, 700.0], [5500.0, 760.0], [5445.0, 4100.0], [850.0, 4040.0]]


def strip(number: int) -> list[list[float]]:
    left = 250.0 + number * 2000
    return [[left, 1500.0], [left + 1850, 1512.0], [left + 1842, 3400.0], [left - 8, 3390.0]]


def draw_preview(corner_sets: list[list[list[float]]]) -> pyvips.Image:
    """Return a light table with a darker picture inside each outline."""
    width, height = PREVIEW_PX
    scale = MASTER_PX[0] / width
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    picture = np.full((height, width, 3), (236, 232, 224), np.float32)
    picture *= (1 - 0.12 * (((x / width - 0.5) ** 2 + (y / height - 0.5) ** 2) * 2))[..., None]
    for corners in corner_sets:
        inside = np.ones((height, width), bool)
        for start, end in zip(corners, corners[1:] + corners[:1], strict=True):
            (ax, ay), (bx, by) = ([v / scale for v in start], [v / scale for v in end])
            inside &= (bx - ax) * (y - ay) - (by - ay) * (x - ax) > 0
        tone = 120 + 60 * np.sin(x / 70) * np.cos(y / 90) + 25 * np.sin((x + y) / 23)
        orange = np.stack([tone * 1.15, tone * 0.8, tone * 0.55], axis=-1)
        picture[inside] = orange[inside]
    return pyvips.Image.new_from_array(np.clip(picture, 0, 255).astype(np.uint8))


def frame_record(index: int, corners: list[list[float]], sure: bool) -> dict[str, Any]:
    (ax, ay), (bx, by) = corners[0], corners[1]
    return {
        "index": index,
        "corners": corners,
        "angle_deg": round(math.degrees(math.atan2(by - ay, bx - ax)), 4),
        "polarity": "negative",
        "process": "colour",
        "rotate": 0,
        "mirror": False,
        "blank": False,
        "confidence": 0.97 if sure else 0.41,
        "state": "ok" if sure else "review",
        "reasons": [] if sure else ["The left edge was not seen; it was taken from the others."],
        "source": "measured",
        "sides": [],
        "keystone_deg": 0.1,
        "excluded": False,
    }


def measure(name: str, value: float, unit: str, limit: str | None, verdict: str) -> dict[str, Any]:
    source = "studio limit" if limit else ""
    return {
        "name": name, "value": value, "unit": unit, "limit": limit, "verdict": verdict,
        "source": source,
    }  # fmt: skip


def catalogue(item: str, number: int) -> dict[str, Any]:
    titles = [
        "Lighters at the coal wharf, seen from the north mole",
        "Keel-laying of the tug «Möwe»",
        "Nets drying; Čestmír’s yard <east & west>",
        "Harbour office, winter light",
    ]
    return {
        "item": item,
        "row": number + 2,
        "title": titles[number % 4],
        "alternative": None,
        "description": "Two men beside a crane; a steam launch in the background.",
        "date_text": ["4 May 1931", "about 1928", "1930s", "undated"][number % 4],
        "edtf": None,
        "date_understood": number % 4 != 3,
        "creators": [{"name": "Orla Vennick", "role": "photographer", "uri": None}],
        "subjects": [{"term": "harbours", "uri": None, "authority": None}],
        "places": [{"name": "Coal wharf", "uri": None}],
        "identifiers": [],
        "languages": ["eng"],
        "genre": "negatives",
        "physical": "1 negative",
        "material": ["acetate", "polyester", "nitrate", "acetate", "glass", "unknown"][number % 6],
        "decay_level": [0, None, 4, 3, None, 1][number % 6],
        "rights": {"uri": "http://rightsstatements.org/vocab/InC/1.0/", "status": "in copyright"},
        "collection": "Harbour office",
        "structure": [],
        "extra": {},
    }


def write_json(path: Path, value: Any) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps(value, ensure_ascii=False), "utf-8")


def _corner_sets(number: int) -> list[list[list[float]]]:
    return [strip(each) for each in range(3)] if number % 5 == 4 else [_SINGLE]


def _taken(number: int) -> str:
    return f"2026-03-17T{9 + number // 60 % 8:02d}:{number % 60:02d}:00"


def _measures(number: int, wave: float) -> list[dict[str, Any]]:
    noisy = number % 13 == 6
    clipped = round(0.1 + wave * 0.1, 4)
    density = round(1.1 + wave * 0.2 + number * 0.0004, 4)
    sharp = round(31 + wave * 6, 3)
    noise = round(0.008 + (0.02 if noisy else 0) + wave * 0.002, 5)
    return [
        measure("clipped highlights", clipped, "%", "<= 0.5", "pass"),
        measure("mean density", density, "D", None, "pass"),
        measure("sharpness at half contrast", sharp, "lp/mm", ">= 20", "pass"),
        measure("noise", noise, "D", "<= 0.02", "review" if noisy else "pass"),
    ]


def write_item(folder: Path, item: str, number: int, pictures: Path | None) -> None:
    """Write the records of one finished item; its pictures are links into `pictures`."""
    master = f"{item}.tif"
    corner_sets = _corner_sets(number)
    sure = number % 7 != 3
    frames = [
        frame_record(index, corners, sure or index != 1)
        for index, corners in enumerate(corner_sets, 1)
    ]
    many = len(frames) > 1
    stem = "strip" if many else "single"
    wave = math.sin(number * 12.9898) * 0.5
    names = [f"{item}_{index:02d}" if many else item for index in range(1, len(frames) + 1)]
    write_json(
        folder / "fixity.json",
        {
            "item": item,
            "event": {},
            "masters": [
                {
                    "path": master,
                    "part": None,
                    "bytes": 184_320_000,
                    "mtime": "2026-03-17T09:00:00Z",
                    "digests": {"sha256": f"{number:064x}", "sha512": f"{number:0128x}"},
                    "expected": {"sha256": f"{number:064x}"},
                    "verdict": "match",
                    "header": {
                        "width": MASTER_PX[0],
                        "height": MASTER_PX[1],
                        "capture": {"taken": _taken(number)},
                    },
                }
            ],
        },
    )  # fmt: skip
    write_json(
        folder / "geometry.json",
        {
            "item": item,
            "event": {},
            "masters": [
                {
                    "path": master,
                    "width": MASTER_PX[0],
                    "height": MASTER_PX[1],
                    "ppi": 3999.2,
                    "ppi_source": "perforations" if many else "batch",
                    "kind": "strip_135" if many else "sheet",
                    "notes": [],
                    "labels": [],
                    "frames": frames,
                }
            ],
        },
    )
    write_json(
        folder / "quality.json",
        {
            "item": item,
            "event": {},
            "frames": [
                {
                    "master": master,
                    "index": frame["index"],
                    "verdict": "pass",
                    "measures": _measures(number, wave),
                }
                for frame in frames
            ],
        },
    )  # fmt: skip
    write_json(
        folder / "render" / "render.json",
        {
            "item": item,
            "event": {},
            "frames": [
                {
                    "master": master,
                    "part": None,
                    "index": frame["index"],
                    "label": None,
                    "iiif_id": name,
                    "width": 4600,
                    "height": 3340,
                    "ppi": 3999.2,
                    "skipped": None,
                    "files": [],
                    "tiles": None,
                    "tone": tones.positive(),
                }
                for frame, name in zip(frames, names, strict=True)
            ],
        },
    )
    write_json(
        folder / "embedded.json",
        {
            "item": item,
            "event": {},
            "files": [
                {
                    "use": use,
                    "path": f"{where}/{name}_{use}.jpg",
                    "master": master,
                    "index": frame["index"],
                    "width": width,
                    "height": height,
                    "bytes": 1000,
                    "sha256": "ab" * 32,
                    "sha512": "cd" * 64,
                }
                for frame, name in zip(frames, names, strict=True)
                for use, where, width, height in (
                    ("access", "access", 1500, 1089),
                    ("thumb", "thumbs", 400, 290),
                )
            ],
        },
    )
    write_json(folder / "package.json", {"item": item, "profile": "mets", "files": []})
    steps = (("verify", 0.9), ("locate", 2.2), ("render", 7.4), ("embed", 0.4), ("record", 0.3))
    begin = 1_773_800_000 + number * 6.5
    for step, seconds in steps:
        write_json(
            folder / "timings" / f"{step}.json",
            {
                "step": step,
                "seconds": seconds + wave * 0.2,
                "cpu_s": seconds * 1.6,
                "max_rss_mb": 900 if step == "render" else 180,
                "started": begin,
            },
        )
        begin += seconds
    if pictures is None:
        return
    links = [(f"{stem}.jpg", folder / "previews" / f"{item}.jpg")]
    for name in names:
        links.append(("access.jpg", folder / "access" / f"{name}_access.jpg"))
        links.append(("thumb.jpg", folder / "thumbs" / f"{name}_thumb.jpg"))
    for source, target in links:
        target.parent.mkdir(parents=True, exist_ok=True)
        os.link(pictures / source, target)


def draw_pictures(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    draw_preview([_SINGLE]).jpegsave(str(folder / "single.jpg"), Q=85)
    draw_preview([strip(each) for each in range(3)]).jpegsave(str(folder / "strip.jpg"), Q=85)
    picture = draw_preview([_SINGLE]).crop(240, 210, 1100, 800).invert()
    picture.resize(1500 / 1100).jpegsave(str(folder / "access.jpg"), Q=85)
    picture.resize(400 / 1100).jpegsave(str(folder / "thumb.jpg"), Q=85)


def finding(code: str, path: str, what: str, severity: str = "hold") -> dict[str, Any]:
    return {
        "code": code,
        "path": path,
        "what": what,
        "expected": "the digest that the capture station listed.",
        "next_step": "Copy the master again from the capture station, then run again.",
        "severity": severity,
    }


def entry(item: str, number: int, state: str = "ready", **changed: Any) -> dict[str, Any]:
    return {
        "item": item,
        "state": state,
        "masters": [
            {
                "path": f"{item}.tif",
                "part": None,
                "sequence": None,
                "bytes": 184_320_000,
                "mtime_ns": 0,
                "expected": {},
                "size_px": list(MASTER_PX),
            }
        ],
        "facts": {"kind": "sheet"},
        "catalogue": catalogue(item, number),
        "corrections": None,
        "labels": [],
        "findings": [],
        **changed,
    }


def _row(item: str, title: str, material: str, level: int) -> dict[str, Any]:
    return {"item": item, "title": title, "material": material, "decay_level": level}


def write_batch(root: Path, items: int = 12, *, pictures: bool = True) -> dict[str, Any]:
    """Write `results/<batch>/` below `root`; return `given` for the report.

    The last four of the items are: held at verify, held at intake, waiting, not yet run.
    """
    results = root / "results" / BATCH
    drawn = root / "drawn" if pictures else None
    if drawn is not None:
        draw_pictures(drawn)
    entries = []
    for number in range(items):
        item = f"PEH-{number + 1:04d}"
        ends = items - number
        if ends == 1:
            entries.append(entry(item, number))
        elif ends == 2:
            told = finding("intake.waiting", f"{item}.tif", "It is still being written.", "note")
            entries.append(entry(item, number, "waiting", findings=[told]))
        elif ends == 3:
            told = finding("catalogue.no_row", item, "The catalogue has no row for this item.")
            entries.append(entry(item, number, "held", catalogue=None, findings=[told]))
        else:
            entries.append(entry(item, number))
            folder = results / "items" / item
            write_item(folder, item, number, drawn)
            if ends == 4:
                (folder / "package.json").unlink()
                told = finding("verify.digest", f"{item}.tif", "Its SHA-256 is not the listed one.")
                write_json(
                    folder / "held.json",
                    {"item": item, "step": "verify", "time": "x", "findings": [told]},
                )
    write_json(
        results / "intake.json",
        {
            "batch": BATCH,
            "title": "Harbour office negatives, second crate",
            "facts": {},
            "items": entries,
            "notes": [],
            "rows": {
                "read": items + 2,
                "without_master": [
                    _row("PEH-9001", "Slipway", "acetate", 2),
                    _row("PEH-9002", "Ferry", "nitrate", 5),
                ],
            },
            "other_files": ["notes from the studio.txt"],
            "targets": [],
        },
    )  # fmt: skip
    deliveries = root / "deliveries"
    delivered = [
        {"item": f"PEH-{number + 1:04d}", "bag": BATCH, "files": 9, "bytes": 9, "digest": "0f" * 32,
         "replaces": None}
        for number in range(max(items - 4, 1))
    ]  # fmt: skip
    receipt = {
        "delivery": BATCH,
        "batch": BATCH,
        "revision": 1,
        "replaces": None,
        "continues": None,
        "time": "2026-03-18T04:40:00Z",
        "form": "folder",
        "profile": "mets",
        "content": "0e" * 32,
        "bags": [
            {
                "name": BATCH,
                "files": 9,
                "bytes": 9,
                "manifest_sha256": "0d" * 32,
                "tagmanifest_sha256": "0f" * 32,
                "validated": "2026-03-18T04:39:00Z",
            }
        ],
        "items": delivered,
        "lacking": [],
        "handover": [],
        "software": "Glassine",
    }
    write_json(deliveries / f"{BATCH}.receipt.json", receipt)
    write_json(deliveries / "receipts" / f"{BATCH}.json", receipt)
    return {
        "batch": BATCH,
        "settings": {
            "iiif": {"base_url": "https://images.port-ellery.example/iiif"},
            "report": {"viewer": None},
        },
        "institution": INSTITUTION,
        "deliveries": str(deliveries),
    }
