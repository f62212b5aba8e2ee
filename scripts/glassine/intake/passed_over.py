"""What a batch has not, or has no more: told, and never passed over."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from glassine.base import exits, model, naming, wording
from glassine.base.errors import Finding

RAW_SUFFIXES = naming.RAW_SUFFIXES


def without_items(name: str, batch_dir: Path, taken: dict[str, Any]) -> exits.Problem | None:
    """Return what is told of a batch in which no item was found, None where there is one.

    taken: intake.json of the batch. A batch of target captures alone is complete as it is.
    """
    if taken["items"] or taken.get("targets"):
        return None
    others = [str(path) for path in taken.get("other_files") or []]
    raws = [path for path in others if Path(path).suffix.lower() in RAW_SUFFIXES]
    if raws:
        what = (
            f"This batch holds {len(raws)} camera raw files and no master: {wording.listed(raws)}."
        )
        step = "Bring captures of film, raw files or TIFF masters, then run again."
    elif others:
        names = wording.listed(others)
        what = f"This batch holds no master. {len(others)} other files lie in it: {names}."
        step = "Bring the TIFF masters, or move the folder out of the folder of masters."
    else:
        what = "This batch folder holds no master."
        step = (
            "See that the disk or share is mounted and that the copy was made; or remove the "
            "empty folder."
        )
    finding = Finding("run.no_masters", str(batch_dir), what, "TIFF masters (.tif, .tiff).", step)
    return exits.Problem(finding, exits.DATA if others else exits.NO_INPUT, name)


def withdrawn(intake: Mapping[str, Any]) -> set[str]:
    """Return the items that a person withdrew as a whole, by intake.json of their batch."""
    entries = [entry for entry in intake.get("withdraw") or [] if isinstance(entry, dict)]
    return {str(entry.get("item")) for entry in entries if model.withdraws_whole(entry)}


def items_gone(name: str, results_dir: Path, known: set[str]) -> exits.Problem | None:
    """Return what is told of finished items of earlier nights that the batch has no more.

    known: the items that intake found now, and those that a person withdrew.
    """
    folder = results_dir / "items"
    if not folder.is_dir():
        return None
    vanished = [
        path.parent.name for path in folder.glob("*/package.json") if path.parent.name not in known
    ]
    if not vanished:
        return None
    finding = Finding(
        "run.items_gone",
        str(folder),
        f"{len(vanished)} items that earlier runs finished have no master in the batch folder now: "
        f"{wording.listed(vanished)}.",
        "the masters of every item until its batch is closed.",
        "Put the masters back. Where an item that was delivered is to be no more, withdraw it "
        "(scripts/withdraw); where it never was delivered, remove its folder here.",
    )
    return exits.Problem(finding, exits.NO_INPUT, name)
