"""THE table: the steps of an item in their order, what each is given, which records it leaves.

A step's name is its room (`glassine/<step>/step.py`, function `<step>_item`), the name of its log
and the `step` in held.json.
"""

from __future__ import annotations

import contextlib
import functools
import importlib
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec


@dataclass(frozen=True)
class Step:
    """A step of an item.

    sections: of the settings that it is given. fields: of the item in intake.json that it is given
    ("facts" are those on its masters), and what is known of it from the batch: whether its
    negatives may share a film ("pools"), and which they do ("films"); who may see it on the day of
    the night ("access"), and which of its pictures may be public ("public"); what its package holds
    of raw captures ("keep"); the size that its row states ("size"). records: what it leaves in the
    item's folder.
    """

    name: str
    sections: tuple[str, ...]
    fields: tuple[str, ...]
    records: tuple[str, ...]


STEPS = (
    Step("verify", ("verify", "intake"), ("findings",), ("fixity.json",)),
    # Of items with raw masters alone: to others it is no step.
    Step("develop", ("raw", "intake"), ("facts", "calibration"), ("developed.json",)),
    Step("locate", ("locate",), ("facts", "corrections", "size"), ("geometry.json",)),
    Step("look", ("tone",), ("facts", "pools"), ("looks.json",)),
    Step(
        "render",
        ("render", "tone", "quality", "iiif", "naming"),
        ("facts", "films", "public", "caption"),
        ("quality.json", "render/render.json"),
    ),
    Step(
        "embed",
        ("embed", "rights", "naming"),
        ("facts", "catalogue", "access"),
        ("embedded.json",),
    ),
    Step(
        "record",
        ("records", "rights", "iiif", "naming"),
        (
            "facts",
            "catalogue",
            "corrections",
            "batch_facts",
            "roll",
            "place",
            "left_out",
            "access",
            "keep",
        ),
        ("METS.xml", "manifest.json"),
    ),
    Step("pack", ("package", "records"), ("companions", "access", "keep"), ("package.json",)),
)
DEVELOP = "develop"
# The steps of a batch, around those of its items.
BATCH_STEPS = ("intake", "films", "targets", "deliver", "report")
# The last step of an item before what its negatives share with other items must be known.
FIRST_HALF = "look"
_BY_NAME = {step.name: step for step in STEPS}
_VERSION = re.compile(r'^VERSION = "([^"]+)"', re.MULTILINE)


def step(name: str) -> Step:
    return _BY_NAME[name]


@functools.cache
def of_item(raw: bool) -> tuple[Step, ...]:
    """Return the steps of an item. raw: whether it has raw masters."""
    return tuple(step for step in STEPS if raw or step.name != DEVELOP)


def first_half() -> tuple[Step, ...]:
    """Return the steps of an item up to the look at its frames."""
    names = [step.name for step in STEPS]
    return STEPS[: names.index(FIRST_HALF) + 1]


def records_of(given: dict[str, Any]) -> tuple[str, ...]:
    """Return the records that a step leaves, by what it is given: an item none of whose pictures
    is public has no manifest, which is a public page of them."""
    records = step(given["step"]).records
    hidden = given.get("access", {}).get("public") == "none"
    return tuple(name for name in records if not (hidden and name == "manifest.json"))


def version(name: str) -> str:
    """Return the VERSION of a step."""
    return version_of(f"{name}/step")


@functools.cache
def version_of(module: str) -> str:
    """Return the VERSION of a module of the package, as in `base/alternates`, read from its text:
    importing pixels is slow."""
    path = (Path(__file__).parent / module).with_suffix(".py")
    match = _VERSION.search(path.read_text("utf-8"))
    if match is None:
        raise ValueError(f'{path} has no line VERSION = "..."')
    return match[1]


def given(name: str, values: dict[str, Any]) -> Any:
    """Return what a step is given as its type, e.g. `glassine.verify.given.VerifyGiven`.

    Raises msgspec.ValidationError where something that the step uses is missing or of another kind.
    """
    module = importlib.import_module(f"glassine.{name}.given")
    return msgspec.convert(values, getattr(module, f"{name.capitalize()}Given"))


def prepare(name: str) -> None:
    """Do once a process what a step would do for each item: load what it loads, read what it reads
    of the project's own files (its `prepare`). No thread is started. What cannot be read is told
    where it is used, of the item that needs it."""
    module = importlib.import_module(f"glassine.{name}.step")
    with contextlib.suppress(Exception):
        getattr(module, "prepare", lambda: None)()
    with contextlib.suppress(msgspec.ValidationError):
        given(name, {})


def function(name: str) -> Callable[[Path, Path, Any], None]:
    """Return the function of a step, e.g. `glassine.verify.step.verify_item`."""
    module = importlib.import_module(f"glassine.{name}.step")
    found: Callable[[Path, Path, Any], None] = getattr(module, f"{name}_item")
    return found
