"""Handovers sent to the web address of the settings: each once, in their order."""

from __future__ import annotations

from pathlib import Path

from glassine.base.errors import GlassineError
from glassine.handover import step as handover
from glassine.night import notify


def send(results_batch_dir: Path, address: str | None) -> None:
    """Send the handovers of a batch that were not sent yet; what did not arrive stays unsent, and
    so do those after it. Raises GlassineError where one did not arrive, or no address is set."""
    for number, document in handover.unsent(results_batch_dir):
        if not address:
            raise GlassineError.because(
                "handover.no_address",
                results_batch_dir.name,
                "Handovers are to be sent (`handover.send`), and no address is set.",
                "a web address that takes them.",
                "Set `report.notify.webhook`, or `handover.send: false`.",
            )
        try:
            notify.post(address, {"kind": "handover", **document})
        except (OSError, ValueError) as problem:
            raise GlassineError.because(
                "handover.not_sent",
                results_batch_dir.name,
                f"Handover {number} did not arrive at {address}: {problem}.",
                "a server that takes it.",
                "Correct `report.notify.webhook` or the server; the next run sends it again.",
            ) from problem
        handover.note_sent(results_batch_dir, number)
