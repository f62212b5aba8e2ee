"""The further pictures of a frame, made by option: what they are called and where they go.

Nothing here is slow to load: every step from render on asks it, few make such a picture
(`embed/described.py` does).
"""

from __future__ import annotations

# Raise when what embed makes of them changes; only items that have some are done again.
VERSION = "1"
FOLDER = "alternates"
USES = ("webp", "avif", "pyramid", "crop")
TIFFS = ("pyramid", "crop")
# Texts in an AVIF would move its coded picture (ISO/IEC 23008-12: items by offset).
WITHOUT_TEXTS = ("avif",)
