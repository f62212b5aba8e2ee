"""Captures made again: the later counts where both show the same; two frames never become one."""

import cv2
import numpy as np
import pytest

from glassine.base import settings
from glassine.intake import retakes
from glassine.masters import alike
from makers import session
from makers.step_calls import taken_in


@pytest.fixture
def batch(tmp_path):
    folder = tmp_path / "b"
    folder.mkdir()
    return folder


def view(seed, moved=0.0):
    """Return a film's picture with fine detail, (h, w, 3) uint8. moved: by how many px what moves
    in it (half of its details) has moved since, as in the next frame of a roll."""
    rng = np.random.default_rng(seed)
    still, moving = (
        cv2.GaussianBlur(rng.normal(0, 1, (440, 660)).astype(np.float32), (0, 0), 1.6)
        for _ in range(2)
    )
    shift = np.array([[1, 0, moved], [0, 1, moved / 3]], np.float64)
    moving = cv2.warpAffine(moving, shift, (660, 440), borderMode=cv2.BORDER_REFLECT)
    grey = session.film(seed)[..., 0].astype(np.float32) + 70 * (still + moving) + 30
    return np.clip(np.stack([grey, grey * 0.6, grey * 0.4], -1), 0, 255).astype(np.uint8)


def again(picture, seed, dx=3.0, dy=-2.0, gain=1.1):
    """Return the same thing captured again: moved a little, another exposure, other noise."""
    matrix = np.array([[1, 0, dx], [0, 1, dy]], np.float64)
    moved = cv2.warpAffine(picture, matrix, (660, 440), borderMode=cv2.BORDER_REPLICATE)
    noise = np.random.default_rng(seed).normal(0, 3, moved.shape)
    return np.clip(moved.astype(np.float32) * gain + noise, 0, 255).astype(np.uint8)


def grey(picture):
    return alike.reduced(picture.astype(np.uint16) * 257)


def take(folder, retakes="keep"):
    more = {"intake": {"watch_s": 0, "retakes": retakes}, "catalogue": {"required": False}}
    return taken_in(folder, {"batch": "b", "settings": settings.load(more)})


def only(result):
    (item,) = result["items"]
    return item


def superseded(item):
    return {each["path"]: each.get("superseded_by") for each in item["masters"]}


@pytest.mark.parametrize("seed", range(4))
def test_the_same_thing_captured_again_agrees_and_another_frame_of_the_roll_does_not(seed):
    one = view(seed)
    assert alike.correlation(grey(one), grey(again(one, seed))) > alike.SAME
    turned = np.ascontiguousarray(np.rot90(again(one, seed), 2))
    assert alike.correlation(grey(one), grey(turned)) > alike.SAME
    assert alike.correlation(grey(one), grey(view(seed + 50))) < alike.SAME / 2
    assert alike.correlation(grey(one), grey(view(seed, moved=12))) < alike.SAME
    assert retakes.SAME == alike.SAME


def test_a_picture_without_detail_agrees_with_nothing():
    flat = np.full((440, 660, 3), 90, np.uint8)
    assert alike.correlation(grey(flat), grey(flat)) is None


@pytest.mark.parametrize("name", ["PEH-0001_v2.tif", "PEH-0001 (2).tif", "PEH-0001_retake.tif"])
def test_the_mark_of_a_retake_in_a_name_makes_the_later_count(batch, name):
    session.write(batch / "PEH-0001.tif", view(1))
    session.write(batch / name, again(view(1), 5))
    item = only(take(batch))
    assert item["state"] == "ready"
    assert superseded(item) == {"PEH-0001.tif": name, name: None}
    left = only(take(batch, "leave_out"))
    assert [each["path"] for each in left["masters"]] == [name]
    assert [(each["path"], each["why"]) for each in left["left_out"]] == [
        ("PEH-0001.tif", f"superseded by {name}")
    ]
    assert only(take(batch, "hold"))["state"] == "held"


def test_the_later_of_two_folders_counts_by_the_cameras_clock(batch):
    session.write(batch / "b" / "PEH-0001.tif", view(1), 10)
    session.write(batch / "a" / "PEH-0001.tif", again(view(1), 5), 600)
    assert superseded(only(take(batch)))["b/PEH-0001.tif"] == "a/PEH-0001.tif"


def test_two_frames_that_claim_one_place_are_held(batch):
    session.write(batch / "PEH-0001.tif", view(1))
    session.write(batch / "PEH-0001_v2.tif", view(2))
    item = only(take(batch))
    assert item["state"] == "held"
    assert "do not show the same" in str(item["findings"])
    assert set(superseded(item).values()) == {None}


def test_two_of_three_frames_renamed_at_once_are_no_retakes(batch):
    for number in (1, 2, 3):
        session.write(batch / f"PEH-0001 ({number}).tif", view(number))
    assert only(take(batch))["state"] == "held"


@pytest.mark.parametrize("seconds", [(None, None), (10, 10), (10, None)])
def test_captures_of_which_nothing_says_which_is_later_are_held(batch, seconds):
    session.write(batch / "a" / "PEH-0001.tif", view(1), seconds[0])
    session.write(batch / "b" / "PEH-0001.tif", again(view(1), 5), seconds[1])
    assert only(take(batch))["state"] == "held"


def test_a_mark_that_the_clock_contradicts_is_held(batch):
    session.write(batch / "PEH-0001.tif", view(1), 600)
    session.write(batch / "PEH-0001_v2.tif", again(view(1), 5), 10)
    assert only(take(batch))["state"] == "held"


def test_a_copy_of_the_same_bytes_is_no_retake(batch):
    session.write(batch / "PEH-0001.tif", view(1))
    (batch / "PEH-0001 (2).tif").write_bytes((batch / "PEH-0001.tif").read_bytes())
    item = only(take(batch))
    assert item["state"] == "held"
    assert "intake.same_bytes" in {finding["code"] for finding in item["findings"]}


def test_a_number_that_ends_like_a_retake_is_its_own_item_where_the_catalogue_has_it(batch):
    session.write(batch / "PEH-0001.tif", view(1))
    session.write(batch / "PEH-0001-v2.tif", again(view(1), 5))
    (batch / "catalogue.csv").write_text("item_id,title\nPEH-0001,Quay\nPEH-0001-v2,Mole\n")
    assert [item["item"] for item in take(batch)["items"]] == ["PEH-0001", "PEH-0001-v2"]
