"""The rows of a handover as CSV and JSON."""

from __future__ import annotations

import csv
import io
from typing import Any

from glassine.base import files
from glassine.deliver.handover import harmless
from glassine.handover.columns import Template, Value, cell


def as_csv(rows: list[dict[str, Value]], template: Template) -> bytes:
    """Return CSV: RFC 4180, UTF-8, one header row. A text that a spreadsheet would take for a
    formula (it begins with = + - @ or a control) has an apostrophe before it; JSON and XLSX have
    it as it is."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([harmless(name) for name in template.names])
    for row in rows:
        values = [cell(row[name], template.separator) for name in template.names]
        writer.writerow([harmless(each) if isinstance(each, str) else each for each in values])
    return text.getvalue().encode("utf-8")


def as_json(head: dict[str, Any], rows: list[dict[str, Value]]) -> bytes:
    """Return JSON: the head, and each row with its values as they are. head: what the handover
    is of."""
    return files.dump_json({**head, "rows": rows}).encode("utf-8")
