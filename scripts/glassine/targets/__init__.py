"""Proof of capture quality: targets measured and judged against published guidelines.

`measure_target` does the work of a batch; `holds` says what keeps it from delivery; `trend`
follows the measures over batches (its database is one file under results).
"""

from glassine.targets import trend
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
    "trend",
]
