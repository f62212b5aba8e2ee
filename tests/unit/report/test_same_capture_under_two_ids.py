"""The same film under two ids is told however noisy; a view exposed twice is no false alarm."""

import functools

import cv2
import numpy as np
import pytest

from glassine.base.item_states import ItemStatus
from glassine.report import near, recapture, shown
from glassine.report.shown import Batch, Frame, Item, Master


def soft(seed, sigma=8.0, noise_seed=0):
    """A soft picture whose noise was drawn out by its inversion, (h, w) uint8."""
    coarse = np.random.default_rng(seed).uniform(60, 190, (12, 16)).astype(np.float32)
    view = cv2.resize(coarse, (640, 480), interpolation=cv2.INTER_CUBIC)
    noise = np.random.default_rng(noise_seed).normal(0, sigma, view.shape)
    return np.clip(view + cv2.GaussianBlur(noise, (0, 0), 0.8) * 2, 0, 255).astype(np.uint8)


def moved(picture, px):
    """The same view a moment later: what stands in its middle has moved."""
    height, width = picture.shape
    inside = np.zeros((height, width), np.float32)
    cv2.ellipse(inside, (width // 2, height // 2), (width // 4, height // 3), 0, 0, 360, 1, -1)
    there = cv2.warpAffine(picture, np.array([[1, 0, px], [0, 1, 0]], np.float64), (width, height))
    return np.where(inside > 0, there, picture).astype(np.uint8)


def pairs_of(folder, facts=None, **pictures):
    made = []
    for item, picture in pictures.items():
        path = folder / f"{item}_access.jpg"
        cv2.imwrite(str(path), picture)
        made.append(near.Picture(item, path, path.name, **(facts or {}).get(item, {})))
    return near.found(made, folder)


@pytest.mark.parametrize("seed", range(4))
def test_the_same_soft_picture_with_other_noise_is_found(tmp_path, seed):
    pairs, _ = pairs_of(tmp_path, A=soft(seed), B=soft(seed, noise_seed=9), C=soft(seed + 40))
    assert [(pair.one.item, pair.other.item) for pair in pairs] == [("A", "B")]


@pytest.mark.parametrize("seed", range(4))
def test_a_part_that_moved_makes_it_another_picture(tmp_path, seed):
    assert pairs_of(tmp_path, A=soft(seed), B=moved(soft(seed, noise_seed=9), 25))[0] == []


def test_a_view_that_the_camera_framed_anew_is_another_picture(tmp_path):
    one = cv2.resize(soft(3), (700, 525))
    assert pairs_of(tmp_path, A=one[:480, :640], B=one[30:510, 40:680])[0] == []


@pytest.mark.parametrize("seed", range(3))
def test_plain_frames_in_one_holder_are_no_pairs(tmp_path, seed):
    rng = np.random.default_rng(seed)
    fall = 1 - 0.3 * (np.linspace(-1, 1, 480)[:, None] ** 2 + np.linspace(-1, 1, 640) ** 2)
    skies = [150 * fall + rng.normal(0, 3, fall.shape) for _ in range(2)]
    for sky in skies:
        sky[:6] = 20  # the holder's edge
    both = [np.clip(sky, 0, 255).astype(np.uint8) for sky in skies]
    assert pairs_of(tmp_path, A=both[0], B=both[1])[0] == []


def apart(one, other):
    made = [near.Picture(name, None, name, **facts) for name, facts in (("A", one), ("B", other))]
    return near.Pair(made[0], made[1], False).is_one_view_twice


def test_densities_above_the_base_part_two_exposures_and_no_capture_made_again():
    once = {"densities": (0.30, 1.60, 0.25)}
    assert apart(once, {"densities": (0.46, 1.75, 0.25)})  # one stop more
    assert not apart(once, {"densities": (0.40, 1.70, 0.35)})  # the table was darker
    assert not apart(once, {"densities": (0.31, 1.58, 0.24)})
    assert not apart(once, {"densities": (None, None, None)})


def test_where_no_base_is_seen_only_frames_of_one_roll_are_parted_by_densities():
    once, later = (0.6, 1.6, None), (0.8, 1.8, None)
    assert not apart({"densities": once}, {"densities": later})
    assert apart({"densities": once, "roll": "R1"}, {"densities": later, "roll": "R1"})
    assert not apart({"densities": once, "roll": "R1"}, {"densities": once, "roll": "R1"})


def test_numbers_on_the_film_part_frames_and_the_same_number_does_not():
    assert apart({"film_frame": "12"}, {"film_frame": "13"})
    assert not apart({"film_frame": "12"}, {"film_frame": "12"})
    assert not apart({"film_frame": "12"}, {})


def test_what_agrees_most_is_compared_first_and_the_rest_in_the_next_night(tmp_path, monkeypatch):
    monkeypatch.setattr(near, "_MOST_COMPARED", 1)
    pictures = {"A": soft(1), "B": moved(soft(1), 25), "C": soft(1, 1.0), "D": soft(1, 1.1)}
    pairs, left = pairs_of(tmp_path, **pictures)
    assert [(pair.one.item, pair.other.item) for pair in pairs] == [("C", "D")] and left
    for _ in range(left):
        pairs, left = pairs_of(tmp_path, **pictures)
    assert {(pair.one.item, pair.other.item) for pair in pairs} >= {("A", "C"), ("A", "D")}
    assert left == 0


def with_files(files):
    return Frame(
        n=1, corners=[], angle=0, rotate=0, mirror=False, polarity="negative", process="colour",
        blank=False, exclude=False, confidence=1, state="done", seen=None, source="measured",
        reasons=(), files=files, tiles=None, measures=[],
    )  # fmt: skip


def test_both_items_stand_on_the_list_for_the_table_with_the_other_ones_id(tmp_path):
    items = [Item(ItemStatus(name, state="done")) for name in ("PEH-0001", "PEH-0002", "PEH-0003")]
    frame = functools.partial(shown.PictureFile, w=640, h=480, bytes=None, sha256=None)
    (tmp_path / "report").mkdir()
    for item, picture in zip(items, (soft(1), soft(1, noise_seed=9), soft(2)), strict=True):
        cv2.imwrite(str(tmp_path / f"{item.item}.jpg"), picture)
        files = {"access": frame(src=f"../{item.item}.jpg")}
        item.masters = [Master(path=f"{item.item}.tif", frames=[with_files(files)])]
    batch = Batch("b", "B", items=items)
    near.tell(batch, tmp_path)
    assert [each.code for each in batch.asks] == ["report.near_identical"]
    assert "PEH-0001 looks like the same capture as PEH-0002" in batch.asks[0].what
    assert [bool(item.notes) for item in items] == [True, True, False]
    rows = {row.item: " ".join(row.reasons) for row in recapture.rows(batch)}
    assert "same capture as PEH-0002:" in rows["PEH-0001"]
    assert "same capture as PEH-0001:" in rows["PEH-0002"] and len(rows) == 2


def test_sleeves_are_compared_with_none():
    masters = [Master(path=n, part="sleeve", frames=[with_files({})]) for n in ("a", "b")]
    items = [Item(ItemStatus(each.path, state="done"), masters=[each]) for each in masters]
    picture = shown.PictureFile(src="x.jpg", w=1, h=1, bytes=None, sha256=None)
    for master in masters:
        master.frames = [with_files({"access": picture})]
    assert near._pictures(Batch("b", "B", items=items), near.Path("r")) == []
    masters[0].part = "recto"
    assert len(near._pictures(Batch("b", "B", items=items), near.Path("r"))) == 1
