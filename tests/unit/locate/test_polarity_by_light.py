"""What polarity a grey picture on a bright ground has: the light it lies in tells, or nobody does."""

import cv2
import numpy as np
import pytest

from glassine.locate import polarity
from glassine.locate.candidate import Candidate
from glassine.locate.character import Character
from makers.light_table import locate

MM = 5  # px
# Paper, and the stained gelatine of an old plate, are clear and a little warm (density).
WARM = np.array([0.12, 0.14, 0.2], np.float32)


def lay(table, x, y, w, h, density, seed, edge=6, span=(0.2, 1.3)):
    """Lay a grey picture with an even edge of this density on the table; mm."""

    def part(inset):
        rows = slice(round((y + inset) * MM), round((y + h - inset) * MM))
        return rows, slice(round((x + inset) * MM), round((x + w - inset) * MM))

    table[part(0)] = 10 ** -np.broadcast_to(np.asarray(density, np.float32), (3,))
    inner = table[part(edge)]
    r = np.random.default_rng(seed)
    grey = cv2.resize(
        r.uniform(*span, (8, 11)).astype(np.float32), inner.shape[1::-1], None, 0, 0, 1
    )
    table[part(edge)] = inner * 10 ** -grey[..., None]


def test_a_warm_grey_picture_on_white_is_a_plate_or_a_print_and_for_review():
    table = np.full((160 * MM, 200 * MM, 3), 0.95, np.float32)
    lay(table, 20, 20, 160, 120, WARM, 4)
    (frame,) = locate(table).frames
    assert frame.state == "review"
    assert any("negative or positive" in reason for reason in frame.reasons)


def test_a_neutral_clear_edge_is_a_plate_on_a_lamp():
    table = np.full((160 * MM, 200 * MM, 3), 0.95, np.float32)
    lay(table, 20, 20, 160, 120, 0.15, 4)
    (frame,) = locate(table).frames
    assert (frame.polarity, frame.state) == ("negative", "ok")


def test_where_something_is_brighter_than_the_ground_no_lamp_is_under_it():
    table = np.full((160 * MM, 300 * MM, 3), 0.75, np.float32)
    lay(table, 15, 20, 125, 100, 0.02, 4)  # its white paper is lighter than the table
    lay(table, 160, 20, 125, 100, 0.2, 5, edge=0, span=(0.5, 1.2))  # cut to its picture
    found = locate(table).frames
    assert [frame.polarity for frame in found] == ["positive", "positive"]


def test_a_black_mask_of_no_lantern_slides_size_may_be_round_a_negative():
    table = np.full((160 * MM, 200 * MM, 3), 0.95, np.float32)
    lay(table, 10, 15, 180, 130, 2.4, 4, edge=0, span=(0, 0.01))
    rows, columns = slice(30 * MM, 130 * MM), slice(25 * MM, 175 * MM)
    r = np.random.default_rng(3)
    grey = cv2.resize(
        r.uniform(0.9, 1.5, (8, 11)).astype(np.float32), (150 * MM, 100 * MM), None, 0, 0, 1
    )
    table[rows, columns] = 10 ** -grey[..., None]
    (frame,) = locate(table, 25.4 * MM).frames
    assert frame.state == "review"


def test_one_frame_of_a_film_without_a_plain_mask_goes_with_the_others():
    from glassine.locate.candidate import Candidate
    from glassine.locate.character import Character
    from glassine.locate.polarity import pooled

    def frame(strip):
        box = np.array([[0, 0], [36, 0], [36, 24], [0, 24]], float)
        return Candidate(box, False, [1.0] * 4, [True] * 4, "strip", strip=strip)

    orange = Character("negative", "colour", 0.98, 0.98, 0.05)
    stray = Character("positive", "colour", 0.9, 0.97, 0.1)
    made = pooled([frame(1)] * 3, [orange, stray, orange])
    assert {each.polarity for each in made} == {"negative"}
    apart = pooled([frame(0)] * 3, [orange, stray, orange])
    assert apart[1].polarity_trust < 0.8


