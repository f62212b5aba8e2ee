"""Which items of a batch a delivery holds, and which it lacks."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from glassine.base import files, item_states
from glassine.night import due


def with_states(given: dict[str, Any], results_dir: Path) -> dict[str, Any]:
    """Return what a delivery is given, with the items it holds and those it lacks now."""
    states = item_states.batch_status(results_dir)
    intake = files.read_json(results_dir / "intake.json")
    finished = {"done", "review"}
    items = [state.item for state in states if state.state in finished]
    return {
        **given,
        "inputs": due.delivered_inputs(results_dir / "items", items, given.get("pooling", {})),
        "withdraw": intake.get("withdraw", []),
        "items": items,
        "lacking": [
            {
                "item": state.item,
                "state": state.state,
                "findings": [finding.as_dict() for finding in state.findings],
            }
            for state in states
            if state.state not in finished
        ],
    }
