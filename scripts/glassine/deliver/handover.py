"""What the collections system needs to link its records to the pictures: a CSV and a JSON file.

They travel in the bag (tag files in delivery/) and stand beside the receipt. CSV: one row a
file; JSON: one entry an item with its files. Texts that a spreadsheet would take for a formula
are made harmless.
"""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

from glassine.base import alternates, files

COLUMNS = (
    "item",
    "state",
    "quality",
    "use",
    "file",
    "master",
    "frame",
    "width_px",
    "height_px",
    "bytes",
    "sha256",
    "sha512",
    "format",
    "iiif_manifest",
    "iiif_image",
    "captured",
    "processed",
    "delivered",
    "delivery",
    "bag",
    "reason",
)
_WORST = ("fail", "review", "pass")
# What the common spreadsheets read as the beginning of a formula (common practice, no source).
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")


def harmless(text: str) -> str:
    """Return `text` so that no spreadsheet takes it for a formula.

    >>> harmless("=HYPERLINK(1)")
    "'=HYPERLINK(1)"
    """
    return "'" + text if text.startswith(_FORMULA) else text


def _quality(item_dir: Path) -> str:
    verdicts = {frame["verdict"] for frame in files.read_json(item_dir / "quality.json")["frames"]}
    return next((verdict for verdict in _WORST if verdict in verdicts), "")


def describe_item(item_dir: Path, package: dict[str, Any], bag: str) -> dict[str, Any]:
    """Return one delivered item: its files with digests and sizes, its manifest, its dates."""
    embedded = files.read_json(item_dir / "embedded.json")
    noted = {entry["path"]: entry for entry in embedded["files"]}
    masters = {m["path"]: m for m in files.read_json(item_dir / "fixity.json")["masters"]}
    images = {
        (frame["master"], frame["index"]): frame.get("iiif_id") or ""
        for frame in files.read_json(item_dir / "render" / "render.json")["frames"]
    }
    manifest = files.read_json(item_dir / "manifest.json").get("id") or ""
    described = []
    for entry in package["files"]:
        source = entry["source"].partition(":")[2]
        if entry["use"] == "master":
            described.append(_master(entry, masters[source]))
        elif entry["use"] in ("access", "thumb", *alternates.USES):
            described.append(_derivative(entry, noted[source], images))
    return {
        "item": package["item"],
        "state": "delivered",
        "quality": _quality(item_dir),
        "iiif_manifest": manifest,
        "processed": embedded["event"]["time"],
        "bag": bag,
        "files": described,
    }


def _master(entry: dict[str, Any], noted: dict[str, Any]) -> dict[str, Any]:
    header = noted.get("header", {})
    capture = header.get("capture") or {}
    return {
        "use": "master",
        "file": entry["path"],
        "master": noted["path"],
        "frame": None,
        "width_px": header.get("width"),
        "height_px": header.get("height"),
        "bytes": entry["bytes"],
        "sha256": entry["sha256"],
        "sha512": entry["sha512"],
        "format": header.get("puid") or "",
        "iiif_image": "",
        "captured": (capture.get("taken") or "") + (capture.get("offset") or ""),
    }


def _derivative(
    entry: dict[str, Any], noted: dict[str, Any], images: dict[tuple[str, int], str]
) -> dict[str, Any]:
    return {
        "use": entry["use"],
        "file": entry["path"],
        "master": noted["master"],
        "frame": noted["index"],
        "width_px": noted["width"],
        "height_px": noted["height"],
        "bytes": entry["bytes"],
        "sha256": entry["sha256"],
        "sha512": entry["sha512"],
        "format": noted["puid"],
        "iiif_image": images.get((noted["master"], noted["index"]), ""),
        "captured": "",
    }


def lacking_item(entry: dict[str, Any]) -> dict[str, Any]:
    """Return one item that the delivery lacks, with the reason in a sentence."""
    findings = entry.get("findings") or []
    reasons = [f"{found['path']}: {found['what']} [{found['code']}]" for found in findings]
    return {
        "item": entry["item"],
        "state": entry["state"],
        "reason": " ".join(reasons),
        "files": [],
    }


def withdrawn_item(entry: dict[str, Any]) -> dict[str, Any]:
    """Return one item that is no longer delivered, or a part of it, with who said so and why.

    entry: of the receipt's list `withdrawn`.
    """
    part = f"Master {entry['master']}: " if entry["master"] else ""
    if entry["frames"] is not None:
        part = f"{entry['frames']} frames of a master are left: "
    had = f" Was in {entry['delivery']}." if entry["delivery"] else ""
    return {
        "item": entry["item"],
        "state": "withdrawn",
        "reason": f"{part}{entry['reason']} ({entry['by']}, {entry['when']}).{had}",
        "files": [],
    }


def as_json(described: list[dict[str, Any]], delivery: str, time: str) -> bytes:
    value = {"delivery": delivery, "delivered": time, "items": described}
    return files.dump_json(value).encode("utf-8")


def as_csv(described: list[dict[str, Any]], delivery: str, time: str) -> bytes:
    """Return the CSV: RFC 4180, UTF-8, one header row; a lacking item has a row without a file."""
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    for item in described:
        shared = {key: value for key, value in item.items() if key != "files"}
        shared |= {"delivery": delivery, "delivered": time if item["files"] else ""}
        for entry in item["files"] or [{}]:
            row = {**shared, **entry}
            writer.writerow(
                {
                    key: harmless(value) if isinstance(value, str) else value
                    for key, value in row.items()
                }
            )
    return text.getvalue().encode("utf-8")
