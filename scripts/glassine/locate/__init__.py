"""Where the pictures lie on a master.

As it goes: `view` (the reduced copy, and what lies on the table), `boards` and `sleeves` (what lies
apart on a board, or in a page of pockets), `finder` (piece by piece: `single` peels `border`s off
one picture, with `opening`, `ovals` and `straight` for faint ones and `shadows` for soft ones;
`strips` lays out roll film), `exact` (edges at full resolution by `refine`; `square` and `agree`
make them agree), `kinds`, `character` and `polarity` (what it is). What speaks against a frame:
`judge` (by itself), `unexplained` (what no frame explains: `inside` its outline, `outside` of all)
and `witness` (what a small trained network sees: `learned`); `weights` makes one number of it.
`looks` weighs what was found by one `scale` and by another; `step`.
"""

from glassine.locate.looks import locate_array
from glassine.locate.step import locate_item, read_geometry

__all__ = ["locate_array", "locate_item", "read_geometry"]
