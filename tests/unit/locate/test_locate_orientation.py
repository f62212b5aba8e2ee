"""What shows how a master lay is noted, never acted on."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest
import zxingcpp

from glassine.base.model import Facts, MasterGeometry
from glassine.locate import orientation
from glassine.locate.turn import ORIENTATIONS, combined
from glassine.masters import labels

W, H, MARGIN = 800, 1000, 60


def sheet(
    *marks: tuple[float, float, float, float],
    film: float = 150.0,
    table: float = 250.0,
    grain: float = 3.0,
) -> tuple[np.ndarray, np.ndarray]:
    """Return an upright sheet of 800 x 1000 px on a table, with discs of table cut out of it.

    marks: (x, y) from the sheet's top left, radius across and down, px. Corners are rounded.
    """
    image = np.full((H + 2 * MARGIN, W + 2 * MARGIN), table, np.float32)
    r = 12
    for left, right, top, bottom in ((0, W, r, H - r), (r, W - r, 0, H)):
        cv2.rectangle(
            image,
            (MARGIN + left, MARGIN + top),
            (MARGIN + right - 1, MARGIN + bottom - 1),
            film,
            -1,
        )
    for x, y in ((r, r), (W - r, r), (W - r, H - r), (r, H - r)):
        cv2.circle(image, (MARGIN + x, MARGIN + y), r, film, -1)
    cv2.rectangle(image, (MARGIN + 40, MARGIN + 40), (MARGIN + W - 40, MARGIN + H - 40), 60.0, -1)
    for x, y, across, down in marks:
        middle, axes = (round(MARGIN + x), round(MARGIN + y)), (round(across), round(down))
        cv2.ellipse(image, middle, axes, 0, 0, 360, table, -1)
    image += np.random.default_rng(1).normal(0, grain, image.shape).astype(np.float32)
    corners = np.array([[0, 0], [W, 0], [W, H], [0, H]], float) + MARGIN
    return image, corners


def seen(image: np.ndarray, corners: np.ndarray, quarter: int, mirrored: bool) -> bool | None:
    """Turn the picture by quarters, mirror it, and ask; corners are ordered anew."""
    height, width = image.shape
    for _ in range(quarter):
        image = np.rot90(image, -1)
        corners = np.stack([height - corners[:, 1], corners[:, 0]], 1)
        height, width = width, height
    if mirrored:
        image = image[:, ::-1]
        corners = np.stack([width - corners[:, 0], corners[:, 1]], 1)
    middle = corners.mean(0)
    turn = np.arctan2(*(corners - middle).T[::-1])
    ordered = corners[np.argsort(turn)]  # from the top left, clockwise
    return orientation.emulsion_toward(np.ascontiguousarray(image), ordered)


NOTCH = (W - 90, 0, 14, 12)  # at the top right of the upright sheet
every_way = pytest.mark.parametrize("quarter", range(4))


@every_way
@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("film", [150.0, 225.0, 15.0])
def test_the_notch_tells_the_side_however_the_sheet_is_turned(
    quarter: int, mirrored: bool, film: float
) -> None:
    # Common practice, no source: emulsion toward the viewer, notch at the upper right.
    image, corners = sheet(NOTCH, film=film)
    assert seen(image, corners, quarter, mirrored) is not mirrored


@every_way
def test_several_notches_together_are_one_code(quarter: int) -> None:
    image, corners = sheet((W - 70, 0, 9, 12), (W - 100, 0, 9, 9), (W - 130, 0, 14, 14))
    assert seen(image, corners, quarter, False) is True


def test_a_sheet_in_a_dark_carrier_has_dark_notches() -> None:
    assert seen(*sheet(NOTCH, table=8.0, film=170.0), 0, False) is True


@pytest.mark.parametrize(
    "marks",
    [
        (),
        ((W / 2, 0, 14, 12),),  # in the middle of a short side
        ((W, 120, 12, 14),),  # on a long side
        (NOTCH, (0, 400, 15, 15)),  # another bite elsewhere
        (NOTCH, (90, 0, 14, 12)),  # at both ends of a side
        ((W - 90, 0, 60, 70),),  # a piece is gone
        ((W - 5, 5, 40, 40),),  # a corner is gone
        ((W - 90, 0, 3, 12),),  # a scratch
    ],
)
def test_what_may_be_damage_says_nothing(marks: Any) -> None:
    assert seen(*sheet(*marks), 0, False) is None


def test_a_border_as_clear_as_the_table_says_nothing() -> None:
    assert seen(*sheet(NOTCH, film=246.0), 0, False) is None


def test_a_square_sheet_has_no_upright() -> None:
    image, corners = sheet(NOTCH)
    squared = cv2.resize(image, (1000, 1000))
    corners = corners * (1000 / image.shape[1], 1000 / image.shape[0])
    middle = corners.mean(0)
    corners = middle + (corners - middle) * (
        700 / np.ptp(corners[:, 0]),
        700 / np.ptp(corners[:, 1]),
    )
    assert orientation.emulsion_toward(squared, corners) is None


def notes(
    image: np.ndarray, corners: np.ndarray, facts: Facts, tag: int = 1, kind: str = "sheet"
) -> tuple[str, ...]:
    outline = tuple((float(x), float(y)) for x, y in corners)
    height, width = image.shape
    geometry = MasterGeometry(
        "m.tif",
        width,
        height,
        None,
        None,
        (),
        kind=kind,
        object_corners=outline,  # type: ignore[arg-type]
    )
    preview = np.repeat(image.clip(0, 255).astype(np.uint8)[..., None], 3, 2)
    turn = combined(ORIENTATIONS[tag], (facts.rotate, facts.emulsion_side == "toward"))
    return orientation.suggestions(preview, geometry, facts, tag, turn)


def test_only_a_statement_that_the_notch_speaks_against_is_noted() -> None:
    toward, away = sheet(NOTCH), sheet((90, 0, 14, 12))
    assert notes(*toward, Facts()) == (orientation.NOTCH_TOWARD,)
    assert notes(*toward, Facts(emulsion_side="toward")) == ()
    assert notes(*away, Facts()) == ()
    assert notes(*away, Facts(emulsion_side="toward")) == (orientation.NOTCH_AWAY,)
    assert notes(*toward, Facts(), kind="plate") == ()


def test_a_file_that_is_mirrored_by_its_header_is_read_as_it_means() -> None:
    # Orientation 2: left and right are exchanged. As stored the notch is at the upper left.
    assert notes(*sheet((90, 0, 14, 12)), Facts(), tag=2) == (orientation.NOTCH_TOWARD,)
    assert notes(*sheet(NOTCH), Facts(), tag=2) == ()


# ------------------------------------------------------------------ labels


def drawn(form: Any, scale: int = 6) -> np.ndarray:
    code = zxingcpp.create_barcode("PEH-0042", form)
    image = np.array(zxingcpp.write_barcode_to_image(code, scale=scale))
    return np.pad(image, 80, constant_values=255)


QR, BARS = zxingcpp.BarcodeFormat.QRCode, zxingcpp.BarcodeFormat.Code128
MATRIX = zxingcpp.BarcodeFormat.DataMatrix


def of_label(image: np.ndarray, facts: Facts, tag: int = 1) -> tuple[str, ...]:
    image = np.ascontiguousarray(image)
    read = labels.read(image)
    assert [label["text"] for label in read] == ["PEH-0042"]
    height, width = image.shape
    geometry = MasterGeometry("m.tif", width, height, None, None, (), labels=tuple(read))
    turn = combined(ORIENTATIONS[tag], (facts.rotate, facts.emulsion_side == "toward"))
    return orientation.suggestions(np.repeat(image[..., None], 3, 2), geometry, facts, tag, turn)


@every_way
@pytest.mark.parametrize("mirrored", [False, True])
def test_a_mirrored_square_code_is_seen_to_be_mirrored(quarter: int, mirrored: bool) -> None:
    image = np.rot90(drawn(QR), -quarter)
    image = image[:, ::-1] if mirrored else image
    (read,) = labels.read(np.ascontiguousarray(image))
    assert read.get("mirrored", False) is mirrored


@pytest.mark.parametrize("form", [QR, BARS, MATRIX])
def test_a_label_that_reads_right_is_not_noted(form: Any) -> None:
    assert of_label(drawn(form), Facts()) == ()


@pytest.mark.parametrize("form", [QR, BARS, MATRIX])
def test_a_label_upside_down_suggests_half_a_turn(form: Any) -> None:
    (note,) = of_label(drawn(form)[::-1, ::-1], Facts())
    assert "stands upside down" in note
    assert "state `rotate: 180`" in note
    assert ("or is mirrored" in note) is (form == BARS)


@pytest.mark.parametrize("form", [QR, BARS, MATRIX])
@pytest.mark.parametrize("turned", [90, 270])
def test_a_label_along_a_side_is_no_sign(form: Any, turned: int) -> None:
    assert of_label(np.rot90(drawn(form), -turned // 90), Facts()) == ()


def test_a_label_is_judged_once_its_master_is_turned() -> None:
    upside_down = drawn(QR)[::-1, ::-1]
    assert of_label(upside_down, Facts(rotate=180)) == ()
    assert of_label(upside_down, Facts(), tag=3) == ()
    (note,) = of_label(drawn(QR), Facts(rotate=180))
    assert "state `rotate: 0`" in note


def test_a_mirrored_label_suggests_that_the_master_is_mirrored() -> None:
    (note,) = of_label(drawn(QR)[:, ::-1], Facts())
    assert "reads mirrored" in note
    assert of_label(drawn(QR)[:, ::-1], Facts(emulsion_side="toward")) == ()
    assert of_label(drawn(QR)[:, ::-1], Facts(), tag=2) == ()


def test_film_seen_from_its_emulsion_does_not_mirror_the_label_beside_it() -> None:
    assert of_label(drawn(QR), Facts(emulsion_side="toward")) == ()


def test_a_form_whose_mirroring_is_not_seen_says_nothing_of_it() -> None:
    assert of_label(drawn(MATRIX)[:, ::-1], Facts()) == ()
    assert of_label(drawn(MATRIX), Facts(), tag=2) == ()
