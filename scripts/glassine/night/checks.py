"""What is looked at before a run begins to work; each check raises GlassineError if it cannot."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path

import msgspec

from glassine.base import identity, text_packages
from glassine.base.errors import GlassineError
from glassine.handover import columns
from glassine.handover.given import HandoverSection
from glassine.night import due, item_folders, preflight
from glassine.night.workplace import Workplace


def check_writable(place: Workplace) -> None:
    """Raise GlassineError where results or deliveries cannot be written."""
    for folder in (place.results, place.deliveries):
        preflight.check_writable(folder)


def check_identity(place: Workplace) -> None:
    """Raise GlassineError where the settings do not say who keeps the film; warn where they
    still hold the worked example's names. A run that makes no records is not asked."""
    if not place.works:
        return
    identity.check_identity(place.config)
    finding = identity.placeholders(place.config, place.masters)
    if finding:
        sys.stderr.write(f"WARNING {finding.sentence()}\n")


def check_handover(place: Workplace) -> None:
    """Raise GlassineError where the template of handovers cannot be used: a night would say so at
    its end, when nobody can correct it any more."""
    if place.works and place.config["handover"]["when"] != "never":
        columns.template(msgspec.convert(place.config["handover"], HandoverSection))


def check_text_reader(place: Workplace) -> None:
    """Raise GlassineError where writing is to be read and what reads it is not installed: every
    item would be held for it."""
    sections = [place.config.get("locate", {})]
    sections += [rule["set"].get("locate", {}) for rule in place.config.get("rules", [])]
    asked = any(section.get("seen_text") for section in sections)
    if not (place.works and asked):
        return

    if not text_packages.are_installed():
        raise GlassineError([text_packages.missing()])


def check_room(place: Workplace, batches: Iterable[str]) -> None:
    """Raise GlassineError where the disk is full; warn where it may become so on the way."""
    due_bytes = sum(
        preflight.masters_bytes(place.batch_dir(name))
        for name in batches
        if not (place.deliveries / f"{name}.receipt.json").exists()
    )
    reserve_mb = place.config["limits"]["free_mb"]
    stated = [place.config["render"]]
    stated += [rule["set"].get("render", {}) for rule in place.config.get("rules", [])]
    crops = any(made.get("crop_tiff", "none") != "none" for made in stated)
    spaces = max(len(made.get("tiff_spaces", [])) for made in stated)
    deep = (sum(each.get("bits") == 16 for each in made.get("sets", [])) for made in stated)
    spaces += max(deep)
    warning = preflight.check_room(place.results, due_bytes, reserve_mb, crops=crops + spaces)
    if warning:
        sys.stderr.write(f"WARNING {warning}\n")


def bring_records_to_now(place: Workplace, batches: Iterable[str]) -> None:
    """See that no record that the engine compares by time comes from the future."""
    patterns = ("*.json", "report/index.html", "targets/**/*.json")
    for name in batches:
        results = place.results_dir(name)
        for pattern in patterns:
            preflight.bring_to_now(results.glob(pattern))
        preflight.bring_to_now(
            f"{folder}/{stamp}"
            for folder in item_folders.listed(results / "items")
            for stamp in (due.STAMP, due.LOOKED)
        )


def delivery_to_compare(place: Workplace) -> Path:
    """Return the delivery that is to be made again. Raises GlassineError where none is."""
    named = place.config["reproduce"]
    path = place.working_dir / (named or "")
    if not named or not path.exists():
        raise GlassineError.because(
            "run.reproduce",
            named or "reproduce",
            "There is no such delivery." if named else "It is not said which delivery.",
            "a bag, or its .tar or .zip.",
            "Name it: snakemake reproduce --config reproduce=deliveries/<batch>",
        )
    return path
