"""What no frame explains lowers the confidence, by name; what lies on the table is listed."""

import cv2
import numpy as np
import pytest
import skimage.data

from glassine.base.model import Facts, MasterGeometry, plain
from glassine.locate import locate_array
from glassine.locate.encoding import linear_table
from glassine.locate.inside import holes_in, look_inside, repeat_in
from glassine.locate.view import look
from makers import real_plates

PX = 6  # px per mm
# Photographs of the scikit-image wheel that show one view; each has long straight edges or none.
SINGLE = ("camera", "coffee", "astronaut", "chelsea", "rocket", "coins", "page", "text", "moon")


def photo(name, width, height, left=0.0):
    """Return transmittance (height, width) of a negative of a photograph of scikit-image."""
    grey = np.asarray(getattr(skimage.data, name)(), np.float32)
    grey = grey[..., :3].mean(-1) if grey.ndim == 3 else grey
    grey = grey[:, round(left * grey.shape[1]) :]
    side = min(grey.shape[0] / height, grey.shape[1] / width)
    part = grey[: round(side * height), : round(side * width)]
    small = cv2.resize(part, (width, height), interpolation=cv2.INTER_AREA) / 255
    return np.float32(0.75) * np.float32(10) ** (-1.3 * small)


def locate(light, ppi=PX * 25.4, **facts):
    noise = 0.002 * np.random.default_rng(1).standard_normal(light.shape)
    soft = cv2.GaussianBlur(light.astype(np.float32), (0, 0), 0.8) + noise
    pixels = np.round(np.clip(soft, 0, 1) * 60000).astype(np.uint16)
    return locate_array(
        pixels,
        1,
        lambda left, top, width, height: pixels[top : top + height, left : left + width],
        Facts(encoding="linear", **facts),
        ppi,
        {},
    )


def inside(light, around=()):
    codes = np.round(np.clip(light, 0, 1) * 60000).astype(np.uint16)
    h, w = light.shape
    seen = look(codes, linear_table("linear"), 1.0)
    return look_inside(seen, np.array([[0, 0], [w, 0], [w, h], [0, h]], float), around)


# ------------------------------------------------------------------ inside an outline


@pytest.mark.parametrize("tilt", [0.0, 0.6])
def test_an_even_band_between_two_pictures_is_seen(tilt):
    light = np.vstack(
        [photo("camera", 600, 420), np.full((9, 600), 0.8), photo("coffee", 600, 430)]
    )
    turn = cv2.getRotationMatrix2D((300, 430), tilt, 1.0)
    light = cv2.warpAffine(light, turn, (600, 859), borderMode=cv2.BORDER_REPLICATE)
    (bar,) = [bar for bar in inside(light, (0.1,)).bars if bar.strength > 0.45]
    assert bar.across
    assert bar.at == pytest.approx(424.5 / 859, abs=0.012)


@pytest.mark.parametrize("name", SINGLE)
def test_one_photograph_shows_no_bar_no_seam_no_repeat_no_holes(name):
    seen = inside(photo(name, 700, 500))
    assert [bar for bar in seen.bars if bar.strength >= 0.45] == []
    assert seen.seams == ()
    assert seen.repeat[0] < 0.62
    assert seen.holes == 0


@pytest.mark.parametrize("slope", [0.0, 0.004, 0.02])
def test_a_horizon_is_no_boundary_between_exposures(slope):
    """Sea and sky: one straight edge from side to side, always lighter above."""
    y, x = np.mgrid[0:500, 0:700].astype(np.float32)
    sea = photo("moon", 700, 500) * 0.3
    light = np.where(y < 210 + slope * x, np.float32(0.62), sea)
    seen = inside(light)
    assert [bar for bar in seen.bars if bar.strength >= 0.45] == []
    assert seen.seams == ()


def test_two_pictures_that_touch_meet_in_a_seam():
    light = np.vstack([photo("coffee", 600, 400), np.flipud(photo("camera", 600, 400))])
    assert [round(seam.at, 2) for seam in inside(light).seams if seam.across] == [0.5]


def test_the_same_view_through_three_filters_repeats_itself():
    views = [photo("camera", 500, 420) ** gamma for gamma in (1.0, 0.7, 1.3)]
    like, share = repeat_in(-np.log10(np.vstack(views)))
    assert like > 0.62
    assert share == pytest.approx(1 / 3, abs=0.02)


@pytest.mark.parametrize("plate", real_plates.plates(), ids=lambda plate: plate.name)
def test_a_real_plate_with_three_exposures_is_seen_to_repeat_itself(plate):
    """Glass plates of the 1900s and 1910s (tests/makers/real_plates), as they lie on a table."""
    seen = inside((plate.negative.astype(np.float32) / 255)[14:-14, 14:-14] ** 2.2)
    assert seen.repeat[0] > 0.62
    assert seen.repeat[1] == pytest.approx(1 / 3, abs=0.03)


