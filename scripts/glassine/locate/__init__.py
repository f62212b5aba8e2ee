"""Where the pictures lie on a master.

As it goes: `scene` holds what was seen of the master (`view`: the reduced copy, and what lies on
the table; `masks`: the opening of one) and never changes. `table` says what each piece is taken
for: film (`rolls`, laid out by `strips`), one picture (`pictures`; `single` peels `border`s off it,
with `opening`, `ovals` and `straight` for faint ones) or several `exposures`; `strangers` are left
out. Each of them returns frames (`candidate`) and what is `known` by then: scale, borders, strips.
`finder` makes one look of it by one scale, first roughly, then exactly: `exact` (edges at full
resolution by `refine`; `square` and `agree` make them agree), `kinds` and `character` (what it is,
by `measures`). What speaks against a frame: `judge` (by itself), `unexplained` (what no frame
explains: `inside` its outline, `outside` of all) and `witness` (what a small trained network sees:
`learned`); `weights` makes one number of it. `looks` weighs what was found by one `scale` and by
another; `step`.
"""

from glassine.locate.looks import locate_array
from glassine.locate.step import locate_item, read_geometry

__all__ = ["locate_array", "locate_item", "read_geometry"]
