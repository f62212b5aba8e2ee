"""The further pictures of a frame, made by option: what they are called and where they go.

Nothing here is slow to load: every step from render on asks it, few make such a picture
(`metadata/described.py` does).
"""

from __future__ import annotations

from typing import Any

# Raise when what embed makes of them changes; only items that have some are done again.
VERSION = "1"
FOLDER = "alternates"
USES = ("webp", "avif", "pyramid", "crop")
TIFFS = ("pyramid", "crop")
# Texts in an AVIF would move its coded picture (ISO/IEC 23008-12: items by offset).
WITHOUT_TEXTS = ("avif",)


def of_frame(frame: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the entries of a frame of render.json for what was made by option."""
    found: list[dict[str, Any]] = frame.get("alternates") or []
    return found
