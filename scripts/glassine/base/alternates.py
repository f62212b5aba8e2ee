"""The further pictures of a frame, made by option: what they are called and where they go.

Nothing here is slow to load: every step from render on asks it, few make such a picture
(`embed/described.py` does).
"""

from __future__ import annotations

from typing import Literal

# Raise when what embed makes of them changes; only items that have some are done again.
VERSION = "1"
FOLDER = "alternates"
# TIFFs of 16 bits of the rendered frame in further colour spaces (see `masters/spaces`).
SPACES = ("adobergb", "romm", "ecirgb", "linear")
# The access image of a negative as captured.
UNINVERTED: Literal["uninverted"] = "uninverted"
USES = ("webp", "avif", "jp2", "jpeg", "tiff", "pyramid", "crop", *SPACES, UNINVERTED)
TIFFS = ("tiff", "pyramid", "crop", *SPACES)
JPEGS = ("jpeg", UNINVERTED)
# The forms that further sets of pictures may have, with the endings of their names.
SUFFIXES = {"jpeg": "jpg", "tiff": "tif", "webp": "webp", "avif": "avif", "jp2": "jp2"}
# What no set may be called: these words stand in the names of other pictures.
RESERVED = ("access", "thumb", *USES)
# Texts in an AVIF would move its coded picture (ISO/IEC 23008-12: items by offset); those of a JP2
# (ISO/IEC 15444-1, boxes) are not written here.
WITHOUT_TEXTS = ("avif", "jp2")
