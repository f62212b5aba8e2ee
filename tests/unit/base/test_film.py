"""Dimensions against published values; each row names where its value can be read.

Sources, all read as published text:
BKSTS    BKSTS Illustrated Dictionary of Moving Image Technology, 4th ed., Appendix C
CENT     Century Dictionary, "quarter-plate" (plate sizes, inches)
GAGE     Gage & Gage, Optic Projection, chapter VIII (sizes of lantern slides)
ISO 732  image sizes of 120 and 220 film, as an encyclopedia on 120 film gives them
ISO 1007 the 24 x 36 mm picture, as an encyclopedia on 135 film gives it
PRITCH   B. Pritchard, film glossary, "Pitch" (KS-1870: 0.1870 in)
PLATES   "19th Century Photographic Plate Sizes", table of cwfp.biz
FORMATS  "Plate (Sheet) film formats", italianfilmphotography.it
WELL     The Wellington photographic handbook, p. 98 (British lantern slide: 3 1/4 in square)
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from glassine.base import film

INCH = 25.4  # mm, exactly (international yard and pound agreement of 1959)


def size_named(sizes, name):
    return next(size for size in sizes if size.name == name)


def test_35_mm_film_is_as_wide_as_published():
    """1.377 in +-0.001 in (encyclopedia text on 35 mm film, after SMPTE 139 / ISO 491)."""
    assert film.FILM_135.width_mm == pytest.approx(1.377 * INCH, abs=0.001 * INCH)


def test_the_135_picture_is_24_mm_high():
    """ISO 1007: 24 x 36 mm."""
    assert film.FILM_135.picture_height_mm == 24


def test_perforations_are_as_published():
    """PRITCH: KS-1870, long pitch 0.1870 in; size 1.981 x 2.794 mm (encyclopedia text)."""
    assert pytest.approx(0.1870 * INCH, abs=0.0005) == film.PERFORATION_PITCH_MM
    assert film.PERFORATION_SIZE_MM == (1.981, 2.794)
    # The same hole in inches, 0.078 x 0.110: value from memory.
    assert pytest.approx((0.078 * INCH, 0.110 * INCH), abs=0.001) == film.PERFORATION_SIZE_MM


def test_a_135_frame_advances_by_eight_perforations():
    """Common practice, no source: eight perforations a frame, two millimetres between pictures."""
    assert pytest.approx(8 * film.PERFORATION_PITCH_MM) == film.FRAME_ADVANCE_135_MM
    assert pytest.approx(36 + 2.0) == film.FRAME_ADVANCE_135_MM  # ISO 1007: 36 mm along the film


def test_the_picture_fits_between_the_rows_of_perforations():
    """The margin is a value from memory (2.01 mm); with it the rows leave 25.37 mm for 24."""
    between = film.FILM_135.width_mm - 2 * (
        film.PERFORATION_MARGIN_MM + film.PERFORATION_SIZE_MM[1]
    )
    assert between == pytest.approx(25.37, abs=0.01)
    assert between > film.FILM_135.picture_height_mm


def test_120_film_has_the_image_width_of_iso_732():
    assert film.FILM_120.picture_height_mm == 56
    # The width of the film is a value from memory: "roughly 61 mm" is what was found in print.
    assert film.FILM_120.width_mm == pytest.approx(61, abs=1)


def test_mounts_and_their_apertures_are_as_published():
    """BKSTS: mount 50 x 50 mm, aperture 34.3 x 22.5 mm (mounts vary: 34-35 x 22.5-23.5)."""
    assert (film.MOUNT.width_mm, film.MOUNT.height_mm) == (50, 50)
    small = size_named(film.APERTURES, "35 mm aperture")
    assert (small.width_mm, small.height_mm) == (34.3, 22.5)
    for width, height in ((34, 22.5), (35, 23.5)):
        assert film.nearest(width, height, film.APERTURES) == small
    square = size_named(film.APERTURES, "super-slide aperture")
    assert (square.width_mm, square.height_mm) == (39.1, 37.5)


@pytest.mark.parametrize(("name", "inches"), [
    ("4 x 5 in", (5, 4)), ("5 x 7 in", (7, 5)), ("8 x 10 in", (10, 8)),
])  # fmt: skip
def test_sheets_in_inches_are_their_inches(name, inches):
    """Arithmetic: 25.4 mm to the inch; the cut size is smaller (value from memory: 1.5 mm)."""
    size = size_named(film.SHEETS, name)
    assert (size.width_mm, size.height_mm) == pytest.approx([n * INCH for n in inches])
    # 4 x 5 in as cut: 125.4 x 100.0 mm (value from memory) must still be told as such.
    if name == "4 x 5 in":
        assert film.nearest(125.4, 100.0, film.SHEETS) == size


@pytest.mark.parametrize(("name", "inches"), [
    ("quarter plate", (4.25, 3.25)),  # CENT
    ("half plate (US)", (5.5, 4.25)),  # CENT
    ("half plate (UK)", (6.5, 4.75)),  # CENT
    ("whole plate", (8.5, 6.5)),  # PLATES
    ("sixth plate", (3.25, 2.75)),  # PLATES
    ("ninth plate", (2.5, 2.0)),  # PLATES
])  # fmt: skip
def test_plates_are_their_published_inches(name, inches):
    size = size_named(film.PLATES, name)
    assert (size.width_mm, size.height_mm) == pytest.approx([n * INCH for n in inches])


@pytest.mark.parametrize(("name", "millimetres"), [
    ("6.5 x 9 cm", (90, 65)), ("9 x 12 cm", (120, 90)),
    ("13 x 18 cm", (180, 130)), ("18 x 24 cm", (240, 180)),
])  # fmt: skip
def test_metric_plates_and_sheets_are_as_listed(name, millimetres):
    """FORMATS: the table of metric plates and sheets."""
    for sizes in (film.PLATES, film.SHEETS):
        size = size_named(sizes, name)
        assert (size.width_mm, size.height_mm) == millimetres


@pytest.mark.parametrize(("name", "millimetres"), [
    ("British lantern slide", (3.25 * INCH, 3.25 * INCH)),  # WELL
    ("American lantern slide", (4 * INCH, 3.25 * INCH)),  # GAGE
    ("lantern slide 85 x 85", (85, 85)),  # GAGE
    ("lantern slide 85 x 100", (100, 85)),  # GAGE
])  # fmt: skip
def test_lantern_slides_are_as_published(name, millimetres):
    size = size_named(film.LANTERN, name)
    assert (size.width_mm, size.height_mm) == pytest.approx(millimetres)


def test_every_size_names_its_source():
    for size in (film.MOUNT, *film.APERTURES, *film.SHEETS, *film.PLATES, *film.LANTERN):
        assert size.source
        assert size.width_mm >= size.height_mm > size.tolerance_mm > 0


@given(
    st.sampled_from((*film.SHEETS, *film.PLATES)),
    st.floats(-0.9, 0.9),
    st.floats(-0.9, 0.9),
    st.booleans(),
)
def test_a_piece_within_the_tolerance_has_a_size_either_way_round(size, across, along, turned):
    width = size.width_mm + across * size.tolerance_mm
    height = size.height_mm + along * size.tolerance_mm
    sides = (height, width) if turned else (width, height)
    found = film.nearest(*sides, (size,))
    assert found == size


def test_a_piece_of_no_known_size_has_none():
    assert film.nearest(150, 60, film.PLATES) is None


def test_pixels_per_millimetre():
    assert film.px_per_mm(2540) == 100
