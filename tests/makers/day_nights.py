"""What became of each file of a studio's day in the results of a night, as `studio_days` writes it.

Told by what stands on the disk alone: intake.json, the items' records, the delivered bag.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from glassine.base import files, item_states, settings
from glassine.base.errors import GlassineError
from glassine.base.model import ItemId
from glassine.night import delivery_items, due, explained
from makers import studio_days
from makers.step_calls import do_delivery, do_step, taken_in

# What a night needs of every studio; labels and files are looked at at once.
STATED: dict[str, Any] = {
    "institution": {
        "name": "Port Ellery Harbour Archive",
        "id": "https://archive.port-ellery.example/",
    },
    "iiif": {"base_url": "https://images.port-ellery.example"},
    "rights": {"jurisdiction": "gb"},
    "intake": {"watch_s": 0},
    "delivery": {"when": "passed"},
    # Drawn frames are none of one film.
    "tone": {"pool": "none"},
    "render": {"access_long_edge": 200},
}


def stated(day: studio_days.Day) -> dict[str, Any]:
    """Return the settings of a day as a file of settings holds them."""
    return explained.merged(STATED, day.settings)


def by_steps(day: studio_days.Day, root: Path, name: str) -> None:
    """Do the steps of a night in this process. day: made at root/masters/<name>."""
    config = settings.load(stated(day))
    batch_dir, results = root / "masters" / name, root / "results" / name
    taken = taken_in(batch_dir, {"batch": name, "settings": config})
    files.write_json(results / "intake.json", taken)
    batch = due.Batch(taken)
    for item in batch.ready():
        _do_item(batch_dir, results / "items" / item, due.steps_given(batch, item, config))
    given = {
        "batch": name,
        "settings": {"delivery": config["delivery"], "package": config["package"]},
        "institution": config["institution"],
    }
    whole = delivery_items.with_states(given, results)
    if whole["items"]:
        do_delivery(root, whole, name)


def _do_item(batch_dir: Path, item_dir: Path, given: list[dict[str, Any]]) -> None:
    item_dir.mkdir(parents=True, exist_ok=True)
    for each in given:
        try:
            do_step(each["step"], batch_dir, item_dir, each)
        except GlassineError as error:
            told = [finding.as_dict() for finding in error.findings]
            files.write_json(item_dir / "held.json", {"step": each["step"], "findings": told})
            return


@dataclass
class Results:
    """What a night left of a batch. states, words: of each item, its state and what a person is
    told; delivered: its folder in a bag; bytes_there: SHA-256 of every file of the bags; held:
    whether the batch as a whole is."""

    intake: dict[str, Any]
    states: dict[str, str]
    delivered: dict[str, Path]
    bytes_there: set[str] = field(default_factory=set)
    words: dict[str, list[str]] = field(default_factory=dict)
    held: bool = False


def read(root: Path, name: str) -> Results:
    """Return the results of a batch below a working directory."""
    results = root / "results" / name
    statuses = item_states.batch_status(results)
    bags = root.glob("deliveries/*/data/*/")
    found = Results(
        intake=files.read_json(results / "intake.json"),
        states={status.item: status.state for status in statuses},
        delivered={path.name: path for path in sorted(bags)},
        held=(results / "held.json").exists(),
    )
    for path in (each for folder in found.delivered.values() for each in folder.rglob("*")):
        if path.is_file():
            found.bytes_there.add(hashlib.sha256(path.read_bytes()).hexdigest())
    for status in statuses:
        found.words[status.item] = [finding.sentence() for finding in status.findings]
    return found


def fates(day: studio_days.Day, found: Results) -> dict[str, str]:
    """Return {file: its fate} as the night made it; one with `!` is no fate that a person can mean:
    what is wrong stands behind it."""
    of_masters = dict(_of_items(found))
    return {path: _checked(day, found, path, of_masters.get(path, "-")) for path in day.fates}


def _of_items(found: Results) -> Iterator[tuple[str, str]]:
    for item in found.intake["items"]:
        name = item["item"]
        if found.states[name] == "held":  # files that are no masters hold it too
            refused = ("intake.not_a_master", "intake.entry")
            others = [each for each in item["findings"] if each["code"] in refused]
            yield from ((each["path"], "held") for each in others)
        for master in item["masters"]:
            yield master["path"], _of_master(found, item, master)
        for other in (*item["companions"], *item.get("left_out", [])):
            yield other["path"], f"={name}"


def _of_master(found: Results, item: dict[str, Any], master: dict[str, Any]) -> str:
    name = ItemId(item["item"])
    state = found.states[name]
    if state == "held":
        return "held"
    if state not in ("done", "review"):
        return f"! {state}"
    if name not in found.delivered:
        return "waits" if found.held else "! done and not delivered"
    if "superseded_by" in master:
        return f"={name}"
    asks = any(finding["severity"] == "review" for finding in item["findings"])
    place = "/".join([name, master["part"] or "", master["sequence"] or ""]).rstrip("/")
    return place + "?" * asks


def _checked(day: studio_days.Day, found: Results, path: str, fate: str) -> str:
    """Return the fate of a file where what lies in the bags agrees with it."""
    content = (day.root / path).read_bytes()
    there = hashlib.sha256(content).hexdigest() in found.bytes_there
    former = any(
        each["path"] == path and "superseded_by" in each
        for item in found.intake["items"]
        for each in item["masters"]
    )
    goes = fate not in ("held", "-", "waits") and (not fate.startswith("=") or former)
    if goes and not there:
        return f"! {fate}, and not in the bag"
    if there and not goes and not _same_bytes_go(day, found, path):
        return f"! {fate}, and in the bag"
    if fate == "held" and not _words(found, path):
        return "! held without a word"
    return fate


def _words(found: Results, path: str) -> list[str]:
    """Return what a person is told of a held file: what its item says, or what names it."""
    return [
        words
        for item in found.intake["items"]
        for words in found.words[item["item"]]
        if path in words or path in [master["path"] for master in item["masters"]]
    ]


def _same_bytes_go(day: studio_days.Day, found: Results, path: str) -> bool:
    """Return whether another file of the same bytes is delivered by right."""
    content = (day.root / path).read_bytes()
    others = [
        master["path"]
        for item in found.intake["items"]
        for master in item["masters"]
        if master["path"] != path and found.states[item["item"]] in ("done", "review")
    ]
    return any((day.root / other).read_bytes() == content for other in others)


def reconciled(found: Results) -> tuple[list[str], list[str]]:
    """Return the items that are missing and those that nobody expected."""
    expected = found.intake["expected"] or {"missing": [], "surplus": []}
    return sorted(each["item"] for each in expected["missing"]), sorted(expected["surplus"])
