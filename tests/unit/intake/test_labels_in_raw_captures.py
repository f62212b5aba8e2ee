"""Codes in raw captures are read before they are developed: labels and separators tell their items."""

import numpy as np
import pytest

from glassine.base.errors import GlassineError
from glassine.masters import alike, labels, raw_small, raws
from makers import raw_files, session
from unit.intake.test_separator_captures import Studio

MOST = str(10**8)


def write(path, picture, second=0, camera=None, **shot):
    """Write a drawn capture as a raw file. picture: (h, w, 3) of 8 bits, linear."""
    taken = f"2026:03:17 09:{second // 60:02d}:{second % 60:02d}"
    table = raw_files.table(*picture.shape[:2])
    made = raw_files.Shot(taken=taken, **shot)
    raw_files.write(
        path, table * (picture / 255.0), camera or raw_files.Camera(), made, seed=second
    )
    return path


class RawStudio(Studio):
    def put(self, picture, *, timed=True, name=None):
        self.number += 1
        named = name or f"DSC {self.number:04d}.dng"
        return write(self.folder / named, picture, 20 * self.number).name


@pytest.fixture
def studio(tmp_path):
    return RawStudio(tmp_path / "b")


@pytest.mark.parametrize(
    ("form", "degrees"), [("code128", 0), ("code39", 33), ("qr", 101), ("datamatrix", 12)]
)
def test_a_code_is_read_as_in_a_tiff_of_the_same_size(form, degrees, tmp_path):
    drawn = session.sleeve("PEH-0001", form, degrees, seed=3)
    seen = [
        labels.see_master(write(tmp_path / "a.dng", drawn), MOST),
        labels.see_master(session.write(tmp_path / "a.tif", drawn), MOST),
    ]
    assert [[each["text"] for each in one["labels"]] for one in seen] == [["PEH-0001"]] * 2
    corners = [np.array(one["labels"][0]["corners"]) for one in seen]
    assert np.abs(corners[0] - corners[1]).max() < 6


@pytest.mark.parametrize("paper", [(255, 230, 90), (150, 200, 255)])
def test_a_code_on_coloured_paper_beside_white_is_read(paper, tmp_path):
    drawn = session.sleeve("PEH-0001", "code128", 7, seed=3) * (np.array(paper) / 255)
    drawn[:30] = 250
    seen = labels.see_master(write(tmp_path / "a.dng", drawn), MOST)
    assert [each["text"] for each in seen["labels"]] == ["PEH-0001"]


def test_a_linear_raw_is_read_too(tmp_path):
    drawn = session.sleeve("PEH-0001", "qr", seed=3)
    camera = raw_files.Camera(full_well=0)
    samples = np.rint(camera.black + drawn / 255.0 * (camera.white - camera.black))
    (tmp_path / "a.dng").write_bytes(raw_files.dng(samples.astype(np.uint16), camera))
    seen = labels.see_master(tmp_path / "a.dng", MOST)
    assert [each["text"] for each in seen["labels"]] == ["PEH-0001"]


@pytest.mark.parametrize("pattern", sorted(raw_files.PATTERNS))
def test_the_small_picture_has_the_colours_of_the_scene(pattern, tmp_path):
    picture = np.empty((40, 60, 3), np.uint8)
    picture[:] = (200, 120, 40)
    camera = raw_files.Camera(pattern, full_well=0, fall_off=0)
    raw = raws.read(write(tmp_path / "a.dng", picture, 0, camera), 10**8)
    small = raw_small.of(raw)
    assert small.shape == (20, 30, 3) and small.dtype == np.uint16
    shares = small[5, 5] / small[5, 5, 1]
    assert shares == pytest.approx([200 / 120, 1, 40 / 120], rel=0.01)
    grey = raw_small.grey_of(raw)
    assert grey.shape == (40, 60)
    assert grey.min() == pytest.approx(grey.max(), rel=0.001)


def test_captures_follow_their_separators(studio):
    one = studio.sleeve("PEH-0001")
    first = studio.film(2)
    two = studio.sleeve("PEH-0002", form="qr", degrees=101)
    second = studio.film(2)
    studio.take()
    assert studio.owners() == {
        one: "PEH-0001",
        **dict.fromkeys(first, "PEH-0001"),
        two: "PEH-0002",
        **dict.fromkeys(second, "PEH-0002"),
    }
    assert not studio.held()


def test_captures_after_what_cannot_be_read_never_slide_to_the_item_before(studio):
    studio.sleeve("PEH-0001")
    studio.film(2)
    smudged = studio.sleeve("PEH-0002", readable=False)
    after = studio.film(1)
    studio.sleeve("PEH-0003")
    damaged = studio.film(2)
    path = studio.folder / damaged[0]
    path.write_bytes(path.read_bytes()[:40_000])
    studio.take()
    assert studio.held() >= {smudged, *after, *damaged}
    assert not set(after) & {path for path, item in studio.owners().items() if item == "PEH-0001"}


def test_a_label_tells_the_item_of_a_raw_file(studio):
    labelled = studio.sleeve("PEH-0003")
    studio.take(naming={"identify": ["name", "label"]})
    assert studio.owners() == {labelled: "PEH-0003"}
    notes = [each["code"] for each in studio.result["notes"]]
    assert "intake.label_identity" in notes


def test_a_raw_file_of_more_pixels_than_are_allowed_is_not_looked_at(studio):
    labelled = studio.sleeve("PEH-0003")
    studio.take(naming={"identify": ["name", "label"]}, intake={"max_pixels": 1000})
    assert studio.held() == {labelled}
    with pytest.raises(GlassineError, match="at most 1000 pixels"):
        labels.see_master(studio.folder / labelled, "1000")


def test_captures_made_again_are_compared_before_they_are_developed(tmp_path):
    pictures = [session.film(1), session.film(1), session.film(2)]
    one, again, other = (
        str(write(tmp_path / f"{number}.dng", picture, number))
        for number, picture in enumerate(pictures)
    )
    assert alike.compare(one, again, MOST) > alike.SAME
    assert alike.compare(one, other, MOST) < alike.SAME
