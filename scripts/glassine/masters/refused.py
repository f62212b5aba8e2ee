"""Why a master would be refused by its header, asked in a process of its own."""

from __future__ import annotations

from pathlib import Path

import tifffile  # noqa: F401 - loaded here, so that each question's fork finds it

from glassine.base.errors import GlassineError
from glassine.masters import opening


def by_header(path: Path | str, shown: str, max_pixels: str) -> list[dict[str, str]]:
    """Return the findings on a master's header, as `errors.Finding` has them; no pixel is decoded.

    shown: the path that they name. max_pixels: a whole number, as text (`Apart` passes texts).
    """
    try:
        opening.read_header(Path(path), int(max_pixels), shown)
    except GlassineError as error:
        return [finding.as_dict() for finding in error.findings]
    return []