@pytest.mark.parametrize("pitch", [20, 45, 90])
def test_a_fence_is_no_second_exposure(pitch):
    x = np.arange(800)
    fence = np.where(x % pitch < pitch / 2, 0.3, 1.1) + np.zeros((500, 1))
    fence = fence + 0.02 * np.random.default_rng(2).standard_normal(fence.shape)
    assert repeat_in(fence.astype(np.float32))[0] < 0.62


def perforated(height_mm):
    """Return 36 mm of 35 mm film (4.75 mm pitch, ISO 491 holes; film.py), cut to a height."""
    light = np.full((round(35 * PX), 36 * PX), 0.5, np.float32)
    light[round(5.5 * PX) : round(29.5 * PX)] = photo("coffee", 36 * PX, 24 * PX)
    for k in range(7):
        left = round((1 + 4.75 * k) * PX)
        for top in (2.01, 35 - 2.01 - 2.794):
            low, high = round(top * PX), round((top + 2.794) * PX)
            light[low:high, left : left + round(1.981 * PX)] = 0.98
    cut = round((35 - height_mm) / 2 * PX)
    return light[cut : light.shape[0] - cut]


@pytest.mark.parametrize("height_mm", [32, 34])
def test_perforations_inside_an_outline_are_holes(height_mm):
    assert holes_in(-np.log10(perforated(height_mm))) >= 6


def test_a_railing_is_no_row_of_perforations():
    light = photo("camera", 36 * PX, 24 * PX)
    light[: 3 * PX, :: 2 * PX] = 0.9
    assert holes_in(-np.log10(light)) == 0


# ------------------------------------------------------------------ outside of all frames


def table(width_mm, height_mm):
    return np.full((round(height_mm * PX), round(width_mm * PX)), 0.97, np.float32)


def lay(light, part, left_mm, top_mm):
    x, y = round(left_mm * PX), round(top_mm * PX)
    light[y : y + part.shape[0], x : x + part.shape[1]] = part


def sheet(name, width_mm=100, height_mm=80):
    film = np.full((height_mm * PX, width_mm * PX), 0.7, np.float32)
    film[3 * PX : -3 * PX, 3 * PX : -3 * PX] = photo(
        name, (width_mm - 6) * PX, (height_mm - 6) * PX
    )
    return film


def test_a_small_picture_beside_a_large_one_is_not_dropped_without_a_word():
    light = table(190, 120)
    lay(light, sheet("camera", 120, 100), 8, 8)
    lay(light, sheet("coffee", 36, 26), 142, 30)
    found = locate(light)
    corners = np.array([frame.corners for frame in found.frames]).mean(axis=1) / PX
    met = (np.abs(corners - [160, 43]) < 15).all(axis=1).any()
    assert met or all(frame.state == "review" for frame in found.frames)
    assert len([piece for piece in found.pieces if piece.taken_for != "frame"]) == (not met)


def test_a_label_and_a_ruler_are_listed_as_what_they_are_and_ask_nobody():
    light = table(220, 120)
    lay(light, sheet("camera", 120, 90), 8, 8)
    label = np.full((24 * PX, 50 * PX), 0.25, np.float32)
    r = np.random.default_rng(5)
    for x in np.cumsum(r.integers(4, 14, 26)):  # writing, more or less
        for row in (24, 58, 92):
            label[row + r.integers(0, 6) : row + 14, 16 + x : 16 + x + r.integers(1, 3)] = 0.03
    lay(light, label, 145, 20)
    ruler = np.full((10 * PX, 150 * PX), 0.5, np.float32)
    ruler[: 4 * PX, :: 5 * PX] = 0.05
    lay(light, ruler, 20, 106)
    found = locate(light)
    assert sorted(piece.taken_for for piece in found.pieces) == ["frame", "label", "ruler"]
    assert [frame.state for frame in found.frames] == ["ok"]
    assert "also on the master, taken for no picture: 1 label, 1 ruler" in found.notes
    places = {piece.taken_for: np.array(piece.corners) / PX for piece in found.pieces}
    assert places["label"].min(0) == pytest.approx([145, 20], abs=1)
    assert places["ruler"].max(0) == pytest.approx([170, 116], abs=1)


def test_a_neighbour_that_the_masters_edge_cuts_off_is_said():
    light = table(150, 100)
    lay(light, sheet("camera"), 30, 10)
    lay(light, sheet("coffee")[:, -16 * PX :], 0, 10)
    found = locate(light)
    assert found.frames
    assert all(frame.state == "review" for frame in found.frames)


def test_film_as_long_as_a_frame_without_one_is_said():
    """The end of a film, black from light: a picture may lie in it, and nothing shows where."""
    light = table(180, 50)
    strip = np.full((round(35 * PX), 170 * PX), 0.5, np.float32)
    for k in range(36):
        left = round((0.5 + 4.75 * k) * PX)
        for top in (2.01, 35 - 2.01 - 2.794):
            low, high = round(top * PX), round((top + 2.794) * PX)
            strip[low:high, left : left + round(1.981 * PX)] = 0.97
    for k, name in enumerate(("camera", "coffee", "astronaut")):
        x = round((2 + 38 * k) * PX)
        strip[round(5.5 * PX) : round(29.5 * PX), x : x + 36 * PX] = photo(name, 36 * PX, 24 * PX)
    strip[:, 117 * PX :] = np.minimum(strip[:, 117 * PX :], 0.01)
    lay(light, strip, 5, 7)
    found = locate(light, ppi=None)
    assert len(found.frames) >= 3
    assert [frame.state for frame in found.frames][-1] == "review"
    assert any("after its last frame" in reason for reason in found.frames[-1].reasons)