def test_a_picture_of_warm_colours_on_a_grey_board_is_no_sure_negative():
    table = np.full((160 * MM, 200 * MM, 3), 0.38, np.float32)  # 0.42 of density: no lamp, no mask
    r = np.random.default_rng(11)
    rows, columns = slice(20 * MM, 140 * MM), slice(20 * MM, 180 * MM)
    grey = cv2.resize(
        r.uniform(0.15, 0.9, (8, 11)).astype(np.float32), (160 * MM, 120 * MM), None, 0, 0, 1
    )
    # Blue above red by as much as an orange mask has, throughout: what a red or orange subject has.
    table[rows, columns] = 10 ** -(grey[..., None] + np.array([0.0, 0.3, 0.5], np.float32))
    (frame,) = locate(table).frames
    assert (frame.polarity, frame.state) == ("positive", "review")


@pytest.mark.parametrize(("border", "sure"), [(0.25, True), (0.5, False)])
def test_a_grey_picture_in_card_denser_than_clear_film_is_no_sure_negative(border, sure):
    corners = np.array([[0.0, 0.0], [36.0, 0.0], [36.0, 24.0], [0.0, 24.0]])
    tone = np.full(3, border, np.float32)
    one = Candidate(corners, False, [1.0] * 4, [True] * 4, "single", tone)
    one.ground, one.levels = "dark", 2
    made = Character("negative", "monochrome", 0.95, 0.97)
    trust = polarity.by_light(one, made, "frame_135", False).polarity_trust
    assert (trust == 0.95) if sure else (trust < 0.8)


def test_a_ground_like_clear_film_is_no_sure_board():
    """Film that fills the master is the ground of its own picture (clear film: 0.2 to 0.35, value
    from memory); a board is denser, or a print on it clearer.
    """
    assert not polarity.is_board(0.24, 0.6)
    assert polarity.is_board(0.6, 0.6)
    assert polarity.is_board(0.24, 0.1)
    corners = np.array([[0.0, 0.0], [36.0, 0.0], [36.0, 24.0], [0.0, 24.0]])
    made = Character("negative", "monochrome", 0.85, 0.97)
    one = Candidate(corners, False, [1.0] * 4, [True] * 4, "single")
    trusts = [
        polarity.by_light(one, made, "print", True, polarity.Tones(board)).polarity_trust
        for board in (False, True)
    ]
    assert trusts[0] < 0.8 < trusts[1]


def bordered(border):
    corners = np.array([[0.0, 0.0], [36.0, 0.0], [36.0, 24.0], [0.0, 24.0]])
    tone = np.asarray(border, np.float32)
    one = Candidate(corners, False, [1.0] * 4, [True] * 4, "single", tone)
    one.levels = 2
    return one


@pytest.mark.parametrize(
    ("border", "mask", "film"),
    [
        ((0.25, 0.6, 0.85), 0.5, True),  # C-41 (value from memory)
        ((0.26, 0.4, 0.6), 0.0, False),  # a print on brown card: its blacks are neutral
        ((0.1, 0.12, 0.2), 0.4, False),  # a warm picture with a paper border
        ((0.2, 0.8, 0.82), 0.4, False),  # red card
    ],
)
def test_only_orange_film_round_an_orange_picture_is_a_plain_negative(border, mask, film):
    made = Character("negative", "colour", 0.98, 0.98)
    lit = polarity.by_light(bordered(border), made, "sheet", True, polarity.Tones(True, mask))
    assert (lit.polarity_trust >= 0.8) is film
    assert lit.polarity == ("negative" if film else "positive")


def in_a_mask(width_mm, height_mm, px):
    """Return a grey picture with a clear, even border in the opening of a black mask."""
    table = np.full(
        (round((height_mm + 24) * px), round((width_mm + 30) * px), 3), 0.012, np.float32
    )
    rows = slice(round(9 * px), round((height_mm + 15) * px))
    columns = slice(round(11 * px), round((width_mm + 19) * px))
    table[rows, columns] = 0.95
    rows = slice(round(12 * px), round((height_mm + 12) * px))
    columns = slice(round(15 * px), round((width_mm + 15) * px))
    r = np.random.default_rng(7)
    size = columns.stop - columns.start, rows.stop - rows.start
    grey = cv2.resize(r.uniform(0.3, 1.1, (8, 11)).astype(np.float32), size, None, 0, 0, 1)
    table[rows, columns] = 10 ** -grey[..., None]
    return table


