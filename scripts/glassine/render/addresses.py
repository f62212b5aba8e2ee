"""A new address for pictures that stay as they are: only what names the address is written again.

The address of the image services (`iiif.base_url`) stands in the info.json of each tile set, and so
in the digest over the set. Pixels have nothing to do with it.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import msgspec

from glassine.base import files, hashing, record_files
from glassine.base.errors import GlassineError
from glassine.base.records.quality import Quality
from glassine.base.records.render import Rendering, Tiles
from glassine.render import step, tiles
from glassine.render.given import RenderGiven


def base_of(item_dir: Path) -> str | None:
    """Return the address that an item was rendered for, None where its record does not tell."""
    try:
        record = record_files.load(item_dir / "render" / "render.json", "render", Rendering)
        base = record.event.detail["settings"]["iiif"]["base_url"]
    except (GlassineError, LookupError, TypeError):
        return None
    return base if isinstance(base, str) else None


def _digests(folder: Path) -> dict[str, tuple[str, int]]:
    """Return {path in the folder: (SHA-256, bytes)} of all of its files."""
    found = {}
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            content = path.read_bytes()
            digest = hashlib.sha256(content).hexdigest()
            found[path.relative_to(folder).as_posix()] = (digest, len(content))
    return found


def _tiles(item_dir: Path, was: Tiles, service: str) -> tuple[bytes, Tiles] | None:
    """Return info.json and the record of a tile set at a new address; None where the set is not
    as its record says."""
    found = _digests(item_dir / was.path)
    if hashing.of_tree({path: digest for path, (digest, _) in found.items()}) != was.sha256:
        return None
    about = files.read_json(item_dir / was.path / tiles.INFO)
    about["@id" if "@id" in about else "id"] = service
    content = files.dump_json(about).encode()
    found[tiles.INFO] = (hashlib.sha256(content).hexdigest(), len(content))
    return content, msgspec.structs.replace(
        was,
        bytes=sum(size for _, size in found.values()),
        sha256=hashing.of_tree({path: digest for path, (digest, _) in found.items()}),
    )


def renew(item_dir: Path, given: RenderGiven) -> bool:
    """Write the address of `given` into what render left; return whether that could be done.

    Only for an item of which nothing else changed since it was rendered. What comes out is byte
    for byte what render would make of it. False, and nothing written, where a tile set is not as
    it was recorded.
    """
    base = given.chosen().iiif.base_url.rstrip("/")
    try:
        rendering = record_files.load(item_dir / "render" / "render.json", "render", Rendering)
        measured = record_files.load(item_dir / "quality.json", "quality", Quality)
        renewed = {
            frame.tiles.path: _tiles(item_dir, frame.tiles, f"{base}/{frame.iiif_id}")
            for frame in rendering.frames
            if frame.tiles
        }
    except (GlassineError, OSError):
        return False
    if None in renewed.values():
        return False
    frames = []
    for frame in rendering.frames:
        new = renewed.get(frame.tiles.path) if frame.tiles else None
        if new:
            files.write_bytes(item_dir / new[1].path / tiles.INFO, new[0])
        frames.append(msgspec.structs.replace(frame, tiles=new[1]) if new else frame)
    what = step.derivation(given, rendering.event.detail.get("notes", []))
    record_files.save(
        item_dir / "quality.json", "quality", msgspec.structs.replace(measured, event=what)
    )
    record_files.save(
        item_dir / "render" / "render.json",
        "render",
        msgspec.structs.replace(rendering, event=what, frames=frames),
    )
    return True
