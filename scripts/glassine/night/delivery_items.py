"""Which items of a batch a delivery holds, and which it lacks."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from glassine.base import intake_file, item_states, wording
from glassine.base.errors import Finding
from glassine.deliver.step import FINISHED
from glassine.night import due

# So many reasons of an item are told.
_TOLD = 3


def with_states(given: dict[str, Any], results_dir: Path) -> dict[str, Any]:
    """Return what a delivery is given, with the items it holds and those it lacks now."""
    states = item_states.batch_status(results_dir)
    intake = intake_file.read(results_dir / "intake.json").value
    section = given.get("settings", {}).get("delivery", {})
    items = [
        state.item for state in states if state.state in FINISHED and not _waits(state, section)
    ]
    return {
        **given,
        "inputs": due.delivered_inputs(results_dir / "items", items, given.get("pooling", {})),
        "withdraw": intake.get("withdraw", []),
        "items": items,
        "lacking": [
            {
                "item": state.item,
                "state": state.state,
                "findings": [finding.as_dict() for finding in told],
            }
            for state in states
            if (told := _waits(state, section)) or state.state not in FINISHED
        ],
    }


def _waits(state: item_states.ItemStatus, section: dict[str, Any]) -> list[Finding]:
    """Return why an item is not delivered: what holds it, or that a person is to accept it."""
    if state.state not in FINISHED:
        return state.findings
    if section.get("when") != "reviewed":
        return []
    failed_too = section.get("quality_fail", "review") == "review"
    reasons = [reason.text for reason in state.awaits_person(failed_too=failed_too)]
    if not reasons:
        return []
    return [
        Finding(
            "delivery.unreviewed",
            state.item,
            f"No person has accepted it yet ({wording.some(reasons, _TOLD)}).",
            "an item that a person has accepted.",
            "Look at it (scripts/review) and accept what is right.",
            "review",
        )
    ]
