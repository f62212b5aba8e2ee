"""Whether each capture gets the item that it belongs to, and what it costs to find out.

    tests/benchmarks/run identity [--captures 1000] [--names 10000] [--seed 1]

A session is drawn small: separators every 4 to 40 captures with labels of four symbologies at any
angle, a tenth of which cannot be read (smudged, blurred, torn off, of another paper, or not captured
at all). A capture is right with its item, held where it is not certain, wrong with another: none may
be. `named` counts held captures whose words name an item beside them. Then the time for 10,000
files whose names tell the item, and for a look at a capture of 24 megapixels. `seconds` are by the
clock, `processor_s` what processors worked: on a machine that does other work too, these tell more.
"""

from __future__ import annotations

import argparse
import contextlib
import random
import resource
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import tifffile

from benchmarks.result import Outcome, Row, figure
from glassine.base import settings
from glassine.masters import labels
from makers import session
from makers.step_calls import taken_in

FORMS = tuple(session.FORMATS)
LOST = ("smudged", "blurred", "torn", "brown", "absent")
MEGAPIXELS_24 = (4000, 6000)


@dataclass
class Drawn:
    """A session: the item of each capture, None of a separator that cannot be read."""

    truth: dict[str, str | None] = field(default_factory=dict)
    items: list[str] = field(default_factory=list)
    separators: int = 0
    lost: int = 0


def draw(folder: Path, captures: int, seed: int) -> Drawn:
    """Draw a session of so many captures into `folder`."""
    chance = random.Random(seed)
    drawn = Drawn()
    number = second = 0
    while number < captures:
        item = f"PEH-{len(drawn.items) + 1:04d}"
        drawn.items.append(item)
        drawn.separators += 1
        lost = chance.choice(LOST) if len(drawn.items) > 1 and chance.random() < 0.1 else ""
        drawn.lost += bool(lost)
        pictures = [] if lost == "absent" else [(separator(item, chance, lost), not lost)]
        count = min(chance.randint(4, 40), max(1, captures - number))
        pictures += [(session.film(chance.randrange(10**6)), True) for _ in range(count)]
        for picture, known in pictures:
            number, second = number + 1, second + chance.randint(8, 25)
            path = session.write(folder / f"DSC {number:05d}.tif", picture, second)
            drawn.truth[path.name] = item if known else None
    return drawn


def separator(item: str, chance: random.Random, lost: str) -> Any:
    form, degrees = chance.choice(FORMS), chance.uniform(0, 360)
    seed = chance.randrange(10**6)
    if lost == "smudged":
        return session.sleeve(item, form, degrees, readable=False, seed=seed)
    picture = session.sleeve(item, form, degrees, seed=seed)
    if lost == "blurred":
        return np.asarray(cv2.GaussianBlur(picture, (0, 0), 7))
    if lost in ("torn", "brown"):
        picture = picture.copy()
        picture[60:-60, 90:-90] = picture[40, 60]
    if lost == "brown":
        picture = (picture * np.array([0.75, 0.6, 0.42])).astype(np.uint8)
    return picture


def judge(drawn: Drawn, taken: dict[str, Any]) -> Row:
    right = held = wrong = named = 0
    for item in taken["items"]:
        words = " ".join(finding["what"] for finding in item["findings"])
        for master in item["masters"]:
            truth = drawn.truth[master["path"]]
            if item["state"] == "held":
                held += 1
                named += any(each in words for each in drawn.items)
            elif truth == item["item"]:
                right += 1
            else:
                wrong += 1
    return {
        "captures": len(drawn.truth),
        "separators": drawn.separators,
        "unreadable": drawn.lost,
        "right": right,
        "held": held,
        "named": named,
        "wrong": wrong,
        "lost": len(drawn.truth) - right - held - wrong,
    }


def take(folder: Path, naming: dict[str, Any], **more: Any) -> dict[str, Any]:
    config = settings.load({"intake": {"watch_s": 0}, "naming": naming, **more})
    return taken_in(folder, {"batch": folder.name, "settings": config})


@contextlib.contextmanager
def timed(row: Row) -> Iterator[None]:
    """Add to a row how long what is done meanwhile took, with the processes that it starts."""
    start, before = time.perf_counter(), _worked()
    yield
    row["seconds"] = figure(time.perf_counter() - start, 2)
    row["processor_s"] = figure(_worked() - before, 2)


def _worked() -> float:
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(each.ru_utime + each.ru_stime for each in used)


def one_session(root: Path, captures: int, seed: int, with_rows: bool) -> Row:
    folder = root / f"session-{seed}-{with_rows}"
    folder.mkdir()
    drawn = draw(folder, captures, seed)
    if with_rows:
        rows = "".join(f"{item},Quay\n" for item in drawn.items)
        (folder / "catalogue.csv").write_text(f"item_id,title\n{rows}", "utf-8")
    naming = {"identify": ["name", "catalogue", "separator"]}
    spent: Row = {}
    with timed(spent):
        taken = take(folder, naming, catalogue={"required": with_rows})
    name = "session, with a catalogue" if with_rows else "session, without a catalogue"
    return {"what": name, **judge(drawn, taken), **spent}


def many_names(root: Path, count: int) -> Row:
    folder = root / "names"
    folder.mkdir()
    first = root / "one.tif"
    tifffile.imwrite(first, np.zeros((8, 12, 3), np.uint16))
    content = first.read_bytes()
    for number in range(count):
        (folder / f"PEH-{number:05d}.tif").write_bytes(content[:-4] + number.to_bytes(4, "little"))
    rows = "".join(f"PEH-{number:05d},Quay\n" for number in range(count))
    (folder / "catalogue.csv").write_text(f"item_id,title\n{rows}", "utf-8")
    spent: Row = {}
    with timed(spent):
        taken = take(folder, {})
    ready = sum(item["state"] == "ready" for item in taken["items"])
    return {"what": f"{count} names", "right": ready, **spent}


def large_labels(root: Path) -> Iterator[Row]:
    for form in FORMS:
        picture = session.sleeve("PEH-0001", form, 37.0, seed=3)
        size = (MEGAPIXELS_24[1], MEGAPIXELS_24[0])
        large = cv2.resize(picture, size, interpolation=cv2.INTER_CUBIC)
        path = session.write(root / f"{form}.tif", np.asarray(large, np.uint8))
        tries: list[Row] = []
        for _ in range(5):
            tries.append({})
            with timed(tries[-1]):
                seen = labels.see_master(path, "400000000")
        texts = [label["text"] for label in seen["labels"]]
        least = min(tries, key=lambda each: each["processor_s"] or 0.0)
        yield {
            "what": f"{form}, 24 megapixels",
            "right": int(texts == ["PEH-0001"]),
            **least,
        }
        path.unlink()


def measured(root: Path, options: argparse.Namespace) -> Iterator[Row]:
    yield from large_labels(root)
    yield many_names(root, options.names)
    yield one_session(root, options.captures, options.seed, with_rows=True)
    yield one_session(root, options.captures // 4, options.seed + 1, with_rows=False)


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--captures", type=int, default=1000)
    parser.add_argument("--names", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    rows: list[Row] = []
    with tempfile.TemporaryDirectory() as name:
        for row in measured(Path(name), options):
            print(", ".join(f"{key} {value}" for key, value in row.items()), flush=True)
            rows.append(row)
    good = not any(row.get("wrong") or row.get("lost") for row in rows)
    return Outcome(rows, good)
