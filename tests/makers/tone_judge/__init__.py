"""Photographic film from physics, as the judge of automatic tone.

Nothing here is shared with `makers.tone`, nor with what render does: a scene is light on surfaces
(`spectra`, `scenes`), a film three layers of it with dyes (`stocks`), a master what a camera sees
of that before a light (`capture`). `cases` is the table of what is tried, `rendered` the project's
answer to it.

Pictures: drawn by this code; astronaut, coffee, chelsea, rocket, motorcycle_left of scikit-image's
data (NASA, public domain; Rachel Michetti, CC0; Stefan van der Walt, CC0; SpaceX, CC0; Middlebury
stereo data of D. Scharstein, free to use, as scikit-image's README.txt beside them says). Others
may be laid into a folder: see `scenes.photographs`.
"""