def test_a_frame_of_35_mm_film_ends_in_its_own_clear_border():
    """24 x 36 mm (ISO 1007): its film shows around it, and a positive's would be black."""
    (frame,) = locate(in_a_mask(36, 24, 16), 25.4 * 16).frames
    assert (frame.polarity, frame.state) == ("negative", "ok"), frame.reasons


def test_a_print_with_a_white_border_on_a_black_board_is_no_such_frame():
    (frame,) = locate(in_a_mask(144, 96, 4), 25.4 * 4).frames
    assert frame.state == "review" or frame.polarity == "positive", frame.reasons


def held(count):
    corners = np.array([[0.0, 0.0], [36.0, 0.0], [36.0, 24.0], [0.0, 24.0]])
    black = np.full(3, 1.7, np.float32)
    return [
        Candidate(corners, True, [1.0] * 4, [True] * 4, "single", black, levels=2)
        for _ in range(count)
    ]


def test_among_mounts_one_orange_picture_makes_all_of_them_unsure_positives():
    """A masked negative is orange in its clearest and densest parts alike."""
    slide = Character("positive", "colour", 0.95, 0.97, 0.1)
    made = polarity.held_in_black(held(3), [slide] * 3, [0.0, 0.5, 0.0])
    assert all(each.polarity_trust < 0.8 for each in made)
    assert polarity.held_in_black(held(3), [slide] * 3, [0.0, 0.1, 0.2]) == [slide] * 3


def test_beside_colour_slides_only_what_is_plainly_grey_is_sure_to_be_monochrome():
    colour = Character("positive", "colour", 0.95, 0.97, 0.1)
    faded = Character("positive", "monochrome", 0.95, 0.97, 0.0034)
    grey = Character("positive", "monochrome", 0.95, 0.97, 0.0005)
    made = polarity.held_in_black(held(3), [colour, faded, grey], [0.0] * 3)
    assert [each.process_trust >= 0.8 for each in made] == [True, False, True]
    made = polarity.held_in_black(held(2), [faded, grey], [0.0] * 2)
    assert [each.process_trust >= 0.8 for each in made] == [True, True]


def test_a_picture_without_a_border_on_black_may_be_film_in_a_mask():
    black = np.full((140 * MM, 180 * MM, 3), 10**-1.65, np.float32)
    r = np.random.default_rng(5)
    light = r.uniform(0.1, 0.9, (8, 11, 3)).astype(np.float32)
    black[20 * MM : 120 * MM, 20 * MM : 160 * MM] = cv2.resize(
        light, (140 * MM, 100 * MM), None, 0, 0, 1
    )
    (frame,) = locate(black, None).frames
    assert frame.state == "review", frame.polarity


def test_where_a_ruler_is_seen_on_black_light_falls_from_above():
    """Beside the opening of a mask on a light table nothing is seen."""
    black = np.full((160 * MM, 260 * MM, 3), 10**-1.9, np.float32)
    lay(black, 20, 20, 150, 110, 0.3, 4)
    black[140 * MM : 150 * MM, 20 * MM : 220 * MM] = 0.6
    black[140 * MM : 144 * MM, 20 * MM : 220 * MM : 5 * MM] = 0.05
    frames = [frame for frame in locate(black).frames if not frame.blank]
    assert all(frame.state == "review" or frame.polarity == "positive" for frame in frames)


def test_beside_a_print_that_shows_its_paper_another_without_is_a_print_too():
    black = np.full((140 * MM, 300 * MM, 3), 10**-1.55, np.float32)
    r = np.random.default_rng(5)
    black[15 * MM : 125 * MM, 15 * MM : 135 * MM] = 0.9
    for left in (22, 160):
        light = r.uniform(0.1, 0.7, (8, 11, 3)).astype(np.float32)
        black[22 * MM : 118 * MM, left * MM : (left + 106) * MM] = cv2.resize(
            light, (106 * MM, 96 * MM), None, 0, 0, 1
        )
    found = locate(black, None).frames
    assert [(frame.polarity, frame.state) for frame in found] == [("positive", "ok")] * 2
