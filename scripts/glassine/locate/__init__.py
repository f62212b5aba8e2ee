"""Where the pictures lie on a master.

As it goes: `scene` holds what was seen of the master (`view`: the reduced copy, and what lies on
the table; `masks`: the opening of one; `boards`, `sleeves`: what lies on a board, in a page of
pockets) and never changes. `table` says what each piece is taken for: film (`rolls`, laid out by
`strips`, its frames chosen by `chain`), one picture (`pictures`; `single` peels `border`s off it,
with `opening`, `ovals`, `straight` for faint ones, `shadows` for soft ones) or several `exposures`;
`strangers` are left out. Each of them returns frames (`candidate`) and what is `known` by then:
scale, borders, strips.
`finder` makes one look of it by one scale, first roughly, then exactly: `exact` (edges at full
resolution by `refine`; `square` and `agree` make them agree; `glow` is light in the border),
`kinds`, `character` and `polarity` (what it is, by `measures`). What speaks against a frame:
`judge` (by itself), `unexplained` (what no frame explains: `inside` its outline, `outside` of all;
`formats` and `several` answer it) and `witness` (what a small trained network sees: `learned`);
`weights` makes one number of it. `looks` weighs what was found by one `scale` and by another;
`step`.
"""

from glassine.locate.looks import locate_array
from glassine.locate.step import locate_item, read_geometry

__all__ = ["locate_array", "locate_item", "read_geometry"]