def test_a_picture_of_another_size_than_stated_is_for_review():
    light = table(130, 110)
    lay(light, sheet("camera", 100, 80), 10, 10)
    (right,) = locate(light, size_mm=(94.0, 74.0)).frames
    assert right.state == "ok"
    (wrong,) = locate(light, size_mm=(120.0, 90.0)).frames
    assert wrong.state == "review"


def test_a_stated_number_of_pictures_is_held_against_what_is_found():
    light = table(130, 110)
    lay(light, sheet("camera", 100, 80), 10, 10)
    (right,) = locate(light, frames=1).frames
    assert right.state == "ok"
    (wrong,) = locate(light, frames=3).frames
    assert wrong.state == "review"
    assert wrong.reasons == ("batch.yaml states 3 pictures on the master (frames), 1 found",)


def test_a_wide_view_asks_nobody_where_one_picture_is_stated():
    light = table(220, 100)
    wide = np.full((74 * PX, 194 * PX), 0.7, np.float32)
    wide[3 * PX : -3 * PX, 3 * PX : -3 * PX] = photo("coffee", 188 * PX, 68 * PX)
    lay(light, wide, 12, 12)
    (asked,) = locate(light).frames
    assert asked.state == "review"
    (settled,) = locate(light, frames=1).frames
    assert settled.state == "ok"


def test_a_record_holds_what_lies_on_the_table_and_older_ones_are_read():
    light = table(130, 110)
    lay(light, sheet("camera", 100, 80), 10, 10)
    found = locate(light)
    record = plain(
        {key: getattr(found, key) for key in ("path", "width", "height", "ppi", "ppi_source")}
    )
    pieces = [{"corners": piece.corners, "taken_for": piece.taken_for} for piece in found.pieces]
    assert (
        MasterGeometry.from_dict({**record, "frames": [], "pieces": pieces}).pieces == found.pieces
    )
    assert MasterGeometry.from_dict({**record, "frames": []}).pieces == ()


@pytest.mark.parametrize("turned", [False, True])
def test_a_blank_frame_on_a_strip_leaves_nothing_unexplained(turned):
    light = table(180, 50)
    strip = np.full((round(35 * PX), 170 * PX), 0.5, np.float32)
    for k in range(36):
        left = round((0.5 + 4.75 * k) * PX)
        for top in (2.01, 35 - 2.01 - 2.794):
            low, high = round(top * PX), round((top + 2.794) * PX)
            strip[low:high, left : left + round(1.981 * PX)] = 0.97
    for k, name in ((0, "camera"), (1, "coffee"), (3, "astronaut")):
        x = round((3 + 38 * k) * PX)
        strip[round(5.5 * PX) : round(29.5 * PX), x : x + 36 * PX] = photo(name, 36 * PX, 24 * PX)
    lay(light, strip, 5, 7)
    found = locate(light.T if turned else light, ppi=None)
    assert [frame.blank for frame in found.frames] == [False, False, True, False]
    assert [piece.taken_for for piece in found.pieces] == ["strip"]
    assert [frame.reasons for frame in found.frames if frame.state != "ok"] == []


# ------------------------------------------------------------------ parted by a band alone


def located_beam(name, **facts):
    """Find the frames of a plate with a dark border and one upright positive view, a dark beam right
    across its middle: two pictures and a separator would look the same.
    """
    noise = np.random.default_rng(2)
    view = cv2.resize(getattr(skimage.data, name)(), (900, 1400)).astype(float)
    view[685:715] = 20 + noise.normal(0, 2, (30, 900))
    plate = np.full((1520, 1020), 20.0)
    plate[60:-60, 60:-60] = view
    codes = np.full((1900, 1500), 245.0)
    codes[190:-190, 240:-240] = plate
    soft = cv2.GaussianBlur(codes + noise.normal(0, 1.5, codes.shape), (0, 0), 1)
    pixels = np.clip(soft, 0, 255).astype(np.uint8)
    return locate_array(
        pixels,
        1,
        lambda left, top, width, height: pixels[top : top + height, left : left + width],
        Facts(**facts),
        None,
        {},
    )


@pytest.mark.parametrize("name", ["coins", "brick", "moon"])
def test_a_picture_that_a_beam_may_part_is_for_review(name):
    assert {frame.state for frame in located_beam(name).frames} == {"review"}


def test_a_stated_number_settles_what_a_band_alone_parts():
    found = located_beam("brick", frames=2)
    assert [frame.state for frame in found.frames] == ["ok", "ok"]
