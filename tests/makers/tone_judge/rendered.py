"""The project's picture of a judge's film: its masters taken through verify and render.

Where the pictures and clear film lie is written as locate would have found it, so that tone alone
is judged. The masters of a film are parts of one item.
"""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyvips

from glassine.base import files, model, settings
from makers import made_items
from makers.step_calls import do_step
from makers.tone_judge.cases import Film, Shot

ITEM = "PEH-0001"


@dataclass(frozen=True)
class Answer:
    """The access picture, uint8 (h, w, 3), and why a person should look at it (none: empty)."""

    picture: np.ndarray
    review: tuple[str, ...]


def of_film(
    film: Film, changed: dict[str, Any] | None = None, facts: dict[str, Any] | None = None
) -> list[Answer]:
    """Return the project's answer for each shot.

    changed: sections of the settings, by key; facts: what batch.yaml states beside polarity and
    process.
    """
    folder = Path(tempfile.mkdtemp(prefix="tone-judge-"))
    try:
        return rendered_in(film, folder, changed or {}, facts or {})
    finally:
        shutil.rmtree(folder)


def rendered_in(
    film: Film, folder: Path, changed: dict[str, Any], stated: dict[str, Any] | None = None
) -> list[Answer]:
    """Return the answers as `of_film` does; masters and records stay in the (empty) folder."""
    batch_dir, item_dir = folder / "masters", folder / "item"
    batch_dir.mkdir()
    item_dir.mkdir()
    masters, located = [], []
    facts = model.Facts(
        kind="sheet",
        polarity=film.polarity,
        process=film.process,
        nominal_ppi=2000,
        **(stated or {}),
    ).as_dict()
    for number, shot in enumerate(film.shots, 1):
        path = batch_dir / f"{ITEM}_f{number}.tif"
        _write(shot, path)
        entry = made_items.given_for(ITEM, path)["masters"][0]
        masters.append({**entry, "part": f"f{number}", "facts": facts})
        located.append(_located(shot, path.name, film))
    chosen = settings.load({"iiif": {"form": "pyramid"}, **changed})
    given = {
        **made_items.given_for(ITEM, path),
        "masters": masters,
        "settings": chosen,
        "findings": [],
        "facts": facts,
    }
    do_step("verify", batch_dir, item_dir, given)
    files.write_json(item_dir / "geometry.json", {"item": ITEM, "event": {}, "masters": located})
    do_step("render", batch_dir, item_dir, given)
    record = files.read_json(item_dir / "render" / "render.json")
    frames = {frame["master"]: frame for frame in record["frames"]}
    return [_answer(frames[entry["path"]], item_dir / "render") for entry in masters]


def _write(shot: Shot, path: Path) -> None:
    image = pyvips.Image.new_from_array(shot.codes).copy(interpretation="rgb16")
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", shot.icc)
    image.tiffsave(str(path))


def _corners(box: tuple[int, int, int, int]) -> list[list[float]]:
    left, top, right, bottom = map(float, box)
    return [[left, top], [right, top], [right, bottom], [left, bottom]]


def _located(shot: Shot, name: str, film: Film) -> dict[str, Any]:
    height, width = shot.codes.shape[:2]
    return {
        "path": name,
        "width": width,
        "height": height,
        "ppi": 2000.0,
        "ppi_source": "batch",
        "kind": "sheet",
        "base_regions": [_corners(box) for box in shot.base],
        "frames": [
            {
                "index": 1,
                "corners": _corners(shot.box),
                "angle_deg": 0.0,
                "polarity": film.polarity,
                "process": film.process,
                "process_stated": True,
                "confidence": 0.99,
                "state": "ok",
            }
        ],
    }


def _answer(frame: dict[str, Any], folder: Path) -> Answer:
    (name,) = [entry["name"] for entry in frame["files"] if entry["use"] == "access"]
    picture = pyvips.Image.new_from_file(str(folder / name)).numpy()
    if picture.ndim == 2 or picture.shape[2] == 1:
        picture = np.repeat(picture.reshape(*picture.shape[:2], 1), 3, axis=2)
    return Answer(picture, tuple(frame["tone"]["review"]))
