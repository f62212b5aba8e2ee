"""One film captured under two numbers is told; two frames of one view are not taken for one."""

import os

import cv2
import numpy as np
import pytest

from glassine.base import files
from glassine.report import near


def scene(seed, moved=0.0):
    """A picture with fine detail, (h, w) uint8. moved: by how many px half of it has moved."""
    rng = np.random.default_rng(seed)
    coarse = cv2.resize(
        rng.uniform(60, 190, (5, 7)).astype(np.float32), (960, 640), interpolation=cv2.INTER_CUBIC
    )
    still, moving = (
        cv2.GaussianBlur(rng.normal(0, 1, (640, 960)).astype(np.float32), (0, 0), 3)
        for _ in range(2)
    )
    shift = np.array([[1, 0, moved], [0, 1, moved / 3]], np.float64)
    moving = cv2.warpAffine(moving, shift, (960, 640), borderMode=cv2.BORDER_REFLECT)
    return np.clip(coarse + 100 * (still + moving), 0, 255).astype(np.uint8)


def again(picture, seed):
    """The same film once more: cropped a little otherwise, another exposure, other noise."""
    height, width = picture.shape
    cropped = picture[3 : height - 2, 4 : width - 1].astype(np.float32)
    noise = np.random.default_rng(seed).normal(0, 3, cropped.shape)
    return np.clip(cropped * 1.1 + noise, 0, 255).astype(np.uint8)


def kept(folder, **pictures):
    made = []
    for item, picture in pictures.items():
        path = folder / f"{item}_access.jpg"
        cv2.imwrite(str(path), picture)
        made.append(near.Picture(item.partition("_")[0], path, path.name))
    return made


def pairs_of(folder, **pictures):
    pairs, left = near.found(kept(folder, **pictures), folder)
    assert left == 0
    return [(pair.one.item, pair.other.item, pair.mirrored) for pair in pairs]


@pytest.mark.parametrize("seed", range(3))
def test_the_same_film_under_two_numbers_is_found_however_it_lay(tmp_path, seed):
    one = scene(seed)
    other = again(one, seed)
    assert pairs_of(tmp_path, A=one, B=other, C=scene(seed + 50)) == [("A", "B", False)]
    turned = np.rot90(other, 2)
    assert pairs_of(tmp_path, A=one, B=turned, C=scene(seed + 50)) == [("A", "B", False)]
    assert pairs_of(tmp_path, A=one, B=other[:, ::-1]) == [("A", "B", True)]
    assert pairs_of(tmp_path, A=one, B=np.rot90(other)) == [("A", "B", False)]


@pytest.mark.parametrize("seed", range(3))
def test_the_next_frame_of_the_same_view_is_another_picture(tmp_path, seed):
    assert pairs_of(tmp_path, A=scene(seed), B=again(scene(seed, moved=20), 5)) == []


def test_two_captures_of_one_item_are_no_pair(tmp_path):
    one = scene(1)
    assert pairs_of(tmp_path, A_emu=one, A_base=again(one, 2)) == []


def test_a_picture_that_shows_nothing_is_compared_with_none(tmp_path):
    flat = np.full((640, 960), 120, np.uint8)
    assert pairs_of(tmp_path, A=flat, B=flat) == []


def test_a_picture_is_decoded_once_and_again_when_it_changed(tmp_path):
    one = scene(1)
    assert pairs_of(tmp_path, A=one, B=scene(2)) == []
    assert pairs_of(tmp_path, A=one, B=again(one, 3)) == [("A", "B", False)]


def test_a_damaged_list_of_signatures_is_made_again(tmp_path):
    (tmp_path / near.KEPT).write_text('{"A_access.jpg": [[1], "x"], "B": 3}')
    one = scene(1)
    assert pairs_of(tmp_path, A=one, B=again(one, 3)) == [("A", "B", False)]


# --- answers that are kept


@pytest.fixture
def counted(monkeypatch):
    """The likenesses that were worked out, one by one."""
    made = []
    work_out = near.alike.of_frames

    def counting(one, other):
        made.append(work_out(one, other))
        return made[-1]

    monkeypatch.setattr(near.alike, "of_frames", counting)
    return made


def test_two_pictures_are_compared_once_whatever_the_answer(tmp_path, counted):
    one = scene(1)
    pictures = kept(tmp_path, A=one, B=again(one, 2), C=again(scene(1, moved=20), 5))
    first = near.found(pictures, tmp_path)
    assert len(counted) == 3 and [pair.other.item for pair in first[0]] == ["B"]
    assert near.found(pictures, tmp_path) == first
    assert len(counted) == 3


def test_another_picture_in_a_file_of_the_same_size_and_time_is_compared_anew(tmp_path, counted):
    one, other = scene(1), again(scene(1), 2)
    pictures = kept(tmp_path, A=one, B=other)
    assert len(near.found(pictures, tmp_path)[0]) == 1
    state = pictures[1].path.stat()
    cv2.imwrite(str(pictures[1].path), again(scene(1, moved=20), 5))
    with pictures[1].path.open("ab") as stream:
        stream.write(bytes(max(0, state.st_size - pictures[1].path.stat().st_size)))
    os.truncate(pictures[1].path, state.st_size)
    os.utime(pictures[1].path, ns=(state.st_mtime_ns, state.st_mtime_ns))
    assert near.found(pictures, tmp_path)[0] == [] and len(counted) == 2


def test_an_answer_counts_for_what_compared_it_alone(tmp_path, counted, monkeypatch):
    one = scene(1)
    pictures = kept(tmp_path, A=one, B=again(one, 2))
    near.found(pictures, tmp_path)
    monkeypatch.setattr(near.alike, "VERSION", "another")
    near.found(pictures, tmp_path)
    assert len(counted) == 2


def test_answers_of_pictures_that_are_gone_are_not_kept(tmp_path, counted):
    one = scene(1)
    near.found(kept(tmp_path, A=one, B=again(one, 2)), tmp_path)
    near.found(kept(tmp_path, A=one), tmp_path)
    assert files.read_json(tmp_path / near.KEPT)["compared"] == {}


@pytest.mark.parametrize("text", ['{"compared": {"x": "yes"}}', '{"compared": [1]}', "[]", "{"])
def test_damaged_answers_are_asked_again(tmp_path, text):
    (tmp_path / near.KEPT).write_text(text)
    one = scene(1)
    assert pairs_of(tmp_path, A=one, B=again(one, 3)) == [("A", "B", False)]
