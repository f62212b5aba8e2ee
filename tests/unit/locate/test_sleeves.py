"""Film in clear sleeves: the page and its seams are no pieces, each strip in a pocket is one."""

import cv2
import numpy as np
import pytest

from makers.light_table import locate

MM = 5  # px
# ISO 1007: film 35 mm wide, frames 36 x 24 mm, 38 mm apart, perforations 4.75 mm apart.
FILM, FRAME, ADVANCE, PITCH = 35.0, (36.0, 24.0), 38.0, 4.75


def dim(image, x, y, w, h, density):
    """Lay something of this density over a rectangle given in mm."""
    rows, columns = slice(round(y * MM), round((y + h) * MM)), slice(round(x * MM), None)
    image[rows, columns][:, : round(w * MM)] *= np.float32(10**-density)


def picture(image, x, y, w, h, seed):
    r = np.random.default_rng(seed)
    size = round(w * MM), round(h * MM)
    soft = cv2.resize(r.uniform(0.3, 1.3, (9, 12)).astype(np.float32), size, None, 0, 0, 1)
    rows, columns = round(y * MM), round(x * MM)
    image[rows : rows + size[1], columns : columns + size[0]] *= 10 ** -soft[..., None]


def strip_35(image, x, y, count, seed):
    """Lay a strip of 35 mm negatives; return the corners (mm) of its frames."""
    long = count * ADVANCE + 2
    holes = image.copy()
    dim(image, x, y, long, FILM, 0.28)
    places = []
    for k in range(count):
        at = (x + 2 + k * ADVANCE, y + (FILM - FRAME[1]) / 2)
        picture(image, *at, *FRAME, seed + k)
        places.append((*at, at[0] + FRAME[0], at[1] + FRAME[1]))
    for k in range(int(long / PITCH)):
        for top in (2.0, FILM - 2.0 - 2.8):
            rows = slice(round((y + top) * MM), round((y + top + 2.8) * MM))
            columns = slice(round((x + 1 + k * PITCH) * MM), round((x + 3 + k * PITCH) * MM))
            image[rows, columns] = holes[rows, columns]
    return places


def strip_120(image, x, y, count, seed):
    """Lay a strip of 120 film (61.5 mm) with square frames; return their corners (mm)."""
    dim(image, x, y, count * 60 + 2, 61.5, 0.25)
    places = []
    for k in range(count):
        at = (x + 3 + 60 * k, y + (61.5 - 56) / 2)
        picture(image, *at, 56, 56, seed + k)
        places.append((*at, at[0] + 56, at[1] + 56))
    return places


def row_by_row(box):
    return round(box[1] / 20), box[0]


def page(rows, pocket, across, plastic, seam, lay):
    """Return a table with a page of pockets, and the true places of what lies in them."""
    table = np.full(
        (round((rows * pocket + 40) * MM), round((across + 40) * MM), 3), 0.9, np.float32
    )
    true = []
    for row in range(rows):
        true += lay(table, 32, 24 + row * pocket + 2.0, row)
    dim(table, 10, 10, across + 22, rows * pocket + 18, plastic)
    for row in range(rows + 1):
        dim(table, 10, 23 + row * pocket - 0.6, across + 22, 1.2, seam)
    dim(table, 22, 10, 1.2, rows * pocket + 18, seam)
    return table, true


@pytest.mark.parametrize(("plastic", "seam"), [(0.03, 0.08), (0.06, 0.2), (0.15, 0.1)])
@pytest.mark.parametrize("roll", ["35 mm", "120"])
def test_every_strip_in_a_page_of_pockets_gives_its_frames(roll, plastic, seam):
    if roll == "35 mm":
        table, true = page(
            4, 39, 200, plastic, seam, lambda t, x, y, k: strip_35(t, x, y, 5 - k % 2, 10 * k)
        )
    else:
        table, true = page(
            2, 66, 190, plastic, seam, lambda t, x, y, k: strip_120(t, x, y, 3 - k, 10 * k)
        )
    found = locate(table, 25.4 * MM)
    boxes = [
        [*np.array(f.corners).min(0) / MM, *np.array(f.corners).max(0) / MM] for f in found.frames
    ]
    assert len(boxes) == len(true)
    for got, wanted in zip(
        sorted(boxes, key=row_by_row), sorted(true, key=row_by_row), strict=True
    ):
        assert got == pytest.approx(wanted, abs=0.5)
    assert {frame.polarity for frame in found.frames} == {"negative"}


def test_a_bare_strip_is_no_page_with_pictures_in_it():
    table = np.full((80 * MM, 240 * MM, 3), 0.9, np.float32)
    strip_120(table, 10, 10, 3, 4)
    found = locate(table, 25.4 * MM)
    assert len(found.frames) == 3
    assert all("film" not in " ".join(frame.reasons) for frame in found.frames)
    assert found.kind == "strip_120"
