"""Where the pictures lie on a master.

As it goes: `view` (the reduced copy, and what lies on the table), `finder` (piece by piece:
`single` peels `border`s off one picture, with `opening`, `ovals` and `straight` for faint ones;
`strips` lays out roll film), `exact` (edges at full resolution by `refine`; `square` and `agree`
make them agree), `kinds` and `character` (what it is), `judge` (how far it can be trusted); `looks`
weighs what was found by one `scale` and by another; `step`. `learned` is a witness made in another
way, whose doubts nothing asks for yet.
"""

from glassine.locate.looks import locate_array
from glassine.locate.step import locate_item, read_geometry

__all__ = ["locate_array", "locate_item", "read_geometry"]
