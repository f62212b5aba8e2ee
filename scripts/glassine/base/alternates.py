"""The further pictures of a frame, made by option: what they are called and where they go.

Nothing here is slow to load: every step from render on asks it, few make such a picture
(`embed/described.py` does).
"""

from __future__ import annotations

# Raise when what embed makes of them changes; only items that have some are done again.
VERSION = "1"
FOLDER = "alternates"
# TIFFs of 16 bits of the rendered frame in further colour spaces (see `masters/spaces`).
SPACES = ("adobergb", "romm", "ecirgb", "linear")
# The access image of a negative as captured.
UNINVERTED = "uninverted"
USES = ("webp", "avif", "pyramid", "crop", *SPACES, UNINVERTED)
TIFFS = ("pyramid", "crop", *SPACES)
# Texts in an AVIF would move its coded picture (ISO/IEC 23008-12: items by offset).
WITHOUT_TEXTS = ("avif",)
