"""Frames of a roll, captured one by one: a batch of masters whose truth is known.

Each frame lies on the light table with a border of its film's clear base about the picture.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import msgspec
import numpy as np
import pyvips
import yaml

from glassine.base import files, record_files, settings
from glassine.base.model import Facts
from glassine.base.records.films import Films
from glassine.base.records.looks import Looks, MasterLooks
from glassine.films import record as films_record
from glassine.films import step as films_step
from glassine.films.given import FilmsGiven
from glassine.look import compact
from glassine.look import step as look_step
from glassine.masters import colour
from glassine.render import looks, negative_film
from glassine.render.estimate import primaries_of
from glassine.render.given import ToneSection
from makers.tone import negatives, positives, sources

# Margins about the picture, px: film base, then the light table.
BASE, TABLE = 22, 40
PPI = 200
NOTHING_STATED = Facts()


def film(number: int, **changes: Any) -> negatives.Film:
    """Return a drawn colour film of this number, with some of its values changed."""
    made = negatives.colour_film(np.random.default_rng(900 + number), number)
    return negatives.Film(**{**vars(made), **changes})


def capture(stock: negatives.Film, positive: np.ndarray, seed: int) -> np.ndarray:
    """Return a 16-bit linear master (h, w, 3) of a negative of `positive` (sRGB) on the table."""
    rng = np.random.default_rng(seed)
    picture = stock.density(negatives.linear(positive))
    edge = BASE + TABLE
    height, width = picture.shape[:2]
    d = np.zeros((height + 2 * edge, width + 2 * edge, 3))
    d[TABLE:-TABLE, TABLE:-TABLE] = stock.dmin
    d[edge:-edge, edge:-edge] = picture
    d[TABLE:-TABLE, TABLE:-TABLE] += rng.normal(0, 0.005, (height + 2 * BASE, width + 2 * BASE, 3))
    t = cv2.GaussianBlur(0.95 * 10.0**-d, (0, 0), 0.6)
    t += rng.normal(0, 0.001, t.shape)
    return np.round(np.clip(t, 0, 1) * 65535).astype(np.uint16)


def write(path: Path, codes: np.ndarray) -> None:
    """Write a master with a linear profile."""
    path.parent.mkdir(parents=True, exist_ok=True)
    height, width, bands = codes.shape
    image = pyvips.Image.new_from_memory(codes.tobytes(), width, height, bands, "ushort")
    image = image.copy(interpretation="rgb16", xres=PPI / 25.4, yres=PPI / 25.4)
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", sources.linear_profile())
    image.write_to_file(str(path))


def pictures(count: int) -> list[np.ndarray]:
    """Return photographs and views, of one size."""
    return list(positives.pictures(40).values())[:count]


def state(folder: Path, items: Iterable[dict[str, Any]] = (), **more: Any) -> None:
    """Write batch.yaml, catalogue and checksum list of a batch folder as it is now."""
    entry = {"kind": "sheet", "polarity": "negative", "process": "colour", "nominal_ppi": PPI}
    stated = {"defaults": {"required_ppi": 20, **entry, **more}, "items": list(items)}
    (folder / "batch.yaml").write_text(yaml.safe_dump(stated))
    masters = sorted(folder.glob("*.tif"))
    rows = "".join(f"{path.stem},Quay,public domain\n" for path in masters)
    (folder / "catalogue.csv").write_text("item_id,title,copyright_status\n" + rows)
    digests = [f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.name}" for path in masters]
    (folder / "manifest-sha256.txt").write_text("\n".join(digests) + "\n")


def roll(folder: Path, stock: negatives.Film, shown: list[np.ndarray], first: int = 1) -> list[str]:
    """Write the frames of a roll into a batch folder; return their items."""
    items = []
    for number, positive in enumerate(shown, first):
        item = f"PEH-{number:04d}"
        write(folder / f"{item}.tif", capture(stock, positive, number))
        items.append(item)
    return items


# ------------------------------------------------------------------ looks without a night


def settings_of(**tone_settings: Any) -> dict[str, Any]:
    return settings.load({"tone": tone_settings})


def look_at(
    items_dir: Path,
    item: str,
    stock: negatives.Film,
    shown: list[np.ndarray],
    base: bool = True,
    facts: Facts = NOTHING_STATED,
    process: str = "colour",
    kind: str = "sheet",
) -> None:
    """Leave in an item's folder what the step look leaves of a master with these pictures."""
    rng = np.random.default_rng(sum(item.encode()))
    section = msgspec.convert(settings_of()["tone"], ToneSection)
    icc = sources.linear_profile()
    kept, regions = [], []
    encoding = colour.encoding_of(icc, None, 16, 3)
    for number, positive in enumerate(shown, 1):
        codes, box = negatives.master(stock, positive, rng, base)
        source = sources.ArraySource(codes)
        geometry = sources.geometry(source, box, process)
        frame = replace(geometry.frames[0], index=number)
        kept.append(compact.kept(looks.look(source, frame, encoding)))
        regions += list(negative_film.base_of(source, geometry, encoding))
    record = MasterLooks(
        master=f"{item}.tif",
        kind=kind,
        bands=3,
        encoding=encoding.describe,
        base=regions,
        primaries=primaries_of(encoding),
        facts=facts,
        alone=look_step.alone(kept, tuple(regions), primaries_of(encoding), facts, section),
        frames=kept,
    )
    folder = items_dir / item
    folder.mkdir(parents=True, exist_ok=True)
    record_files.save(folder / "looks.json", "looks", Looks(item=item, masters=[record]))
    files.write_json(folder / "steps.json", {"look": "done"})


def pooled(results: Path, **tone_settings: Any) -> Films:
    """Return the films of all items looked at in `results/<batch>/`."""
    items = sorted(path.name for path in (results / "items").iterdir())
    given = {"batch": results.name, "items": items, "settings": settings_of(**tone_settings)}
    films_step.pool_batch(results, msgspec.convert(given, FilmsGiven))
    return films_record.read(results / films_record.RECORD)
