"""Dimensions of film, plates, mounts and slides, in millimetres, each with its source.

`Size` is (width, height) of a picture lying on its side, the longer edge first. Values marked
`value from memory` were not found in a published text and are used only to choose between
candidates that were measured, never as a measurement.
"""

from __future__ import annotations

from dataclasses import dataclass

MM_PER_INCH = 25.4


@dataclass(frozen=True)
class Size:
    """One nominal size. tolerance_mm: how far real pieces stray from it."""

    name: str
    width_mm: float
    height_mm: float
    tolerance_mm: float
    source: str


@dataclass(frozen=True)
class Film:
    """Cross-section of perforated or plain roll film."""

    name: str
    width_mm: float
    picture_height_mm: float
    source: str


# 35 mm film is 1.377 in +-0.001 in wide: 34.976 mm (encyclopedia text on 35 mm film, after
# SMPTE 139 / ISO 491). The 135 frame is 24 x 36 mm (ISO 1007); half frames are 18 x 24 mm
# (common practice, no source).
FILM_135 = Film("135", 34.976, 24.0, "ISO 1007 (24 x 36 mm); ISO 491 (width)")

# KS perforations (positive, KS-1870): pitch 0.1870 in = 4.75 mm, 1.981 x 2.794 mm
# (B. Pritchard, film glossary, "Pitch"; encyclopedia text on 35 mm perforations).
PERFORATION_PITCH_MM = 4.75
PERFORATION_SIZE_MM = (1.981, 2.794)  # along the film, across it
# Film edge to the near edge of the perforation: value from memory (ISO 491: 2.01 +-0.05).
PERFORATION_MARGIN_MM = 2.01
# Eight perforations a frame: 8 x 4.75 mm (arithmetic).
FRAME_ADVANCE_135_MM = 38.0

# ISO 732: nominal images 56 mm wide on 120 film; lengths 41.5, 56, 70, 77, 84, 118 and 168 mm.
# Many cameras give 54-56, 69 and 82.6 mm (value from memory). Film width 61.5 mm: from memory.
FILM_120 = Film("120", 61.5, 56.0, "ISO 732 (image sizes)")


@dataclass(frozen=True)
class Gate:
    """A camera's gate on roll film. along_mm: the picture's side that lies along the film;
    across_mm: the other one.
    """

    name: str
    film_mm: float
    along_mm: float
    across_mm: float
    source: str


# Film of cartridges: 126, 27 to 28 mm square on film of 35 mm with one hole a picture; 110, 13 x 17
# mm on film of 16 mm (values from memory).
GATES = (
    *(
        Gate(f"120, {along:g} mm", FILM_120.width_mm, along, FILM_120.picture_height_mm, "ISO 732")
        for along in (41.5, 56.0, 70.0, 77.0, 84.0, 118.0)
    ),
    Gate("126", FILM_135.width_mm, 27.5, 27.5, "value from memory"),
    Gate("110", 16.0, 17.0, 13.0, "value from memory"),
)

# Mounts: 50 x 50 mm, aperture 22.5-23.5 x 34-35 mm (BKSTS dictionary, 4th ed., App. C,
# which refers to SMPTE 96M).
MOUNT = Size("2 x 2 in mount", 50.0, 50.0, 1.0, "BKSTS Dictionary 4th ed., App. C")
APERTURES = (
    Size("35 mm aperture", 34.3, 22.5, 1.3, "BKSTS Dictionary 4th ed., App. C"),
    Size("super-slide aperture", 39.1, 37.5, 1.3, "BKSTS Dictionary 4th ed., App. C"),
)

# Sheets: nominal inch sizes (1 in = 25.4 mm exactly; ISO 1012 governs); the cut size is about
# 1.5 mm smaller and the image smaller again by the holder's rails (value from memory).
SHEETS = (
    Size("4 x 5 in", 127.0, 101.6, 2.5, "25.4 mm to the inch; ISO 1012"),
    Size("5 x 7 in", 177.8, 127.0, 2.5, "25.4 mm to the inch; ISO 1012"),
    Size("8 x 10 in", 254.0, 203.2, 2.5, "25.4 mm to the inch; ISO 1012"),
    Size("6.5 x 9 cm", 90.0, 65.0, 2.0, "plate and sheet format table"),
    Size("9 x 12 cm", 120.0, 90.0, 2.0, "plate and sheet format table"),
    Size("13 x 18 cm", 180.0, 130.0, 2.0, "plate and sheet format table"),
    Size("18 x 24 cm", 240.0, 180.0, 2.0, "plate and sheet format table"),
)

# Plates were cut by hand: +-2 mm.
PLATES = (
    Size("quarter plate", 107.95, 82.55, 2.0, "Century Dictionary, quarter-plate"),
    Size("half plate (US)", 139.7, 107.95, 2.0, "Century Dictionary"),
    Size("half plate (UK)", 165.1, 120.65, 2.0, "Century Dictionary"),
    Size("whole plate", 215.9, 165.1, 2.0, "19th century plate size table"),
    Size("sixth plate", 82.55, 69.85, 2.0, "19th century plate size table"),
    Size("ninth plate", 63.5, 50.8, 2.0, "19th century plate size table"),
    *SHEETS[3:],
)

# Lantern slides: British 3 1/4 in square (The Wellington photographic handbook, p. 98),
# American 3 1/4 x 4 in (Gage & Gage, Optic Projection, ch. VIII).
LANTERN = (
    Size("British lantern slide", 82.55, 82.55, 1.5, "Wellington photographic handbook p. 98"),
    Size("American lantern slide", 101.6, 82.55, 1.5, "Gage & Gage, Optic Projection, ch. VIII"),
    Size("lantern slide 85 x 85", 85.0, 85.0, 1.5, "Gage & Gage, Optic Projection, ch. VIII"),
    Size("lantern slide 85 x 100", 100.0, 85.0, 1.5, "Gage & Gage, Optic Projection, ch. VIII"),
)


def px_per_mm(ppi: float) -> float:
    """Return pixels per millimetre for pixels per inch (1 in = 25.4 mm)."""
    return ppi / MM_PER_INCH


def nearest(
    width_mm: float, height_mm: float, sizes: tuple[Size, ...], slack: float = 1.0
) -> Size | None:
    """Return the size (either way round) both of whose edges agree within its tolerance.

    slack multiplies the tolerance. Of several, the one that agrees best.
    """
    long, short = max(width_mm, height_mm), min(width_mm, height_mm)
    fits = [
        (abs(long - size.width_mm) + abs(short - size.height_mm), size)
        for size in sizes
        if abs(long - size.width_mm) <= slack * size.tolerance_mm
        and abs(short - size.height_mm) <= slack * size.tolerance_mm
    ]
    return min(fits, key=lambda pair: pair[0])[1] if fits else None
