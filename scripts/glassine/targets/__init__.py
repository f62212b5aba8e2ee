"""Proof of capture quality: targets measured and judged against published guidelines."""

from glassine.targets.measure import (
    VERSION,
    holds,
    measure_target,
    mix_target_data,
    premis_event,
    report_section,
)

__all__ = [
    "VERSION",
    "holds",
    "measure_target",
    "mix_target_data",
    "premis_event",
    "report_section",
]
