"""Where the pictures lie on a master."""

from glassine.locate.finder import locate_array
from glassine.locate.step import locate_item, read_geometry

VERSION = "7"

__all__ = ["VERSION", "locate_array", "locate_item", "read_geometry"]
