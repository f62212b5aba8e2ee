"""The project's picture of a judge's film: its masters taken through verify, look, films and render.

Where the pictures and clear film lie is written as locate would have found it, so that tone alone
is judged. The masters of a film are parts of one item, and a film of several frames is named as a
studio names a roll: so its frames are pooled as a night pools them.
"""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pyvips

from glassine.base import files, model, settings
from glassine.films import record as films_record
from glassine.films import step as films_step
from glassine.films.given import FilmsGiven
from makers import made_items
from makers.step_calls import do_step
from makers.tone_judge.cases import Film, Shot

ITEM, BATCH, ROLL = "PEH-0001", "b1", "roll 7"


@dataclass(frozen=True)
class Answer:
    """The access picture, uint8 (h, w, 3), why a person should look at it (none: empty), and of
    which pooled film it was rendered (None: as its frame alone shows it)."""

    picture: np.ndarray
    review: tuple[str, ...]
    film: str | None


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


def folder_of(folder: Path) -> Path:
    """Return where `rendered_in` leaves what render makes."""
    return folder / BATCH / "items" / ITEM / "render"


def rendered_in(
    film: Film, folder: Path, changed: dict[str, Any], stated: dict[str, Any] | None = None
) -> list[Answer]:
    """Return the answers as `of_film` does; masters and records stay in the (empty) folder."""
    batch_dir, item_dir = folder / "masters", folder_of(folder).parent
    batch_dir.mkdir()
    item_dir.mkdir(parents=True)
    roll = {"film": ROLL, "film_from": "batch.yaml"} if len(film.shots) > 1 else {}
    masters, located = [], []
    facts = model.Facts(
        kind="sheet",
        polarity=film.polarity,
        process=film.process,
        nominal_ppi=2000,
        **roll,  # type: ignore[arg-type]
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
    if roll:
        given["films"] = _pooled(batch_dir, item_dir, given)
    do_step("render", batch_dir, item_dir, given)
    record = files.read_json(item_dir / "render" / "render.json")
    frames = {frame["master"]: frame for frame in record["frames"]}
    return [_answer(frames[entry["path"]], item_dir / "render") for entry in masters]


def _pooled(batch_dir: Path, item_dir: Path, given: dict[str, Any]) -> list[Any]:
    """Return what render is given of the item's film, by the steps look and films."""
    do_step("look", batch_dir, item_dir, {**given, "pools": True})
    files.write_json(item_dir / "steps.json", {"look": "done"})
    results = item_dir.parents[1]
    asked = {"batch": BATCH, "items": [ITEM], "settings": given["settings"]}
    films_step.pool_batch(results, msgspec.convert(asked, FilmsGiven))
    found = films_record.by_item(films_record.read(results / films_record.RECORD))[ITEM]
    return [msgspec.to_builtins(film) for film in found]


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
    tone = frame["tone"]
    return Answer(picture, tuple(tone["review"]), tone.get("film", {}).get("name"))
